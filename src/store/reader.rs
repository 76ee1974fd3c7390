//! The store as its last finished file left it.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use rayon::prelude::*;

use super::arrays::{Columns, Interner};
use super::columns::Kind;
use super::error::StoreError;
use super::files::{FinishedFiles, name_of};
use super::lines::{Lines, WHOLE_FILE};
use super::names::{NoVan, VanNames};
use super::part::{self, Part};
use super::records::{Fill, Fleet, Hardness, History, Reading, RowCounts, Service, SetAside, Van};
use super::schema::{FILE_ID, LINE, TEXT, TableName};
use super::table::{Table, Worker};
use super::versions::{Row, current};

/// The Parquet files of every table, unfinished ones left out.
#[derive(Debug)]
pub(super) struct Snapshot {
    pub(super) files: FinishedFiles,
    parts: BTreeMap<TableName, Vec<Part>>,
}

impl Snapshot {
    /// `files` first: what another process finishes meanwhile has no line in
    /// it and stays unseen as a whole.
    pub(super) fn load(worker: &Worker, store: &std::path::Path) -> Result<Snapshot, StoreError> {
        let files = load_files(worker, store)?;
        let mut parts = BTreeMap::new();
        for name in TableName::ALL {
            if name != TableName::Files {
                parts.insert(
                    name,
                    finished_parts(&Table::load(worker, store, name)?, &files)?,
                );
            }
        }
        Ok(Snapshot { files, parts })
    }

    pub(super) fn parts(&self, name: TableName) -> &[Part] {
        self.parts.get(&name).map_or(&[], Vec::as_slice)
    }

    fn gather<T: Kind>(&self, names: &VanNames) -> Result<Gathered<T>, StoreError> {
        gather(self.parts(T::TABLE), &self.files.superseded, names)
    }

    /// Everything current.
    pub(super) fn fleet(&self) -> Result<Fleet, StoreError> {
        let mut rows = RowCounts {
            already_stored: self.files.already_stored(),
            ..RowCounts::default()
        };
        let mut listed = current_by_who::<Van>(self.gather(&VanNames::Any)?, &mut rows);
        let names = VanNames::new(listed.keys().cloned());
        let hardness = current_by_who::<Hardness>(self.gather(&names)?, &mut rows);
        let mut readings = self.gather::<Reading>(&names)?;
        let mut fills = self.gather::<Fill>(&names)?;
        let mut services = self.gather::<Service>(&names)?;
        rows.set_aside = readings.set_aside + fills.set_aside + services.set_aside;
        rows.set_aside += count_set_aside(self.parts(TableName::SetAside), &self.files.superseded)?;

        let mut spellings: BTreeMap<Arc<str>, BTreeMap<Arc<str>, u64>> = BTreeMap::new();
        for found in [&readings.spellings, &fills.spellings, &services.spellings] {
            for ((identity, spelling), count) in found {
                *spellings
                    .entry(identity.clone())
                    .or_default()
                    .entry(spelling.clone())
                    .or_default() += count;
            }
        }
        for van in listed.keys() {
            spellings.entry(van.clone()).or_default();
        }
        let has_van_list = !listed.is_empty();
        let unread: Vec<_> = spellings
            .into_iter()
            .map(|(identity, spelt)| UnreadHistory {
                readings: readings.rows.remove(&identity).unwrap_or_default(),
                fills: fills.rows.remove(&identity).unwrap_or_default(),
                services: services.rows.remove(&identity).unwrap_or_default(),
                listed: listed.remove(&identity).unwrap_or_default(),
                van: if has_van_list {
                    identity
                } else {
                    most_frequent(spelt).unwrap_or(identity)
                },
            })
            .collect();
        let read: Vec<(History, RowCounts)> =
            unread.into_par_iter().map(UnreadHistory::read).collect();
        let mut histories = Vec::with_capacity(read.len());
        for (history, counted) in read {
            rows.stored += counted.stored;
            rows.already_stored += counted.already_stored;
            histories.push(history);
        }
        histories.sort_by(|a, b| a.van.cmp(&b.van));
        rows.read = rows.stored + rows.already_stored + rows.set_aside;
        Ok(Fleet {
            histories,
            hardness: hardness.into_values().flatten().collect(),
            has_van_list,
            rows,
        })
    }

