//! Packed rows of a file judged and written, month by month, together with
//! those of its rows that could not be packed.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::Path;
use std::sync::Arc;

use arrow_array::ArrayRef;

use super::columns::Kind;
use super::error::StoreError;
use super::judge::{Against, Verdict};
use super::months::{Month, MonthFinder, month_name};
use super::names::{NoVan, VanNames};
use super::packed::{LINE, NONE, PackedRows, Packing, SECONDS, TEXT, VAN, real};
use super::part::{self, GROUP_ROWS, NewPart, Part};
use super::records::AcceptedRow;
use super::rows::{RowPlace, for_each_row, identity_of};
use super::ties::Place;
use super::versions::Known;
use super::write::Origin;

/// A kind of record that can be packed.
pub(super) trait Packable: Kind {
    const PACKING: Packing;

    fn unpack(words: Words<'_>, names: &Names) -> Self;
    /// The rest of the record's key, as [`Kind::when`] gives it.
    fn when_of(words: Words<'_>) -> (i64, u32);
    /// The record's own columns, as [`Kind::arrays`].
    fn line_arrays(lines: &[Line<'_, Self>], names: &Names) -> Vec<ArrayRef>;
}

/// The words of one row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words<'w>(&'w [u32]);

impl Words<'_> {
    pub(super) fn get(self, at: usize) -> u32 {
        self.0.get(at).copied().unwrap_or(NONE)
    }

    pub(super) fn real(self, at: usize) -> Option<f64> {
        real(self.get(at))
    }

    pub(super) fn seconds(self) -> i64 {
        i64::from(self.get(SECONDS))
    }

    pub(super) fn micros(self) -> i64 {
        self.seconds() * 1_000_000
    }
}

/// A row being written.
#[derive(Debug, Clone, Copy)]
pub(super) enum Line<'l, T> {
    Packed(Words<'l>),
    Record(&'l T),
}

/// One value of each row.
pub(super) fn pick<'l, T, V>(
    lines: &'l [Line<'l, T>],
    packed: impl Fn(Words<'l>) -> V + Clone + 'l,
    record: impl Fn(&'l T) -> V + Clone + 'l,
) -> impl Iterator<Item = V> + Clone + 'l {
    lines.iter().map(move |line| match line {
        Line::Packed(words) => packed(*words),
        Line::Record(found) => record(found),
    })
}

/// The names and texts of a file's rows.
#[derive(Debug, Default)]
pub(super) struct Names {
    /// In order, so that a name's number is its place among them.
    vans: Vec<Arc<str>>,
    texts: Vec<Arc<str>>,
    /// For each name the first name that means the same van.
    whose: Vec<Result<u32, NoVan>>,
    identities: HashMap<Arc<str>, u32>,
    /// Whether every van is written in one way only.
    is_spelt_alike: bool,
}

impl Names {
    pub(super) fn van(&self, words: Words<'_>) -> &str {
        let van = self.vans.get(words.get(VAN) as usize);
        van.map_or("", |van| van)
    }

    pub(super) fn shared_van(&self, words: Words<'_>) -> Arc<str> {
        let van = self.vans.get(words.get(VAN) as usize).cloned();
        van.unwrap_or_else(|| "".into())
    }

    pub(super) fn text(&self, words: Words<'_>, at: usize) -> Option<&str> {
        self.texts.get(words.get(at) as usize).map(|text| &**text)
    }

    pub(super) fn shared_text(&self, words: Words<'_>, at: usize) -> Option<Arc<str>> {
        self.texts.get(words.get(at) as usize).cloned()
    }

    fn identity(&self, van: u32) -> u32 {
        let whose = self.whose.get(van as usize);
        whose.and_then(|whose| whose.ok()).unwrap_or(van)
    }

    fn is_of_no_van(&self, van: u32) -> bool {
        self.whose.get(van as usize).is_none_or(Result::is_err)
    }
}

/// All packed rows of a file, and its other rows.
pub(super) struct Months<'m, T> {
    packed: &'m [PackedRows],
    /// For each of them: its vans' numbers among all, and the number of its
    /// first text.
    maps: Vec<(Vec<u32>, u32)>,
    names: Names,
    others: BTreeMap<Month, Vec<Other<'m, T>>>,
}

/// A row that could not be packed.
struct Other<'m, T> {
    van: u32,
    record: &'m T,
    line: u64,
    text: &'m str,
}

/// What became of a month's rows.
#[derive(Debug, Default)]
pub(super) struct MonthDone {
    pub(super) new: u64,
    pub(super) replaced: u64,
    pub(super) already_stored: u64,
    /// Rows of no van, by name.
    pub(super) unknown: BTreeMap<Arc<str>, u64>,
    pub(super) part: Option<NewPart>,
    /// Line, the stored row it repeats, that row's mark, and 0 as it is none
    /// set aside.
    pub(super) repeats: Vec<(u64, Place, u32, u32)>,
}

impl<'m, T: Packable> Months<'m, T> {
    pub(super) fn new(
        file: &str,
        packed: &'m [PackedRows],
        others: &'m [AcceptedRow],
        van_names: &VanNames,
    ) -> Result<Self, StoreError> {
        let names = packed.iter().flat_map(PackedRows::van_names);
        let kinds = others
            .iter()
            .filter_map(|(_, record, _)| T::of(record).map(Kind::who));
        let vans: BTreeSet<Arc<str>> = names.chain(kinds).cloned().collect();
        let vans: Vec<Arc<str>> = vans.into_iter().collect();
        let number = |name: &Arc<str>| {
            let found = vans.binary_search(name).ok();
            found.and_then(|at| u32::try_from(at).ok()).unwrap_or(NONE)
        };
        let mut texts = Vec::new();
        let mut maps = Vec::new();
        for rows in packed {
            let first = u32::try_from(texts.len()).unwrap_or(NONE);
            texts.extend_from_slice(rows.text_values());
            maps.push((rows.van_names().iter().map(number).collect(), first));
        }
        let mut by_month: BTreeMap<Month, Vec<Other<'m, T>>> = BTreeMap::new();
        let mut finder = MonthFinder::default();
        for (line, record, text) in others {
            let Some(record) = T::of(record) else {
                continue;
            };
            let month = finder.month_of(record);
            let month = month.ok_or_else(|| StoreError::TimeOutOfRange {
                file: file.to_owned(),
                line: *line,
            })?;
            by_month.entry(month).or_default().push(Other {
                van: number(record.who()),
                record,
                line: *line,
                text,
            });
        }
        let mut identities: HashMap<Arc<str>, u32> = HashMap::new();
        let mut whose = Vec::with_capacity(vans.len());
        let mut is_spelt_alike = true;
        for (van, name) in (0..).zip(&vans) {
            whose.push(identity_of::<T>(van_names, name).map(|identity| {
                let first = *identities.entry(identity).or_insert(van);
                is_spelt_alike &= first == van;
                first
            }));
        }
        Ok(Months {
            packed,
            maps,
            names: Names {
                vans,
                texts,
                whose,
                identities,
                is_spelt_alike,
            },
            others: by_month,
        })
    }

