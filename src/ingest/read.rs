//! One file from its bytes to its rows: how its bytes are written, the rows that
//! can be read in bulk, what all rows tell about the file's habits, and the odd
//! rows by the careful rules. Only a window of the text and a batch of rows are
//! in memory.

use std::borrow::Cow;
use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::io::Read;
use std::path::Path;
use std::sync::Arc;

use crate::calendar::Date;

use crate::store::names::van_key;
use crate::store::records::{self, Dialect, FileHead, FileRows, FileTail, Record, SetAside};
use crate::store::{RowBatch, RowStyle};

use super::Options;
use super::answers::shape_of;
use super::bulk::{self, BulkRead, Plan};
use super::columns::Column;
use super::encoding::{Script, TextBlocks, refuse_what_is_no_table, script};
use super::error::ReadError;
use super::evidence::Evidence;
use super::files::Table;
use super::headers::RecordKind;
use super::json_lines;
use super::judge::{Outcome, Part, Records, judge};
use super::kind::recognise;
use super::layout::Layout;
use super::local_days::LocalDays;
use super::mend_file::{self, Habits, Mark};
use super::names::Names;
use super::notes::Notes;
use super::numbers::DecimalMark;
use super::own_output;
use super::refusal::{Refusal, RefusalKind};
use super::remarks::{Tick, tick};
use super::row::{Below, Cells, FileContext};
use super::rows_hardness::bare_is_mg_l;
use super::sheet::Sheet;
use super::source::{Scanned, Source, Watched};
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
    seen: Scanned,
    sheet: Sheet,
    header: String,
    /// The cell that says which row set aside a line replaces, and what the
    /// file that the rows came from had settled.
    mends: Option<(usize, Habits)>,
    notes: Notes,
    options: Options,
    /// Its headings.
    shape: String,
    /// Lines of the table that the file does not have.
    lines_before: u64,
    /// How rows are read in bulk, and where they begin: the place in the file,
    /// and the line.
    bulk: Option<(Plan, (u64, u64))>,
}

/// Rows that only the careful rules read.
enum Left {
    Nothing,
    /// From this place of the file, and its line, on.
    From(u64, u64),
    All,
}

/// Why reading in bulk ended early.
enum Stopped<E> {
    Reading(std::io::Error),
    Taking(E),
}

impl<E> From<std::io::Error> for Stopped<E> {
    fn from(error: std::io::Error) -> Stopped<E> {
        Stopped::Reading(error)
    }
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
    // records are wanted, as the careful rules give them
    let file = FileReader {
        bulk: None,
        ..FileReader::of_bytes(bytes, shown_name, options)?
    };
    let head = file.head();
    let mut all = RowBatch::default();
    let tail = file.read(|mut batch| {
        all.rows.append(&mut batch.rows);
        all.set_aside.append(&mut batch.set_aside);
        all.mends.append(&mut batch.mends);
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
        dialect: tail.dialect,
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
        let source = Source::open(path, shown_name)?;
        FileReader::new(source, shown_name, options)
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
        FileReader::new(Source::Bytes(bytes), shown_name, options)
    }

    /// A file, or a sheet of a workbook.
    ///
    /// # Errors
    /// As for [`FileReader::open`].
    pub fn of_table(table: &Table, options: &Options) -> Result<FileReader<'static>, ReadError> {
        match &table.sheet {
            None => FileReader::open(&table.path, &table.name, options),
            Some(text) => {
                let source = Source::Made(text.clone().into_bytes());
                FileReader::new(source, &table.name, options)
            }
        }
    }

