//! One file from its bytes to its rows.

use std::cell::Cell;
use std::collections::HashMap;
use std::fmt::Write as _;
use std::sync::Arc;

use jiff::civil::Date;
use sha2::{Digest, Sha256};

use crate::store::names::van_key;
use crate::store::records::{FileRows, Record, SetAside};

use super::columns::Column;
use super::error::ReadError;
use super::evidence::Evidence;
use super::headers::RecordKind;
use super::instants::DAY_OR_MONTH;
use super::judge::{Outcome, Records, judge};
use super::kind::recognise;
use super::local_days::LocalDays;
use super::names::Names;
use super::notes::Notes;
use super::row::{Cells, Ground};
use super::rows_hardness::bare_is_mg_l;
use super::split::{RowAt, Rows};
use super::text::plain;
use super::{Options, encoding};

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
    let habits = evidence.date_habits(layout.date_order, options.date_order, options.today);
    if let (Some(stated), Some(own)) = (options.date_order, habits.order)
        && stated != own
    {
        let (own, stated) = (own.told(), stated.told());
        notes.file(
            None,
            format!(
                "{own}, as its own rows or header settle it, in spite of --date-order ({stated})"
            ),
        );
    }
    if let Some((open, contradicts)) = evidence.open_dates(&habits) {
        notes.file(None, unsettled_note(open, contradicts));
    }
    let zone = LocalDays::new(options.time_zone.clone());
    let ground = Ground {
        layout: &layout,
        mark: evidence.decimal_mark(layout.delimiter),
        habits,
        usual_cells: evidence.usual_cells(layout.headers.len()),
        ends_early: evidence.ends_early(),
        in_another_table: Cell::new(false),
        zone: &zone,
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
    /// Numbers of the vans whose rows hold only a day, by name and by key.
    numbers: HashMap<Arc<str>, usize>,
    keys: HashMap<String, usize>,
    /// Rows so far of a van on a day, where only the day is known.
    of_day: HashMap<(usize, Date), u32>,
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
            numbers: HashMap::new(),
            keys: HashMap::new(),
            of_day: HashMap::new(),
        }
    }

    fn rows_behind_header<'t>(&self, text: &'t str) -> Rows<'t> {
        let mut rows = Rows::new(text, self.ground.layout.delimiter);
        rows.widths = (self.ground.layout.width(), self.ground.layout.headers.len());
        rows.quote = self.ground.layout.quote;
        rows.rewind_behind(self.ground.layout.header);
        rows
    }

    fn read_all(&mut self, text: &str) {
        if self.ground.layout.kind == RecordKind::Hardness {
            self.bare_is_mg_l = self.has_bare_mg_l(text);
        }
        let mut rows = self.rows_behind_header(text);
        while let Some(at) = rows.next_row() {
            let outcome = judge(self.ground, &rows, &mut self.names, self.bare_is_mg_l);
            self.take(at, &rows, outcome);
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

    fn take(&mut self, at: RowAt, rows: &Rows<'_>, outcome: Outcome) {
        let position = outcome.day_only.map(|(van, date)| self.position(van, date));
        let text = rows.text_of(at);
        let records = match outcome.records {
            Ok(records) => records,
            Err(reason) => {
                self.read += 1;
                self.set_aside.push(SetAside {
                    file: self.name.to_owned(),
                    line: Some(at.line),
                    reason,
                    text: text.to_owned(),
                });
                return;
            }
        };
        let cells = Cells {
            layout: self.ground.layout,
            rows,
            aligned: outcome.aligned.as_deref(),
        };
        for repair in outcome.repairs {
            let example = repair.column.map_or("", |column| cells.get(column));
            self.notes.repair(at.line, repair, example);
        }
        match records {
            Records::One(record) => self.keep(at.line, record, position, text),
            Records::Several(records) => {
                for record in records {
                    self.keep(at.line, record, position, text);
                }
            }
        }
    }

    fn keep(&mut self, line: u64, mut record: Record, position: Option<u32>, text: &str) {
        place_in_day(&mut record, position);
        self.read += 1;
        self.rows.push((line, record, text.into()));
    }

    /// The next place among a van's rows of a day, from 0. Rows set aside keep
    /// theirs, so that mending one moves no other.
    fn position(&mut self, van: Arc<str>, date: Date) -> u32 {
        let number = match self.numbers.get(&van) {
            Some(number) => *number,
            None => {
                // spellings of one van are one van here too
                let next = self.keys.len();
                let number = *self.keys.entry(van_key(&van)).or_insert(next);
                self.numbers.insert(van, number);
                number
            }
        };
        let next = self.of_day.entry((number, date)).or_insert(0);
        let position = *next;
        *next += 1;
        position
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

fn place_in_day(record: &mut Record, position: Option<u32>) {
    match record {
        Record::Reading(reading) => reading.day_position = position,
        Record::Fill(fill) => fill.day_position = position,
        _ => {}
    }
}
