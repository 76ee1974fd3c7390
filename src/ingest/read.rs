//! One file from its bytes to its rows, in three passes over it: how its bytes
//! are written, what its rows tell about its habits, and the rows themselves.
//! Only a window of the text and a batch of rows are in memory.

use std::cell::Cell;
use std::collections::HashMap;
use std::path::Path;
use std::sync::Arc;

use jiff::civil::Date;

use crate::store::names::van_key;
use crate::store::records::{FileHead, FileRows, FileTail, Record, RowBatch, SetAside};

use super::Options;
use super::columns::Column;
use super::encoding::{Script, TextBlocks, refuse_what_is_no_table, script};
use super::error::ReadError;
use super::evidence::Evidence;
use super::headers::RecordKind;
use super::instants::DAY_OR_MONTH;
use super::judge::{Outcome, Records, judge};
use super::kind::recognise;
use super::layout::Layout;
use super::local_days::LocalDays;
use super::names::Names;
use super::notes::Notes;
use super::row::{Cells, Ground};
use super::rows_hardness::bare_is_mg_l;
use super::source::{Seen, Source, Watched};
use super::split::{RowAt, Rows};
use super::text::plain;

/// Rows handed on at a time.
const BATCH_ROWS: usize = 8_192;
/// Bytes of text after which fewer are.
const BATCH_TEXT: usize = 1 << 22;
/// Bytes kept of a row's text.
const KEPT_TEXT: usize = 1 << 16;

/// A file whose header and habits are known, and whose rows are still to be read.
pub struct FileReader<'b> {
    name: String,
    source: Source<'b>,
    script: Script,
    seen: Seen,
    layout: Layout,
    evidence: Evidence,
    notes: Notes,
    options: Options,
}

/// Reads one file from its bytes. `shown_name` is the file as the user named it.
///
/// # Errors
/// One sentence on why the whole file cannot be taken in.
pub fn read_bytes(
    bytes: &[u8],
    shown_name: &str,
    options: &Options,
) -> Result<FileRows, ReadError> {
    let file = FileReader::of_bytes(bytes, shown_name, options)?;
    let head = file.head();
    let mut all = RowBatch::default();
    let tail = file.read(|mut batch| {
        all.rows.append(&mut batch.rows);
        all.set_aside.append(&mut batch.set_aside);
        Ok::<(), ReadError>(())
    })?;
    Ok(FileRows {
        name: head.name,
        sha256: head.sha256,
        bytes: head.bytes,
        rows: all.rows,
        set_aside: all.set_aside,
        notes: tail.notes,
        recognised: tail.recognised,
    })
}

impl<'b> FileReader<'b> {
    /// Opens a file. `shown_name` is the file as the user named it.
    ///
    /// # Errors
    /// One sentence on why the whole file cannot be taken in.
    pub fn open(
        path: &Path,
        shown_name: &str,
        options: &Options,
    ) -> Result<FileReader<'static>, ReadError> {
        FileReader::of_source(Source::open(path, shown_name)?, shown_name, options)
    }

    /// The same for bytes in memory.
    ///
    /// # Errors
    /// As for [`FileReader::open`].
    pub fn of_bytes(
        bytes: &'b [u8],
        shown_name: &str,
        options: &Options,
    ) -> Result<FileReader<'b>, ReadError> {
        FileReader::of_source(Source::Bytes(bytes), shown_name, options)
    }

    fn of_source(
        source: Source<'b>,
        name: &str,
        options: &Options,
    ) -> Result<FileReader<'b>, ReadError> {
        let unreadable = |source| unreadable(name, source);
        let watched = Watched::over(&source).map_err(unreadable)?;
        let script = script(watched.bytes(), name)?;
        let seen = watched.seen();

        let (start, is_whole) = {
            let watched = Watched::over(&source).map_err(unreadable)?;
            let blocks = TextBlocks::new(Box::new(watched.bytes()), &script);
            Rows::of_blocks(blocks, b',').into_first_window()
        };
        refuse_what_is_no_table(&start, is_whole, name)?;
        let mut notes = Notes::default();
        if script.lost > 0 {
            notes.file(
                None,
                format!(
                    "{} characters could not be read and were left out",
                    script.lost
                ),
            );
        }
        let layout = recognise(&start, name, &mut notes)?;
        let file = FileReader {
            name: name.to_owned(),
            source,
            script,
            seen,
            layout,
            evidence: Evidence::default(),
            notes,
            options: options.clone(),
        };
        let gather = |rows: &mut Rows<'_>| {
            Ok::<_, ReadError>(Evidence::gather(rows, &file.layout, options.today))
        };
        let evidence = file.pass(gather)?;
        Ok(FileReader { evidence, ..file })
    }

    /// What is known of the file before its rows are read.
    pub fn head(&self) -> FileHead {
        FileHead {
            name: self.name.clone(),
            sha256: self.seen.sha256.clone(),
            bytes: self.seen.bytes,
        }
    }

    /// Walks once over the rows behind the header, making sure that the bytes
    /// are still those of the first pass.
    fn pass<T, E: From<ReadError>>(
        &self,
        walk: impl FnOnce(&mut Rows<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let unreadable = |source| unreadable(&self.name, source);
        let watched = Watched::over(&self.source).map_err(unreadable)?;
        let blocks = TextBlocks::new(Box::new(watched.bytes()), &self.script);
        let mut rows = Rows::of_blocks(blocks, self.layout.delimiter);
        rows.widths = (self.layout.width(), self.layout.headers.len());
        rows.quote = self.layout.quote;
        rows.rewind_behind(self.layout.header);
        let found = walk(&mut rows)?;
        if let Some(error) = rows.failure() {
            return Err(unreadable(error).into());
        }
        if watched.seen() != self.seen {
            let file = self.name.clone();
            return Err(ReadError::Changed { file }.into());
        }
        Ok(found)
    }

    /// Reads the rows, handing them on in batches in the order of the file.
    ///
    /// # Errors
    /// [`ReadError::Changed`] and [`ReadError::Unreadable`], after which the
    /// batches handed on are worth nothing; or what `take` says.
    pub fn read<E: From<ReadError>>(
        mut self,
        mut take: impl FnMut(RowBatch) -> Result<(), E>,
    ) -> Result<FileTail, E> {
        let options = &self.options;
        let (evidence, layout) = (&self.evidence, &self.layout);
        let mut notes = std::mem::take(&mut self.notes);
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
            layout,
            mark: evidence.decimal_mark(layout.delimiter),
            habits,
            usual_cells: evidence.usual_cells(layout.headers.len()),
            ends_early: evidence.ends_early(),
            in_another_table: Cell::new(false),
            zone: &zone,
            today: options.today,
        };
        let mut words = vec![layout.delimiter_word()];
        words.extend(self.script.told);
        words.extend(evidence.told(&habits));
        let mut file = File::new(&self.name, &ground, notes);
        if layout.kind == RecordKind::Hardness {
            file.bare_is_mg_l = self.pass(|rows| Ok::<_, E>(has_bare_mg_l(&ground, rows)))?;
        }
        self.pass(|rows| file.read_all(rows, &mut take))?;
        Ok(file.finish(&words))
    }
}

