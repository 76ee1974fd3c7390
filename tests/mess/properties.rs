//! What holds whatever the rows are: seeded cases, so that a failure comes again.

use litrewise::inside::ingest::RecordKind;
use litrewise::inside::store::records::RowCounts;

use super::pollution::{Chance, Sheet, mistyped, sample};
use super::store::Yard;

const CASES: u64 = 6;

/// A file of each kind, a few numbers in it mistyped.
fn fleet(seed: u64) -> Vec<Sheet> {
    let mut chance = Chance::new(seed);
    let kinds = RecordKind::ALL.iter();
    kinds
        .map(|kind| {
            let mut sheet = Sheet::clean(&sample(*kind, seed));
            for _ in 0..chance.below(4) {
                mistyped(&mut sheet, &mut chance);
            }
            sheet
        })
        .collect()
}

fn bytes(sheet: &Sheet) -> Vec<u8> {
    sheet.render().0
}

fn take_in(sheets: &[Sheet]) -> Yard {
    let mut yard = Yard::new();
    for sheet in sheets {
        let outcome = yard.take_in(bytes(sheet));
        assert!(adds_up(outcome.counts), "{outcome:?}");
    }
    yard
}

fn adds_up(counts: RowCounts) -> bool {
    counts.read == counts.stored + counts.already_stored + counts.set_aside
}

fn shuffled<T>(things: &mut [T], chance: &mut Chance) {
    for i in (1..things.len()).rev() {
        things.swap(i, chance.below(i + 1));
    }
}

/// What the store holds: the current rows, and the rows set aside by their text.
fn content(yard: &Yard) -> ([String; 5], Vec<(String, String)>, RowCounts) {
    let mut aside = yard.set_aside_rows();
    aside.sort();
    (yard.export(), aside, yard.counts())
}

#[test]
fn the_order_of_rows_and_their_split_into_files_change_nothing() {
    for seed in 0..CASES {
        let whole = fleet(seed);
        let expected = content(&take_in(&whole));
        assert!(
            adds_up(expected.2) && expected.2.read >= 125,
            "{:?}",
            expected.2
        );
        let mut chance = Chance::new(seed + 1_000);
        let mut pieces: Vec<Sheet> = Vec::new();
        for sheet in &whole {
            let mut lines = sheet.lines.clone();
            shuffled(&mut lines, &mut chance);
            while !lines.is_empty() {
                let rest = lines.split_off((1 + chance.below(15)).min(lines.len()));
                pieces.push(Sheet {
                    lines,
                    ..sheet.clone()
                });
                lines = rest;
            }
        }
        shuffled(&mut pieces, &mut chance);
        assert!(pieces.len() > 10);
        let seen = content(&take_in(&pieces));
        assert_eq!(seen, expected, "seed {seed}");
    }
}

#[test]
fn taking_in_twice_is_taking_in_once() {
    for seed in 0..CASES {
        let sheets = fleet(seed);
        let mut yard = take_in(&sheets);
        let once = content(&yard);
        for sheet in &sheets {
            let again = yard.take_in(bytes(sheet));
            assert_eq!(again.counts.stored, 0, "seed {seed}");
        }
        let twice = content(&yard);
        assert_eq!((&twice.0, &twice.1), (&once.0, &once.1), "seed {seed}");
        assert_eq!(twice.2.stored, once.2.stored);
        assert!(adds_up(twice.2));
    }
}

#[test]
fn what_is_exported_comes_in_again_unchanged() {
    for seed in 0..CASES {
        let yard = take_in(&fleet(seed));
        let exported = yard.export();
        let mut again = Yard::new();
        for text in &exported {
            let outcome = again.take_in(text);
            assert_eq!(outcome.counts.set_aside, 0, "seed {seed}: {text}");
        }
        assert_eq!(again.export(), exported, "seed {seed}");
    }
}

#[test]
fn totals_add_up_whatever_comes_in() {
    let mut chance = Chance::new(41);
    let mut yard = Yard::new();
    let mut files = super::pollution::polluted_files();
    shuffled(&mut files, &mut chance);
    let mut refused = 0;
    for (n, bytes) in files.into_iter().take(30).enumerate() {
        // now and then under a name that was there before
        let name = format!("{}.csv", if n % 5 == 0 { n / 2 } else { n });
        match yard.try_take_in_as(&name, bytes) {
            Ok(outcome) => assert!(adds_up(outcome.counts), "{outcome:?}"),
            Err(_) => refused += 1,
        }
        if n % 10 == 0 {
            assert!(adds_up(yard.counts()), "{:?}", yard.counts());
        }
    }
    let counts = yard.counts();
    assert!(
        adds_up(counts) && counts.stored > 100 && refused < 10,
        "{counts:?}"
    );
    assert_eq!(counts.set_aside as usize, yard.reasons().len());
}