    fn new(source: Source<'b>, name: &str, options: &Options) -> Result<FileReader<'b>, ReadError> {
        let made = made_of_json(&source);
        let lines_before = u64::from(made.is_some());
        let source = made.unwrap_or(source);
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
        let mut sheet = recognise(&start, name, options, &mut notes)?;
        let mends = mend_file::find(&sheet.main().headers);
        let shape = shape_of(&sheet.main().headers);
        let mut options = options.clone();
        if let Some(answer) = options.kept.of(&shape) {
            options.date_order = options.date_order.or(answer.date_order);
            options.tank_fills = options.tank_fills.or(answer.tank_fills);
        }
        if let Some((_, habits)) = &mends {
            for layout in sheet.parts_mut() {
                layout.date_order = layout.date_order.or(habits.order);
            }
        }
        let bulk = match (script.plain_behind(), &mends, lines_before) {
            (Some(mark), None, 0) => plan_of(&sheet, &start, mark, &options),
            _ => None,
        };
        Ok(FileReader {
            name: name.to_owned(),
            source,
            script,
            seen,
            header: header_of(sheet.main(), &start),
            sheet,
            mends,
            notes,
            options,
            shape,
            lines_before,
            bulk,
        })
    }

    /// How rows that are read in bulk are written again, and what separates
    /// their cells.
    pub fn row_style(&self) -> Option<(RowStyle, String)> {
        let (plan, _) = self.bulk.as_ref()?;
        Some((plan.style.clone(), char::from(plan.delimiter).to_string()))
    }

    /// Leaves nothing to be read in bulk: each row comes with its text.
    pub fn carefully(self) -> FileReader<'b> {
        FileReader { bulk: None, ..self }
    }

    /// What is known of the file before its rows are read.
    pub fn head(&self) -> FileHead {
        FileHead {
            name: self.name.clone(),
            sha256: self.seen.sha256.clone(),
            bytes: self.seen.bytes,
        }
    }

    /// The van of all rows, where no column says which.
    pub fn van(&self) -> Option<&str> {
        self.sheet.main().van.as_deref()
    }

    /// What tells files of its kind from others, for answers given once.
    pub fn shape(&self) -> &str {
        &self.shape
    }

