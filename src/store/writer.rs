//! The one who writes: what it knows of the store, and its commits.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::Store;
use super::by_hand::{self, Renamed, Renaming, RowDeed, RowFound};
use super::error::StoreError;
use super::field::Cell;
use super::files::{self, FinishedFile, FinishedFiles};
use super::folder::WriteLock;
use super::in_force::View;
use super::integrity::Sound;
use super::judge::identity_of;
use super::lineage::{self, Action, Lines, Place, UndoEntry};
use super::mend::{EarlierRow, Mending, text_hash};
use super::mend::{Settled, join};
use super::names::VanNames;
use super::part::PartRows;
use super::part::{self, NewPart, Part, PartWriter};
use super::partition::batch_of;
use super::partition::{self, Held, arrays};
use super::records::{FileHead, Instant, KINDS, Record, Vanished, line_of, part_of};
use super::row_text::print_of;
use super::schema::{Fill, Hardness, Kind, Moment, Reading, Service, TableName, Van, of_kind};
use super::set_aside::{lines_and_texts, listed_lines, listed_rows, of_no_van};
use super::snapshot::{finished_files, finished_parts, van_names};
use super::table::Table;

/// The only one who writes, until dropped.
#[derive(Debug)]
pub struct Writer<'s> {
    store: &'s Store,
    _lock: WriteLock,
    tables: BTreeMap<TableName, Table>,
    files: FinishedFiles,
    undone: Vec<UndoEntry>,
    row_deeds: Vec<RowDeed>,
    renamings: Vec<Renaming>,
    rows_out: Lines,
    pub(super) view: View,
    pub(super) names: VanNames,
    pub(super) held: Held,
    next_id: u64,
    /// The name last looked up, and whether it is of no van.
    last_name: Option<(std::sync::Arc<str>, bool)>,
}