    /// The names that rows are held against.
    pub(super) fn van_names(&self) -> Result<VanNames, StoreError> {
        van_names(self.parts(TableName::Vans), &self.files.superseded)
    }

    /// Every row set aside now, in order of ingest, then of line.
    pub(super) fn set_aside(&self) -> Result<Vec<SetAside>, StoreError> {
        let names = self.van_names()?;
        let gone = &self.files.superseded;
        let mut rows = listed_rows(self.parts(TableName::SetAside), gone)?;
        rows.extend(of_no_van::<Reading>(self.parts(TableName::Readings), gone, &names)?.1);
        rows.extend(of_no_van::<Fill>(self.parts(TableName::Fills), gone, &names)?.1);
        rows.extend(of_no_van::<Service>(self.parts(TableName::Services), gone, &names)?.1);
        rows.sort_by_key(|row| (row.file_id, row.line));
        let mut name: (u64, Arc<str>) = (0, "".into());
        Ok(rows
            .into_iter()
            .map(|row| {
                if name.0 != row.file_id {
                    name = (row.file_id, name_of(&self.files, row.file_id));
                }
                SetAside {
                    file: name.1.to_string(),
                    line: row.line,
                    reason: row.reason,
                    text: row.text,
                }
            })
            .collect())
    }
}

pub(super) fn load_files(
    worker: &Worker,
    store: &std::path::Path,
) -> Result<FinishedFiles, StoreError> {
    FinishedFiles::read(&Table::load(worker, store, TableName::Files)?.parts()?)
}

pub(super) fn finished_parts(
    table: &Table,
    files: &FinishedFiles,
) -> Result<Vec<Part>, StoreError> {
    let mut parts = table.parts()?;
    parts.retain(|part| files.is_finished(part.file_id));
    Ok(parts)
}

pub(super) fn van_names(parts: &[Part], superseded: &Lines) -> Result<VanNames, StoreError> {
    let listed = gather::<Van>(parts, superseded, &VanNames::Any)?;
    Ok(VanNames::new(listed.rows.into_keys()))
}

/// A van's rows, all versions.
struct UnreadHistory {
    van: Arc<str>,
    readings: Vec<Row<Reading>>,
    fills: Vec<Row<Fill>>,
    services: Vec<Row<Service>>,
    listed: Vec<Van>,
}

impl UnreadHistory {
    fn read(self) -> (History, RowCounts) {
        let mut counts = RowCounts::default();
        let van = self.van;
        let history = History {
            readings: newest(self.readings, &van, &mut counts),
            fills: newest(self.fills, &van, &mut counts),
            services: newest(self.services, &van, &mut counts),
            listed: self.listed,
            van,
        };
        (history, counts)
    }
}

