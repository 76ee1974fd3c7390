//! The rows of one month: their order, what becomes of each, and their row groups.

use std::borrow::Cow;
use std::collections::HashMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::super::error::StoreError;
use super::super::judge::{Against, Verdict};
use super::super::packed::{LINE, NONE, TEXT, VAN};
use super::super::pages::{Column, How, NULL, Value};
use super::super::part::{Asked, ColumnsWriter, Part, Within};
use super::super::rows::{RowPlace, for_each_row_within, identity_of};
use super::super::versions::Known;
use super::super::write::Origin;
use super::{Lines, Names, Other, Packable, Words};

/// Rows that one thread lays side by side at a time.
const GATHERED: usize = 1 << 14;

/// The rows of one month, numbered: the packed ones first.
pub(super) struct RowsOfMonth<'m, T> {
    pub(super) names: &'m Names,
    pub(super) width: usize,
    pub(super) pieces: Vec<Piece<'m>>,
    /// How many rows were packed.
    pub(super) packed: usize,
    pub(super) others: &'m [Other<'m, T>],
}

/// Packed rows that one reader gathered.
pub(super) struct Piece<'m> {
    /// The numbers of its rows.
    pub(super) start: usize,
    pub(super) end: usize,
    pub(super) rows: Cow<'m, [u32]>,
    /// Texts kept of rows.
    pub(super) kept: Cow<'m, [u8]>,
    /// Where each row's text ends; empty where none is kept.
    pub(super) text_ends: Vec<usize>,
    /// The numbers of its vans and texts among all.
    pub(super) vans: &'m [u32],
    pub(super) texts: &'m [u32],
}

impl Piece<'_> {
    fn words(&self, at: usize, width: usize) -> Words<'_> {
        let words = self.rows.get(at * width..(at + 1) * width);
        Words(words.unwrap_or_default())
    }

    fn van(&self, words: Words<'_>) -> u32 {
        let van = self.vans.get(words.get(VAN) as usize);
        van.copied().unwrap_or(NONE)
    }

    /// Puts a row's words there, its van and texts by their numbers among all.
    fn put(&self, words: Words<'_>, texts: &[usize], row: &mut [u32]) {
        for (to, word) in row.iter_mut().zip(words.0) {
            *to = *word;
        }
        if let Some(van) = row.get_mut(VAN) {
            *van = self.van(words);
        }
        for at in texts {
            if let Some(text) = row.get_mut(*at) {
                *text = self.texts.get(*text as usize).copied().unwrap_or(NONE);
            }
        }
    }
}

/// What tells a record from all others: whose, and when.
type Key = (u32, (i64, u32));

