//! Packed rows of a file judged and written, month by month, together with
//! those of its rows that could not be packed.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::hash::Hash;
use std::path::Path;
use std::sync::Arc;

use rayon::prelude::*;

use super::columns::Kind;
use super::error::StoreError;
use super::judge::{Against, Verdict};
use super::months::{Month, MonthFinder, month_name};
use super::names::{NoVan, VanNames};
use super::packed::{self, LINE, NONE, PackedRows, Packing, SECONDS, TEXT, VAN, real};
use super::pages::{Column, How, NULL, Value};
use super::part::{Asked, ColumnsWriter, NewPart, Part, Within};
use super::records::AcceptedRow;
use super::rows::{RowPlace, for_each_row_within, identity_of};
use super::ties::Place;
use super::versions::Known;
use super::write::Origin;

/// Rows of a row group: a month of the largest fleets, so that each distinct
/// value is written once.
const GROUP_ROWS: usize = 1 << 18;
/// Rows that one thread lays side by side at a time.
const GATHERED: usize = 1 << 14;

/// A kind of record that can be packed.
pub(super) trait Packable: Kind {
    const PACKING: Packing;
    /// Columns that hold when, and how many microseconds one of their units is.
    const WHEN: &'static [(&'static str, i64)];

    fn unpack(words: Words<'_>, names: &Names) -> Self;
    /// The rest of the record's key, as [`Kind::when`] gives it.
    fn when_of(words: Words<'_>) -> (i64, u32);
    /// One of the record's own columns, by its place in the schema; `None`
    /// behind the last.
    fn column<'l>(at: usize, lines: &'l Lines<'l, Self>, names: &'l Names) -> Option<Column<'l>>;
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

/// Rows being written, in order.
pub(super) struct Lines<'l, T> {
    /// Words of all of them, also where they stand for a record.
    words: Vec<u32>,
    width: usize,
    /// Records, and their places among the rows.
    records: Vec<(usize, u32, &'l T)>,
}

impl<T> Lines<'_, T> {
    fn all_words(&self) -> impl Iterator<Item = Words<'_>> {
        self.words.chunks_exact(self.width.max(1)).map(Words)
    }
}

/// Numbers from here on stand for values of records that were not packed.
const EXTRA: u64 = 1 << 32;

/// Values of records, numbered.
struct Extra<K, V> {
    numbers: HashMap<K, u64>,
    values: Vec<V>,
}

impl<K: Eq + Hash, V> Extra<K, V> {
    fn new() -> Self {
        Extra {
            numbers: HashMap::new(),
            values: Vec::new(),
        }
    }

    fn number(&mut self, key: K, value: V) -> u64 {
        let next = EXTRA + self.values.len() as u64;
        *self.numbers.entry(key).or_insert_with(|| {
            self.values.push(value);
            next
        })
    }
}

fn extra<V: Copy>(values: &[V], code: u64) -> Option<V> {
    let at = usize::try_from(code.checked_sub(EXTRA)?).ok()?;
    values.get(at).copied()
}

fn code_of(word: u32) -> u64 {
    match word {
        NONE => NULL,
        word => u64::from(word),
    }
}

/// A column of reals.
pub(super) fn reals<'l, T>(
    lines: &'l Lines<'l, T>,
    word: usize,
    of: impl Fn(&T) -> Option<f64>,
    how: How,
) -> Option<Column<'l>> {
    let mut others = Extra::new();
    let mut other = |value: f64| match packed::pack_real(value) {
        Some(word) => u64::from(word),
        None => others.number(value.to_bits(), value),
    };
    let codes = codes_of(
        lines,
        |words| code_of(words.get(word)),
        |record| of(record).map_or(NULL, &mut other),
    );
    let others = others.values;
    let value = move |code: u64| {
        let word = u32::try_from(code).ok().and_then(real);
        Value::Real(word.or_else(|| extra(&others, code)).unwrap_or(f64::NAN))
    };
    Some(Column {
        codes,
        value: Box::new(value),
        how,
    })
}

/// A column of whole numbers, or of instants in microseconds.
pub(super) fn wholes<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> Option<i64>,
    of: impl Fn(&'l T) -> Option<i64>,
) -> Option<Column<'l>> {
    Some(Column {
        codes: codes_of(
            lines,
            |words| whole_code(packed(words)),
            |record| whole_code(of(record)),
        ),
        value: Box::new(|code| Value::Whole(code.cast_signed())),
        how: How::Dictionary,
    })
}

/// The same for small ones, and for days.
pub(super) fn smalls<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> Option<i32>,
    of: impl Fn(&'l T) -> Option<i32>,
) -> Option<Column<'l>> {
    Some(Column {
        codes: codes_of(
            lines,
            |words| whole_code(packed(words).map(i64::from)),
            |record| whole_code(of(record).map(i64::from)),
        ),
        value: Box::new(|code| Value::Small(i32::try_from(code.cast_signed()).unwrap_or_default())),
        how: How::Dictionary,
    })
}

