//! The fleet some vans at a time, in order of their names: what a van's rows are
//! and where they lie is found in one look at the names, their values are read
//! when it is their turn.

use std::collections::{BTreeMap, HashMap};
use std::ops::Range;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use parquet::arrow::arrow_reader::{RowSelection, RowSelector};
use rayon::prelude::*;

use super::arrays::Columns;
use super::columns::Kind;
use super::error::StoreError;
use super::names::{NoVan, VanNames};
use super::part::{self, Asked, Part};
use super::reader::{Lists, Snapshot};
use super::records::{Fill, Hardness, History, Reading, RowCounts, Service, Van};
use super::rows::{
    PartRows, RowBatch, RowPlace, damaged, for_each_row_asked, identity_of, without_text,
};
use super::schema::{LINE, TableName};
use super::versions::{Row, current};
use super::view::View;

/// A fleet that is read some vans at a time.
#[derive(Debug)]
pub struct VanChunks {
    view: View,
    /// In order of name.
    vans: Vec<OneVan>,
    readings: Vec<Indexed<Reading>>,
    fills: Vec<Indexed<Fill>>,
    services: Vec<Indexed<Service>>,
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
struct Indexed<T: Kind> {
    part: Part,
    runs: Vec<Run>,
    /// Where its runs come in the order of the vans, it is read through once.
    reading: Option<Cursor<T>>,
}

impl<T: Kind> std::fmt::Debug for Indexed<T> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("Indexed").field(&self.part).finish()
    }
}

/// A file being read through, up to its next run.
struct Cursor<T: Kind> {
    /// Opened when the first van has its turn.
    rows: Option<PartRows<T>>,
    batch: Option<RowBatch<T>>,
    row: usize,
    run: usize,
}

impl<T: Kind> Cursor<T> {
    fn at_begin() -> Cursor<T> {
        Cursor {
            rows: None,
            batch: None,
            row: 0,
            run: 0,
        }
    }
}

/// Rows of one van that lie side by side.
#[derive(Debug, Clone, Copy)]
struct Run {
    van: u32,
    first: u32,
    rows: u32,
}

/// The same before the vans are numbered; `in_force`: rows that count.
#[derive(Debug)]
struct NamedRun {
    name: Arc<str>,
    first: u32,
    rows: u32,
    in_force: u64,
}

/// Rows of a van, and its place among those that are read.
type RunOfVan<T> = (usize, Vec<Row<T>>);

