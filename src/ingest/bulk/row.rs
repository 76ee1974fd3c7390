//! Rows of a block, read with a cursor: no row is looked at twice, and what is
//! odd in any way is left to the careful rules.

use std::collections::HashMap;

use crate::store::Cell;
use crate::store::records::{Item, Source};
use crate::store::{KindRows, RowBuilder};

use super::super::Options;
use super::super::evidence::BulkEvidence;
use super::super::kind::heads_a_table;
use super::super::local_days::LocalDays;
use super::super::row::{is_plain_text, is_plain_van, plain_place};
use super::super::text::is_no_value;
use super::super::words::{SourceWord, items, source};
use super::OddRow;
use super::cells::{self, Clock};
use super::days::{Day, Days};
use super::plan::{BulkCell, Plan};

/// Bytes of the longest row that is read in bulk.
const LONGEST: usize = 1 << 10;
const DAY_SECONDS: i64 = 86_400;
const MICROSECONDS: i64 = 1_000_000;
/// Different cells that a reader knows at most.
const MOST_KNOWN: usize = 1 << 20;

/// One of those who read a file's blocks.
pub(super) struct Reader<'p> {
    plan: &'p Plan,
    days: Days,
    /// The day last seen as it was written, and the instant at which it begins.
    last_day: ([u8; 10], Option<(Day, i64)>),
    vans: Known<()>,
    places: Known<()>,
    texts: Known<()>,
    sources: Known<Source>,
    items: Known<Item>,
    blank: Vec<Cell<'static>>,
}

/// Cells met before, and what they mean; `None` for one that is odd.
struct Known<T>(HashMap<Box<[u8]>, Option<T>>);

impl<T: Copy> Known<T> {
    fn new() -> Known<T> {
        Known(HashMap::new())
    }

    fn get(&mut self, cell: &[u8], read: impl FnOnce(&str) -> Option<T>) -> Option<T> {
        if let Some(known) = self.0.get(cell) {
            return *known;
        }
        let found = std::str::from_utf8(cell).ok().and_then(read);
        if self.0.len() < MOST_KNOWN {
            self.0.insert(cell.into(), found);
        }
        found
    }
}

/// What was read of a block.
pub(super) struct BlockRead {
    pub rows: Option<KindRows>,
    pub counted: BulkEvidence,
    pub odd: Vec<OddRow>,
    /// Where the careful rules have to read on by themselves: the place in the
    /// block, and the line.
    pub stop: Option<(usize, u64)>,
}

/// What has been read of a row.
struct RowRead<'b> {
    cells: Vec<Cell<'b>>,
    /// Whether its values give its text back.
    as_written: bool,
    tells_point: bool,
    has_time: bool,
}

impl<'b> RowRead<'b> {
    fn set(&mut self, at: usize, cell: Cell<'b>) {
        if let Some(slot) = self.cells.get_mut(at) {
            *slot = cell;
        }
    }

    fn number(&self, at: usize) -> Option<f64> {
        match self.cells.get(at) {
            Some(Cell::Real(value)) => Some(*value),
            _ => None,
        }
    }
}