    /// Walks once over the rows that are left to the careful rules, making sure
    /// that the bytes are still those of the first pass.
    fn pass<E: From<ReadError>>(
        &self,
        left: &Left,
        walk: impl FnOnce(&mut Rows<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let unreadable = |source| unreadable(&self.name, source);
        let watched = Watched::over(&self.source).map_err(unreadable)?;
        let blocks = match left {
            Left::Nothing => return Ok(()),
            Left::All => TextBlocks::new(Box::new(watched.bytes()), &self.script),
            Left::From(place, _) => {
                let mut above = watched.bytes().take(*place);
                std::io::copy(&mut above, &mut std::io::sink()).map_err(unreadable)?;
                TextBlocks::new(Box::new(watched.bytes()), &Script::plain())
            }
        };
        let layout = self.sheet.main();
        let mut rows = Rows::of_blocks(blocks, layout.delimiter);
        rows.widths = (layout.width(), layout.headers.len());
        rows.quote = layout.quote;
        match left {
            Left::From(_, line) => rows.begin_on(*line),
            _ => rows.rewind_behind(layout.header),
        }
        walk(&mut rows)?;
        if let Some(error) = rows.failure() {
            return Err(unreadable(error).into());
        }
        self.is_unchanged(watched)
    }

    fn is_unchanged<E: From<ReadError>>(&self, watched: Watched<'_>) -> Result<(), E> {
        if watched.seen() == self.seen {
            return Ok(());
        }
        let file = self.name.clone();
        Err(ReadError::Changed { file }.into())
    }

    /// Reads as far as it goes in bulk.
    fn read_in_bulk<E: From<ReadError>>(
        &self,
        take: &mut impl FnMut(RowBatch) -> Result<(), E>,
    ) -> Result<(BulkRead, Left), E> {
        let Some((plan, (place, line))) = &self.bulk else {
            return Ok((BulkRead::default(), Left::All));
        };
        let unreadable = |source| unreadable(&self.name, source);
        let watched = Watched::over(&self.source).map_err(unreadable)?;
        let mut bytes = watched.bytes();
        let mut above = (&mut bytes).take(*place);
        std::io::copy(&mut above, &mut std::io::sink()).map_err(unreadable)?;
        let hand_on = |columns| {
            let batch = RowBatch {
                columns,
                ..RowBatch::default()
            };
            take(batch).map_err(Stopped::Taking)
        };
        let read = bulk::read(plan, &mut bytes, (*place, *line), &self.options, hand_on);
        let read = read.map_err(|stopped| match stopped {
            Stopped::Reading(error) => unreadable(error).into(),
            Stopped::Taking(error) => error,
        })?;
        let left = match read.rest {
            Some((place, line)) => Left::From(place, line),
            None => Left::Nothing,
        };
        std::io::copy(&mut bytes, &mut std::io::sink()).map_err(unreadable)?;
        drop(bytes);
        self.is_unchanged(watched)?;
        Ok((read, left))
    }

    /// Reads the rows, handing them on in batches in the order of the file.
    ///
    /// # Errors
    /// [`ReadError::Changed`] and [`ReadError::Unreadable`], after which the
    /// batches handed on are worth nothing; or what `take` says.
    pub fn read<E: From<ReadError>>(
        self,
        mut take: impl FnMut(RowBatch) -> Result<(), E>,
    ) -> Result<FileTail, E> {
        let (options, layout) = (&self.options, self.sheet.main());
        let (bulk, left) = self.read_in_bulk(&mut take)?;
        let mut evidence = Evidence::default();
        evidence.add_bulk(&bulk.counted, layout.headers.len());
        for row in &bulk.odd {
            let mut rows = Rows::of_line(&row.text, row.line, layout);
            evidence.add(&mut rows, &self.sheet, options.today);
        }
        self.pass(&left, |rows| {
            evidence.add(rows, &self.sheet, options.today);
            Ok::<(), E>(())
        })?;
        let evidence = &evidence;
        let mut notes = self.notes.clone();
        let mut habits = evidence.date_habits(layout.date_order, options.date_order, options.today);
        if let (Some(stated), Some(own)) = (options.date_order, habits.order)
            && stated != own
        {
            let (own, stated) = (own.label(), stated.label());
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
        let zone = LocalDays::new(options.time_zone);
        let came_with = self
            .mends
            .clone()
            .map(|(_, habits)| habits)
            .unwrap_or_default();
        habits.midnight_is_none &= !came_with.midnights;
        let own_mark = evidence.decimal_mark(layout.delimiter);
        let mark = came_with.mark.filter(|_| !evidence.tells_decimals());
        let mut context = FileContext {
            sheet: &self.sheet,
            mark: mark.unwrap_or(own_mark),
            habits,
            usual_cells: evidence.usual_cells(layout.headers.len()),
            ends_early: evidence.ends_early(),
            below: RefCell::new(Below::Own),
            zone: &zone,
            today: options.today,
            small_litres: evidence.small_litres(options.tank_fills),
            bare_is_mg_l: false,
            done_on: options.done.and_then(|done| done.on),
        };
        if layout.kind == RecordKind::Hardness {
            let mut surely = false;
            self.pass(&left, |rows| {
                surely = has_bare_mg_l(&context, rows);
                Ok::<(), E>(())
            })?;
            context.bare_is_mg_l = surely;
        }
        // what a workbook or JSON lines were made into is nobody's separator
        let is_made = matches!(self.source, Source::Made(_));
        let mut words = Vec::new();
        words.extend((!is_made).then(|| layout.delimiter_word()));
        words.extend(self.script.told);
        words.extend(evidence.label(&habits));
        let settled = Habits {
            order: habits.order,
            mark: matches!(context.mark, DecimalMark::Point | DecimalMark::Comma)
                .then_some(context.mark),
            midnights: evidence.has_midnights() || came_with.midnights,
            kinds: self
                .sheet
                .is_mixed()
                .then(|| self.sheet.parts().map(|part| part.kind).collect()),
            van: layout.van.clone(),
        };
        let mut file = File::new(&self.name, &context, notes);
        file.mark_cell = self.mends.as_ref().map(|(cell, _)| *cell);
        file.lines_before = self.lines_before;
        file.read = bulk.counted.rows;
        for row in &bulk.odd {
            let mut rows = Rows::of_line(&row.text, row.line, layout);
            file.read_all(&mut rows, &mut take)?;
        }
        self.pass(&left, |rows| file.read_all(rows, &mut take))?;
        take(std::mem::take(&mut file.batch))?;
        Ok(FileTail {
            dialect: Dialect {
                header: self.header.clone(),
                delimiter: char::from(layout.delimiter).to_string(),
                habits: settled.label(),
            },
            ..file.finish(&words)
        })
    }
}

/// JSON lines as a table, which has a line of headings before them; `None` where
/// the source is something else.
fn made_of_json<'b>(source: &Source<'b>) -> Option<Source<'b>> {
    let mut start = Vec::new();
    let mut bytes = source.rewound().ok()?;
    bytes.by_ref().take(64).read_to_end(&mut start).ok()?;
    let is_blank = |byte: &u8| byte.is_ascii_whitespace() || b"\xef\xbb\xbf".contains(byte);
    if start.iter().find(|byte| !is_blank(byte)) != Some(&b'{') {
        return None;
    }
    bytes.read_to_end(&mut start).ok()?;
    let text = String::from_utf8_lossy(&start);
    let table = json_lines::table_of(text.trim_start_matches('\u{feff}'))?;
    Some(Source::Made(table.into_bytes()))
}

