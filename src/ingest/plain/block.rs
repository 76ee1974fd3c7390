//! Rows of a block, read with a cursor: no row is looked at twice, and nothing
//! is allocated for a row like those before it.

use crate::store::packed::{
    LINE, MOST_WORDS, NONE, PackedRows, Packing, SECONDS, TEXT, VAN, fill, reading, real, service,
};
use crate::store::records::{Item, Source};

use super::super::Options;
use super::super::evidence::PlainEvidence;
use super::super::local_days::LocalDays;
use super::super::row::{is_plain_text, plain_place};
use super::super::rows_fills::is_sound_fill;
use super::super::rows_readings::is_sound_reading;
use super::super::rows_services::is_sound_service;
use super::super::text::is_no_value;
use super::super::words::{SourceWord, items, source};
use super::OddRow;
use super::cells::{self, Clock};
use super::days::{Day, Days};
use super::known::{Known, key_at};
use super::layout::{Cell, Plan};
use super::vans::Vans;

/// Bytes of the longest row that is packed.
const LONGEST: usize = 1 << 10;
const DAY_SECONDS: i64 = 86_400;

/// One of those who read a file's blocks.
pub(super) struct Slot<'p> {
    plan: &'p Plan,
    days: Days,
    /// The day last seen as it was written, and the instant at which it begins.
    last_day: ([u8; 10], Option<(Day, i64)>),
    last_van: Option<(u128, u32)>,
    places: Known,
    texts: Known,
    sources: Known,
    items: Known,
    is_local_style: bool,
    pub rows: PackedRows,
    pub counted: PlainEvidence,
    pub odd: Vec<OddRow>,
    pub odd_bytes: usize,
    /// Something was found that only the careful way can judge.
    pub is_not_plain: bool,
}

