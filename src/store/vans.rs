//! The fleet some vans at a time, in order of their names: whose each row is and
//! where it lies is found in one look at the names, the values are read when it
//! is the van's turn.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;
use std::path::PathBuf;
use std::sync::Arc;

use crate::calendar::{Date, TimeZone};
use rayon::prelude::*;

use super::by_hand::Renamed;
use super::error::StoreError;
use super::field::Cells;
use super::in_force::{Row, Standing, View, standings};
use super::lineage::Place;
use super::names::{NoVan, VanNames};
use super::part::Part;
use super::part::{self, PartRows, damaged, lacking};
use super::records::{History, RowCounts};
use super::schema::{Fill, Hardness, Kind, Moment, Reading, Service, TableName, Van};
use super::snapshot::{Lists, Snapshot};

/// A fleet that is read some vans at a time.
#[derive(Debug)]
pub struct VanChunks {
    view: View,
    /// In order of name.
    vans: Vec<OneVan>,
    /// Names that the van list does not know.
    unlisted: Vec<Arc<str>>,
    parts: BTreeMap<TableName, Vec<Indexed>>,
    hardness: Vec<Hardness>,
    has_van_list: bool,
    /// Rows counted outside readings, fills and services.
    elsewhere: RowCounts,
    rows: RowCounts,
    next: usize,
    rows_at_once: u64,
}

#[derive(Debug)]
struct OneVan {
    name: Arc<str>,
    rows: u64,
    listed: Vec<Van>,
}

/// A Parquet file and whose its rows are.
#[derive(Debug)]
struct Indexed {
    part: Part,
    runs: Vec<Run>,
}

/// Rows of one van that lie side by side.
#[derive(Debug, Clone, Copy)]
struct Run {
    van: u32,
    first: usize,
    rows: usize,
}

/// The same before the vans are numbered; `in_force`: rows that count.
#[derive(Debug)]
struct NamedRun {
    name: Arc<str>,
    first: usize,
    rows: usize,
    in_force: u64,
}

/// Rows in force and the tables that they lie in.
#[derive(Debug, Default)]
pub(super) struct Gathered {
    pub(super) rows: Vec<Row>,
    pub(super) tables: Vec<Vec<Cells>>,
}

impl Gathered {
    /// The current records by whose they are, in order; `name`: what that one
    /// is called. Counts versions as stored and repeats as stored already.
    pub(super) fn current<T: Kind>(
        mut self,
        name: impl Fn(u32) -> Arc<str> + Sync,
        counts: &mut RowCounts,
    ) -> Result<Vec<(u32, Vec<T>)>, StoreError> {
        let tables: Vec<&[Cells]> = self.tables.iter().map(Vec::as_slice).collect();
        let standings = standings(T::TABLE, &mut self.rows, &tables)?;
        let mut current: Vec<Row> = Vec::with_capacity(self.rows.len());
        for (row, standing) in self.rows.iter().zip(&standings) {
            match standing {
                Standing::Version { is_current, .. } => {
                    counts.stored += 1;
                    current.extend(is_current.then_some(*row));
                }
                Standing::Repeat(_) => counts.already_stored += 1,
            }
        }
        let by_who: Vec<&[Row]> = current.chunk_by(|a, b| a.who == b.who).collect();
        let records = |rows: &&[Row]| {
            let who = rows.first()?.who;
            let name = name(who);
            let record = |row: &Row| {
                let columns = tables.get(row.table as usize)?;
                let mut record = T::get(columns, row.row as usize)?;
                record.set_who(name.clone());
                Some(record)
            };
            let all: Option<Vec<T>> = rows.iter().map(record).collect();
            Some((who, all?))
        };
        let found: Option<Vec<_>> = by_who.par_iter().map(records).collect();
        found.ok_or_else(|| lacking(PathBuf::from(T::TABLE.folder())))
    }
}

/// All rows in force of a kind; `number`: of the van or postcode of that name,
/// `None` for rows that are passed over.
pub(super) fn gather(
    parts: &[Part],
    table: TableName,
    view: &View,
    mut number: impl FnMut(&Arc<str>) -> Option<u32>,
) -> Result<Gathered, StoreError> {
    let parts = parts.par_iter().filter(|part| view.may_hold(part.file_id));
    let read = parts.map(|part| Ok((part, PartRows::read(part, table, false, None)?)));
    let mut gathered = Gathered::default();
    for (part, opened) in read.collect::<Result<Vec<_>, StoreError>>()? {
        let who = opened.who();
        let numbers: Vec<Option<u32>> = who.names().iter().map(&mut number).collect();
        let at = u32::try_from(gathered.tables.len()).unwrap_or(u32::MAX);
        let who_of = |row: usize| numbers.get(who.number(row)?).copied().flatten();
        let rows = 0..opened.len();
        in_force(&opened, table, view, rows, at, who_of, &mut gathered.rows)
            .ok_or_else(|| damaged(part))?;
        gathered.tables.push(opened.columns);
    }
    Ok(gathered)
}

