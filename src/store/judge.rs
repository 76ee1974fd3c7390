//! What becomes of the rows of a file, kind by kind and month by month: which
//! are new, which correct a stored one, which are stored already; and the
//! Parquet file of those that are to be stored.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::Path;
use std::sync::Arc;

use arrow_array::{RecordBatch, UInt32Array};
use arrow_select::take::take_record_batch;

use super::error::StoreError;
use super::field::Cell;
use super::field::Cells;
use super::in_force::{Row, Standing, View, standings};
use super::integrity::Sound;
use super::lineage::Place;
use super::mend::Mended;
use super::names::{NoVan, VanNames};
use super::part::{self, PartRows, damaged};
use super::part::{GROUP_ROWS, NewPart, Part, PartWriter};
use super::partition::arrays;
use super::partition::{Month, month_name};
use super::partition::{same, written};
use super::records::Instant;
use super::schema::{FILE_ID, INGESTED_AT, Kind, LINE, Moment, Role, TableName, of_kind};
use super::schema::{Fill, Hardness, Reading, Service, Van};

/// Where the rows being written come from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Origin {
    pub(super) id: u64,
    pub(super) at: Instant,
}

/// What a file's rows are held against.
pub(super) struct Against<'s> {
    pub(super) origin: Origin,
    pub(super) view: &'s View,
    pub(super) sound: &'s Sound,
    pub(super) names: &'s VanNames,
    pub(super) mended: &'s Mended,
    /// The store's Parquet files of each kind.
    pub(super) stored: &'s BTreeMap<TableName, Vec<Part>>,
    /// Whether it matters which records of an earlier file are gone.
    pub(super) is_later_version: bool,
}

/// What became of some rows.
#[derive(Debug, Default)]
pub(super) struct Judged {
    pub(super) part: Option<NewPart>,
    pub(super) new: u64,
    pub(super) corrected: u64,
    pub(super) already_stored: u64,
    /// Names that the van list does not know, with their rows.
    pub(super) unknown: BTreeMap<Arc<str>, u64>,
    pub(super) repeats: Vec<Repeat>,
    /// Lines that repeat a version of their record that holds no more, and the
    /// row that does.
    pub(super) overruled: Vec<(u64, Place)>,
    /// The records, where it matters which of an earlier file are gone.
    pub(super) records: Vec<(Arc<str>, Moment)>,
}

/// A row for which a stored row of another file stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Repeat {
    pub(super) line: u64,
    /// The stored row, and what tells it from others of its line.
    pub(super) of: Place,
    pub(super) mark: u32,
    /// On the list of rows set aside.
    pub(super) is_listed: bool,
}

/// A file's rows of a kind and month, and whose they are.
struct Rows {
    table: TableName,
    batch: RecordBatch,
    lines: Vec<u64>,
    /// The columns of the key; the others are not looked at without need.
    keys: Vec<Cells>,
    /// By number of a name: the number of its identity, in order of the names.
    identities: Vec<Result<u32, NoVan>>,
    numbers: HashMap<Arc<str>, u32>,
    /// By number of a name: its place in order.
    ranks: Vec<u32>,
}

impl Rows {
    fn of(table: TableName, batch: RecordBatch, names: &VanNames) -> Result<Rows, StoreError> {
        let key = |at: usize, role: Role| match (role, batch.columns().get(at)) {
            (Role::Who | Role::Key, Some(array)) => Cells::of_array(array),
            _ => Some(Cells::Missing),
        };
        let own = table.own_columns().iter().enumerate();
        let keys = own.map(|(at, column)| key(at, column.role).unwrap_or(Cells::Missing));
        let keys: Vec<Cells> = keys.collect();
        let lines = batch.column_by_name(LINE).and_then(Cells::of_array);
        let lines = lines.unwrap_or(Cells::Missing);
        let lines = (0..batch.num_rows()).map(|row| lines.count(row).unwrap_or(0));
        let lines = lines.collect();

        let found = keys.first().map_or(&[][..], Cells::names);
        let mut ordered: Vec<usize> = (0..found.len()).collect();
        ordered.sort_unstable_by_key(|at| found.get(*at));
        let mut ranks = vec![0; found.len()];
        let mut identities = vec![Err(NoVan::NotListed); found.len()];
        let mut numbers: HashMap<Arc<str>, u32> = HashMap::new();
        for (rank, at) in (0..).zip(ordered) {
            let Some(name) = found.get(at) else { continue };
            let identity = identity_of(table, names, name).map(|identity| {
                let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
                *numbers.entry(identity).or_insert(next)
            });
            if let (Some(slot), Some(own)) = (ranks.get_mut(at), identities.get_mut(at)) {
                (*slot, *own) = (rank, identity);
            }
        }
        Ok(Rows {
            table,
            lines,
            keys,
            identities,
            numbers,
            ranks,
            batch,
        })
    }