impl<'s> Writer<'s> {
    /// Takes the lock and clears what an interrupted ingest left.
    pub(super) fn open(
        store: &'s Store,
        wait: Option<&(dyn Fn() + Sync)>,
    ) -> Result<Writer<'s>, StoreError> {
        let lock = WriteLock::take(&store.path, wait)?;
        partition::clear(&store.path)?;
        let mut tables = BTreeMap::new();
        for name in TableName::ALL {
            let mut table = Table::load_if_there(&store.path, name)?;
            if table.is_none() && !name.came_later() {
                return Err(StoreError::DamagedLog {
                    path: store.path.join(name.folder()),
                    what: "is missing".to_owned(),
                });
            }
            if table.is_none() {
                // An earlier litrewise made the store without it.
                Table::create(&store.worker, &store.path, name)?;
                table = Table::load_if_there(&store.path, name)?;
            }
            tables.extend(table.map(|table| (name, table)));
        }
        let listed = tables.get(&TableName::Files).map(Table::parts);
        let listed = store.sound.only_sound(listed.unwrap_or_default().to_vec());
        let files = finished_files(store, &listed)?;
        // Never used again, even where nothing but a trace of it is left.
        let mut last_id = 0;
        for (name, table) in &mut tables {
            last_id = last_id.max(part::clear_unfinished(table.folder())?);
            if *name != TableName::Files {
                table.remove_files(&store.worker, |id| !files.is_finished(id))?;
            }
        }
        let mut writer = Writer {
            store,
            _lock: lock,
            tables,
            next_id: last_id + 1,
            files,
            undone: Vec::new(),
            view: View::default(),
            names: VanNames::default(),
            row_deeds: Vec::new(),
            renamings: Vec::new(),
            rows_out: Lines::default(),
            held: Held::default(),
            last_name: None,
        };
        writer.look_again()?;
        Ok(writer)
    }

    /// Sees anew which rows are in force.
    fn look_again(&mut self) -> Result<(), StoreError> {
        self.undone = lineage::read_undone(&self.sound_parts(TableName::TakenBack)?)?;
        self.row_deeds = by_hand::read_deeds(&self.sound_parts(TableName::RowsTakenBack)?)?;
        self.renamings = by_hand::read_renamings(&self.sound_parts(TableName::Renamed)?)?;
        self.rows_out = by_hand::rows_out(&self.row_deeds);
        // Of use only where a file was taken back.
        let out = lineage::out_now(&self.undone);
        let repeats = match out.is_empty() {
            true => Vec::new(),
            false => self.sound_parts(TableName::Repeats)?,
        };
        self.view = View::new(&self.files, out, &self.rows_out, &repeats)?;
        self.names = self.current_names()?;
        self.last_name = None;
        Ok(())
    }

    /// Takes a file's rows back out, or puts them back; says whether anything
    /// changed. `by`: who does it, for the record.
    ///
    /// # Errors
    /// [`StoreError::NoSuchFile`], or where the store cannot be read or written.
    pub fn act(
        &mut self,
        file_id: u64,
        action: Action,
        at: Instant,
        by: &str,
    ) -> Result<bool, StoreError> {
        if !self.files.is_finished(file_id) {
            return Err(StoreError::NoSuchFile { file_id });
        }
        if self.view.is_in_force(file_id) == (action == Action::PutBack) {
            return Ok(false);
        }
        let entry = UndoEntry {
            id: self.undone.last().map_or(1, |last| last.id + 1),
            file_id,
            action,
            at,
            by: by.to_owned(),
        };
        let part = self.row_part(TableName::TakenBack, file_id, lineage::cells(&entry))?;
        self.commit(TableName::TakenBack, &[part], at)?;
        self.look_again()?;
        Ok(true)
    }

    /// Takes single rows back out, or puts them back; gives those that this changed.
    ///
    /// # Errors
    /// Where the store cannot be read or written.
    pub fn act_on_rows(
        &mut self,
        mut rows: Vec<RowFound>,
        action: Action,
        at: Instant,
        by: &str,
    ) -> Result<Vec<RowFound>, StoreError> {
        let is_out = |place: Place| self.rows_out.contains(place.file_id, place.line);
        rows.retain(|row| is_out(row.place) == (action == Action::PutBack));
        let places: BTreeSet<Place> = rows.iter().map(|row| row.place).collect();
        let next = self.row_deeds.last().map_or(1, |last| last.id + 1);
        let deeds: Vec<RowDeed> = (next..)
            .zip(places)
            .map(|(id, place)| RowDeed {
                id,
                file_id: place.file_id,
                number: place.line,
                action,
                at,
                by: by.to_owned(),
            })
            .collect();
        if let Some(last) = deeds.iter().map(|deed| deed.file_id).max() {
            let table = TableName::RowsTakenBack;
            let mut part = PartWriter::create(&self.folder(table), table, last, None)?;
            part.write(&batch_of(table, deeds.iter().map(by_hand::cells)).map_err(arrays)?)?;
            let part = part.finish()?;
            self.commit(table, &[part], at)?;
            self.look_again()?;
        }
        Ok(rows)
    }

    /// Gives a van another name, or its own again; what other rows say of the
    /// two is then one van's. Says whether that changed anything.
    ///
    /// # Errors
    /// Where the store cannot be read or written.
    pub fn rename(
        &mut self,
        van: &str,
        to: Option<&str>,
        at: Instant,
        by: &str,
    ) -> Result<bool, StoreError> {
        let before = self.names.given(van).cloned();
        // without a file there is no van
        let Some(last) = self.files.files.last().map(|file| file.line.id) else {
            return Ok(false);
        };
        if before.as_deref() == to {
            return Ok(false);
        }
        let renaming = Renaming {
            id: self.renamings.last().map_or(1, |last| last.id + 1),
            van: van.into(),
            to: to.map(Into::into),
            at,
            by: by.to_owned(),
        };
        let part = self.row_part(
            TableName::Renamed,
            last,
            by_hand::cells_of_renaming(&renaming),
        )?;
        self.commit(TableName::Renamed, &[part], at)?;
        self.look_again()?;
        Ok(true)
    }

    /// The rows that were taken back by hand from earlier files of this name or
    /// of these bytes, by kind and the hash of their text: they stay out where
    /// the file comes again.
    pub(super) fn texts_taken_back(
        &self,
        head: &FileHead,
    ) -> Result<HashMap<(u8, u64), Place>, StoreError> {
        let mut texts = HashMap::new();
        let lines = self.files.files.iter().map(|f| &f.line);
        let same = lines.filter(|l| l.name == head.name || l.sha256 == head.sha256);
        let ids: Vec<u64> = same
            .map(|l| l.id)
            .filter(|id| !self.rows_out.of_file(*id).is_empty())
            .collect();
        if ids.is_empty() {
            return Ok(texts);
        }
        for table in TableName::KINDS {
            for part in &self.parts_of(table, &ids)? {
                let mut all = HashMap::new();
                of_kind!(table, T => texts_of_kind::<T>(part, &self.view, &mut all)?, else {});
                let is_out = |place: &Place| self.rows_out.contains(place.file_id, place.line);
                texts.extend(all.into_iter().filter(|(_, place)| is_out(place)));
            }
        }
        for part in &self.parts_of(TableName::SetAside, &ids)? {
            for (line, text) in lines_and_texts(part)? {
                if self.rows_out.contains(part.file_id, line) {
                    let place = Place {
                        file_id: part.file_id,
                        line,
                    };
                    texts.insert((part_of(line), text_hash(&text)), place);
                }
            }
        }
        Ok(texts)
    }

    pub(super) fn name_of(&self, file_id: u64) -> &str {
        self.files.get(file_id).map_or("", |file| &file.line.name)
    }

    /// Files in force of this name with other bytes: the file is a later version
    /// of them, as long as it is no larger than what is held against them.
    pub(super) fn earlier_versions(&self, head: &FileHead) -> Vec<u64> {
        if head.bytes > LARGEST_COMPARED {
            return Vec::new();
        }
        let lines = self.files.files.iter().map(|f| &f.line);
        let earlier = lines.filter(|line| {
            let is_same = line.name == head.name && line.sha256 != head.sha256;
            is_same && line.counts.stored > 0 && self.view.is_in_force(line.id)
        });
        earlier.map(|line| line.id).collect()
    }

    /// The rows stored from earlier versions of a file whose records it does not
    /// hold any more. Nothing where the file begins later or ends earlier than
    /// they, or where it is another file altogether: most of its rows are new.
    pub(super) fn vanished(
        &self,
        earlier: &[u64],
        records: &BTreeMap<TableName, BTreeSet<(Arc<str>, Moment)>>,
    ) -> Result<Vec<Vanished>, StoreError> {
        let dated = records.iter().filter(|(table, _)| table.is_of_vans());
        let moments = dated.flat_map(|(_, of)| of).map(|(_, moment)| moment.0);
        let span = moments.clone().min().zip(moments.max());
        let (mut gone, mut still_there) = (Vec::new(), 0);
        for table in TableName::KINDS {
            for part in &self.parts_of(table, earlier)? {
                let rows = PartRows::read(part, table, true, None)?;
                for (row, line) in rows.lines.iter().enumerate() {
                    let moment = Moment::of(table, &rows.columns, row);
                    let (Some(name), Some(moment)) = (rows.who().name(row), moment) else {
                        continue;
                    };
                    let Ok(who) = identity_of(table, &self.names, name) else {
                        continue;
                    };
                    let stored = Place {
                        file_id: part.file_id,
                        line: *line,
                    };
                    let mut is_its_own = false;
                    self.view.owners(stored, moment.mark(table), |owner| {
                        is_its_own |= earlier.contains(&owner.file_id);
                    });
                    let held = records
                        .get(&table)
                        .is_some_and(|of| of.contains(&(who, moment)));
                    still_there += usize::from(held);
                    let is_within = match table.is_of_vans() {
                        true => {
                            span.is_some_and(|(first, last)| (first..=last).contains(&moment.0))
                        }
                        false => true,
                    };
                    if is_its_own && !held && is_within {
                        gone.push(Vanished {
                            file_id: part.file_id,
                            line: line_of(*line),
                            kind: table.folder(),
                            text: of_kind!(table, T => self.view.text_of::<T>(&rows, row), else String::new()),
                        });
                    }
                }
            }
        }
        if gone.len() > still_there {
            gone.clear();
        }
        gone.sort_by_key(|row| (row.file_id, row.line));
        Ok(gone)
    }

    /// A Parquet file of one row.
    fn row_part(
        &self,
        table: TableName,
        file_id: u64,
        cells: Vec<Cell<'_>>,
    ) -> Result<NewPart, StoreError> {
        let mut part = PartWriter::create(&self.folder(table), table, file_id, None)?;
        part.write(&batch_of(table, std::iter::once(cells)).map_err(arrays)?)?;
        part.finish()
    }

    fn line_part(&self, file: &FinishedFile) -> Result<NewPart, StoreError> {
        let row = files::row(file);
        self.row_part(TableName::Files, file.line.id, row.cells(file))
    }

    fn current_names(&self) -> Result<VanNames, StoreError> {
        let renamed = Renamed::of(&self.renamings);
        van_names(&self.sound_parts(TableName::Vans)?, &self.view, renamed)
    }

    /// All sound Parquet files of a table.
    fn sound_parts(&self, name: TableName) -> Result<Vec<Part>, StoreError> {
        Ok(self.store.sound.only_sound(self.parts(name)?))
    }

    fn parts(&self, name: TableName) -> Result<Vec<Part>, StoreError> {
        match self.tables.get(&name) {
            Some(table) => Ok(finished_parts(table, &self.files)),
            None => Ok(Vec::new()),
        }
    }

    pub(super) fn parts_by_kind(&self) -> Result<BTreeMap<TableName, Vec<Part>>, StoreError> {
        let parts = TableName::KINDS.map(|kind| Ok((kind, self.parts(kind)?)));
        parts.into_iter().collect()
    }

    pub(super) fn path(&self) -> &Path {
        &self.store.path
    }

    pub(super) fn folder(&self, table: TableName) -> PathBuf {
        self.store.path.join(table.folder())
    }

    /// Never used twice, even if an attempt fails half-way.
    pub(super) fn new_id(&mut self) -> u64 {
        let id = self.next_id;
        self.next_id += 1;
        id
    }

    pub(super) fn is_of_no_van(&mut self, record: &Record) -> bool {
        if self.names.is_any() {
            return false;
        }
        let (table, name) = match record {
            Record::Reading(of) => (TableName::Readings, &of.van),
            Record::Fill(of) => (TableName::Fills, &of.van),
            Record::Service(of) => (TableName::Services, &of.van),
            Record::Van(_) | Record::Hardness(_) => return false,
        };
        // Rows of one van often stand together.
        if let Some((last, is_of_no_van)) = &self.last_name
            && last == name
        {
            return *is_of_no_van;
        }
        let is_of_no_van = identity_of(table, &self.names, name).is_err();
        self.last_name = Some((name.clone(), is_of_no_van));
        is_of_no_van
    }

    /// Takes the Parquet files found damaged out of their tables; says how many.
    ///
    /// # Errors
    /// Where the store cannot be written.
    pub fn leave_out_damaged(&mut self) -> Result<usize, StoreError> {
        let mut count = 0;
        self.rewrite_damaged_lines()?;
        for table in self.tables.values_mut() {
            let damaged: Vec<&Part> = table
                .parts()
                .iter()
                .filter(|part| self.store.sound.is_lost(part))
                .collect();
            count += damaged.len();
            let paths: Vec<PathBuf> = damaged.iter().map(|part| part.path.clone()).collect();
            table.remove_paths(&self.store.worker, &paths)?;
        }
        Ok(count)
    }

    /// A file whose line goes would count as never finished.
    fn rewrite_damaged_lines(&mut self) -> Result<(), StoreError> {
        for part in self.parts(TableName::Files)? {
            if !self.store.sound.is_lost(&part) {
                continue;
            }
            if let Some(file) = self.files.get(part.file_id) {
                let line = self.line_part(file)?;
                self.commit(TableName::Files, &[line], Instant(0))?;
            }
        }
        Ok(())
    }

    pub(super) fn sound(&self) -> &Sound {
        &self.store.sound
    }

    /// What is set aside now that came from a file of this name or of these bytes.
    pub(super) fn mending(&self, head: &FileHead) -> Result<Mending, StoreError> {
        let in_force = self.files.files.iter().map(|f| &f.line);
        let in_force = in_force.filter(|line| {
            let counts = line.counts;
            self.view.is_in_force(line.id) && counts.stored + counts.set_aside > 0
        });
        let (mut same, mut others) = (Vec::new(), Vec::new());
        for line in in_force {
            if line.sha256 == head.sha256 {
                same.push(line.id);
            } else if line.name == head.name {
                others.push(line.id);
            }
        }
        if same.is_empty() && others.is_empty() {
            return Ok(Mending::default());
        }
        let mut ranges: Vec<(u64, u64, u64)> = Vec::new();
        for part in &self.parts_of(TableName::SetAside, &same)? {
            join(part.file_id, listed_lines(part, &self.view)?, &mut ranges);
        }
        let listed = listed_rows(&self.parts_of(TableName::SetAside, &others)?, &self.view)?;
        let mut rows: Vec<EarlierRow> = listed
            .into_iter()
            .map(|listed| EarlierRow {
                listed,
                record: None,
                same_bytes: false,
            })
            .collect();
        let mut all: Vec<u64> = same.iter().chain(&others).copied().collect();
        all.sort_unstable();
        let parts = |table| self.parts_of(table, &all);
        let (records, listed) = of_no_van(parts, &self.view, &self.names)?;
        let found = records.into_iter().zip(listed);
        rows.extend(found.map(|(record, listed)| EarlierRow {
            listed,
            record: Some(record),
            same_bytes: false,
        }));
        for row in &mut rows {
            row.same_bytes = same.contains(&row.listed.file_id);
        }
        Ok(Mending::new(
            rows,
            Lines::of_ranges(ranges.into_iter()),
            same,
        ))
    }

    /// What became of the rows of files with the same bytes.
    pub(super) fn settled(&self, head: &FileHead) -> Result<Settled, StoreError> {
        let in_force = self.files.files.iter();
        let in_force: Vec<&FinishedFile> = in_force
            .filter(|f| self.view.is_in_force(f.line.id))
            .collect();
        let same = in_force.iter().filter(|f| f.line.sha256 == head.sha256);
        let mut same: Vec<u64> = same.map(|f| f.line.id).collect();
        if same.is_empty() {
            return Ok(Settled::default());
        }
        // Of a file that is damaged it cannot be said what is in the store.
        for name in TableName::ALL {
            self.parts_of(name, &same)?;
        }
        let set_aside = self.sound_parts(TableName::SetAside)?;
        let damage = self.store.sound.damage();
        let damaged: BTreeSet<u64> = damage.iter().filter_map(|d| d.file_id).collect();
        same.retain(|id| !damaged.contains(id));
        Settled::new(&in_force, &same, &set_aside, &damaged)
    }

    /// The accepted rows of earlier files of this name in force, by the hash
    /// of their text.
    pub(super) fn texts_of(
        &self,
        head: &FileHead,
    ) -> Result<HashMap<(u8, u64), Place>, StoreError> {
        let in_force = self.files.files.iter().map(|f| &f.line);
        let ids: Vec<u64> = in_force
            .filter(|line| self.view.is_in_force(line.id) && line.name == head.name)
            .map(|line| line.id)
            .collect();
        let mut texts = HashMap::new();
        for table in TableName::KINDS {
            for part in &self.parts_of(table, &ids)? {
                of_kind!(table, T => texts_of_kind::<T>(part, &self.view, &mut texts)?, else {});
            }
        }
        Ok(texts)
    }

    /// The rows of a file that are set aside now: line and hash of the text.
    pub(super) fn listed_hashes(&self, file_id: u64) -> Result<HashSet<(u64, u32)>, StoreError> {
        let ids = [file_id];
        let mut rows = listed_rows(&self.parts_of(TableName::SetAside, &ids)?, &self.view)?;
        let parts = |table| self.parts_of(table, &ids);
        rows.extend(of_no_van(parts, &self.view, &self.names)?.1);
        let rows = rows.iter();
        Ok(rows
            .map(|row| (row.place().line, print_of(&row.text)))
            .collect())
    }

    fn parts_of(&self, name: TableName, ids: &[u64]) -> Result<Vec<Part>, StoreError> {
        let mut parts = self.parts(name)?;
        parts.retain(|part| ids.binary_search(&part.file_id).is_ok());
        Ok(self.store.sound.only_sound(parts))
    }

    pub(super) fn commit(
        &mut self,
        table: TableName,
        parts: &[NewPart],
        at: Instant,
    ) -> Result<(), StoreError> {
        match self.tables.get_mut(&table) {
            Some(table) => table.add(&self.store.worker, parts, at),
            None => Ok(()),
        }
    }

    /// Writes the file's line: from now on its rows are in the store.
    pub(super) fn finish(&mut self, file: FinishedFile, has_vans: bool) -> Result<(), StoreError> {
        let part = self.line_part(&file)?;
        self.commit(TableName::Files, &[part], file.line.ingested_at)?;
        self.view.hide(&file.supersedes.taken());
        self.view.remember_style(&file);
        self.view.know(&file);
        self.files.files.push(file);
        if has_vans {
            self.names = self.current_names()?;
            self.last_name = None;
        }
        Ok(())
    }
}

/// Bytes of the largest file that is held against its earlier versions.
const LARGEST_COMPARED: u64 = 32 << 20;
/// Rows beyond so many are not looked up by their text: memory has an end.
const MOST_TEXTS: usize = 2_000_000;

/// The number of a table's kind among the parts of a line.
fn part_of_table(table: TableName) -> u8 {
    let of_kind = KINDS.iter().position(|kind| *kind == table.folder());
    of_kind.map_or(0, |i| i as u8 + 1)
}

fn texts_of_kind<T: Kind>(
    part: &Part,
    view: &View,
    texts: &mut HashMap<(u8, u64), Place>,
) -> Result<(), StoreError> {
    let rows = PartRows::read(part, T::TABLE, true, None)?;
    for (row, line) in rows.lines.iter().enumerate() {
        if texts.len() < MOST_TEXTS {
            let place = Place {
                file_id: part.file_id,
                line: *line,
            };
            let text = view.text_of::<T>(&rows, row);
            texts.insert((part_of_table(T::TABLE), text_hash(&text)), place);
        }
    }
    Ok(())
}
