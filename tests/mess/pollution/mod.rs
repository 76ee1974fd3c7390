//! Polluted files by the thousand: each row loaded exactly as meant, or set
//! aside with a true reason.

mod cells;
mod chance;
mod everyday;
mod held;
mod kinds;
mod published;
mod sample;
mod sheet;
mod slips;

use held::Held;
use slips::Slip;

fn all_slips() -> impl Iterator<Item = &'static Slip> {
    everyday::SLIPS.iter().chain(cells::SLIPS)
}

/// A line of the table: a kind of pollution and what became of its rows.
struct Told {
    level: &'static str,
    name: &'static str,
    is_repairable: bool,
    held: Held,
}

fn all_told() -> Vec<Told> {
    let published = published::KINDS.iter().map(|kind| Told {
        level: kind.level,
        name: kind.name,
        is_repairable: kind.is_repairable,
        held: kind.hold(),
    });
    let slips = all_slips().map(|slip| Told {
        level: "everyday",
        name: slip.name,
        is_repairable: slip.is_repairable,
        held: slip.hold(),
    });
    let repairable: Vec<&Slip> = all_slips().filter(|slip| slip.is_repairable).collect();
    let several = std::iter::once_with(|| Told {
        level: "everyday",
        name: "two or three of these at once",
        is_repairable: true,
        held: slips::several(&repairable, 1_500).0,
    });
    published.chain(slips).chain(several).collect()
}

#[test]
fn no_pollution_makes_a_silent_mistake() {
    let mut files = 0;
    let mut repairable = Held::default();
    let mut wrong = Vec::new();
    for mut told in all_told() {
        let held = &mut told.held;
        println!(
            "{:10} {:44} {:5} files {:6} rows {:6} loaded {:5} aside; touched {:5} loaded {:5}; {} mistakes",
            told.level,
            told.name,
            held.files,
            held.rows,
            held.loaded,
            held.set_aside,
            held.touched,
            held.touched_loaded,
            held.mistakes.len()
        );
        files += held.files;
        let mistakes = std::mem::take(&mut held.mistakes);
        wrong.extend(mistakes.into_iter().map(|m| format!("{}: {m}", told.name)));
        if told.is_repairable {
            repairable.add(told.held);
        }
    }
    for mistake in wrong.iter().take(
        std::env::var("SHOW")
            .ok()
            .and_then(|n| n.parse().ok())
            .unwrap_or(12),
    ) {
        println!("{mistake}\n");
    }
    println!(
        "{} of {} rows of repairable files loaded, {files} files",
        repairable.loaded, repairable.rows
    );
    assert!(wrong.is_empty(), "{} mistakes", wrong.len());
    assert!(files >= 2_000, "{files}");
    assert!(repairable.loaded * 100 >= repairable.rows * 95);
}