    fn name(&self, row: usize) -> Option<usize> {
        self.keys.first()?.number(row)
    }

    /// The row's record, as one of whoever it is.
    fn row(&self, origin: Origin, row: usize) -> Option<(Row, Result<u32, NoVan>)> {
        let name = self.name(row)?;
        let identity = *self.identities.get(name)?;
        let row = Row {
            who: identity.unwrap_or(u32::MAX),
            moment: Moment::of(self.table, &self.keys, row)?,
            owner: Place {
                file_id: origin.id,
                line: *self.lines.get(row)?,
            },
            table: 0,
            row: u32::try_from(row).ok()?,
        };
        Some((row, identity))
    }

    /// All columns of some rows.
    fn cells_of(&self, rows: &[u32]) -> Result<Vec<Cells>, StoreError> {
        let some = take_record_batch(&self.batch, &UInt32Array::from(rows.to_vec()));
        let some = some.map_err(arrays)?;
        let own = some.columns().iter().take(self.table.own_columns().len());
        Ok(own
            .map(|a| Cells::of_array(a).unwrap_or(Cells::Missing))
            .collect())
    }
}

/// What tells a row's van from others; for other kinds the name as it stands.
pub(super) fn identity_of(
    table: TableName,
    names: &VanNames,
    who: &Arc<str>,
) -> Result<Arc<str>, NoVan> {
    match table.is_of_vans() {
        true => names.identity(who),
        false => Ok(who.clone()),
    }
}

/// One of so many shares for each row: the same for all versions of a record.
pub(super) fn shares_of(
    table: TableName,
    batch: &RecordBatch,
    names: &VanNames,
    shares: usize,
) -> Vec<usize> {
    let own = batch.columns().iter().take(table.own_columns().len());
    let keys: Vec<Cells> = own
        .map(|a| Cells::of_array(a).unwrap_or(Cells::Missing))
        .collect();
    let share = |row: usize| {
        let mut hasher = DefaultHasher::new();
        if let Some(name) = keys.first().and_then(|names| names.name(row)) {
            match identity_of(table, names, name) {
                Ok(identity) => identity.hash(&mut hasher),
                Err(_) => name.hash(&mut hasher),
            }
        }
        Moment::of(table, &keys, row).hash(&mut hasher);
        (hasher.finish() % (shares as u64).max(1)) as usize
    };
    (0..batch.num_rows()).map(share).collect()
}