/// How the rows of a file are read in bulk, and where they begin. `mark`: the
/// length of the byte-order mark.
fn plan_of(
    sheet: &Sheet,
    start: &str,
    mark: usize,
    options: &Options,
) -> Option<(Plan, (u64, u64))> {
    let layout = sheet.main();
    let mut rows = Rows::new(start, layout.delimiter);
    rows.rewind_behind(layout.header);
    let (behind, line) = rows.place();
    let first = start.get(behind..)?.trim_start_matches(['\r', '\n']);
    let plan = Plan::of(sheet, first, options)?;
    Some((plan, ((mark + behind) as u64, line)))
}

/// The line of headers, and that of units below it where there is one.
fn header_of(layout: &Layout, start: &str) -> String {
    let without_marks = |cells: &[String]| {
        let own = layout.headers.iter().zip(cells);
        let own = own.filter(|(header, _)| !mend_file::is_ours(header));
        own.map(|(_, cell)| cell.clone()).collect::<Vec<_>>()
    };
    let mut lines = vec![without_marks(&layout.headers)];
    let last = Rows::new(start, layout.delimiter);
    let mut last = Rows::new(last.text_of(layout.header), layout.delimiter);
    last.quote = layout.quote;
    if last.next_row().is_some() {
        let cells: Vec<String> = (0..last.len()).map(|i| last.cell(i).to_owned()).collect();
        if cells != layout.headers {
            lines.push(without_marks(&cells));
        }
    }
    mend_file::lines_of(&lines, layout.delimiter)
}

fn unreadable(name: &str, source: std::io::Error) -> ReadError {
    ReadError::Unreadable {
        file: name.to_owned(),
        source,
    }
}

/// Whether a figure of a hardness file, given without a unit, is surely mg/L.
fn has_bare_mg_l(context: &FileContext<'_>, rows: &mut Rows<'_>) -> bool {
    let layout = context.sheet.main();
    let Some(cell) = layout.cell_of(Column::Hardness) else {
        return false;
    };
    let unit = layout.cell_of(Column::Unit);
    let mut surely = false;
    while let Some(at) = rows.next_row() {
        let unit = unit.map_or("", |unit| rows.cell(unit));
        if !at.is_too_long
            && let Ok(Some(found)) = super::numbers::number(rows.cell(cell), context.mark)
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
        "day and month cannot be told apart in {open} dates: {why}; say --date-order day-first or --date-order month-first and ingest the file again"
    )
}

/// A file being read.
struct File<'f> {
    name: &'f str,
    context: &'f FileContext<'f>,
    notes: Notes,
    names: Names,
    batch: RowBatch,
    batch_text: usize,
    read: u64,
    /// Rows set aside by what is wrong with them.
    refused: BTreeMap<RefusalKind, u64>,
    /// Jobs of a list that were not ticked.
    not_done: u64,
    /// Lines of the table that the file does not have.
    lines_before: u64,
    /// The cell that says which row set aside a line replaces.
    mark_cell: Option<usize>,
    /// Numbers of the vans whose rows hold only a day, by name and by key.
    numbers: HashMap<Arc<str>, usize>,
    keys: HashMap<String, usize>,
    /// Rows so far of a van on a day, where only the day is known.
    of_day: HashMap<(RecordKind, usize, Date), u32>,
}