/// A code for every line.
fn codes_of<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> u64,
    mut of: impl FnMut(&'l T) -> u64,
) -> Vec<u64> {
    let mut codes: Vec<u64> = lines.all_words().map(packed).collect();
    for (at, _, record) in &lines.records {
        if let Some(code) = codes.get_mut(*at) {
            *code = of(record);
        }
    }
    codes
}

fn whole_code(number: Option<i64>) -> u64 {
    number.map_or(NULL, i64::cast_unsigned)
}

/// The column of the vans' names.
pub(super) fn vans<'l, T>(lines: &'l Lines<'l, T>, names: &'l Names) -> Option<Column<'l>> {
    let mut codes: Vec<u64> = lines
        .all_words()
        .map(|words| code_of(words.get(VAN)))
        .collect();
    for (at, van, _) in &lines.records {
        if let Some(code) = codes.get_mut(*at) {
            *code = code_of(*van);
        }
    }
    Some(Column {
        codes,
        value: Box::new(|code| Value::Text(names.van_at(code as usize))),
        how: How::Dictionary,
    })
}

/// A column of other texts.
pub(super) fn texts<'l, T>(
    lines: &'l Lines<'l, T>,
    word: usize,
    of: impl Fn(&'l T) -> Option<&'l str>,
    names: &'l Names,
) -> Option<Column<'l>> {
    let mut others = Extra::new();
    let mut other = |text: &'l str| match names.number_of_text(text) {
        Some(number) => number as u64,
        None => others.number(text, text),
    };
    let codes = codes_of(
        lines,
        |words| code_of(words.get(word)),
        |record| of(record).map_or(NULL, &mut other),
    );
    let others = others.values;
    let value = move |code: u64| {
        let known = names.texts.get(code as usize).map(|text| &**text);
        Value::Text(known.or_else(|| extra(&others, code)).unwrap_or_default())
    };
    Some(Column {
        codes,
        value: Box::new(value),
        how: How::Dictionary,
    })
}

/// A column of one of a few words, by its place among them.
pub(super) fn words<'l, T>(
    lines: &'l Lines<'l, T>,
    packed: impl Fn(Words<'l>) -> u32,
    of: impl Fn(&'l T) -> u32,
    word: fn(usize) -> &'static str,
) -> Option<Column<'l>> {
    Some(Column {
        codes: codes_of(
            lines,
            |words| u64::from(packed(words)),
            |record| u64::from(of(record)),
        ),
        value: Box::new(move |code| Value::Text(word(code as usize))),
        how: How::Dictionary,
    })
}

/// The names and texts of a file's rows.
#[derive(Debug, Default)]
pub(super) struct Names {
    /// In order, so that a name's number is its place among them.
    vans: Vec<Arc<str>>,
    /// In order too.
    texts: Vec<Arc<str>>,
    /// For each name the first name that means the same van.
    whose: Vec<Result<u32, NoVan>>,
    /// In order: which van is meant by the first name that means it.
    identities: Vec<(Arc<str>, u32)>,
    /// Whether every van is written in one way only.
    is_spelt_alike: bool,
}

impl Names {
    fn van_at(&self, number: usize) -> &str {
        self.vans.get(number).map_or("", |van| van)
    }

    fn number_of_text(&self, text: &str) -> Option<usize> {
        let found = self.texts.binary_search_by(|known| (**known).cmp(text));
        found.ok()
    }

    pub(super) fn shared_van(&self, words: Words<'_>) -> Arc<str> {
        let van = self.vans.get(words.get(VAN) as usize).cloned();
        van.unwrap_or_else(|| "".into())
    }

    pub(super) fn shared_text(&self, words: Words<'_>, at: usize) -> Option<Arc<str>> {
        self.texts.get(words.get(at) as usize).cloned()
    }

    fn identity(&self, van: u32) -> u32 {
        let whose = self.whose.get(van as usize);
        whose.and_then(|whose| whose.ok()).unwrap_or(van)
    }

    /// The first name that means the van.
    fn first_of(&self, identity: &Arc<str>) -> Option<u32> {
        let found = self
            .identities
            .binary_search_by(|(known, _)| known.cmp(identity));
        Some(self.identities.get(found.ok()?)?.1)
    }

    fn is_of_no_van(&self, van: u32) -> bool {
        self.whose.get(van as usize).is_none_or(Result::is_err)
    }
}