impl Against<'_> {
    /// Judges all rows of a file of one kind and month, or all versions of some
    /// of its records, and writes those that are to be stored below `folder`.
    pub(super) fn judge_and_write(
        &self,
        (table, month): (TableName, Month),
        batch: RecordBatch,
        folder: &Path,
    ) -> Result<Judged, StoreError> {
        let rows = Rows::of(table, batch, self.names)?;
        let mut judged = Judged::default();
        let mut mine: Vec<Row> = Vec::with_capacity(rows.lines.len());
        // of no van, but to be kept
        let mut others: Vec<Row> = Vec::new();
        for at in 0..rows.lines.len() {
            match rows.row(self.origin, at) {
                Some((row, Ok(_))) => mine.push(row),
                Some((row, Err(_))) => others.push(row),
                None => {}
            }
        }
        mine.sort_unstable();
        if self.is_later_version {
            let who: HashMap<u32, &Arc<str>> =
                rows.numbers.iter().map(|(who, n)| (*n, who)).collect();
            let record = |row: &Row| Some(((*who.get(&row.who)?).clone(), row.moment));
            judged.records = mine.iter().filter_map(record).collect();
        }
        let mut kept = self.kept(&rows, mine, month, &mut judged)?;
        self.of_no_van(&rows, others, &mut kept, &mut judged)?;
        // one van's rows side by side, as its name is written
        let order = |row: &Row| {
            let name = rows.name(row.row as usize);
            let rank = name.and_then(|name| rows.ranks.get(name)).copied();
            (rank, row.moment, row.owner.line)
        };
        if !kept.is_sorted_by_key(order) {
            kept.sort_unstable_by_key(order);
        }
        if !kept.is_empty() {
            let kept: Vec<u32> = kept.iter().map(|row| row.row).collect();
            judged.part = Some(self.write(&rows, &kept, month, folder)?);
        }
        Ok(judged)
    }

    /// Those of the rows, which are in order, that say something new.
    fn kept(
        &self,
        rows: &Rows,
        mine: Vec<Row>,
        month: Month,
        judged: &mut Judged,
    ) -> Result<Vec<Row>, StoreError> {
        let table = rows.table;
        let is_same = |a: &Row, b: &Row| (a.who, a.moment) == (b.who, b.moment);
        // records of which this file or the store holds further rows
        let mut compared: BTreeSet<(u32, Moment)> = BTreeSet::new();
        for record in mine.chunk_by(is_same).filter(|record| record.len() > 1) {
            compared.extend(record.first().map(|row| (row.who, row.moment)));
        }
        let stored = self.stored_rows(rows, &mine, month, &mut compared)?;
        if compared.is_empty() {
            judged.new += mine.len() as u64;
            return Ok(mine);
        }
        let is_compared = |row: &Row| compared.contains(&(row.who, row.moment));
        let (several, mut kept): (Vec<Row>, Vec<Row>) = mine.into_iter().partition(is_compared);
        judged.new += kept.len() as u64;
        let own: Vec<u32> = several.iter().map(|row| row.row).collect();
        let own = rows.cells_of(&own)?;
        let mut tables: Vec<&[Cells]> = vec![&own];
        tables.extend(stored.tables.iter().map(|(_, columns)| columns.as_slice()));
        let place = |(at, row): (u32, &Row)| Row { row: at, ..*row };
        let mut all: Vec<Row> = (0..).zip(&several).map(place).collect();
        all.extend(stored.rows);
        let found = standings(table, &mut all, &tables)?;
        let place_of = |row: &Row| {
            let (lines, _) = stored.tables.get((row.table as usize).checked_sub(1)?)?;
            lines.place(row.row as usize)
        };
        let mut holds: HashMap<(u32, Moment), &Row> = HashMap::new();
        for (row, standing) in all.iter().zip(&found) {
            if matches!(
                standing,
                Standing::Version {
                    is_current: true,
                    ..
                }
            ) {
                holds.insert((row.who, row.moment), row);
            }
        }
        for (row, standing) in all.iter().zip(&found).filter(|(row, _)| row.table == 0) {
            match standing {
                Standing::Version { is_first, .. } => {
                    judged.new += u64::from(*is_first);
                    judged.corrected += u64::from(!is_first);
                    kept.extend(several.get(row.row as usize));
                }
                Standing::Repeat(of) => {
                    judged.already_stored += 1;
                    let of = all.get(*of);
                    let now = holds.get(&(row.who, row.moment)).copied();
                    if let Some(now) = now.filter(|now| of != Some(*now)).and_then(place_of) {
                        judged.overruled.push((row.owner.line, now));
                    }
                    let of = of.and_then(|of| Some((place_of(of)?, of.moment.mark(table))));
                    judged.repeats.extend(of.map(|(of, mark)| Repeat {
                        line: row.owner.line,
                        of,
                        mark,
                        is_listed: false,
                    }));
                }
            }
        }
        kept.sort_unstable();
        Ok(kept)
    }

    /// The stored rows of records that the file speaks of too; their records
    /// are added to those that are `compared`.
    fn stored_rows(
        &self,
        rows: &Rows,
        mine: &[Row],
        month: Month,
        compared: &mut BTreeSet<(u32, Moment)>,
    ) -> Result<Stored, StoreError> {
        let table = rows.table;
        let month = month.map(month_name);
        let of_table = self.stored.get(&table).map_or(&[][..], Vec::as_slice);
        let touched = of_table.iter().filter(|part| part.month == month);
        let touched = touched.filter(|part| self.view.may_hold(part.file_id));
        let mut stored = Stored::default();
        let names: Vec<&str> = table.own_columns().iter().map(|c| c.name).collect();
        let is_key = |at: &usize| {
            let column = table.own_columns().get(*at);
            column.is_some_and(|column| column.role != Role::Value)
        };
        let key_names: Vec<&str> = (0..names.len())
            .filter(is_key)
            .filter_map(|at| names.get(at).copied())
            .collect();
        for part in touched.filter(|part| self.sound.is_sound(part)) {
            let mut read = part::columns(part, &key_names, None)?.into_iter();
            let keys: Vec<Cells> = (0..names.len())
                .map(|at| match is_key(&at) {
                    true => read.next().unwrap_or(Cells::Missing),
                    false => Cells::Missing,
                })
                .collect();
            let who = keys.first().unwrap_or(&Cells::Missing);
            let number = |name: &Arc<str>| {
                let identity = identity_of(table, self.names, name).ok()?;
                rows.numbers.get(&identity).copied()
            };
            let numbers: Vec<Option<u32>> = who.names().iter().map(number).collect();
            let mut found: Vec<(usize, u32, Moment)> = Vec::new();
            for row in 0..who.len() {
                let name = who.number(row).ok_or_else(|| damaged(part))?;
                let Some(number) = numbers.get(name).copied().flatten() else {
                    continue;
                };
                let moment = Moment::of(table, &keys, row).ok_or_else(|| damaged(part))?;
                let key = |row: &Row| (row.who, row.moment);
                if mine.binary_search_by_key(&(number, moment), key).is_ok() {
                    found.push((row, number, moment));
                }
            }
            if found.is_empty() {
                continue;
            }
            let opened = PartRows::read(part, table, false, None)?;
            stored.take(&opened, self.view, &found, table);
            compared.extend(found.iter().map(|(_, who, moment)| (*who, *moment)));
            let lines = StoredLines {
                file_id: opened.file_id,
                lines: opened.lines,
            };
            stored.tables.push((lines, opened.columns));
        }
        Ok(stored)
    }

    /// Rows of vans that the list does not know are stored, but set aside until
    /// it does.
    fn of_no_van(
        &self,
        rows: &Rows,
        others: Vec<Row>,
        kept: &mut Vec<Row>,
        judged: &mut Judged,
    ) -> Result<(), StoreError> {
        let table = rows.table;
        for row in others {
            let at = row.row as usize;
            let Some(name) = rows.keys.first().and_then(|names| names.name(at)) else {
                continue;
            };
            *judged.unknown.entry(name.clone()).or_default() += 1;
            let listed = match self.mended.listed.is_empty() {
                true => None,
                false => {
                    let cells = rows.cells_of(&[row.row])?;
                    let record =
                        of_kind!(table, T => T::get(&cells, 0).map(T::into_record), else None);
                    record.and_then(|record| self.mended.listed_as(row.owner.line, &record))
                }
            };
            match listed {
                None => kept.push(row),
                Some(of) => judged.repeats.push(Repeat {
                    line: row.owner.line,
                    of,
                    mark: row.moment.mark(table),
                    is_listed: true,
                }),
            }
        }
        Ok(())
    }

    fn write(
        &self,
        rows: &Rows,
        kept: &[u32],
        month: Month,
        folder: &Path,
    ) -> Result<NewPart, StoreError> {
        let table = rows.table;
        let mut part = PartWriter::create(folder, table, self.origin.id, month.map(month_name))?;
        for some in kept.chunks(GROUP_ROWS) {
            let taken = take_record_batch(&rows.batch, &UInt32Array::from(some.to_vec()));
            let taken = taken.map_err(arrays)?;
            let batch = written(table, &taken, |column| match column.name {
                FILE_ID => Some(same(Cell::Whole(self.origin.id), column.holds, some.len())),
                INGESTED_AT => Some(same(
                    Cell::Instant(self.origin.at.0),
                    column.holds,
                    some.len(),
                )),
                _ => None,
            });
            part.write(&batch.map_err(arrays)?)?;
        }
        part.finish()
    }
}

