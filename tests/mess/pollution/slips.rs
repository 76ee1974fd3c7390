//! A slip that can be made in any file, alone or with others.

use super::chance::Chance;
use super::held::{Held, held};
use super::sample::{record, sample};
use super::sheet::Sheet;
use litrewise::inside::ingest::RecordKind;

/// When a slip happens: what comes later is written in the dialect, and with the
/// columns, of what came before.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    Columns,
    Dialect,
    Cells,
    Lines,
}

pub struct Slip {
    pub stage: Stage,
    pub name: &'static str,
    pub is_repairable: bool,
    pub reasons: &'static [&'static str],
    make: fn(&mut Sheet, &mut Chance) -> bool,
    /// Whether it takes away what the rows meant that it touches.
    loses: bool,
    /// Files of each kind of record.
    pub files: usize,
}

impl Slip {
    /// Every row is loaded all the same.
    pub const fn sound(
        stage: Stage,
        name: &'static str,
        make: fn(&mut Sheet, &mut Chance) -> bool,
    ) -> Slip {
        Slip {
            stage,
            name,
            is_repairable: true,
            reasons: &[],
            make,
            loses: false,
            files: 6,
        }
    }

    /// Rows may be set aside for one of these reasons.
    pub const fn careful(
        stage: Stage,
        name: &'static str,
        reasons: &'static [&'static str],
        make: fn(&mut Sheet, &mut Chance) -> bool,
    ) -> Slip {
        Slip {
            stage,
            name,
            is_repairable: true,
            reasons,
            make,
            loses: false,
            files: 12,
        }
    }

    /// The same, of a slip after which something that a row meant stands nowhere any
    /// more: nobody could put that row right, only the others.
    pub const fn losing(
        stage: Stage,
        name: &'static str,
        reasons: &'static [&'static str],
        make: fn(&mut Sheet, &mut Chance) -> bool,
    ) -> Slip {
        Slip {
            loses: true,
            ..Slip::careful(stage, name, reasons, make)
        }
    }

    /// Makes it; `false` where this file has no place for it.
    pub fn make(&self, sheet: &mut Sheet, chance: &mut Chance) -> bool {
        let before: Vec<Vec<String>> = sheet.lines.iter().map(|l| sheet.cells_of(l)).collect();
        let is_made = (self.make)(sheet, chance);
        if self.loses && is_made {
            let texts: Vec<String> = sheet.lines.iter().map(|l| sheet.text_of(l)).collect();
            assert_eq!(texts.len(), before.len(), "{}", self.name);
            for ((line, text), cells) in sheet.lines.iter_mut().zip(&texts).zip(&before) {
                line.untold |=
                    line.touched && !cells.iter().all(|cell| text.contains(cell.as_str()));
            }
        }
        is_made
    }

    /// Nobody could tell what the rows mean.
    pub const fn hopeless(
        stage: Stage,
        name: &'static str,
        reasons: &'static [&'static str],
        make: fn(&mut Sheet, &mut Chance) -> bool,
    ) -> Slip {
        Slip {
            stage,
            name,
            is_repairable: false,
            reasons,
            make,
            loses: false,
            files: 6,
        }
    }

    pub fn sheets(&self) -> Vec<Sheet> {
        let mut sheets = Vec::new();
        for kind in RecordKind::ALL {
            for n in 0..self.files {
                let mut sheet = Sheet::clean(&sample(kind, 100 + n as u64));
                if self.make(&mut sheet, &mut Chance::new(n as u64)) {
                    sheets.push(sheet);
                }
            }
        }
        sheets
    }

    pub fn hold(&self) -> Held {
        let mut all = Held::default();
        for sheet in self.sheets() {
            all.add(held(&sheet, self.reasons));
        }
        all
    }
}

/// The rows mean what their cells now say.
pub fn mean_anew(sheet: &mut Sheet) {
    for line in sheet
        .lines
        .iter_mut()
        .filter(|line| !line.meanings.is_empty())
    {
        line.meanings = vec![record(sheet.kind, &sheet.names, &line.cells)];
    }
}

/// Two or three slips in one file.
pub fn several(slips: &[&'static Slip], files: usize) -> (Held, Vec<Sheet>) {
    let mut all = Held::default();
    let mut sheets = Vec::new();
    let mut chance = Chance::new(2023);
    for n in 0..files {
        let kind = RecordKind::ALL[n % 5];
        let mut chosen: Vec<&Slip> = (0..3 + chance.below(3))
            .map(|_| chance.one_of(slips))
            .collect();
        chosen.sort_by_key(|slip| slip.stage);
        // one of a stage, so that none undoes another
        chosen.dedup_by_key(|slip| slip.stage);
        // cells written anew make twins differ: such columns are kept out, and said
        if chosen.iter().any(|slip| slip.stage != Stage::Columns) {
            chosen.retain(|slip| slip.name != "a column that stands twice");
        }
        let mut sheet = Sheet::clean(&sample(kind, 500 + n as u64));
        let mut reasons: Vec<&str> = Vec::new();
        let mut names = Vec::new();
        for slip in chosen {
            if slip.make(&mut sheet, &mut chance) {
                reasons.extend(slip.reasons);
                names.push(slip.name);
            }
        }
        let mut found = held(&sheet, &reasons);
        for mistake in &mut found.mistakes {
            *mistake = format!("[{}] {mistake}", names.join(" + "));
        }
        all.add(found);
        sheets.push(sheet);
    }
    (all, sheets)
}