/// Adds the rows in force among some of a Parquet file; `None` where one lacks
/// a value that every row has.
fn in_force(
    opened: &PartRows,
    table: TableName,
    view: &View,
    rows: Range<usize>,
    at: u32,
    who: impl Fn(usize) -> Option<u32>,
    into: &mut Vec<Row>,
) -> Option<()> {
    for row in rows {
        let Some(who) = who(row) else {
            opened.who().name(row)?;
            continue;
        };
        let moment = Moment::of(table, &opened.columns, row)?;
        let stored = Place {
            file_id: opened.file_id,
            line: *opened.lines.get(row)?,
        };
        view.owners(stored, moment.mark(table), |owner| {
            into.push(Row {
                who,
                moment,
                owner,
                table: at,
                row: u32::try_from(row).unwrap_or(u32::MAX),
            });
        });
    }
    Some(())
}

impl VanChunks {
    pub(super) fn new(snapshot: &Snapshot, rows_at_once: u64) -> Result<VanChunks, StoreError> {
        let view = &snapshot.view;
        let Lists {
            vans: mut listed,
            hardness,
            rows: elsewhere,
        } = snapshot.lists()?;
        let names = VanNames::new(listed.keys().cloned(), Renamed::of(&snapshot.renamings));
        let mut rows = RowCounts::default();
        let mut parts = BTreeMap::new();
        for table in TableName::OF_VANS {
            let of_table = snapshot.parts(table).par_iter();
            let runs = of_table.map(|part| Ok((part.clone(), named_runs(part, table, view)?)));
            parts.insert(table, runs.collect::<Result<Vec<_>, StoreError>>()?);
        }

        // whose each name is, and how often it is written
        let mut whose: HashMap<Arc<str>, Result<Arc<str>, NoVan>> = HashMap::new();
        let mut spellings: BTreeMap<Arc<str>, BTreeMap<Arc<str>, u64>> = BTreeMap::new();
        let mut unlisted: BTreeSet<Arc<str>> = BTreeSet::new();
        for run in parts.values().flatten().flat_map(|(_, runs)| runs) {
            let known = whose.get(&run.name).cloned();
            let identity = known.unwrap_or_else(|| {
                let identity = names.identity(&run.name);
                whose.insert(run.name.clone(), identity.clone());
                identity
            });
            match identity {
                Ok(identity) => {
                    let spelt = spellings.entry(identity).or_default();
                    *spelt.entry(run.name.clone()).or_default() += run.in_force;
                }
                Err(_) => {
                    rows.set_aside += run.in_force;
                    unlisted.insert(run.name.clone());
                }
            }
        }
        // rows that are out of force make no van
        spellings.retain(|_, spelt| spelt.values().any(|rows| *rows > 0));
        for van in listed.keys() {
            spellings.entry(van.clone()).or_default();
        }
        let has_van_list = !listed.is_empty();
        let mut vans: Vec<(Arc<str>, OneVan)> = spellings
            .into_iter()
            .map(|(identity, spelt)| {
                let van = OneVan {
                    rows: spelt.values().sum(),
                    listed: listed.remove(&identity).unwrap_or_default(),
                    name: name_of_van(identity.clone(), spelt, &names),
                };
                (identity, van)
            })
            .collect();
        vans.sort_by(|(_, a), (_, b)| a.name.cmp(&b.name));
        let identities = vans.iter().map(|(identity, _)| identity.clone());
        let numbers: HashMap<Arc<str>, u32> = identities.zip(0..).collect();
        let numbers: HashMap<Arc<str>, u32> = whose
            .into_iter()
            .filter_map(|(name, identity)| Some((name, *numbers.get(&identity.ok()?)?)))
            .collect();
        let numbered = |(part, runs): (Part, Vec<NamedRun>)| {
            let run = |run: NamedRun| {
                Some(Run {
                    van: *numbers.get(&run.name)?,
                    first: run.first,
                    rows: run.rows,
                })
            };
            Indexed {
                part,
                runs: runs.into_iter().filter_map(run).collect(),
            }
        };
        let indexed = parts
            .into_iter()
            .map(|(table, parts)| (table, parts.into_iter().map(numbered).collect()));
        Ok(VanChunks {
            parts: indexed.collect(),
            vans: vans.into_iter().map(|(_, van)| van).collect(),
            unlisted: unlisted.into_iter().collect(),
            hardness,
            has_van_list,
            elsewhere,
            rows,
            next: 0,
            rows_at_once,
            view: snapshot.view.clone(),
        })
    }

