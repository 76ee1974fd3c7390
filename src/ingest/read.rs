//! One file from its bytes to its rows.

use std::collections::HashMap;
use std::fmt::Write as _;
use std::sync::Arc;

use jiff::civil::Date;
use sha2::{Digest, Sha256};

use crate::store::records::{FileRows, Record, SetAside};

use super::columns::Column;
use super::error::ReadError;
use super::evidence::Evidence;
use super::headers::RecordKind;
use super::instants::DAY_OR_MONTH;
use super::kind::{Layout, recognise};
use super::names::Names;
use super::notes::{Notes, Repair};
use super::row::{Ground, Reason, Row, is_numeric};
use super::rows_fills::fill;
use super::rows_hardness::{bare_is_mg_l, hardness};
use super::rows_readings::reading;
use super::rows_services::service;
use super::rows_vans::van;
use super::split::Rows;
use super::text::{folded, plain};
use super::{Options, encoding, ragged};

/// Reads one file from its bytes. `shown_name` is the file as the user named it.
///
/// # Errors
/// One sentence on why the whole file cannot be taken in.
pub fn read_bytes(
    bytes: &[u8],
    shown_name: &str,
    options: &Options,
) -> Result<FileRows, ReadError> {
    let decoded = encoding::decode(bytes, shown_name)?;
    let mut notes = Notes::default();
    if decoded.lost > 0 {
        notes.file(
            None,
            format!(
                "{} characters could not be read and were left out",
                decoded.lost
            ),
        );
    }
    let layout = recognise(&decoded.text, shown_name, &mut notes)?;
    let evidence = Evidence::gather(&decoded.text, &layout, options.today);
    let stated = options.date_order.or(layout.date_order);
    let habits = evidence.date_habits(stated, options.today);
    if let Some((open, contradicts)) = evidence.open_dates(&habits) {
        notes.file(None, unsettled_note(open, contradicts));
    }
    let ground = Ground {
        layout: &layout,
        mark: evidence.decimal_mark(layout.delimiter),
        habits,
        zone: &options.time_zone,
        today: options.today,
    };
    let mut file = File::new(shown_name, &ground, notes);
    file.read_all(&decoded.text);
    let mut words = vec![layout.delimiter_word()];
    words.extend(decoded.encoding);
    words.extend(evidence.told(&habits));
    Ok(file.finish(bytes, &words))
}

fn unsettled_note(open: u64, contradicts: bool) -> String {
    let why = if contradicts {
        "its rows contradict one another"
    } else {
        "no row settles it"
    };
    format!(
        "{DAY_OR_MONTH} in {open} dates: {why}; say --date-order day-first or --date-order month-first and ingest the file again"
    )
}

/// A file being read.
struct File<'f> {
    name: &'f str,
    ground: &'f Ground<'f>,
    notes: Notes,
    names: Names,
    rows: Vec<(u64, Record, Box<str>)>,
    set_aside: Vec<SetAside>,
    read: u64,
    bare_is_mg_l: bool,
    /// Rows so far of a van on a day, where only the day is known.
    of_day: HashMap<(Box<str>, Date), u32>,
}

impl<'f> File<'f> {
    fn new(name: &'f str, ground: &'f Ground<'f>, notes: Notes) -> Self {
        File {
            name,
            ground,
            notes,
            names: Names::default(),
            rows: Vec::new(),
            set_aside: Vec::new(),
            read: 0,
            bare_is_mg_l: false,
            of_day: HashMap::new(),
        }
    }

