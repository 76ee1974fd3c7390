//! The store as its last finished file left it.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::Store;
use super::aside::{ListedRow, count_set_aside, listed_rows, of_no_van};
use super::columns::Kind;
use super::error::StoreError;
use super::files::{FinishedFiles, name_of};
use super::names::VanNames;
use super::part::Part;
use super::records::{Fill, Fleet, Hardness, History, Reading, RowCounts, Service, SetAside, Van};
use super::rows::{Gathered, gather};
use super::schema::TableName;
use super::table::Table;
use super::taken_back::{self, Deed};
use super::versions::{Row, current};
use super::view::View;

/// The Parquet files of every table, unfinished ones left out.
#[derive(Debug)]
pub(super) struct Snapshot {
    pub(super) files: FinishedFiles,
    pub(super) deeds: Vec<Deed>,
    pub(super) view: View,
    parts: BTreeMap<TableName, Vec<Part>>,
}

impl Snapshot {
    /// `files` first: what another process finishes meanwhile has no line in
    /// it and stays unseen as a whole.
    pub(super) fn load(store: &Store) -> Result<Snapshot, StoreError> {
        let files = load_files(store)?;
        let mut parts = BTreeMap::new();
        for name in TableName::ALL {
            if name != TableName::Files {
                let mut listed = store.listed(name)?;
                listed.retain(|part| files.is_finished(part.file_id));
                parts.insert(name, listed);
            }
        }
        let mut snapshot = Snapshot {
            files,
            deeds: Vec::new(),
            view: View::default(),
            parts,
        };
        snapshot.deeds = taken_back::read(snapshot.parts(TableName::TakenBack))?;
        snapshot.view = View::new(
            &snapshot.files,
            taken_back::out_now(&snapshot.deeds),
            snapshot.parts(TableName::Repeats),
        )?;
        Ok(snapshot)
    }

    pub(super) fn parts(&self, name: TableName) -> &[Part] {
        self.parts.get(&name).map_or(&[], Vec::as_slice)
    }

    fn gather<T: Kind>(&self, names: &VanNames) -> Result<Gathered<T>, StoreError> {
        gather(self.parts(T::TABLE), &self.view, names)
    }

    /// Rows of files in force that were stored already when they came.
    fn already_stored(&self) -> u64 {
        let in_force = self.files.files.iter().map(|f| &f.line);
        let in_force = in_force.filter(|line| self.view.is_in_force(line.id));
        let counted: u64 = in_force.map(|line| line.counts.already_stored).sum();
        counted.saturating_sub(self.view.inherited)
    }

    /// Everything current.
    pub(super) fn fleet(&self) -> Result<Fleet, StoreError> {
        let mut rows = RowCounts {
            already_stored: self.already_stored(),
            ..RowCounts::default()
        };
        let mut listed = current_by_who::<Van>(self.gather(&VanNames::Any)?, &mut rows);
        let names = VanNames::new(listed.keys().cloned());
        let hardness = current_by_who::<Hardness>(self.gather(&names)?, &mut rows);
        let mut readings = self.gather::<Reading>(&names)?;
        let mut fills = self.gather::<Fill>(&names)?;
        let mut services = self.gather::<Service>(&names)?;
        rows.set_aside = readings.set_aside + fills.set_aside + services.set_aside;
        rows.set_aside += count_set_aside(self.parts(TableName::SetAside), &self.view)?;

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
        van_names(self.parts(TableName::Vans), &self.view)
    }

    /// Every row set aside now with the id of its file, in order of ingest,
    /// then of line.
    pub(super) fn set_aside(&self) -> Result<Vec<(u64, SetAside)>, StoreError> {
        let mut name: (u64, Arc<str>) = (0, "".into());
        let rows = self.listed()?.into_iter();
        Ok(rows
            .map(|row| {
                if name.0 != row.file_id {
                    name = (row.file_id, name_of(&self.files, row.file_id));
                }
                let set_aside = SetAside {
                    file: name.1.to_string(),
                    line: row.line,
                    reason: row.reason,
                    text: row.text,
                    day_position: row.day_position,
                };
                (row.file_id, set_aside)
            })
            .collect())
    }

    fn listed(&self) -> Result<Vec<ListedRow>, StoreError> {
        let names = self.van_names()?;
        let view = &self.view;
        let mut rows = listed_rows(self.parts(TableName::SetAside), view)?;
        rows.extend(of_no_van::<Reading>(self.parts(TableName::Readings), view, &names)?.1);
        rows.extend(of_no_van::<Fill>(self.parts(TableName::Fills), view, &names)?.1);
        rows.extend(of_no_van::<Service>(self.parts(TableName::Services), view, &names)?.1);
        rows.sort_by_key(|row| (row.file_id, row.line));
        Ok(rows)
    }
}

pub(super) fn load_files(store: &Store) -> Result<FinishedFiles, StoreError> {
    let sound = store.listed(TableName::Files)?;
    let mut files = FinishedFiles::read(&sound)?;
    // A file whose line is damaged was finished all the same.
    let folder = store.path.join(TableName::Files.folder());
    for damage in store.sound.damage() {
        if damage.path.starts_with(&folder)
            && let Some(id) = damage.file_id
        {
            files.stand_in(id);
        }
    }
    Ok(files)
}

pub(super) fn finished_parts(
    table: &Table,
    files: &FinishedFiles,
) -> Result<Vec<Part>, StoreError> {
    let mut parts = table.parts()?;
    parts.retain(|part| files.is_finished(part.file_id));
    Ok(parts)
}

pub(super) fn van_names(parts: &[Part], view: &View) -> Result<VanNames, StoreError> {
    let listed = gather::<Van>(parts, view, &VanNames::Any)?;
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