/// The lowest bit of a packed text: whether it is kept as it was written.
const AS_WRITTEN: u32 = 1;
impl<'p> Slot<'p> {
    pub fn new(plan: &'p Plan, options: &Options) -> Slot<'p> {
        let zone = LocalDays::new(options.time_zone.clone());
        Slot {
            plan,
            days: Days::new(zone, options.today),
            last_day: ([0; 10], None),
            last_van: None,
            places: Known::default(),
            texts: Known::default(),
            sources: Known::default(),
            items: Known::default(),
            is_local_style: !plan.style.columns.is_empty(),
            rows: PackedRows::new(plan.packing),
            counted: PlainEvidence::default(),
            odd: Vec::new(),
            odd_bytes: 0,
            is_not_plain: false,
        }
    }

    /// Reads the rows of a block that begins on this line.
    pub fn read(&mut self, bytes: &[u8], line: u64, vans: &Vans) {
        let mut rest = bytes;
        let Ok(mut line) = u32::try_from(line) else {
            self.is_not_plain |= !bytes.is_empty();
            return;
        };
        while !rest.is_empty() && !self.is_not_plain {
            rest = match rest {
                [b'\n', rest @ ..] | [b'\r', b'\n', rest @ ..] => rest,
                _ => match self.row(rest, line, vans) {
                    Some(behind) => behind,
                    None => self.set_apart(rest, line),
                },
            };
            match line.checked_add(1) {
                Some(next) => line = next,
                None => self.is_not_plain = true,
            }
        }
    }

    /// Keeps a row for the careful way; gives what stands behind it.
    fn set_apart<'b>(&mut self, bytes: &'b [u8], line: u32) -> &'b [u8] {
        let end = memchr::memchr(b'\n', bytes).map_or(bytes.len(), |end| end + 1);
        let (row, behind) = bytes.split_at_checked(end).unwrap_or((bytes, &[]));
        let inner = row.strip_suffix(b"\n").unwrap_or(row);
        let inner = inner.strip_suffix(b"\r").unwrap_or(inner);
        match std::str::from_utf8(row) {
            // quote marks and lone carriage returns decide where rows end, and
            // nothing may be left out of the text
            Ok(text) if memchr::memchr3(b'"', b'\r', 0, inner).is_none() => {
                self.odd_bytes += text.len() + std::mem::size_of::<OddRow>();
                self.odd.push(OddRow {
                    line: u64::from(line),
                    text: text.to_owned(),
                });
            }
            _ => self.is_not_plain = true,
        }
        behind
    }

    /// Reads a row; gives what stands behind it.
    fn row<'b>(&mut self, bytes: &'b [u8], line: u32, vans: &Vans) -> Option<&'b [u8]> {
        let mut words = [NONE; MOST_WORDS];
        let mut row = RowRead {
            words: &mut words,
            as_written: self.is_local_style,
            has_points: false,
            has_time: false,
        };
        let mut rest = bytes;
        let plan = self.plan;
        let mut cells = plan.cells.iter();
        let mut cell = cells.next()?;
        let ends_empty = loop {
            let before = rest.len();
            rest = self.cell(*cell, rest, &mut row, vans)?;
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
        let (as_written, has_points, has_time) = (row.as_written, row.has_points, row.has_time);
        if length > LONGEST || !is_sound(plan.packing, &words) {
            return None;
        }
        let text = match as_written {
            true => &[],
            false => bytes.get(..length)?,
        };
        *words.get_mut(LINE)? = line;
        *words.get_mut(TEXT)? = u32::try_from(text.len()).ok()?;
        self.rows.push(words.get(..plan.packing.width())?, text);
        let counted = &mut self.counted;
        counted.rows += 1;
        counted.empty_ends += u64::from(ends_empty);
        counted.has_points |= has_points;
        counted.has_times |= has_time;
        Some(behind)
    }

    fn cell<'b>(
        &mut self,
        cell: Cell,
        bytes: &'b [u8],
        row: &mut RowRead<'_>,
        vans: &Vans,
    ) -> Option<&'b [u8]> {
        match cell {
            Cell::Number(word) => {
                let (number, rest) = cells::number(bytes)?;
                row.set(word, number.word);
                row.as_written &= number.is_shortest;
                row.has_points |= number.tells_point;
                Some(rest)
            }
            Cell::Van => self.van(bytes, row, vans),
            Cell::When => {
                let (seconds, clock, rest) = self.moment(bytes)?;
                row.set(SECONDS, u32::try_from(seconds).ok()?);
                row.has_time = true;
                row.as_written &= self.is_in_style(clock?);
                Some(rest)
            }
            Cell::Done => {
                let (seconds, clock, rest) = self.moment(bytes)?;
                row.set(SECONDS, u32::try_from(seconds).ok()?);
                row.set(service::TIMED, u32::from(clock.is_some()));
                if let Some(clock) = clock {
                    row.has_time = true;
                    row.as_written &= self.is_in_style(clock);
                }
                Some(rest)
            }
            Cell::Ended => self.ended(bytes, row),
            Cell::Place(word) => {
                let (cell, rest) = cells::cell(bytes, self.plan.delimiter);
                if cell.is_empty() {
                    return Some(rest);
                }
                let rows = &mut self.rows;
                let found = self.places.word(cell, key_at(bytes, cell.len()), |cell| {
                    let code = plain_place(cell)?;
                    let is_same = u32::from(code == cell);
                    Some(rows.text(code.into()) << 1 | is_same)
                })?;
                row.set(word, found >> 1);
                row.as_written &= found & AS_WRITTEN != 0;
                Some(rest)
            }
            Cell::Source => {
                let (cell, rest) = cells::cell(bytes, self.plan.delimiter);
                let found = self
                    .sources
                    .word(cell, key_at(bytes, cell.len()), packed_source)?;
                row.set(fill::BOUGHT, found >> 1);
                row.as_written &= found & AS_WRITTEN != 0;
                Some(rest)
            }
            Cell::Item => {
                let (cell, rest) = cells::cell(bytes, self.plan.delimiter);
                let found = self
                    .items
                    .word(cell, key_at(bytes, cell.len()), packed_item)?;
                row.set(service::ITEM, found >> 1);
                row.as_written &= found & AS_WRITTEN != 0;
                Some(rest)
            }
            Cell::Text(word) => {
                let (cell, rest) = cells::cell(bytes, self.plan.delimiter);
                if cell.is_empty() {
                    return Some(rest);
                }
                let rows = &mut self.rows;
                let found = self.texts.word(cell, key_at(bytes, cell.len()), |cell| {
                    is_plain_text(cell).then(|| rows.text(cell.into()))
                })?;
                row.set(word, found);
                Some(rest)
            }
        }
    }

    fn van<'b>(&mut self, bytes: &'b [u8], row: &mut RowRead<'_>, vans: &Vans) -> Option<&'b [u8]> {
        let (cell, rest) = cells::cell(bytes, self.plan.delimiter);
        let key = key_at(bytes, cell.len());
        let number = match (key, self.last_van) {
            (Some(key), Some((last, number))) if key == last => number,
            _ => vans.number(cell, key)?,
        };
        self.last_van = key.map(|key| (key, number));
        row.set(VAN, number);
        Some(rest)
    }

    /// The end of a fill, whose start has been read: within a day of it.
    fn ended<'b>(&mut self, bytes: &'b [u8], row: &mut RowRead<'_>) -> Option<&'b [u8]> {
        if cells::cell(bytes, self.plan.delimiter).0.is_empty() {
            return Some(bytes);
        }
        let (seconds, clock, rest) = self.moment(bytes)?;
        row.as_written &= self.is_in_style(clock?);
        let start = Some(row.get(SECONDS)).filter(|start| *start != NONE)?;
        let took = seconds - i64::from(start);
        (0..=DAY_SECONDS).contains(&took).then_some(())?;
        row.set(fill::TOOK, u32::try_from(took).ok()?);
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

/// What has been read of a row.
struct RowRead<'w> {
    words: &'w mut [u32; MOST_WORDS],
    /// Whether its values give its text back.
    as_written: bool,
    has_points: bool,
    has_time: bool,
}