    /// The vans' names, in order.
    pub fn vans(&self) -> impl Iterator<Item = &Arc<str>> {
        self.vans.iter().map(|van| &van.name)
    }

    /// Names that the van list does not know, in order.
    pub fn unlisted(&self) -> impl Iterator<Item = &Arc<str>> {
        self.unlisted.iter()
    }

    /// Sorted by postcode, then `as_of`.
    pub fn hardness(&self) -> &[Hardness] {
        &self.hardness
    }

    /// Whether the store holds a van list at all.
    pub fn has_van_list(&self) -> bool {
        self.has_van_list
    }

    /// Begins with the first van again.
    pub fn rewind(&mut self) {
        self.next = 0;
        self.rows = RowCounts {
            set_aside: self.rows.set_aside,
            ..RowCounts::default()
        };
    }

    /// The day on which something was read, filled or done last.
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn newest_day(&self, zone: &TimeZone) -> Result<Option<Date>, StoreError> {
        let mut newest = None;
        for table in TableName::OF_VANS {
            newest = newest.max(self.newest_of(table, zone)?);
        }
        Ok(newest)
    }

    /// From the newest month that has rows.
    fn newest_of(&self, table: TableName, zone: &TimeZone) -> Result<Option<Date>, StoreError> {
        let mut by_month: BTreeMap<Option<&String>, Vec<&Indexed>> = BTreeMap::new();
        for indexed in self.parts_of(table) {
            by_month
                .entry(indexed.part.month.as_ref())
                .or_default()
                .push(indexed);
        }
        for of_month in by_month.into_values().rev() {
            let rows = self
                .read_parts(table, of_month, &(0..self.vans.len()))?
                .rows;
            let days = rows
                .iter()
                .filter_map(|row| row.moment.date_in(table, zone));
            let newest = days.max();
            if newest.is_some() {
                return Ok(newest);
            }
        }
        Ok(None)
    }

    /// Totals over everything in the store, once all vans have been read.
    pub fn rows(&self) -> RowCounts {
        self.elsewhere.with(self.rows)
    }

    /// The same of readings, fills and services alone.
    pub(super) fn rows_of_vans(&self) -> RowCounts {
        self.rows
    }

    fn parts_of(&self, table: TableName) -> &[Indexed] {
        self.parts.get(&table).map_or(&[], Vec::as_slice)
    }

    fn read_parts(
        &self,
        table: TableName,
        parts: Vec<&Indexed>,
        vans: &Range<usize>,
    ) -> Result<Gathered, StoreError> {
        let parts: Vec<(u32, &Indexed)> = (0..).zip(parts).collect();
        let read = parts.into_par_iter();
        let read = read.map(|(at, indexed)| indexed.read(table, &self.view, vans, at));
        let mut gathered = Gathered::default();
        for (rows, columns) in read.collect::<Result<Vec<_>, StoreError>>()? {
            gathered.rows.extend(rows);
            gathered.tables.push(columns);
        }
        Ok(gathered)
    }

    fn current<T: Kind>(
        &self,
        vans: &Range<usize>,
        counts: &mut RowCounts,
    ) -> Result<Vec<Vec<T>>, StoreError> {
        let rows = self.read_parts(T::TABLE, self.parts_of(T::TABLE).iter().collect(), vans)?;
        let name = |van: u32| {
            let van = self.vans.get(van as usize);
            van.map_or_else(|| "".into(), |van| van.name.clone())
        };
        let mut all: Vec<Vec<T>> = Vec::new();
        all.resize_with(vans.len(), Vec::new);
        for (van, records) in rows.current(name, counts)? {
            let van = (van as usize).checked_sub(vans.start);
            if let Some(of_van) = van.and_then(|van| all.get_mut(van)) {
                *of_van = records;
            }
        }
        Ok(all)
    }