/// All packed rows of a file, and its other rows.
pub(super) struct Months<'m, T> {
    packed: &'m [PackedRows],
    /// For each of them: the numbers of its vans and texts among all.
    maps: Vec<(Arc<[u32]>, Vec<u32>)>,
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
        // mostly one list, which all readers of the file's blocks share
        let mut lists: Vec<&Arc<[Arc<str>]>> = packed.iter().map(PackedRows::van_names).collect();
        lists.dedup_by(|a, b| Arc::ptr_eq(a, b));
        let kinds = others
            .iter()
            .filter_map(|(_, record, _)| T::of(record).map(Kind::who));
        let kinds: Vec<Arc<str>> = kinds.cloned().collect();
        let names = lists.iter().map(|list| &***list);
        let (vans, van_maps) = numbered(names.chain([&*kinds]));
        let van_maps: Vec<Arc<[u32]>> = van_maps.into_iter().map(Arc::from).collect();
        let (texts, text_maps) = numbered(packed.iter().map(PackedRows::text_values));
        let van_map = |rows: &PackedRows| {
            let list = lists
                .iter()
                .position(|list| Arc::ptr_eq(list, rows.van_names()));
            let map = list.and_then(|list| van_maps.get(list).cloned());
            map.unwrap_or_else(|| Arc::new([]))
        };
        let maps = packed.iter().map(van_map).zip(text_maps).collect();
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
                van: number_among(record.who(), &vans),
                record,
                line: *line,
                text,
            });
        }
        let meant: Vec<Result<Arc<str>, NoVan>> = vans
            .par_iter()
            .map(|name| identity_of::<T>(van_names, name))
            .collect();
        let mut identities: Vec<(Arc<str>, u32)> = meant
            .iter()
            .zip(0..)
            .filter_map(|(identity, van)| Some((identity.as_ref().ok()?.clone(), van)))
            .collect();
        identities.sort_unstable();
        let mut whose: Vec<Result<u32, NoVan>> = meant
            .iter()
            .zip(0..)
            .map(|(identity, van)| identity.as_ref().map(|_| van).map_err(|none| *none))
            .collect();
        let all = identities.len();
        for alike in identities.chunk_by(|a, b| a.0 == b.0) {
            let first = alike.first().map_or(NONE, |(_, van)| *van);
            for (_, van) in alike {
                if let Some(slot) = whose.get_mut(*van as usize) {
                    *slot = Ok(first);
                }
            }
        }
        identities.dedup_by(|b, a| a.0 == b.0);
        let is_spelt_alike = identities.len() == all;
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
        let (order, has_alike) = rows.order(|van| van);
        let name = month.map(month_name);
        let touched = parts.iter().filter(|part| part.month == name);
        let touched = touched.filter(|part| against.sound.is_sound(part));
        let verdicts = rows.verdicts(&order, has_alike, against, touched)?;
        let mut order = order;
        if verdicts.is_empty() && self.names.whose.iter().all(Result::is_ok) {
            done.new = u64::from(rows.len());
        } else {
            self.count(&rows, &verdicts, &mut done);
            order.retain(|i| verdicts.get(*i as usize).is_none_or(|v| v.is_written()));
        }
        if !order.is_empty() {
            let mut part = ColumnsWriter::create(folder, T::TABLE, origin.id, name)?;
            for group in order.chunks(GROUP_ROWS) {
                rows.write(group, origin, &mut part)?;
            }
            done.part = Some(part.finish()?);
        }
        Ok(done)
    }

    /// Counts what became of the rows; `verdicts` is empty where they are the first of
    /// their records.
    fn count(&self, rows: &RowsOfMonth<'_, T>, verdicts: &[Verdict], done: &mut MonthDone) {
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
                    *done
                        .unknown
                        .entry(van.cloned().unwrap_or_else(|| "".into()))
                        .or_default() += 1;
                }
            }
        }
        done.repeats.sort_unstable_by_key(|(line, ..)| *line);
    }

    fn rows_of(&self, month: Month) -> Result<RowsOfMonth<'_, T>, StoreError> {
        let width = T::PACKING.width();
        let mut pieces = Vec::new();
        let mut end = 0;
        for (packed, (vans, texts)) in self.packed.iter().zip(&self.maps) {
            let (rows, kept) = packed.of_month(month)?;
            let start = end;
            end += rows.len() / width;
            let mut text_ends = Vec::new();
            if !kept.is_empty() {
                let mut end = 0;
                for row in rows.chunks_exact(width) {
                    end += Words(row).get(TEXT) as usize;
                    text_ends.push(end);
                }
            }
            pieces.push(Piece {
                start,
                end,
                rows,
                kept,
                text_ends,
                vans,
                texts,
            });
        }
        Ok(RowsOfMonth {
            names: &self.names,
            width,
            pieces,
            packed: end,
            others: self.others.get(&month).map_or(&[], Vec::as_slice),
        })
    }
}