impl RowRead<'_> {
    fn set(&mut self, at: usize, word: u32) {
        if let Some(slot) = self.words.get_mut(at) {
            *slot = word;
        }
    }

    fn get(&self, at: usize) -> u32 {
        self.words.get(at).copied().unwrap_or(NONE)
    }
}

fn packed_source(cell: &str) -> Option<u32> {
    if is_no_value(cell) {
        return Some(0);
    }
    let SourceWord::Known(found) = source(cell) else {
        return None;
    };
    let is_bought = u32::from(found == Source::BoughtIn);
    Some(is_bought << 1 | u32::from(cell == found.word()))
}

fn packed_item(cell: &str) -> Option<u32> {
    let [item] = *items(cell) else { return None };
    let place = Item::ALL.iter().position(|known| *known == item)?;
    Some(u32::try_from(place).ok()? << 1 | u32::from(cell == item.word()))
}

/// Whether the careful way would take the row as it is.
fn is_sound(packing: Packing, words: &[u32; MOST_WORDS]) -> bool {
    let number = |at: usize| words.get(at).and_then(|word| real(*word));
    match packing {
        Packing::Readings => is_sound_reading(
            [reading::FEED, reading::PERMEATE, reading::PRODUCT].map(number),
            number(reading::WATER),
            number(reading::BAR),
            [reading::PERMEATE_FLOW, reading::CONCENTRATE_FLOW].map(number),
        ),
        Packing::Fills => is_sound_fill(
            number(fill::LITRES),
            number(fill::METER),
            number(fill::REJECT),
        ),
        Packing::Services => is_sound_service(number(service::QUANTITY)),
    }
}