    pub(super) fn months(&self) -> Vec<Month> {
        let packed = self.packed.iter().flat_map(PackedRows::months);
        let months: BTreeSet<Month> = packed.chain(self.others.keys().copied()).collect();
        months.into_iter().collect()
    }

    /// Judges and writes the rows of a month. `parts`: all of the table.
    pub(super) fn finish(
        &self,
        month: Month,
        against: &Against<'_>,
        parts: &[Part],
        origin: &Origin<'_>,
        folder: &Path,
    ) -> Result<MonthDone, StoreError> {
        let rows = self.rows_of(month)?;
        let mut done = MonthDone::default();
        let order = rows.order(|van| van);
        let name = month.map(month_name);
        let touched = parts.iter().filter(|part| part.month == name);
        let touched = touched.filter(|part| against.sound.is_sound(part));
        let verdicts = rows.verdicts(&order, against, touched)?;
        let verdict_of = |i: u32| match verdicts.get(i as usize) {
            Some(verdict) => *verdict,
            None if self.names.is_of_no_van(rows.van(i)) => Verdict::OfNoVan,
            None => Verdict::New,
        };
        for i in 0..rows.len() {
            match verdict_of(i) {
                Verdict::New => done.new += 1,
                Verdict::Corrected => done.replaced += 1,
                Verdict::AlreadyStored(of) => {
                    done.already_stored += 1;
                    let line = rows.line(i);
                    done.repeats
                        .extend(of.map(|(place, mark)| (line, place, mark, 0)));
                }
                Verdict::OfNoVan | Verdict::AlreadyListed(_) => {
                    let van = self.names.vans.get(rows.van(i) as usize);
                    *done.unknown.entry(van.cloned().unwrap_or_else(|| "".into())).or_default() += 1;
                }
            }
        }
        done.repeats.sort_unstable_by_key(|(line, ..)| *line);
        let mut order = order;
        order.retain(|i| verdict_of(*i).is_written());
        if !order.is_empty() {
            let batches = order
                .chunks(GROUP_ROWS)
                .map(|chunk| rows.arrays(chunk, origin));
            done.part = Some(part::write(folder, T::TABLE, origin.id, name, batches)?);
        }
        Ok(done)
    }