fn number_among(name: &Arc<str>, all: &[Arc<str>]) -> u32 {
    let found = all.binary_search(name).ok();
    found.and_then(|at| u32::try_from(at).ok()).unwrap_or(NONE)
}

/// The names of all lists, each once and in order; and for each list the numbers of
/// its names among them.
fn numbered<'n>(lists: impl Iterator<Item = &'n [Arc<str>]>) -> (Vec<Arc<str>>, Vec<Vec<u32>>) {
    let (mut places, mut maps) = (Vec::new(), Vec::new());
    for (list, names) in lists.enumerate() {
        let own = names.iter().enumerate();
        places.extend(own.map(|(at, name)| (start_of(name), name, list, at)));
        maps.push(vec![NONE; names.len()]);
    }
    places.sort_unstable();
    let mut all: Vec<Arc<str>> = Vec::new();
    for (_, name, list, at) in places {
        if all.last() != Some(name) {
            all.push(name.clone());
        }
        if let Some(slot) = maps.get_mut(list).and_then(|map| map.get_mut(at)) {
            *slot = u32::try_from(all.len() - 1).unwrap_or(NONE);
        }
    }
    (all, maps)
}

/// The first bytes of a name as a number: in the order of the names, as far as it
/// tells them apart.
fn start_of(name: &str) -> u64 {
    let mut start = [0; 8];
    for (to, byte) in start.iter_mut().zip(name.bytes()) {
        *to = byte;
    }
    u64::from_be_bytes(start)
}

/// The rows of one month, numbered: the packed ones first.
struct RowsOfMonth<'m, T> {
    names: &'m Names,
    width: usize,
    pieces: Vec<Piece<'m>>,
    /// How many rows were packed.
    packed: usize,
    others: &'m [Other<'m, T>],
}

/// Packed rows that one reader gathered.
struct Piece<'m> {
    /// The numbers of its rows.
    start: usize,
    end: usize,
    rows: Cow<'m, [u32]>,
    /// Texts kept of rows.
    kept: Cow<'m, [u8]>,
    /// Where each row's text ends; empty where none is kept.
    text_ends: Vec<usize>,
    /// The numbers of its vans and texts among all.
    vans: &'m [u32],
    texts: &'m [u32],
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
    fn len(&self) -> u32 {
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

    fn van(&self, i: u32) -> u32 {
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

    fn line(&self, i: u32) -> u64 {
        match self.row(i) {
            Some((_, words)) => u64::from(words.get(LINE)),
            None => self.other(i).map_or(0, |other| other.line),
        }
    }

    /// The text kept of a row.
    fn text(&self, i: u32) -> Option<&str> {
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

    fn record(&self, i: u32) -> Option<T> {
        let Some((piece, words)) = self.row(i) else {
            return self.other(i).map(|other| other.record.clone());
        };
        let mut mapped = vec![NONE; self.width];
        piece.put(words, T::PACKING.texts(), &mut mapped);
        Some(T::unpack(Words(&mapped), self.names))
    }

    /// The rows in order of van, time and line, and whether any two may be of one
    /// van and time; `who` gives a van's number.
    fn order(&self, who: impl Fn(u32) -> u32) -> (Vec<u32>, bool) {
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
    fn verdicts<'p>(
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
    fn write(
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

/// The rows with the texts that the store would give back of them.
#[cfg(test)]
pub fn unpacked(
    rows: &[PackedRows],
    style: &super::rewritten::RowStyle,
    dialect: &super::records::Dialect,
) -> Vec<AcceptedRow> {
    use super::records::{Fill, Reading, Service};
    let writer = super::rewritten::RowWriter::new(&style.to_text(), &dialect.delimiter);
    fn of_kind<T: Packable>(
        rows: &[PackedRows],
        writer: Option<&super::rewritten::RowWriter>,
    ) -> Vec<AcceptedRow> {
        let Ok(months) = Months::<T>::new("", rows, &[], &VanNames::Any) else {
            return Vec::new();
        };
        let mut all = Vec::new();
        for month in months.months() {
            let Ok(rows) = months.rows_of(month) else {
                continue;
            };
            all.extend((0..rows.len()).filter_map(|i| {
                let record = rows.record(i)?;
                let kept = rows.text(i).map(str::to_owned);
                let text = kept.or_else(|| Some(writer?.text(&record)));
                Some((rows.line(i), record.into_record(), text?.into()))
            }));
        }
        all
    }
    match rows.first().map(PackedRows::packing) {
        Some(Packing::Readings) => of_kind::<Reading>(rows, writer.as_ref()),
        Some(Packing::Fills) => of_kind::<Fill>(rows, writer.as_ref()),
        Some(Packing::Services) => of_kind::<Service>(rows, writer.as_ref()),
        None => Vec::new(),
    }
}
