//! The store as its last finished file left it.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::Store;
use super::arrays::Columns;
use super::aside::{ListedRow, count_set_aside, listed_rows, of_no_van};
use super::chunks::VanChunks;
use super::columns::Kind;
use super::error::StoreError;
use super::files::{FinishedFiles, name_of};
use super::names::VanNames;
use super::part::{self, Part};
use super::records::{
    Fill, Fleet, Hardness, History, Reading, RowCounts, Service, SetAside, Van, line_of, part_of,
};
use super::rows::{Gathered, damaged, gather};
use super::schema::{LINE, TableName};
use super::summary::FleetSummary;
use super::table::Table;
use super::taken_back::{self, Deed};
use super::versions::current;
use super::view::{FileView, View};

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

    /// Rows of files in force that were stored already when they came.
    fn already_stored(&self) -> u64 {
        let in_force = self.files.files.iter().map(|f| &f.line);
        let in_force = in_force.filter(|line| self.view.is_in_force(line.id));
        let counted: u64 = in_force.map(|line| line.counts.already_stored).sum();
        counted.saturating_sub(self.view.inherited)
    }

    /// What a fleet is besides its vans' readings, fills and services.
    pub(super) fn lists(&self) -> Result<Lists, StoreError> {
        let mut rows = RowCounts {
            already_stored: self.already_stored(),
            ..RowCounts::default()
        };
        let vans = current_by_who::<Van>(
            gather(self.parts(TableName::Vans), &self.view, &VanNames::Any)?,
            &mut rows,
        );
        let names = VanNames::new(vans.keys().cloned());
        let hardness = current_by_who::<Hardness>(
            gather(self.parts(TableName::Hardness), &self.view, &names)?,
            &mut rows,
        );
        rows.set_aside = count_set_aside(self.parts(TableName::SetAside), &self.view)?;
        Ok(Lists {
            vans,
            hardness: hardness.into_values().flatten().collect(),
            rows,
        })
    }

    /// Everything current.
    pub(super) fn fleet(&self) -> Result<Fleet, StoreError> {
        let mut chunks = VanChunks::new(self, u64::MAX)?;
        let mut histories = Vec::new();
        for chunk in &mut chunks {
            histories.extend(chunk?);
        }
        Ok(Fleet {
            histories,
            hardness: chunks.hardness().to_vec(),
            has_van_list: chunks.has_van_list(),
            rows: chunks.rows(),
        })
    }

    /// What is in force of a file's rows; `None` where nothing is, also of one
    /// that was never finished.
    pub(super) fn view_of(&self, file_id: u64) -> Option<FileView<'_>> {
        let is_finished = self.files.is_finished(file_id);
        is_finished.then(|| self.view.of_file(file_id)).flatten()
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
                    line: row.line.map(line_of),
                    part: row.line.map_or(0, part_of),
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
        rows.sort_by_key(|row| (row.file_id, row.line.map(line_of), row.line));
        Ok(rows)
    }
}

pub(super) fn load_files(store: &Store) -> Result<FinishedFiles, StoreError> {
    finished_files(store, &store.listed(TableName::Files)?)
}

/// `sound`: the sound Parquet files of the table of files.
pub(super) fn finished_files(store: &Store, sound: &[Part]) -> Result<FinishedFiles, StoreError> {
    let mut files = FinishedFiles::read(sound)?;
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

pub(super) fn finished_parts(table: &Table, files: &FinishedFiles) -> Vec<Part> {
    let parts = table.parts().iter();
    let finished = parts.filter(|part| files.is_finished(part.file_id));
    finished.cloned().collect()
}

pub(super) fn van_names(parts: &[Part], view: &View) -> Result<VanNames, StoreError> {
    let mut listed = Vec::new();
    for part in parts {
        let Some(file) = view.of_file(part.file_id) else {
            continue;
        };
        let mut last: Option<Arc<str>> = None;
        for batch in part::batches(&part.path, TableName::Vans, Some(&["van", LINE]))? {
            let batch = batch?;
            let columns = Columns {
                batch: &batch,
                path: &part.path,
            };
            let (names, lines) = (columns.names("van")?, columns.wholes(LINE)?);
            for row in 0..batch.num_rows() {
                let line = lines.get(row).ok_or_else(|| damaged(part))?;
                let name = names.get(row).ok_or_else(|| damaged(part))?;
                let mut is_in_force = false;
                // a line of the list tells of one van, so it needs no mark
                file.for_each(
                    line,
                    || 0,
                    |_| {
                        is_in_force = true;
                        Some(())
                    },
                );
                if is_in_force && last.as_ref().is_none_or(|last| !Arc::ptr_eq(last, name)) {
                    listed.push(name.clone());
                    last = Some(name.clone());
                }
            }
        }
    }
    Ok(VanNames::new(listed))
}

/// The van list, the hardness table, and the rows counted outside readings,
/// fills and services.
pub(super) struct Lists {
    pub(super) vans: BTreeMap<Arc<str>, Vec<Van>>,
    pub(super) hardness: Vec<Hardness>,
    pub(super) rows: RowCounts,
}

impl Lists {
    /// The whole fleet, with its vans' settled rows.
    pub(super) fn fleet(mut self, summaries: FleetSummary) -> Fleet {
        let has_van_list = !self.vans.is_empty();
        let rows = self.rows.with(RowCounts {
            stored: summaries.stored,
            already_stored: summaries.already_stored,
            set_aside: summaries.of_no_van,
            ..RowCounts::default()
        });
        let mut histories = summaries.vans;
        for history in &mut histories {
            history.listed = self.vans.remove(&history.van).unwrap_or_default();
        }
        // Vans of the list without any row.
        histories.extend(self.vans.into_iter().map(|(van, listed)| History {
            van,
            listed,
            ..History::default()
        }));
        histories.sort_by(|a, b| a.van.cmp(&b.van));
        Fleet {
            histories,
            hardness: self.hardness,
            has_van_list,
            rows,
        }
    }
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
