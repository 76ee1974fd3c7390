//! Doors for fuzzing: one header line, one number, one date, without a file
//! around them.

use crate::calendar::{Date, TimeZone};

use super::Options;
use super::columns::ALL;
use super::dates::{DateOrder, written};
use super::headers::RecordKind;
use super::instants::{DateHabits, settle};
use super::kind::recognise;
use super::local_days::LocalDays;
use super::meaning::meaning;
use super::notes::Notes;
use super::numbers::{DecimalMark, decimal_evidence, number};
use super::postcode::postcode;
use super::units::Unit;
use super::words::items;

/// A line as the header of every kind, and the text as a file's beginning.
pub fn header(text: &str) {
    for kind in RecordKind::ALL {
        let line = text.lines().next().unwrap_or_default();
        for cell in line.split([',', ';', '\t', '|']) {
            let _ = meaning(kind, cell);
        }
    }
    let mut notes = Notes::default();
    let options = Options::new(TimeZone::UTC, crate::calendar::date(2026, 11, 25));
    if let Ok(sheet) = recognise(text, "yard.csv", &options, &mut notes) {
        for layout in sheet.parts() {
            for (column, cell) in layout.columns() {
                assert!(cell < layout.headers.len(), "{}", column.name());
            }
        }
        let _ = notes.finish(|column| sheet.label(column));
    }
}

/// A cell under every decimal mark, its unit by every measure.
pub fn amount(cell: &str) {
    let _ = decimal_evidence(cell);
    let _ = (postcode(cell), items(cell));
    for mark in [
        DecimalMark::Point,
        DecimalMark::Comma,
        DecimalMark::PointByDelimiter,
        DecimalMark::Unknown,
    ] {
        if let Ok(Some(found)) = number(cell, mark) {
            assert!(found.value.is_finite(), "{}", found.value);
            for column in ALL {
                let unit = Unit::named(found.unit, column.measure());
                let _ = unit.map(|unit| unit.convert(found.value));
            }
            // what is written plainly is read as what it is
            let plain = format!("{:.4}", found.value.abs());
            let again = number(&plain, DecimalMark::Point).ok().flatten();
            let close = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(1e-3);
            assert!(
                plain.len() > 18
                    || again.is_some_and(|n| close(n.value, plain.parse().unwrap_or(f64::NAN))),
                "{plain}"
            );
        }
    }
}

/// A cell as a date, under every habit that a file may have.
pub fn date(cell: &str, zone: &TimeZone, today: Date) {
    let Ok(found) = written(cell) else { return };
    let days = LocalDays::new(*zone);
    for order in [
        None,
        Some(DateOrder::DayFirst),
        Some(DateOrder::MonthFirst),
        Some(DateOrder::YearFirst),
    ] {
        for flag in [false, true] {
            let habits = DateHabits {
                order,
                serials: flag,
                midnight_is_none: flag,
                today,
            };
            let _ = settle(&found, &habits, &days);
        }
    }
}