/// Stored rows that a file's rows are held against.
#[derive(Default)]
struct Stored {
    rows: Vec<Row>,
    /// Their lines and columns, Parquet file by Parquet file.
    tables: Vec<(StoredLines, Vec<Cells>)>,
}

struct StoredLines {
    file_id: u64,
    lines: Vec<u64>,
}

impl StoredLines {
    fn place(&self, row: usize) -> Option<Place> {
        Some(Place {
            file_id: self.file_id,
            line: *self.lines.get(row)?,
        })
    }
}

impl Stored {
    fn take(
        &mut self,
        opened: &PartRows,
        view: &View,
        found: &[(usize, u32, Moment)],
        table: TableName,
    ) {
        // the first table is that of the file itself
        let at = u32::try_from(self.tables.len() + 1).unwrap_or(u32::MAX);
        for (row, who, moment) in found {
            let Some(line) = opened.lines.get(*row).copied() else {
                continue;
            };
            let stored = Place {
                file_id: opened.file_id,
                line,
            };
            view.owners(stored, moment.mark(table), |owner| {
                self.rows.push(Row {
                    who: *who,
                    moment: *moment,
                    owner,
                    table: at,
                    row: u32::try_from(*row).unwrap_or(u32::MAX),
                });
            });
        }
    }
}