impl<'f> File<'f> {
    fn new(name: &'f str, context: &'f FileContext<'f>, notes: Notes) -> Self {
        File {
            name,
            context,
            notes,
            names: Names::default(),
            batch: RowBatch::default(),
            batch_text: 0,
            read: 0,
            refused: BTreeMap::new(),
            not_done: 0,
            lines_before: 0,
            mark_cell: None,
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
            let at = at.above(self.lines_before);
            if at.is_too_long {
                self.set_aside(at.line, &Refusal::TooLong, rows.text_of(at), true, None);
            } else if self.mark_cell.is_some() && !self.is_whole(rows) {
                // the two cells in front must not be taken for cells of the row
                let width = self.context.sheet.main().width();
                let cells = rows.len();
                let mark = self.mark(rows);
                let place = mark.map(Mark::place_in_day);
                let text = self.own_text(at, rows);
                let number = self.number_of_mark(at, mark);
                self.set_aside(
                    number,
                    &Refusal::Width { cells, width },
                    &text,
                    false,
                    place,
                );
            } else if self.is_not_done(rows) {
                self.not_done += 1;
            } else {
                let mark = self.mark(rows);
                let only = mark.and_then(|mark| kind_of(mark.mends.line));
                let outcome = judge(self.context, rows, &mut self.names, only);
                self.take(at, rows, outcome, mark);
            }
            if self.batch.rows.len() + self.batch.set_aside.len() >= BATCH_ROWS
                || self.batch_text >= BATCH_TEXT
            {
                self.batch_text = 0;
                take(std::mem::take(&mut self.batch))?;
            }
        }
        Ok(())
    }

    fn is_whole(&self, rows: &Rows<'_>) -> bool {
        let layout = self.context.sheet.main();
        let most = layout.headers.len();
        let beyond = |i: usize| !plain(rows.cell(i)).is_empty();
        rows.len() >= layout.width() && !(most..rows.len()).any(beyond)
    }

    /// Whether the row is a job of a list that is not ticked, or one that
    /// leaves every part where it is.
    fn is_not_done(&self, rows: &Rows<'_>) -> bool {
        let layout = self.context.sheet.main();
        let is_empty = |cell: &usize| tick(plain(rows.cell(*cell))) == Tick::No;
        let is_look = |header: &String, cell: usize| {
            own_output::is_task(header) && own_output::is_look(rows.cell(cell))
        };
        !layout.ticked.is_empty()
            && (layout.ticked.iter().all(is_empty)
                || (0..).zip(&layout.headers).any(|(cell, h)| is_look(h, cell)))
    }

    /// The row's text, without the cells that say which one it replaces.
    fn own_text<'t>(&self, at: RowAt, rows: &'t Rows<'_>) -> Cow<'t, str> {
        if self.mark_cell.is_none() {
            return Cow::Borrowed(rows.text_of(at));
        }
        let headers = &self.context.sheet.main().headers;
        let is_own = |i: &usize| headers.get(*i).is_none_or(|h| !mend_file::is_ours(h));
        let own = (0..rows.len()).filter(is_own);
        let own: Vec<String> = own.map(|i| rows.cell(i).to_owned()).collect();
        let text = mend_file::lines_of(&[own], self.context.sheet.main().delimiter);
        Cow::Owned(text.trim_end().to_owned())
    }

    /// Which row set aside the present one replaces.
    fn mark(&self, rows: &Rows<'_>) -> Option<Mark> {
        mend_file::read_mark(rows.cell(self.mark_cell?))
    }

    /// The number of a row that replaces another: a part of the same kind.
    fn number_of_mark(&mut self, at: RowAt, mark: Option<Mark>) -> u64 {
        let kind = mark.and_then(|mark| kind_of(mark.mends.line));
        let number = kind.map_or(at.line, |kind| self.number(at, kind));
        if let Some(mark) = mark {
            self.batch.mends.push((number, mark.mends));
        }
        number
    }

