//! A kind of pollution: how files of it are made and what may become of them.

use litrewise::inside::ingest::RecordKind;

use super::held::{Held, held};
use super::sample::sample;
use super::sheet::{Line, Sheet};

pub type Made = Vec<Sheet>;

pub struct Kind {
    pub level: &'static str,
    pub name: &'static str,
    /// Whether a person could put every file of it right.
    pub is_repairable: bool,
    /// What may truly be said of rows, or whole files, that are not taken in.
    pub reasons: &'static [&'static str],
    pub make: fn(&Sheet) -> Made,
}

impl Kind {
    /// Every row is loaded.
    pub const fn sound(level: &'static str, name: &'static str, make: fn(&Sheet) -> Made) -> Kind {
        Kind {
            level,
            name,
            is_repairable: true,
            reasons: &[],
            make,
        }
    }

    /// A row may be set aside, for one of these reasons.
    pub const fn careful(
        level: &'static str,
        name: &'static str,
        reasons: &'static [&'static str],
        make: fn(&Sheet) -> Made,
    ) -> Kind {
        Kind {
            level,
            name,
            is_repairable: true,
            reasons,
            make,
        }
    }

    /// Nobody could tell what the rows mean.
    pub const fn hopeless(
        level: &'static str,
        name: &'static str,
        reasons: &'static [&'static str],
        make: fn(&Sheet) -> Made,
    ) -> Kind {
        Kind {
            level,
            name,
            is_repairable: false,
            reasons,
            make,
        }
    }

    /// Every file of this kind over samples of all five kinds of record.
    pub fn sheets(&self) -> Vec<Sheet> {
        let samples = RecordKind::ALL
            .iter()
            .map(|kind| Sheet::clean(&sample(*kind, 7)));
        samples.flat_map(|clean| (self.make)(&clean)).collect()
    }

    pub fn hold(&self) -> Held {
        let mut all = Held::default();
        for sheet in self.sheets() {
            all.add(held(&sheet, self.reasons));
        }
        all
    }
}

/// The line, written otherwise.
pub fn marked(line: &Line, raw: Option<String>) -> Line {
    Line {
        raw,
        touched: true,
        ..line.clone()
    }
}
