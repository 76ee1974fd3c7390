//! Polluted files by the thousand: each row loaded exactly as meant, or set
//! aside with a true reason.

mod beside;
mod cells;
mod chance;
mod everyday;
mod held;
mod kinds;
mod mixed;
mod published;
mod sample;
mod sheet;
mod slips;

use held::Held;
use slips::Slip;

pub use chance::Chance;
pub use sample::sample;
pub use sheet::Sheet;

/// Puts something that is no number in the place of one.
pub fn mistyped(sheet: &mut Sheet, chance: &mut Chance) {
    if let Some(slip) = cells::SLIPS
        .iter()
        .find(|slip| slip.name == "what is no number")
    {
        slip.make(sheet, chance);
    }
}

/// A few files of every everyday kind.
pub fn polluted_files() -> Vec<Vec<u8>> {
    let sheets = all_slips().flat_map(|slip| slip.sheets().into_iter().step_by(5));
    sheets.map(|sheet| sheet.render().0).collect()
}

fn all_slips() -> impl Iterator<Item = &'static Slip> {
    everyday::SLIPS.iter().chain(cells::SLIPS)
}

fn repairable_slips() -> Vec<&'static Slip> {
    all_slips().filter(|slip| slip.is_repairable).collect()
}

/// Files with several slips at once.
const SEVERAL: usize = 1_500;

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
    let several = std::iter::once_with(|| Told {
        level: "everyday",
        name: "two or three of these at once",
        is_repairable: true,
        held: slips::several(&repairable_slips(), SEVERAL).0,
    });
    published.chain(slips).chain(several).collect()
}

/// Mistakes shown before they are only counted.
const SHOWN: usize = 8;

/// With `--nocapture` it prints what became of each kind.
#[test]
fn no_pollution_makes_a_silent_mistake() {
    let mut all = Held::default();
    let mut repairable = Held::default();
    println!(
        "{:10} {:42} {:>5} {:>6} {:>6} {:>6} {:>6} {:>6}  rows touched, of those loaded",
        "level", "pollution", "files", "rows", "loaded", "aside", "untold", "wrong"
    );
    for told in all_told() {
        let mut held = told.held;
        let wrong = held.mistakes.len();
        println!(
            "{:10} {:42} {:5} {:6} {:6} {:6} {:6} {wrong:6}  {:5} {:5}",
            told.level,
            told.name,
            held.files,
            held.rows,
            held.loaded,
            held.set_aside,
            held.untold,
            held.touched,
            held.touched_loaded,
        );
        for mistake in &mut held.mistakes {
            *mistake = format!("{}: {mistake}", told.name);
        }
        if told.is_repairable {
            repairable.add(held.clone());
        }
        all.add(held);
    }
    println!(
        "{} files, {} rows; of repairable files {} of {} rows loaded ({:.2} %), of {} more nobody could tell what they meant",
        all.files,
        all.rows,
        repairable.loaded,
        repairable.rows - repairable.untold,
        100.0 * repairable.loaded as f64 / (repairable.rows - repairable.untold) as f64,
        repairable.untold,
    );
    for mistake in all.mistakes.iter().take(SHOWN) {
        println!("{mistake}\n");
    }
    assert!(all.mistakes.is_empty(), "{} mistakes", all.mistakes.len());
    assert!(all.files >= 2_000, "{} files", all.files);
    // what is left aside can mostly be read in two ways: a separator lost or one
    // too many among empty cells, a mark that opens a text or stands for a ditto
    assert!(repairable.loaded * 100 >= (repairable.rows - repairable.untold) * 99);
}