impl<T: Packable> RowsOfMonth<'_, T> {
    pub(super) fn len(&self) -> u32 {
        u32::try_from(self.packed + self.others.len()).unwrap_or(NONE)
    }

    /// The piece in which a packed row lies, and its words.
    fn row(&self, i: u32) -> Option<(&Piece<'_>, Words<'_>)> {
        let i = i as usize;
        let piece = self.pieces.iter().find(|piece| i < piece.end)?;
        Some((piece, piece.words(i - piece.start, self.width)))
    }

    fn other(&self, i: u32) -> Option<&Other<'_, T>> {
        self.others.get((i as usize).checked_sub(self.packed)?)
    }

    pub(super) fn van(&self, i: u32) -> u32 {
        match self.row(i) {
            Some((piece, words)) => piece.van(words),
            None => self.other(i).map_or(NONE, |other| other.van),
        }
    }

    fn when(&self, i: u32) -> (i64, u32) {
        match self.row(i) {
            Some((_, words)) => T::when_of(words),
            None => self.other(i).map_or((0, 0), |other| other.record.when()),
        }
    }

    pub(super) fn line(&self, i: u32) -> u64 {
        match self.row(i) {
            Some((_, words)) => u64::from(words.get(LINE)),
            None => self.other(i).map_or(0, |other| other.line),
        }
    }

    /// The text kept of a row.
    pub(super) fn text(&self, i: u32) -> Option<&str> {
        let Some((piece, words)) = self.row(i) else {
            return self.other(i).map(|other| other.text);
        };
        let length = words.get(TEXT) as usize;
        let end = piece.text_ends.get(i as usize - piece.start);
        let end = *end.filter(|_| length > 0)?;
        std::str::from_utf8(piece.kept.get(end.checked_sub(length)?..end)?).ok()
    }

    fn has_texts(&self) -> bool {
        !self.others.is_empty() || self.pieces.iter().any(|piece| !piece.kept.is_empty())
    }

    pub(super) fn record(&self, i: u32) -> Option<T> {
        let Some((piece, words)) = self.row(i) else {
            return self.other(i).map(|other| other.record.clone());
        };
        let mut mapped = vec![NONE; self.width];
        piece.put(words, T::PACKING.texts(), &mut mapped);
        Some(T::unpack(Words(&mapped), self.names))
    }

    /// The rows in order of van, time and line, and whether any two may be of one
    /// van and time; `who` gives a van's number.
    pub(super) fn order(&self, who: impl Fn(u32) -> u32) -> (Vec<u32>, bool) {
        let seconds = |seconds: i64| seconds.clamp(0, i64::from(NONE)).cast_unsigned();
        let mut keys: Vec<(u32, u64)> = Vec::with_capacity(self.len() as usize);
        let mut numbers = 0..self.len();
        for piece in &self.pieces {
            let rows = piece.rows.chunks_exact(self.width.max(1)).map(Words);
            let rows = rows.zip(&mut numbers);
            keys.extend(rows.map(|(words, i)| {
                let when = seconds(words.seconds());
                (who(piece.van(words)), when << 32 | u64::from(i))
            }));
        }
        let others = self.others.iter().zip(self.packed as u32..);
        keys.extend(others.map(|(other, i)| {
            let when = seconds(other.record.when().0.div_euclid(1_000_000));
            (who(other.van), when << 32 | u64::from(i))
        }));
        // counted into place by van, each van's few rows are sorted by themselves
        let vans = self.names.vans.len();
        let place = |van: u32| (van as usize).min(vans);
        let mut ends = vec![0; vans + 1];
        for (van, _) in &keys {
            if let Some(count) = ends.get_mut(place(*van)) {
                *count += 1;
            }
        }
        let mut end = 0;
        for count in &mut ends {
            (*count, end) = (end, end + *count);
        }
        let mut sorted = vec![0_u64; keys.len()];
        for (van, key) in keys {
            if let Some(next) = ends.get_mut(place(van))
                && let Some(slot) = sorted.get_mut(*next)
            {
                *slot = key;
                *next += 1;
            }
        }
        let mut has_alike = false;
        let mut start = 0;
        for end in ends {
            let rows = sorted.get_mut(start..end).unwrap_or_default();
            start = end;
            rows.sort_unstable();
            for alike in rows.chunk_by_mut(|a, b| *a >> 32 == *b >> 32) {
                if alike.len() > 1 {
                    has_alike = true;
                    alike.sort_unstable_by_key(|key| {
                        let i = *key as u32;
                        (self.when(i), self.line(i), i)
                    });
                }
            }
        }
        (sorted.iter().map(|key| *key as u32).collect(), has_alike)
    }

    fn key(&self, i: u32) -> Key {
        (self.names.identity(self.van(i)), self.when(i))
    }

    /// The verdict on each row; empty where all are the first of their records.
    pub(super) fn verdicts<'p>(
        &self,
        order: &[u32],
        has_alike: bool,
        against: &Against<'_>,
        parts: impl Iterator<Item = &'p Part>,
    ) -> Result<Vec<Verdict>, StoreError> {
        let by_identity;
        let (order, has_alike) = if self.names.is_spelt_alike {
            (order, has_alike)
        } else {
            by_identity = self.order(|van| self.names.identity(van));
            (by_identity.0.as_slice(), by_identity.1)
        };
        let stored = self.stored(order, against, parts)?;
        if stored.is_empty() && !has_alike {
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
        let mut parts = parts.peekable();
        if parts.peek().is_none() {
            return Ok(stored);
        }
        let times = (0..self.len()).map(|i| self.when(i).0);
        let least = times.clone().min().unwrap_or_default();
        let most = times.max().unwrap_or_default();
        let columns: Vec<_> = T::WHEN
            .iter()
            .map(|(name, unit)| (*name, least.div_euclid(*unit), most.div_euclid(*unit)))
            .collect();
        let within = Within { columns: &columns };
        let mut numbers: HashMap<Arc<str>, Option<u32>> = HashMap::new();
        let mut last: Option<(Arc<str>, Option<u32>)> = None;
        for part in parts {
            for_each_row_within::<T>(
                part,
                against.view,
                Asked::Within(within),
                |batch, row, place| {
                    let name = T::names(batch).get(row)?;
                    let number = match &last {
                        // Rows of one van lie side by side, their name shared.
                        Some((known, number)) if Arc::ptr_eq(known, name) => *number,
                        _ => {
                            let number = *numbers.entry(name.clone()).or_insert_with(|| {
                                let identity = identity_of::<T>(against.names, name).ok()?;
                                self.names.first_of(&identity)
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
                },
            )?;
        }
        stored.sort_by_key(|(first, ..)| *first);
        Ok(stored)
    }

    /// Writes some rows as a row group.
    pub(super) fn write(
        &self,
        rows: &[u32],
        origin: &Origin<'_>,
        part: &mut ColumnsWriter,
    ) -> Result<(), StoreError> {
        // side by side first, as each column walks over them
        let mut words = vec![NONE; rows.len() * self.width];
        let gathered = words.par_chunks_mut(GATHERED * self.width.max(1));
        gathered
            .zip(rows.par_chunks(GATHERED))
            .for_each(|(to, rows)| {
                for (to, i) in to.chunks_exact_mut(self.width.max(1)).zip(rows) {
                    if let Some((piece, words)) = self.row(*i) {
                        piece.put(words, T::PACKING.texts(), to);
                    }
                }
            });
        let mut lines = Lines {
            words,
            width: self.width,
            records: Vec::new(),
        };
        if !self.others.is_empty() {
            let others = rows.iter().enumerate();
            let others = others.filter_map(|(n, i)| Some((n, self.other(*i)?)));
            lines
                .records
                .extend(others.map(|(n, other)| (n, other.van, other.record)));
        }
        let own = T::TABLE.own_columns().len();
        part.write(rows.len(), |at| {
            if let Some(column) = T::column(at, &lines, self.names) {
                return column;
            }
            let wholes = |codes: Vec<u64>, how: How| Column {
                codes,
                value: Box::new(|code| Value::Whole(code.cast_signed())),
                how,
            };
            let constant = |number: u64| wholes(vec![number; rows.len()], How::Dictionary);
            match at.saturating_sub(own) {
                0 => constant(origin.id),
                1 => {
                    let mut numbers: Vec<u64> = lines
                        .all_words()
                        .map(|words| u64::from(words.get(LINE)))
                        .collect();
                    for (n, ..) in &lines.records {
                        if let (Some(number), Some(i)) = (numbers.get_mut(*n), rows.get(*n)) {
                            *number = self.line(*i);
                        }
                    }
                    wholes(numbers, How::Delta)
                }
                2 => constant(origin.at.0.cast_unsigned()),
                _ => {
                    let has_texts = self.has_texts();
                    let is_kept = |i: &u32| has_texts && self.text(*i).is_some();
                    let code = |(n, i)| if is_kept(i) { n } else { NULL };
                    Column {
                        codes: (0..).zip(rows).map(code).collect(),
                        value: Box::new(|n| {
                            let row = rows.get(n as usize);
                            let text = row.and_then(|row| self.text(*row));
                            Value::Text(text.unwrap_or_default())
                        }),
                        how: How::Plain,
                    }
                }
            }
        })
    }
}