impl<'p> Reader<'p> {
    pub fn new(plan: &'p Plan, options: &Options) -> Reader<'p> {
        let zone = LocalDays::new(options.time_zone);
        Reader {
            plan,
            days: Days::new(zone, options.today),
            last_day: ([0; 10], None),
            vans: Known::new(),
            places: Known::new(),
            texts: Known::new(),
            sources: Known::new(),
            items: Known::new(),
            blank: plan.blank(),
        }
    }

    /// Reads the rows of a block that begins on this line.
    pub fn read(&mut self, bytes: &[u8], first_line: u64) -> BlockRead {
        let mut read = BlockRead {
            rows: None,
            counted: BulkEvidence::default(),
            odd: Vec::new(),
            stop: None,
        };
        let mut builder = RowBuilder::new(self.plan.table);
        let mut row = RowRead {
            cells: self.plan.blank(),
            as_written: false,
            tells_point: false,
            has_time: false,
        };
        let (mut rest, mut line) = (bytes, first_line);
        while !rest.is_empty() {
            rest = match rest {
                [b'\n', rest @ ..] | [b'\r', b'\n', rest @ ..] => rest,
                _ => match self.row(rest, line, &mut row, &mut builder, &mut read.counted) {
                    Some(behind) => behind,
                    None => match self.set_apart(rest, line, &mut read.odd) {
                        Some(behind) => behind,
                        None => {
                            read.stop = Some((bytes.len() - rest.len(), line));
                            break;
                        }
                    },
                },
            };
            line += 1;
        }
        // of a row with too few cells there is none
        read.rows = (!builder.is_empty()).then(|| builder.take().ok()).flatten();
        read
    }

    /// Keeps a row for the careful rules; gives what stands behind it, or
    /// `None` where they must tell where it ends, or what comes below it.
    fn set_apart<'b>(&self, bytes: &'b [u8], line: u64, odd: &mut Vec<OddRow>) -> Option<&'b [u8]> {
        let end = memchr::memchr(b'\n', bytes).map_or(bytes.len(), |end| end + 1);
        let (row, behind) = bytes.split_at_checked(end)?;
        let inner = row.strip_suffix(b"\n").unwrap_or(row);
        let inner = inner.strip_suffix(b"\r").unwrap_or(inner);
        // quote marks and lone carriage returns decide where rows end, and
        // nothing may be left out of the text
        let text = std::str::from_utf8(row).ok()?;
        if memchr::memchr3(b'"', b'\r', 0, inner).is_some() || inner.len() > LONGEST {
            return None;
        }
        let cells = std::str::from_utf8(inner).ok()?;
        if heads_a_table(cells.split(char::from(self.plan.delimiter))) {
            return None;
        }
        odd.push(OddRow {
            line,
            text: text.to_owned(),
        });
        Some(behind)
    }

    /// Reads a row; gives what stands behind it.
    fn row<'b>(
        &mut self,
        bytes: &'b [u8],
        line: u64,
        row: &mut RowRead<'b>,
        builder: &mut RowBuilder,
        counted: &mut BulkEvidence,
    ) -> Option<&'b [u8]> {
        row.cells.copy_from_slice(&self.blank);
        row.as_written = !self.plan.style.columns.is_empty();
        (row.tells_point, row.has_time) = (false, false);
        let mut rest = bytes;
        let plan = self.plan;
        let mut cells = plan.cells.iter();
        let mut cell = cells.next()?;
        let ends_empty = loop {
            let before = rest.len();
            rest = self.cell(*cell, rest, row)?;
            let Some(next) = cells.next() else {
                break before == rest.len();
            };
            cell = next;
            rest = match rest {
                [byte, rest @ ..] if *byte == plan.delimiter => rest,
                _ => return None,
            };
        };
        let length = bytes.len() - rest.len();
        let behind = match rest {
            [b'\n', behind @ ..] | [b'\r', b'\n', behind @ ..] => behind,
            [] => rest,
            _ => return None,
        };
        if length > LONGEST || !plan.is_sound(|at| row.number(at)) {
            return None;
        }
        let text = match row.as_written {
            true => None,
            false => Some(std::str::from_utf8(bytes.get(..length)?).ok()?),
        };
        builder.push(&row.cells, line, text);
        counted.rows += 1;
        counted.empty_ends += u64::from(ends_empty);
        counted.has_points |= row.tells_point;
        counted.has_times |= row.has_time;
        let litres = plan.litres().and_then(|at| row.number(at));
        counted.fills += u64::from(litres.is_some());
        Some(behind)
    }

    fn cell<'b>(
        &mut self,
        cell: BulkCell,
        bytes: &'b [u8],
        row: &mut RowRead<'b>,
    ) -> Option<&'b [u8]> {
        let delimiter = self.plan.delimiter;
        match cell {
            BulkCell::Number(at) => {
                let (number, rest) = cells::number(bytes)?;
                row.set(at, number.value.map_or(Cell::Empty, Cell::Real));
                row.as_written &= number.is_shortest;
                row.tells_point |= number.tells_point;
                Some(rest)
            }
            BulkCell::Van(at) => {
                let (cell, rest) = cells::cell(bytes, delimiter);
                self.vans.get(cell, |van| is_plain_van(van).then_some(()))?;
                row.set(at, Cell::Text(std::str::from_utf8(cell).ok()?));
                Some(rest)
            }
            BulkCell::When(at) => {
                let (seconds, clock, rest) = self.moment(bytes)?;
                row.set(at, Cell::Instant(seconds * MICROSECONDS));
                row.has_time = true;
                row.as_written &= self.is_in_style(clock?);
                Some(rest)
            }
            BulkCell::Done(day, at) => {
                let (seconds, clock, rest) = self.moment(bytes)?;
                match clock {
                    Some(clock) => {
                        row.set(at, Cell::Instant(seconds * MICROSECONDS));
                        row.has_time = true;
                        row.as_written &= self.is_in_style(clock);
                    }
                    None => row.set(day, Cell::Day(i32::try_from(seconds / DAY_SECONDS).ok()?)),
                }
                Some(rest)
            }
            BulkCell::Ended(at) => self.ended(at, bytes, row),
            BulkCell::Place(at) => {
                let (cell, rest) = cells::cell(bytes, delimiter);
                if !cell.is_empty() {
                    let is_code = |cell: &str| plain_place(cell).is_some_and(|code| code == cell);
                    self.places.get(cell, |cell| is_code(cell).then_some(()))?;
                    row.set(at, Cell::Text(std::str::from_utf8(cell).ok()?));
                }
                Some(rest)
            }
            BulkCell::Source(at) => {
                let (cell, rest) = cells::cell(bytes, delimiter);
                let source = self.sources.get(cell, source_of)?;
                row.set(at, Cell::Text(source.word()));
                row.as_written &= cell == source.word().as_bytes();
                Some(rest)
            }
            BulkCell::Item(at) => {
                let (cell, rest) = cells::cell(bytes, delimiter);
                let item = self.items.get(cell, |cell| match *items(cell) {
                    [item] => Some(item),
                    _ => None,
                })?;
                row.set(at, Cell::Text(item.word()));
                row.as_written &= cell == item.word().as_bytes();
                Some(rest)
            }
            BulkCell::Text(at) => {
                let (cell, rest) = cells::cell(bytes, delimiter);
                if !cell.is_empty() {
                    self.texts
                        .get(cell, |cell| is_plain_text(cell).then_some(()))?;
                    row.set(at, Cell::Text(std::str::from_utf8(cell).ok()?));
                }
                Some(rest)
            }
        }
    }

    /// The end of a fill, whose start has been read: within a day of it.
    fn ended<'b>(&mut self, at: usize, bytes: &'b [u8], row: &mut RowRead<'b>) -> Option<&'b [u8]> {
        if cells::cell(bytes, self.plan.delimiter).0.is_empty() {
            return Some(bytes);
        }
        let (seconds, clock, rest) = self.moment(bytes)?;
        row.as_written &= self.is_in_style(clock?);
        let start = row.cells.iter().find_map(|cell| match cell {
            Cell::Instant(start) => Some(start / MICROSECONDS),
            _ => None,
        });
        (0..=DAY_SECONDS)
            .contains(&(seconds - start?))
            .then_some(())?;
        row.set(at, Cell::Instant(seconds * MICROSECONDS));
        Some(rest)
    }

    fn is_in_style(&self, clock: Clock) -> bool {
        let style = &self.plan.style;
        style.between.as_bytes() == [clock.between] && style.seconds == clock.has_seconds
    }

    /// A day with its time of day, or without: seconds since 1970, of the
    /// midnight in UTC where there is no time.
    fn moment<'b>(&mut self, bytes: &'b [u8]) -> Option<(i64, Option<Clock>, &'b [u8])> {
        let (date, rest) = bytes.split_first_chunk::<10>()?;
        if self.last_day.0 != *date || self.last_day.1.is_none() {
            let day = cells::day(date)?;
            self.last_day = (*date, self.days.midnight(day).map(|at| (day, at)));
        }
        match (rest, self.last_day.1) {
            ([b'T' | b' ', ..], Some((_, midnight))) => {
                let (clock, rest) = cells::clock(rest)?;
                Some((midnight + clock.seconds, Some(clock), rest))
            }
            ([b'T' | b' ', ..], None) => {
                let (clock, rest) = cells::clock(rest)?;
                let day = cells::day(date)?;
                let seconds = self.days.amid_change(day, clock.seconds)?;
                Some((seconds, Some(clock), rest))
            }
            (_, _) => {
                let day = cells::day(date)?;
                let seconds = day.number * DAY_SECONDS;
                self.days.has(day).then_some((seconds, None, rest))
            }
        }
    }
}

fn source_of(cell: &str) -> Option<Source> {
    if is_no_value(cell) {
        return Some(Source::Mains);
    }
    match source(cell) {
        SourceWord::Known(found) => Some(found),
        _ => None,
    }
}
