//! The store as its last finished file left it.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use super::Store;
use super::by_hand::{self, Renamed, Renaming, RowDeed};
use super::error::StoreError;
use super::files::{FinishedFiles, name_of};
use super::in_force::View;
use super::lineage::{self, Lines, Place, UndoEntry};
use super::names::VanNames;
use super::part::Part;
use super::part::{PartRows, damaged};
use super::records::{Fleet, History, RowCounts, SetAside, line_of, part_of};
use super::schema::{Hardness, Kind, TableName, Van};
use super::set_aside::{count_set_aside, listed_rows, of_no_van};
use super::table::Table;
use super::vans::{VanChunks, gather};

/// The Parquet files of every table, unfinished ones left out.
#[derive(Debug)]
pub(super) struct Snapshot {
    pub(super) files: FinishedFiles,
    pub(super) undone: Vec<UndoEntry>,
    pub(super) row_deeds: Vec<RowDeed>,
    pub(super) renamings: Vec<Renaming>,
    pub(super) rows_out: Lines,
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
            undone: Vec::new(),
            row_deeds: Vec::new(),
            renamings: Vec::new(),
            rows_out: Lines::default(),
            view: View::default(),
            parts,
        };
        snapshot.undone = lineage::read_undone(snapshot.parts(TableName::TakenBack))?;
        snapshot.row_deeds = by_hand::read_deeds(snapshot.parts(TableName::RowsTakenBack))?;
        snapshot.renamings = by_hand::read_renamings(snapshot.parts(TableName::Renamed))?;
        snapshot.rows_out = by_hand::rows_out(&snapshot.row_deeds);
        snapshot.view = View::new(
            &snapshot.files,
            lineage::out_now(&snapshot.undone),
            &snapshot.rows_out,
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
        let vans = self.under_their_names(self.current_by_who::<Van>(&mut rows)?);
        let hardness = self.current_by_who::<Hardness>(&mut rows)?;
        rows.set_aside = count_set_aside(self.parts(TableName::SetAside), &self.view)?;
        Ok(Lists {
            vans,
            hardness: hardness.into_values().flatten().collect(),
            rows,
        })
    }

    /// The van list under the names that its vans bear now; a van that was merged
    /// into one that is listed itself has that one's base and sizes.
    fn under_their_names(
        &self,
        vans: BTreeMap<Arc<str>, Vec<Van>>,
    ) -> BTreeMap<Arc<str>, Vec<Van>> {
        let renamed = Renamed::of(&self.renamings);
        let is_renamed = |(name, _): &(Arc<str>, Vec<Van>)| renamed.now(name).is_some();
        let (others, listed): (Vec<_>, Vec<_>) = vans.into_iter().partition(is_renamed);
        let mut listed: BTreeMap<Arc<str>, Vec<Van>> = listed.into_iter().collect();
        for (name, mut rows) in others {
            let now = renamed.now(&name).cloned().unwrap_or(name);
            rows.iter_mut().for_each(|row| row.set_who(now.clone()));
            listed.entry(now).or_insert(rows);
        }
        listed
    }

    fn current_by_who<T: Kind>(
        &self,
        counts: &mut RowCounts,
    ) -> Result<BTreeMap<Arc<str>, Vec<T>>, StoreError> {
        let mut names: Vec<Arc<str>> = Vec::new();
        let mut numbers: HashMap<Arc<str>, u32> = HashMap::new();
        let number = |name: &Arc<str>| {
            let next = u32::try_from(names.len()).unwrap_or(u32::MAX);
            Some(*numbers.entry(name.clone()).or_insert_with(|| {
                names.push(name.clone());
                next
            }))
        };
        let rows = gather(self.parts(T::TABLE), T::TABLE, &self.view, number)?;
        let name = |who: u32| {
            names
                .get(who as usize)
                .cloned()
                .unwrap_or_else(|| "".into())
        };
        let current = rows.current::<T>(name, counts)?.into_iter();
        Ok(current.map(|(who, records)| (name(who), records)).collect())
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

    /// The names that rows are held against.
    pub(super) fn van_names(&self) -> Result<VanNames, StoreError> {
        van_names(
            self.parts(TableName::Vans),
            &self.view,
            Renamed::of(&self.renamings),
        )
    }

    /// Every row set aside now with the id of its file, in order of ingest,
    /// then of line.
    pub(super) fn set_aside(&self) -> Result<Vec<(u64, SetAside)>, StoreError> {
        let names = self.van_names()?;
        let mut rows = listed_rows(self.parts(TableName::SetAside), &self.view)?;
        let parts = |table| Ok(self.parts(table).to_vec());
        rows.extend(of_no_van(parts, &self.view, &names)?.1);
        rows.sort_by_key(|row| (row.file_id, row.line.map(line_of), row.line));
        let mut name: (u64, Arc<str>) = (0, "".into());
        let rows = rows.into_iter().map(|row| {
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
        });
        Ok(rows.collect())
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

pub(super) fn van_names(
    parts: &[Part],
    view: &View,
    renamed: Renamed,
) -> Result<VanNames, StoreError> {
    let mut listed = Vec::new();
    for part in parts.iter().filter(|part| view.may_hold(part.file_id)) {
        let opened = PartRows::read(part, TableName::Vans, false, None)?;
        for (row, line) in opened.lines.iter().enumerate() {
            let name = opened.who().name(row).ok_or_else(|| damaged(part))?;
            let stored = Place {
                file_id: part.file_id,
                line: *line,
            };
            let mut is_in_force = false;
            // a line of the list tells of one van, so it needs no mark
            view.owners(stored, 0, |_| is_in_force = true);
            if is_in_force {
                listed.push(name.clone());
            }
        }
    }
    Ok(VanNames::new(listed, renamed))
}

/// The van list, the hardness table, and the rows counted outside readings,
/// fills and services.
pub(super) struct Lists {
    pub(super) vans: BTreeMap<Arc<str>, Vec<Van>>,
    pub(super) hardness: Vec<Hardness>,
    pub(super) rows: RowCounts,
}

impl Lists {
    /// The whole fleet of vans that were summed up; `rows_of_vans`: what was
    /// counted of them.
    pub(super) fn fleet(mut self, mut histories: Vec<History>, rows_of_vans: RowCounts) -> Fleet {
        let has_van_list = !self.vans.is_empty();
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
            rows: self.rows.with(rows_of_vans),
        }
    }
}
