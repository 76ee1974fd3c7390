//! Packed rows of a file judged and written, month by month, together with
//! those of its rows that could not be packed.

mod coded;
mod names;
mod rows;

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

use super::columns::Kind;
use super::error::StoreError;
use super::judge::{Against, Verdict};
use super::months::{Month, MonthFinder, month_name};
use super::names::VanNames;
use super::packed::{NONE, PackedRows, Packing, SECONDS, TEXT, real};
use super::pages::Column;
use super::part::{ColumnsWriter, NewPart, Part};
use super::records::AcceptedRow;
use super::ties::Place;
use super::write::Origin;

pub(super) use coded::{Lines, reals, smalls, texts, vans, wholes, words};
pub(super) use names::Names;
use names::{number_among, numbered};
use rows::{Piece, RowsOfMonth};

/// Rows of a row group: a month of the largest fleets, so that each distinct
/// value is written once.
const GROUP_ROWS: usize = 1 << 18;
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
        Ok(Months {
            packed,
            maps,
            names: Names::new::<T>(vans, texts, van_names),
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