    fn read(&mut self, vans: Range<usize>) -> Result<Vec<History>, StoreError> {
        let mut counts = RowCounts::default();
        let readings = self.current::<Reading>(&vans, &mut counts)?;
        let fills = self.current::<Fill>(&vans, &mut counts)?;
        let services = self.current::<Service>(&vans, &mut counts)?;
        self.rows.stored += counts.stored;
        self.rows.already_stored += counts.already_stored;
        let of_vans = self.vans.get(vans).unwrap_or_default().iter();
        let rows = readings.into_iter().zip(fills).zip(services);
        let history = |(van, ((readings, fills), services)): (&OneVan, _)| History {
            van: van.name.clone(),
            readings,
            fills,
            services,
            listed: van.listed.clone(),
        };
        Ok(of_vans.zip(rows).map(history).collect())
    }
}

impl Iterator for VanChunks {
    type Item = Result<Vec<History>, StoreError>;

    fn next(&mut self) -> Option<Self::Item> {
        let left = self.vans.get(self.next..)?;
        let (mut rows, mut count) = (0, 0);
        for van in left {
            rows += van.rows;
            if count > 0 && rows > self.rows_at_once {
                break;
            }
            count += 1;
        }
        if count == 0 {
            return None;
        }
        let vans = self.next..self.next + count;
        self.next = vans.end;
        Some(self.read(vans))
    }
}

impl Indexed {
    /// The rows in force of some vans, and the columns that they lie in.
    fn read(
        &self,
        table: TableName,
        view: &View,
        vans: &Range<usize>,
        at: u32,
    ) -> Result<(Vec<Row>, Vec<Cells>), StoreError> {
        let mut rows = Vec::new();
        let asked_for = |run: &&Run| vans.contains(&(run.van as usize));
        let runs: Vec<&Run> = self.runs.iter().filter(asked_for).collect();
        let (Some(first), Some(last)) = (runs.first(), runs.last()) else {
            return Ok((rows, Vec::new()));
        };
        let (start, end) = (first.first, last.first + last.rows);
        let opened = PartRows::read(&self.part, table, false, Some(start..end))?;
        for run in runs {
            let of_run = run.first - start..run.first - start + run.rows;
            in_force(
                &opened,
                table,
                view,
                of_run,
                at,
                |_| Some(run.van),
                &mut rows,
            )
            .ok_or_else(|| damaged(&self.part))?;
        }
        Ok((rows, opened.columns))
    }
}

fn named_runs(part: &Part, table: TableName, view: &View) -> Result<Vec<NamedRun>, StoreError> {
    if !view.may_hold(part.file_id) {
        return Ok(Vec::new());
    }
    let mut runs: Vec<NamedRun> = Vec::new();
    let mut add = |name: &Arc<str>, in_force: u64| match runs.last_mut() {
        Some(run) if Arc::ptr_eq(&run.name, name) => {
            run.rows += 1;
            run.in_force += in_force;
        }
        last => {
            let first = last.map_or(0, |run| run.first + run.rows);
            runs.push(NamedRun {
                name: name.clone(),
                first,
                rows: 1,
                in_force,
            });
        }
    };
    let lacking = || damaged(part);
    if view.is_whole(part.file_id) {
        let names = part::columns(part, &["van"], None)?;
        let names = names.first().unwrap_or(&Cells::Missing);
        for row in 0..names.len() {
            add(names.name(row).ok_or_else(lacking)?, 1);
        }
        return Ok(runs);
    }
    let opened = PartRows::read(part, table, false, None)?;
    for (row, line) in opened.lines.iter().enumerate() {
        let moment = Moment::of(table, &opened.columns, row).ok_or_else(lacking)?;
        let stored = Place {
            file_id: part.file_id,
            line: *line,
        };
        let mut in_force = 0;
        view.owners(stored, moment.mark(table), |_| in_force += 1);
        add(opened.who().name(row).ok_or_else(lacking)?, in_force);
    }
    Ok(runs)
}

/// A van's name: as it is listed, or without a list as it is mostly written.
pub(super) fn name_of_van(
    identity: Arc<str>,
    spelt: BTreeMap<Arc<str>, u64>,
    names: &VanNames,
) -> Arc<str> {
    if !names.is_any() {
        return identity;
    }
    // a name that was given counts for more than how it is mostly written
    let given = spelt.keys().find_map(|name| names.given(name)).cloned();
    given.or_else(|| most_frequent(spelt)).unwrap_or(identity)
}

fn most_frequent(spellings: BTreeMap<Arc<str>, u64>) -> Option<Arc<str>> {
    // In order of spelling, so that the smallest wins a tie.
    let mut best: Option<(Arc<str>, u64)> = None;
    for (spelling, count) in spellings {
        if best.as_ref().is_none_or(|(_, most)| count > *most) {
            best = Some((spelling, count));
        }
    }
    best.map(|(spelling, _)| spelling)
}