impl VanChunks {
    pub(super) fn new(snapshot: &Snapshot, rows_at_once: u64) -> Result<VanChunks, StoreError> {
        let view = &snapshot.view;
        let Lists {
            vans: mut listed,
            hardness,
            rows: elsewhere,
        } = snapshot.lists()?;
        let names = VanNames::new(listed.keys().cloned());
        let mut rows = RowCounts::default();
        let readings = named_runs::<Reading>(snapshot.parts(TableName::Readings), view)?;
        let fills = named_runs::<Fill>(snapshot.parts(TableName::Fills), view)?;
        let services = named_runs::<Service>(snapshot.parts(TableName::Services), view)?;

        // whose each name is, and how often it is written
        let mut whose: HashMap<Arc<str>, Result<Arc<str>, NoVan>> = HashMap::new();
        let mut spellings: BTreeMap<Arc<str>, BTreeMap<Arc<str>, u64>> = BTreeMap::new();
        let all = readings.iter().chain(&fills).chain(&services);
        for run in all.flat_map(|(_, runs)| runs) {
            let known = whose.get(&run.name).cloned();
            let identity = known.unwrap_or_else(|| {
                let identity = identity_of::<Reading>(&names, &run.name);
                whose.insert(run.name.clone(), identity.clone());
                identity
            });
            match identity {
                Ok(identity) => {
                    let spelt = spellings.entry(identity).or_default();
                    *spelt.entry(run.name.clone()).or_default() += run.in_force;
                }
                Err(_) => rows.set_aside += run.in_force,
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
                    name: name_of_van(identity.clone(), spelt, has_van_list),
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
        Ok(VanChunks {
            vans: vans.into_iter().map(|(_, van)| van).collect(),
            readings: indexed(readings, &numbers),
            fills: indexed(fills, &numbers),
            services: indexed(services, &numbers),
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
        self.readings.iter_mut().for_each(Indexed::rewind);
        self.fills.iter_mut().for_each(Indexed::rewind);
        self.services.iter_mut().for_each(Indexed::rewind);
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
        let readings = self.newest_of(&self.readings, |r: &Reading| r.taken_at.date_in(zone))?;
        let fills = self.newest_of(&self.fills, |f: &Fill| f.started_at.date_in(zone))?;
        let services = self.newest_of(&self.services, |s: &Service| s.done_at.date_in(zone))?;
        Ok(readings.max(fills).max(services))
    }

    /// From the newest month that has rows.
    fn newest_of<T: Kind>(
        &self,
        parts: &[Indexed<T>],
        day: impl Fn(&T) -> Option<Date>,
    ) -> Result<Option<Date>, StoreError> {
        let mut by_month: BTreeMap<Option<&String>, Vec<&Indexed<T>>> = BTreeMap::new();
        for indexed in parts {
            let month = indexed.part.month.as_ref();
            by_month.entry(month).or_default().push(indexed);
        }
        for of_month in by_month.values().rev() {
            let mut newest = None;
            for indexed in of_month {
                let read = indexed.look_up(&self.view, &(0..self.vans.len()))?;
                let rows = read.iter().flat_map(|(_, rows)| rows);
                newest = newest.max(rows.filter_map(|row| day(&row.record)).max());
            }
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

    fn read(&mut self, vans: Range<usize>) -> Result<Vec<History>, StoreError> {
        let view = &self.view;
        let readings = rows_of(&mut self.readings, view, &vans)?;
        let fills = rows_of(&mut self.fills, view, &vans)?;
        let services = rows_of(&mut self.services, view, &vans)?;
        let of_vans = self.vans.get(vans).unwrap_or_default();
        let read: Vec<(History, RowCounts)> = of_vans
            .par_iter()
            .zip(readings)
            .zip(fills)
            .zip(services)
            .map(|(((van, readings), fills), services)| {
                let mut counts = RowCounts::default();
                let history = History {
                    readings: newest(readings, &van.name, &mut counts),
                    fills: newest(fills, &van.name, &mut counts),
                    services: newest(services, &van.name, &mut counts),
                    listed: van.listed.clone(),
                    van: van.name.clone(),
                };
                (history, counts)
            })
            .collect();
        let mut histories = Vec::with_capacity(read.len());
        for (history, counted) in read {
            self.rows.stored += counted.stored;
            self.rows.already_stored += counted.already_stored;
            histories.push(history);
        }
        Ok(histories)
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

fn named_runs<T: Kind>(
    parts: &[Part],
    view: &View,
) -> Result<Vec<(Part, Vec<NamedRun>)>, StoreError> {
    let runs = parts
        .par_iter()
        .map(|part| Ok((part.clone(), runs_of_part::<T>(part, view)?)));
    runs.collect()
}

fn runs_of_part<T: Kind>(part: &Part, view: &View) -> Result<Vec<NamedRun>, StoreError> {
    let Some(file) = view.of_file(part.file_id) else {
        return Ok(Vec::new());
    };
    let mut runs: Vec<NamedRun> = Vec::new();
    let wanted = match file.is_whole() {
        true => vec!["van"],
        false => without_text(T::TABLE),
    };
    let mut at = 0;
    for batch in part::batches(&part.path, T::TABLE, Some(&wanted))? {
        let batch = batch?;
        let columns = Columns {
            batch: &batch,
            path: &part.path,
        };
        let names = columns.names("van")?;
        let rows = match file.is_whole() {
            true => None,
            false => Some((T::open(&columns)?, columns.wholes(LINE)?)),
        };
        for row in 0..batch.num_rows() {
            let name = names.get(row).ok_or_else(|| damaged(part))?;
            let mut in_force = 1;
            if let Some((opened, lines)) = &rows {
                in_force = 0;
                let line = lines.get(row).ok_or_else(|| damaged(part))?;
                let mark = || T::mark_at(opened, row);
                file.for_each(line, mark, |_| {
                    in_force += 1;
                    Some(())
                });
            }
            match runs.last_mut() {
                Some(run) if Arc::ptr_eq(&run.name, name) => {
                    run.rows += 1;
                    run.in_force += in_force;
                }
                _ => runs.push(NamedRun {
                    name: name.clone(),
                    first: at,
                    rows: 1,
                    in_force,
                }),
            }
            at += 1;
        }
    }
    Ok(runs)
}

fn indexed<T: Kind>(
    parts: Vec<(Part, Vec<NamedRun>)>,
    numbers: &HashMap<Arc<str>, u32>,
) -> Vec<Indexed<T>> {
    let run = |run: NamedRun| {
        Some(Run {
            van: *numbers.get(&run.name)?,
            first: run.first,
            rows: run.rows,
        })
    };
    parts
        .into_iter()
        .map(|(part, runs)| {
            let runs: Vec<Run> = runs.into_iter().filter_map(run).collect();
            let is_in_order = runs.is_sorted_by_key(|run| run.van);
            Indexed {
                part,
                runs,
                reading: is_in_order.then(Cursor::at_begin),
            }
        })
        .collect()
}

/// The rows of some vans, van by van.
fn rows_of<T: Kind>(
    parts: &mut [Indexed<T>],
    view: &View,
    vans: &Range<usize>,
) -> Result<Vec<Vec<Row<T>>>, StoreError> {
    let read: Vec<Vec<RunOfVan<T>>> = parts
        .par_iter_mut()
        .map(|indexed| indexed.read(view, vans))
        .collect::<Result<_, _>>()?;
    let mut all: Vec<Vec<Row<T>>> = Vec::new();
    all.resize_with(vans.len(), Vec::new);
    for (van, rows) in read.into_iter().flatten() {
        match all.get_mut(van) {
            Some(of_van) if of_van.is_empty() => *of_van = rows,
            Some(of_van) => of_van.extend(rows),
            None => {}
        }
    }
    Ok(all)
}

impl<T: Kind> Indexed<T> {
    fn rewind(&mut self) {
        if self.reading.is_some() {
            self.reading = Some(Cursor::at_begin());
        }
    }

    /// The rows of some vans, the next ones, with the van's place among these.
    fn read(&mut self, view: &View, vans: &Range<usize>) -> Result<Vec<RunOfVan<T>>, StoreError> {
        let Some(cursor) = &mut self.reading else {
            return self.look_up(view, vans);
        };
        let mut read: Vec<RunOfVan<T>> = Vec::new();
        let Some(file) = view.of_file(self.part.file_id) else {
            return Ok(read);
        };
        let mut places = Vec::new();
        while let Some(run) = self.runs.get(cursor.run) {
            let van = (run.van as usize).saturating_sub(vans.start);
            if van >= vans.len() {
                break;
            }
            cursor.run += 1;
            let mut rows = Vec::with_capacity(run.rows as usize);
            for _ in 0..run.rows {
                if cursor.batch.as_ref().is_none_or(|b| cursor.row == b.rows) {
                    if cursor.rows.is_none() {
                        let all = Asked::Rows(selection(&self.runs));
                        cursor.rows = Some(PartRows::open(&self.part, all)?);
                    }
                    let rows = cursor.rows.as_mut();
                    cursor.batch = rows.map_or(Ok(None), PartRows::next_batch)?;
                    cursor.row = 0;
                }
                let batch = cursor.batch.as_ref();
                let taken = batch.and_then(|batch| {
                    batch.places(&file, cursor.row, &mut places)?;
                    take(batch, cursor.row, &places, &mut rows)
                });
                taken.ok_or_else(|| damaged(&self.part))?;
                cursor.row += 1;
            }
            read.push((van, rows));
        }
        if cursor.run == self.runs.len() {
            // nothing more will come: what it holds can go
            (cursor.rows, cursor.batch) = (None, None);
        }
        Ok(read)
    }

    /// The same for any vans.
    fn look_up(&self, view: &View, vans: &Range<usize>) -> Result<Vec<RunOfVan<T>>, StoreError> {
        let asked_for = |run: &&Run| vans.contains(&(run.van as usize));
        let runs: Vec<Run> = self.runs.iter().filter(asked_for).copied().collect();
        if runs.is_empty() {
            return Ok(Vec::new());
        }
        let mut read: Vec<RunOfVan<T>> = Vec::with_capacity(runs.len());
        let mut left = runs.iter();
        // rows asked for that are still to come of the present run
        let mut coming = 0;
        let asked = Asked::Rows(selection(&runs));
        for_each_row_asked::<T>(&self.part, view, asked, |batch, row, places| {
            if coming == 0 {
                let run = left.next()?;
                coming = run.rows;
                let van = (run.van as usize).checked_sub(vans.start)?;
                read.push((van, Vec::with_capacity(run.rows as usize)));
            }
            coming -= 1;
            let (_, rows) = read.last_mut()?;
            take(batch, row, places, rows)
        })?;
        Ok(read)
    }
}

/// The rows of these runs, which come in the order of the file.
fn selection(runs: &[Run]) -> RowSelection {
    let mut selectors = Vec::new();
    let mut end = 0;
    for run in runs {
        let (first, rows) = (run.first as usize, run.rows as usize);
        if first > end {
            selectors.push(RowSelector::skip(first - end));
        }
        selectors.push(RowSelector::select(rows));
        end = first + rows;
    }
    RowSelection::from(selectors)
}

/// Takes a stored row for each that it stands for.
fn take<T: Kind>(
    batch: &RowBatch<T>,
    row: usize,
    places: &[RowPlace],
    rows: &mut Vec<Row<T>>,
) -> Option<()> {
    for place in places {
        rows.push(Row {
            file_id: place.owner.file_id,
            line: place.owner.line,
            record: T::get(&batch.columns, row)?,
        });
    }
    Some(())
}

/// The records that count among all versions of one van's.
pub(super) fn newest<T: Kind>(rows: Vec<Row<T>>, van: &Arc<str>, counts: &mut RowCounts) -> Vec<T> {
    let mut found = current(rows);
    counts.stored += found.versions;
    counts.already_stored += found.repeats;
    for record in &mut found.records {
        record.set_who(van.clone());
    }
    found.records
}

/// A van's name: as it is listed, or without a list as it is mostly written.
pub(super) fn name_of_van(
    identity: Arc<str>,
    spelt: BTreeMap<Arc<str>, u64>,
    is_listed: bool,
) -> Arc<str> {
    if is_listed {
        return identity;
    }
    most_frequent(spelt).unwrap_or(identity)
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