    fn rows_of(&self, month: Month) -> Result<RowsOfMonth<'_, T>, StoreError> {
        let width = T::PACKING.width();
        let (mut packed, mut texts) = (Vec::new(), Vec::new());
        for (rows, (vans, first_text)) in self.packed.iter().zip(&self.maps) {
            let (mut more, more_texts) = rows.of_month(month)?;
            for row in more.chunks_exact_mut(width) {
                if let Some(van) = row.get_mut(VAN) {
                    *van = vans.get(*van as usize).copied().unwrap_or(NONE);
                }
                for at in T::PACKING.texts() {
                    if let Some(text) = row.get_mut(*at).filter(|text| **text != NONE) {
                        *text += first_text;
                    }
                }
            }
            if packed.is_empty() {
                packed = more;
            } else {
                packed.extend(more);
            }
            texts.extend(more_texts);
        }
        let mut text_ends = Vec::new();
        if !texts.is_empty() {
            let mut end = 0;
            for row in packed.chunks_exact(width) {
                end += Words(row).get(TEXT) as usize;
                text_ends.push(end);
            }
        }
        Ok(RowsOfMonth {
            names: &self.names,
            width,
            packed,
            texts,
            text_ends,
            others: self.others.get(&month).map_or(&[], Vec::as_slice),
        })
    }
}

/// The rows of one month, numbered: the packed ones first.
struct RowsOfMonth<'m, T> {
    names: &'m Names,
    width: usize,
    packed: Vec<u32>,
    texts: Vec<u8>,
    /// Where each packed row's text ends; empty where none is kept.
    text_ends: Vec<usize>,
    others: &'m [Other<'m, T>],
}

/// What tells a record from all others: whose, and when.
type Key = (u32, (i64, u32));