    fn rows_behind_header<'t>(&self, text: &'t str) -> Rows<'t> {
        let mut rows = Rows::new(text, self.ground.layout.delimiter);
        rows.width = self.ground.layout.headers.len();
        rows.rewind_behind(self.ground.layout.header);
        rows
    }

    fn read_all(&mut self, text: &str) {
        if self.ground.layout.kind == RecordKind::Hardness {
            self.bare_is_mg_l = self.has_bare_mg_l(text);
        }
        let mut rows = self.rows_behind_header(text);
        while let Some(at) = rows.next_row() {
            let outcome = self.judge(&rows);
            self.take(at.line, rows.text_of(at), outcome);
        }
    }

    /// Whether a figure of this file, given without a unit, is surely mg/L.
    fn has_bare_mg_l(&self, text: &str) -> bool {
        let Some(cell) = self.ground.layout.cell_of(Column::Hardness) else {
            return false;
        };
        let unit = self.ground.layout.cell_of(Column::Unit);
        let mut rows = self.rows_behind_header(text);
        let mut figures = Vec::new();
        while rows.next_row().is_some() {
            let unit = unit.map_or("", |unit| rows.cell(unit));
            if let Ok(Some(found)) = super::numbers::number(rows.cell(cell), self.ground.mark)
                && found.unit.is_empty()
                && plain(unit).is_empty()
            {
                figures.push(found.value);
            }
        }
        bare_is_mg_l(figures.into_iter())
    }

    fn take(&mut self, line: u64, text: &str, outcome: Outcome) {
        let position = outcome
            .day_only
            .map(|(van, date)| self.position(&van, date));
        match outcome.records {
            Ok(records) => {
                for (repair, example) in outcome.repairs {
                    self.notes.repair(line, repair, &example);
                }
                for mut record in records {
                    place_in_day(&mut record, position);
                    self.read += 1;
                    self.rows.push((line, record, text.into()));
                }
            }
            Err(reason) => {
                self.read += 1;
                self.set_aside.push(SetAside {
                    file: self.name.to_owned(),
                    line: Some(line),
                    reason,
                    text: text.to_owned(),
                });
            }
        }
    }

    /// The next place among a van's rows of a day, from 0. Rows set aside keep
    /// theirs, so that mending one moves no other.
    fn position(&mut self, van: &str, date: Date) -> u32 {
        let key: Box<str> = van.to_lowercase().into();
        let next = self.of_day.entry((key, date)).or_insert(0);
        let position = *next;
        *next += 1;
        position
    }

    fn judge(&mut self, rows: &Rows<'_>) -> Outcome {
        let cells: Vec<&str> = (0..rows.len()).map(|i| rows.cell(i)).collect();
        if let Some(reason) = no_row_of_its_own(self.ground.layout, &cells) {
            return Outcome::set_aside(reason);
        }
        let width = self.ground.layout.headers.len();
        let written = ragged::written_cells(&cells);
        if written > width || cells.len() < width {
            let cells = cells
                .get(..written.max(cells.len().min(width)))
                .unwrap_or(&cells);
            return self.judge_ragged(rows, cells);
        }
        self.judge_cells(rows, None)
    }

    fn judge_cells(&mut self, rows: &Rows<'_>, aligned: Option<&[String]>) -> Outcome {
        let mut row = Row::new(self.ground, rows, aligned, &mut self.names);
        let records = match self.ground.layout.kind {
            RecordKind::Readings => reading(&mut row),
            RecordKind::Fills => fill(&mut row),
            RecordKind::Services => service(&mut row),
            RecordKind::Vans => van(&mut row),
            RecordKind::Hardness => hardness(&mut row, self.bare_is_mg_l),
        };
        Outcome {
            records,
            repairs: row.repairs,
            day_only: row.day_only,
        }
    }

    /// A row with too many or too few cells: used where one alignment fits.
    fn judge_ragged(&mut self, rows: &Rows<'_>, cells: &[&str]) -> Outcome {
        let layout = self.ground.layout;
        let width = layout.headers.len();
        let mut sound: Vec<Outcome> = Vec::new();
        for aligned in ragged::alignments(cells, width, char::from(layout.delimiter)) {
            let outcome = self.judge_cells(rows, Some(&aligned));
            let new = outcome.records.is_ok()
                && !sound.iter().any(|other| other.records == outcome.records);
            if new {
                sound.push(outcome);
            }
        }
        match (sound.pop(), sound.is_empty()) {
            (Some(mut only), true) => {
                let what = "one cell too many or too few: only one way to read the row makes sense";
                only.repairs.push((
                    Repair {
                        column: Column::Van,
                        what,
                    },
                    String::new(),
                ));
                only
            }
            _ => {
                let word = if cells.len() == 1 { "cell" } else { "cells" };
                Outcome::set_aside(format!(
                    "{} {word} where the header has {width}",
                    cells.len()
                ))
            }
        }
    }

    fn finish(self, bytes: &[u8], words: &[&str]) -> FileRows {
        let layout = self.ground.layout;
        let row = if self.read == 1 { "row" } else { "rows" };
        let recognised = format!("{}: {}, {} {row}", layout.kind, words.join(", "), self.read);
        let sha256 = Sha256::digest(bytes)
            .iter()
            .fold(String::new(), |mut hex, byte| {
                let _ = write!(hex, "{byte:02x}");
                hex
            });
        FileRows {
            name: self.name.to_owned(),
            sha256,
            bytes: bytes.len() as u64,
            rows: self.rows,
            set_aside: self.set_aside,
            notes: self.notes.finish(|column| layout.told(column)),
            recognised,
        }
    }
}

/// What came of one row.
struct Outcome {
    records: Result<Vec<Record>, Reason>,
    repairs: Vec<(Repair, String)>,
    day_only: Option<(Arc<str>, Date)>,
}

impl Outcome {
    fn set_aside(reason: Reason) -> Outcome {
        Outcome {
            records: Err(reason),
            repairs: Vec::new(),
            day_only: None,
        }
    }
}

fn place_in_day(record: &mut Record, position: Option<u32>) {
    match record {
        Record::Reading(reading) => reading.day_position = position,
        Record::Fill(fill) => fill.day_position = position,
        _ => {}
    }
}

/// The header once more, or a total: lines that spreadsheets add.
fn no_row_of_its_own(layout: &Layout, cells: &[&str]) -> Option<Reason> {
    let same = |(cell, header): (&&str, &String)| folded(cell) == folded(header);
    let first = cells.iter().position(|cell| !cell.trim().is_empty())?;
    let is_header = layout
        .headers
        .get(first)
        .is_some_and(|h| plain(cells.get(first).unwrap_or(&"")) == plain(h));
    if is_header && cells.iter().zip(&layout.headers).all(same) {
        return Some("the header once more".into());
    }
    let total = cells.get(first).is_some_and(|cell| is_total(plain(cell)));
    let texts = layout.columns().filter(|(column, _)| !is_numeric(*column));
    let van = layout.cell_of(Column::Van).and_then(|i| cells.get(i));
    let no_van = van.is_some_and(|cell| cell.trim().is_empty());
    let total = total
        || (no_van
            && texts
                .into_iter()
                .any(|(_, i)| cells.get(i).is_some_and(|c| is_total(plain(c)))));
    total.then(|| "a total, not a row of its own".into())
}

fn is_total(cell: &str) -> bool {
    let word = cell.trim_end_matches([':', '.']).to_lowercase();
    matches!(
        word.as_str(),
        "total"
            | "totals"
            | "grand total"
            | "sum"
            | "subtotal"
            | "sub-total"
            | "sub total"
            | "average"
            | "mean"
            | "avg"
            | "count"
            | "min"
            | "max"
    )
}