    /// The number under which the part of a row is known.
    fn number(&self, at: RowAt, kind: RecordKind) -> u64 {
        if self.context.sheet.is_mixed() {
            records::part_number(at.line, kind.number())
        } else {
            at.line
        }
    }

    fn set_aside(
        &mut self,
        number: u64,
        refusal: &Refusal,
        text: &str,
        is_cut: bool,
        day_position: Option<u32>,
    ) {
        self.read += 1;
        *self.refused.entry(refusal.kind()).or_insert(0) += 1;
        self.batch.set_aside.push(SetAside {
            file: self.name.to_owned(),
            line: Some(records::line_of(number)),
            part: records::part_of(number),
            reason: refusal.to_string(),
            text: kept(text, is_cut),
            day_position,
        });
        self.batch_text += text.len();
    }

    fn take(&mut self, at: RowAt, rows: &Rows<'_>, outcome: Outcome, mark: Option<Mark>) {
        let text = &*self.own_text(at, rows);
        let mut is_marked = false;
        for part in outcome.parts {
            let number = match part.is_of_its_kind {
                true => self.number(at, part.kind),
                false => at.line,
            };
            if let Some(mark) = mark.filter(|_| !is_marked) {
                self.batch.mends.push((number, mark.mends));
                is_marked = true;
            }
            self.take_part(
                (at, number),
                rows,
                part,
                outcome.aligned.as_deref(),
                (mark, text),
            );
        }
    }

    fn take_part(
        &mut self,
        (at, number): (RowAt, u64),
        rows: &Rows<'_>,
        part: Part,
        aligned: Option<&[String]>,
        (mark, text): (Option<Mark>, &str),
    ) {
        let position = part.day_only.map(|(van, date)| match mark {
            Some(mark) => mark.place_in_day(),
            None => self.position(part.kind, van, date),
        });
        let records = match part.records {
            Ok(records) => records,
            Err(refusal) => {
                self.set_aside(number, &refusal, text, false, position);
                return;
            }
        };
        let sheet = self.context.sheet;
        let own = sheet.parts().find(|layout| layout.kind == part.kind);
        let cells = Cells {
            layout: own.unwrap_or(sheet.main()),
            rows,
            aligned,
        };
        for repair in part.repairs {
            let example = repair.column.map_or("", |column| cells.get(column));
            self.notes.repair(at.line, repair, example);
        }
        match records {
            Records::One(record) => self.keep(number, record, position, text),
            Records::Several(records) => {
                for record in records {
                    self.keep(number, record, position, text);
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
    fn position(&mut self, kind: RecordKind, van: Arc<str>, date: Date) -> u32 {
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
        let next = self.of_day.entry((kind, number, date)).or_insert(0);
        let position = *next;
        *next += 1;
        position
    }

    fn finish(mut self, words: &[&str]) -> FileTail {
        let sheet = self.context.sheet;
        let row = if self.read == 1 { "row" } else { "rows" };
        if self.not_done > 0 {
            let jobs = if self.not_done == 1 { "job" } else { "jobs" };
            let text = format!(
                "{} {jobs} not ticked, or nothing but a look: passed over",
                self.not_done
            );
            self.notes.file(None, text);
        }
        let mut told: Vec<&str> = words.to_vec();
        let rows = format!("{} {row}", self.read);
        told.push(&rows);
        let recognised = format!("{}: {}", sheet.kinds(), told.join(", "));
        let refused = self.refused.into_iter();
        FileTail {
            recognised,
            notes: self.notes.finish(|column| sheet.label(column)),
            dialect: Dialect::default(),
            refused: refused.map(|(kind, rows)| (kind.word(), rows)).collect(),
        }
    }
}

/// The kind of the part of a line that a number stands for.
fn kind_of(number: u64) -> Option<RecordKind> {
    let number = records::part_of(number);
    RecordKind::ALL
        .into_iter()
        .find(|kind| kind.number() == number)
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