impl<T: Packable> RowsOfMonth<'_, T> {
    fn packed_rows(&self) -> usize {
        self.packed.len() / self.width.max(1)
    }

    fn len(&self) -> u32 {
        u32::try_from(self.packed_rows() + self.others.len()).unwrap_or(NONE)
    }

    fn words(&self, i: u32) -> Option<Words<'_>> {
        let start = i as usize * self.width;
        self.packed.get(start..start + self.width).map(Words)
    }

    fn other(&self, i: u32) -> Option<&Other<'_, T>> {
        self.others.get(i as usize - self.packed_rows())
    }

    fn van(&self, i: u32) -> u32 {
        match self.words(i) {
            Some(words) => words.get(VAN),
            None => self.other(i).map_or(NONE, |other| other.van),
        }
    }

    fn when(&self, i: u32) -> (i64, u32) {
        match self.words(i) {
            Some(words) => T::when_of(words),
            None => self.other(i).map_or((0, 0), |other| other.record.when()),
        }
    }

    fn line(&self, i: u32) -> u64 {
        match self.words(i) {
            Some(words) => u64::from(words.get(LINE)),
            None => self.other(i).map_or(0, |other| other.line),
        }
    }

    /// The text kept of a row.
    fn text(&self, i: u32) -> Option<&str> {
        let Some(words) = self.words(i) else {
            return self.other(i).map(|other| other.text);
        };
        let length = words.get(TEXT) as usize;
        let end = *self.text_ends.get(i as usize).filter(|_| length > 0)?;
        std::str::from_utf8(self.texts.get(end - length..end)?).ok()
    }

    fn record(&self, i: u32) -> Option<T> {
        match self.words(i) {
            Some(words) => Some(T::unpack(words, self.names)),
            None => self.other(i).map(|other| other.record.clone()),
        }
    }

    /// The rows in order of van, time and line; `who` gives a van's number.
    fn order(&self, who: impl Fn(u32) -> u32) -> Vec<u32> {
        // most of the order is told by one number that is quick to compare
        let coarse = |i: u32| {
            let seconds = match self.words(i) {
                Some(words) => words.seconds(),
                None => self.when(i).0.div_euclid(1_000_000),
            };
            let seconds = seconds.clamp(0, i64::from(NONE)).cast_unsigned();
            u128::from(who(self.van(i))) << 64 | u128::from(seconds) << 32 | u128::from(i)
        };
        let mut keys: Vec<u128> = (0..self.len()).map(coarse).collect();
        keys.sort_unstable();
        let mut order: Vec<u32> = keys.iter().map(|key| *key as u32).collect();
        let mut start = 0;
        for alike in keys.chunk_by(|a, b| a >> 32 == b >> 32) {
            let end = start + alike.len();
            if alike.len() > 1
                && let Some(rows) = order.get_mut(start..end)
            {
                rows.sort_unstable_by_key(|i| (self.when(*i), self.line(*i), *i));
            }
            start = end;
        }
        order
    }

    fn key(&self, i: u32) -> Key {
        (self.names.identity(self.van(i)), self.when(i))
    }

    /// The verdict on each row; empty where all are the first of their records.
    fn verdicts<'p>(
        &self,
        order: &[u32],
        against: &Against<'_>,
        parts: impl Iterator<Item = &'p Part>,
    ) -> Result<Vec<Verdict>, StoreError> {
        let by_identity;
        let order = if self.names.is_spelt_alike {
            order
        } else {
            by_identity = self.order(|van| self.names.identity(van));
            &by_identity
        };
        let stored = self.stored(order, against, parts)?;
        let is_double = |pair: &[u32]| match pair {
            [a, b] => self.key(*a) == self.key(*b),
            _ => false,
        };
        if stored.is_empty() && !order.windows(2).any(is_double) {
            return Ok(Vec::new());
        }
        let first = |i: u32| match self.names.is_of_no_van(self.van(i)) {
            true => Verdict::OfNoVan,
            false => Verdict::New,
        };
        let mut verdicts: Vec<Verdict> = (0..self.len()).map(first).collect();
        let mut stored = stored.into_iter().peekable();
        let mut start = 0;
        for versions in order.chunk_by(|a, b| self.key(*a) == self.key(*b)) {
            let (mut known, mut places) = (Known::default(), Vec::new());
            while let Some((_, version, place)) = stored.next_if(|(first, ..)| *first == start) {
                known.push(version);
                places.push((place.stored, place.mark));
            }
            start += versions.len();
            let of_no_van = versions
                .first()
                .is_none_or(|i| self.names.is_of_no_van(self.van(*i)));
            if of_no_van || (versions.len() == 1 && places.is_empty()) {
                continue;
            }
            for i in versions {
                let Some(row) = self.record(*i) else { continue };
                let verdict = match known.find(&row) {
                    Some(equal) => Verdict::AlreadyStored(places.get(equal).copied()),
                    None if known.rows.is_empty() => Verdict::New,
                    None => Verdict::Corrected,
                };
                if !matches!(verdict, Verdict::AlreadyStored(_)) {
                    known.push(row);
                }
                if let Some(slot) = verdicts.get_mut(*i as usize) {
                    *slot = verdict;
                }
            }
        }
        Ok(verdicts)
    }

    /// Stored versions of the rows' records: place in `order` of the record's
    /// first row, the version, where it lies.
    fn stored<'p>(
        &self,
        order: &[u32],
        against: &Against<'_>,
        parts: impl Iterator<Item = &'p Part>,
    ) -> Result<Vec<(usize, T, RowPlace)>, StoreError> {
        let mut stored = Vec::new();
        let mut numbers: HashMap<Arc<str>, Option<u32>> = HashMap::new();
        let mut last: Option<(Arc<str>, Option<u32>)> = None;
        for part in parts {
            for_each_row::<T>(part, against.view, |batch, row, place| {
                let name = T::names(batch).get(row)?;
                let number = match &last {
                    // Rows of one van lie side by side, their name shared.
                    Some((known, number)) if Arc::ptr_eq(known, name) => *number,
                    _ => {
                        let number = *numbers.entry(name.clone()).or_insert_with(|| {
                            let identity = identity_of::<T>(against.names, name).ok()?;
                            self.names.identities.get(&identity).copied()
                        });
                        last = Some((name.clone(), number));
                        number
                    }
                };
                let Some(who) = number else { return Some(()) };
                let key = (who, T::when_at(batch, row)?);
                let first = order.partition_point(|i| self.key(*i) < key);
                if order.get(first).is_some_and(|i| self.key(*i) == key) {
                    stored.push((first, T::get(batch, row)?, place));
                }
                Some(())
            })?;
        }
        stored.sort_by_key(|(first, ..)| *first);
        Ok(stored)
    }

    /// Some rows as columns.
    fn arrays(&self, rows: &[u32], origin: &Origin<'_>) -> Vec<ArrayRef> {
        // side by side first, as each column walks over them
        let mut words = Vec::with_capacity(rows.len() * self.width);
        for i in rows {
            if let Some(Words(row)) = self.words(*i) {
                words.extend_from_slice(row);
            }
        }
        let mut packed = words.chunks_exact(self.width.max(1));
        let mut lines: Vec<Line<'_, T>> = Vec::with_capacity(rows.len());
        for i in rows {
            if self.words(*i).is_some() {
                lines.extend(packed.next().map(|row| Line::Packed(Words(row))));
            } else {
                lines.extend(self.other(*i).map(|other| Line::Record(other.record)));
            }
        }
        let mut arrays = T::line_arrays(&lines, self.names);
        let own = rows.iter().map(|i| (Some(self.line(*i)), self.text(*i)));
        arrays.extend(origin.arrays(own));
        arrays
    }
}