fn newest<T: Kind>(rows: Vec<Row<T>>, van: &Arc<str>, counts: &mut RowCounts) -> Vec<T> {
    let mut found = current(rows);
    counts.stored += found.versions;
    counts.already_stored += found.repeats;
    for record in &mut found.records {
        record.set_who(van.clone());
    }
    found.records
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

/// All versions of a kind of record, van by van (or postcode by postcode).
struct Gathered<T> {
    rows: BTreeMap<Arc<str>, Vec<Row<T>>>,
    /// (identity, spelling) → rows.
    spellings: BTreeMap<(Arc<str>, Arc<str>), u64>,
    /// Rows of no van.
    set_aside: u64,
}

fn current_by_who<T: Kind>(
    gathered: Gathered<T>,
    counts: &mut RowCounts,
) -> BTreeMap<Arc<str>, Vec<T>> {
    let one = |(who, rows)| {
        let found = current(rows);
        counts.stored += found.versions;
        counts.already_stored += found.repeats;
        (who, found.records)
    };
    gathered.rows.into_iter().map(one).collect()
}

/// What tells a row's van from others; for other kinds the name as it stands.
pub(super) fn identity_of<T: Kind>(names: &VanNames, who: &Arc<str>) -> Result<Arc<str>, NoVan> {
    if T::IS_OF_A_VAN {
        names.identity(who)
    } else {
        Ok(who.clone())
    }
}

/// Consecutive rows of one name.
type Run<T> = (Arc<str>, Vec<Row<T>>);

fn gather<T: Kind>(
    parts: &[Part],
    superseded: &Lines,
    names: &VanNames,
) -> Result<Gathered<T>, StoreError> {
    let runs: Vec<Vec<Run<T>>> = parts
        .par_iter()
        .map(|part| read_runs(part, superseded))
        .collect::<Result<_, _>>()?;
    let mut gathered = Gathered {
        rows: BTreeMap::<_, Vec<Row<T>>>::new(),
        spellings: BTreeMap::new(),
        set_aside: 0,
    };
    let mut known: HashMap<Arc<str>, Result<Arc<str>, NoVan>> = HashMap::new();
    for (who, rows) in runs.into_iter().flatten() {
        let identity = known
            .entry(who.clone())
            .or_insert_with(|| identity_of::<T>(names, &who));
        let count = rows.len() as u64;
        match identity {
            Ok(identity) => {
                let spelling = (identity.clone(), who);
                *gathered.spellings.entry(spelling).or_default() += count;
                match gathered.rows.get_mut(&*identity) {
                    Some(earlier) => earlier.extend(rows),
                    None => {
                        gathered.rows.insert(identity.clone(), rows);
                    }
                }
            }
            Err(_) => gathered.set_aside += count,
        }
    }
    Ok(gathered)
}

/// All columns of a record's table but the text.
fn without_text(table: TableName) -> Vec<&'static str> {
    table
        .columns()
        .map(|(name, _)| name)
        .filter(|name| *name != TEXT)
        .collect()
}

fn damaged(part: &Part) -> StoreError {
    StoreError::Damaged {
        path: part.path.clone(),
        what: "a row lacks a value that every row has".to_owned(),
    }
}

/// Calls `each` with every row that has not been superseded.
pub(super) fn for_each_row<T: Kind>(
    part: &Part,
    superseded: &Lines,
    mut each: impl FnMut(&T::Batch, usize, u64) -> Option<()>,
) -> Result<(), StoreError> {
    let mut interner = Interner::default();
    let wanted = without_text(T::TABLE);
    for batch in part::batches(&part.path, T::TABLE, Some(&wanted))? {
        let batch = batch?;
        let mut columns = Columns {
            batch: &batch,
            path: &part.path,
            interner: &mut interner,
        };
        let opened = T::open(&mut columns)?;
        let lines = columns.wholes(LINE)?;
        for row in 0..batch.num_rows() {
            let line = lines.get(row).ok_or_else(|| damaged(part))?;
            if !superseded.contains(part.file_id, line) {
                each(&opened, row, line).ok_or_else(|| damaged(part))?;
            }
        }
    }
    Ok(())
}

fn read_runs<T: Kind>(part: &Part, superseded: &Lines) -> Result<Vec<Run<T>>, StoreError> {
    let mut runs: Vec<Run<T>> = Vec::new();
    for_each_row::<T>(part, superseded, |batch, row, line| {
        let record = T::get(batch, row)?;
        if runs.last().is_none_or(|(who, _)| who != record.who()) {
            runs.push((record.who().clone(), Vec::new()));
        }
        let (_, rows) = runs.last_mut()?;
        rows.push(Row {
            file_id: part.file_id,
            line,
            record,
        });
        Some(())
    })?;
    Ok(runs)
}

/// A row set aside as it lies in the store.
#[derive(Debug, Clone)]
pub(super) struct ListedRow {
    pub(super) file_id: u64,
    /// `None` for a whole file.
    pub(super) line: Option<u64>,
    pub(super) reason: String,
    pub(super) text: String,
}

impl ListedRow {
    pub(super) fn place(&self) -> (u64, u64) {
        (self.file_id, self.line.unwrap_or(WHOLE_FILE))
    }
}

