//! Polluted files by the thousand: each row loaded exactly as meant, or set
//! aside with a true reason.

mod chance;
mod held;
mod kinds;
mod published;
mod sample;
mod sheet;

use held::Held;
use kinds::Kind;

fn all_kinds() -> impl Iterator<Item = &'static Kind> {
    published::KINDS.iter()
}

#[test]
fn no_pollution_makes_a_silent_mistake() {
    let mut files = 0;
    let mut repairable = Held::default();
    let mut wrong = Vec::new();
    for kind in all_kinds() {
        let mut held = kind.hold();
        println!(
            "{:50} {:5} files {:6} rows {:6} loaded {:5} aside; touched {:5} loaded {:5}; {} mistakes",
            kind.name,
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
        wrong.extend(mistakes.into_iter().map(|m| format!("{}: {m}", kind.name)));
        if kind.is_repairable {
            repairable.add(held);
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
    assert!(wrong.is_empty(), "{} mistakes", wrong.len());
    assert!(files >= 2_000, "{files}");
    assert!(repairable.loaded * 100 >= repairable.rows * 95);
}