fn unreadable(name: &str, source: std::io::Error) -> ReadError {
    ReadError::Unreadable {
        file: name.to_owned(),
        source,
    }
}

/// Whether a figure of a hardness file, given without a unit, is surely mg/L.
fn has_bare_mg_l(ground: &Ground<'_>, rows: &mut Rows<'_>) -> bool {
    let Some(cell) = ground.layout.cell_of(Column::Hardness) else {
        return false;
    };
    let unit = ground.layout.cell_of(Column::Unit);
    let mut surely = false;
    while let Some(at) = rows.next_row() {
        let unit = unit.map_or("", |unit| rows.cell(unit));
        if !at.is_too_long
            && let Ok(Some(found)) = super::numbers::number(rows.cell(cell), ground.mark)
            && found.unit.is_empty()
            && plain(unit).is_empty()
        {
            surely |= bare_is_mg_l(std::iter::once(found.value));
        }
    }
    surely
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
    batch: RowBatch,
    batch_text: usize,
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
            batch: RowBatch::default(),
            batch_text: 0,
            read: 0,
            bare_is_mg_l: false,
            numbers: HashMap::new(),
            keys: HashMap::new(),
            of_day: HashMap::new(),
        }
    }

    fn read_all<E>(
        &mut self,
        rows: &mut Rows<'_>,
        take: &mut impl FnMut(RowBatch) -> Result<(), E>,
    ) -> Result<(), E> {
        while let Some(at) = rows.next_row() {
            if at.is_too_long {
                let reason = "a line of more than 1 MiB: no row of ours";
                self.set_aside(at.line, reason.to_owned(), rows.text_of(at), true);
            } else {
                let outcome = judge(self.ground, rows, &mut self.names, self.bare_is_mg_l);
                self.take(at, rows, outcome);
            }
            if self.batch.rows.len() + self.batch.set_aside.len() >= BATCH_ROWS
                || self.batch_text >= BATCH_TEXT
            {
                self.batch_text = 0;
                take(std::mem::take(&mut self.batch))?;
            }
        }
        take(std::mem::take(&mut self.batch))
    }

    fn set_aside(&mut self, line: u64, reason: String, text: &str, is_cut: bool) {
        self.read += 1;
        self.batch.set_aside.push(SetAside {
            file: self.name.to_owned(),
            line: Some(line),
            reason,
            text: kept(text, is_cut),
        });
        self.batch_text += text.len();
    }

    fn take(&mut self, at: RowAt, rows: &Rows<'_>, outcome: Outcome) {
        let position = outcome.day_only.map(|(van, date)| self.position(van, date));
        let text = rows.text_of(at);
        let records = match outcome.records {
            Ok(records) => records,
            Err(reason) => {
                self.set_aside(at.line, reason, text, false);
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
        self.batch_text += text.len();
        let text = kept(text, false);
        self.batch.rows.push((line, record, text.into()));
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

    fn finish(self, words: &[&str]) -> FileTail {
        let layout = self.ground.layout;
        let row = if self.read == 1 { "row" } else { "rows" };
        FileTail {
            recognised: format!("{}: {}, {} {row}", layout.kind, words.join(", "), self.read),
            notes: self.notes.finish(|column| layout.told(column)),
        }
    }
}

/// A row's text as it is kept: whole, or its start and a sign that more stood
/// in the file.
fn kept(text: &str, is_cut: bool) -> String {
    if text.len() <= KEPT_TEXT && !is_cut {
        return text.to_owned();
    }
    let end = text.floor_char_boundary(KEPT_TEXT);
    format!("{} […]", text.get(..end).unwrap_or_default())
}

fn place_in_day(record: &mut Record, position: Option<u32>) {
    match record {
        Record::Reading(reading) => reading.day_position = position,
        Record::Fill(fill) => fill.day_position = position,
        _ => {}
    }
}