fn count_set_aside(parts: &[Part], superseded: &Lines) -> Result<u64, StoreError> {
    let mut interner = Interner::default();
    let mut count = 0;
    for part in parts {
        for batch in part::batches(&part.path, TableName::SetAside, Some(&[FILE_ID, LINE]))? {
            let batch = batch?;
            let columns = Columns {
                batch: &batch,
                path: &part.path,
                interner: &mut interner,
            };
            let lines = columns.wholes(LINE)?;
            count += (0..batch.num_rows())
                .map(|row| lines.get(row).unwrap_or(WHOLE_FILE))
                .filter(|line| !superseded.contains(part.file_id, *line))
                .count() as u64;
        }
    }
    Ok(count)
}

/// The rows that ingest itself set aside.
pub(super) fn listed_rows(
    parts: &[Part],
    superseded: &Lines,
) -> Result<Vec<ListedRow>, StoreError> {
    let mut interner = Interner::default();
    let mut rows = Vec::new();
    for part in parts {
        for batch in part::batches(&part.path, TableName::SetAside, None)? {
            let batch = batch?;
            let mut columns = Columns {
                batch: &batch,
                path: &part.path,
                interner: &mut interner,
            };
            let reasons = columns.names("reason")?;
            let lines = columns.wholes(LINE)?;
            let texts = columns.texts(TEXT)?;
            for row in 0..batch.num_rows() {
                let listed = ListedRow {
                    file_id: part.file_id,
                    line: lines.get(row),
                    reason: reasons.get(row).map_or_else(String::new, |r| r.to_string()),
                    text: texts.value(row).to_owned(),
                };
                let (file_id, line) = listed.place();
                if !superseded.contains(file_id, line) {
                    rows.push(listed);
                }
            }
        }
    }
    Ok(rows)
}

/// Stored rows whose van the list does not know now: the records, and beside
/// each its place in the list of rows set aside.
pub(super) fn of_no_van<T: Kind>(
    parts: &[Part],
    superseded: &Lines,
    names: &VanNames,
) -> Result<(Vec<T>, Vec<ListedRow>), StoreError> {
    let (mut records, mut rows) = (Vec::new(), Vec::new());
    if matches!(names, VanNames::Any) {
        return Ok((records, rows));
    }
    for part in parts {
        if !names_someone_unknown::<T>(part, names)? {
            continue;
        }
        let mut interner = Interner::default();
        for batch in part::batches(&part.path, T::TABLE, None)? {
            let batch = batch?;
            let mut columns = Columns {
                batch: &batch,
                path: &part.path,
                interner: &mut interner,
            };
            let opened = T::open(&mut columns)?;
            let lines = columns.wholes(LINE)?;
            let texts = columns.texts(TEXT)?;
            let reasons: Vec<Option<String>> = T::names(&opened)
                .values
                .iter()
                .map(|name| names.identity(name).err().map(|no_van| no_van.reason(name)))
                .collect();
            for row in 0..batch.num_rows() {
                let reason = T::names(&opened)
                    .index(row)
                    .and_then(|i| reasons.get(i)?.clone());
                let line = lines.get(row).ok_or_else(|| damaged(part))?;
                if let Some(reason) = reason
                    && !superseded.contains(part.file_id, line)
                {
                    records.push(T::get(&opened, row).ok_or_else(|| damaged(part))?);
                    rows.push(ListedRow {
                        file_id: part.file_id,
                        line: Some(line),
                        reason,
                        text: texts.value(row).to_owned(),
                    });
                }
            }
        }
    }
    Ok((records, rows))
}

/// Looks at the names alone: most files name listed vans only.
fn names_someone_unknown<T: Kind>(part: &Part, names: &VanNames) -> Result<bool, StoreError> {
    let mut interner = Interner::default();
    for batch in part::batches(&part.path, T::TABLE, Some(&["van"]))? {
        let batch = batch?;
        let mut columns = Columns {
            batch: &batch,
            path: &part.path,
            interner: &mut interner,
        };
        let found = columns.names("van")?;
        if found
            .values
            .iter()
            .any(|name| names.identity(name).is_err())
        {
            return Ok(true);
        }
    }
    Ok(false)
}
