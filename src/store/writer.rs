//! Taking a file in: judged row by row, written, committed table by table,
//! finished by its line in `files`.

use std::collections::BTreeMap;

use super::Store;
use super::aside::{listed_rows, of_no_van};
use super::columns::Kind;
use super::error::StoreError;
use super::files::{self, FileLine, FinishedFile, FinishedFiles};
use super::judge::{Verdict, Whose, judge_kind};
use super::lock::WriteLock;
use super::mend::{EarlierRow, Mended, mend};
use super::names::VanNames;
use super::outcome::FileOutcome;
use super::part::{self, Part};
use super::reader::{finished_parts, van_names};
use super::records::{FileRows, Fill, Hardness, Instant, Reading, Record, Service, Van};
use super::schema::TableName;
use super::table::Table;
use super::write::Origin;

/// The only one who writes, until dropped.
#[derive(Debug)]
pub struct Writer<'s> {
    store: &'s Store,
    _lock: WriteLock,
    tables: BTreeMap<TableName, Table>,
    files: FinishedFiles,
    names: VanNames,
    next_id: u64,
}

/// A file's rows with their verdicts.
struct Judged {
    verdicts: Vec<Verdict>,
    mended: Mended,
    outcome: FileOutcome,
}

impl<'s> Writer<'s> {
    /// Takes the lock and clears what an interrupted ingest left.
    pub(super) fn open(store: &'s Store) -> Result<Writer<'s>, StoreError> {
        let lock = WriteLock::take(&store.path)?;
        let mut tables = BTreeMap::new();
        for name in TableName::ALL {
            tables.insert(name, Table::load(&store.worker, &store.path, name)?);
        }
        let files = match tables.get(&TableName::Files) {
            Some(table) => FinishedFiles::read(&table.parts()?)?,
            None => FinishedFiles::default(),
        };
        for (name, table) in &mut tables {
            if *name != TableName::Files {
                table.remove_files(&store.worker, |id| !files.is_finished(id))?;
            }
        }
        let mut writer = Writer {
            store,
            _lock: lock,
            tables,
            next_id: files.files.last().map_or(1, |f| f.line.id + 1),
            files,
            names: VanNames::Any,
        };
        writer.names = writer.current_names()?;
        Ok(writer)
    }

    fn current_names(&self) -> Result<VanNames, StoreError> {
        van_names(&self.parts(TableName::Vans)?, &self.files.superseded)
    }

    fn parts(&self, name: TableName) -> Result<Vec<Part>, StoreError> {
        match self.tables.get(&name) {
            Some(table) => finished_parts(table, &self.files),
            None => Ok(Vec::new()),
        }
    }

    /// What [`Writer::add`] would do, with nothing written.
    ///
    /// # Errors
    /// Where the store cannot be read.
    pub fn would_add(&self, file: &FileRows) -> Result<FileOutcome, StoreError> {
        Ok(self.judge(file)?.outcome)
    }

    /// Takes the file in, wholly or not at all.
    ///
    /// # Errors
    /// Where the store cannot be read or written; the file then counts as not
    /// ingested, and what was written of it is cleared by the next writer.
    pub fn add(&mut self, file: FileRows, ingested_at: Instant) -> Result<FileOutcome, StoreError> {
        let judged = self.judge(&file)?;
        let id = self.write_rows(&file, &judged, ingested_at)?;
        let has_vans = file
            .rows
            .iter()
            .any(|(_, record, _)| matches!(record, Record::Van(_)));
        self.finish(FinishedFile {
            line: FileLine {
                id,
                name: file.name,
                sha256: file.sha256,
                bytes: file.bytes,
                ingested_at,
                recognised: file.recognised,
                notes: file.notes,
                counts: judged.outcome.counts,
            },
            supersedes: judged.mended.supersedes,
        })?;
        if has_vans {
            self.names = self.current_names()?;
        }
        Ok(judged.outcome)
    }

    /// What a crash between two commits leaves behind.
    #[cfg(test)]
    pub(super) fn add_without_finishing(
        &mut self,
        file: FileRows,
        ingested_at: Instant,
    ) -> Result<(), StoreError> {
        let judged = self.judge(&file)?;
        self.write_rows(&file, &judged, ingested_at).map(|_| ())
    }

    /// Commits everything but the file's line; gives the file's id.
    fn write_rows(
        &mut self,
        file: &FileRows,
        judged: &Judged,
        at: Instant,
    ) -> Result<u64, StoreError> {
        let id = self.next_id;
        // Never used twice, even if this attempt fails half-way.
        self.next_id += 1;
        let origin = Origin {
            file,
            verdicts: &judged.verdicts,
            id,
            at,
        };
        self.write_kind::<Reading>(&origin)?;
        self.write_kind::<Fill>(&origin)?;
        self.write_kind::<Service>(&origin)?;
        self.write_kind::<Van>(&origin)?;
        self.write_kind::<Hardness>(&origin)?;
        self.write_set_aside(&origin)?;
        Ok(id)
    }

    fn judge(&self, file: &FileRows) -> Result<Judged, StoreError> {
        let whose = Whose::of(file, &self.names);
        let mut verdicts = vec![Verdict::OfNoVan; file.rows.len()];
        self.judge_kind::<Reading>(file, &whose, &mut verdicts)?;
        self.judge_kind::<Fill>(file, &whose, &mut verdicts)?;
        self.judge_kind::<Service>(file, &whose, &mut verdicts)?;
        self.judge_kind::<Van>(file, &whose, &mut verdicts)?;
        self.judge_kind::<Hardness>(file, &whose, &mut verdicts)?;
        let mended = mend(file, &self.earlier_rows(file)?, &mut verdicts);
        let outcome = FileOutcome::of(file, &verdicts, mended.mended);
        Ok(Judged {
            verdicts,
            mended,
            outcome,
        })
    }

    fn judge_kind<T: Kind>(
        &self,
        file: &FileRows,
        whose: &Whose,
        verdicts: &mut [Verdict],
    ) -> Result<(), StoreError> {
        if !file
            .rows
            .iter()
            .any(|(_, record, _)| T::of(record).is_some())
        {
            return Ok(());
        }
        let parts = self.parts(T::TABLE)?;
        let superseded = &self.files.superseded;
        judge_kind::<T>(file, whose, &parts, superseded, &self.names, verdicts)
    }

    /// The rows set aside now that came from a file of this name or of these bytes.
    fn earlier_rows(&self, file: &FileRows) -> Result<Vec<EarlierRow>, StoreError> {
        let same_bytes = |id: u64| {
            let earlier = self.files.get(id);
            earlier.is_some_and(|f| f.line.sha256 == file.sha256)
        };
        let is_earlier = |f: &&FinishedFile| {
            let counts = f.line.counts;
            (f.line.name == file.name || f.line.sha256 == file.sha256)
                && counts.stored + counts.set_aside > 0
        };
        let ids: Vec<u64> = self
            .files
            .files
            .iter()
            .filter(is_earlier)
            .map(|f| f.line.id)
            .collect();
        if ids.is_empty() {
            return Ok(Vec::new());
        }
        let mut rows: Vec<EarlierRow> = listed_rows(
            &self.parts_of(TableName::SetAside, &ids)?,
            &self.files.superseded,
        )?
        .into_iter()
        .map(|listed| EarlierRow {
            same_bytes: same_bytes(listed.file_id),
            listed,
            record: None,
        })
        .collect();
        self.earlier_of_no_van(&ids, Record::Reading, &mut rows)?;
        self.earlier_of_no_van(&ids, Record::Fill, &mut rows)?;
        self.earlier_of_no_van(&ids, Record::Service, &mut rows)?;
        for row in &mut rows {
            row.same_bytes = same_bytes(row.listed.file_id);
        }
        Ok(rows)
    }

    fn earlier_of_no_van<T: Kind>(
        &self,
        ids: &[u64],
        record: impl Fn(T) -> Record,
        rows: &mut Vec<EarlierRow>,
    ) -> Result<(), StoreError> {
        let parts = self.parts_of(T::TABLE, ids)?;
        let (records, listed) = of_no_van::<T>(&parts, &self.files.superseded, &self.names)?;
        rows.extend(
            records
                .into_iter()
                .zip(listed)
                .map(|(r, listed)| EarlierRow {
                    listed,
                    record: Some(record(r)),
                    same_bytes: false,
                }),
        );
        Ok(())
    }

    fn parts_of(&self, name: TableName, ids: &[u64]) -> Result<Vec<Part>, StoreError> {
        let mut parts = self.parts(name)?;
        parts.retain(|part| ids.binary_search(&part.file_id).is_ok());
        Ok(parts)
    }

    fn write_kind<T: Kind>(&mut self, origin: &Origin<'_>) -> Result<(), StoreError> {
        let Some(table) = self.tables.get_mut(&T::TABLE) else {
            return Ok(());
        };
        let parts = origin.write_kind::<T>(table.folder())?;
        table.add(&self.store.worker, &parts, origin.at)
    }

    fn write_set_aside(&mut self, origin: &Origin<'_>) -> Result<(), StoreError> {
        let Some(table) = self.tables.get_mut(&TableName::SetAside) else {
            return Ok(());
        };
        let parts = origin.write_set_aside(table.folder())?;
        table.add(&self.store.worker, parts.as_slice(), origin.at)
    }

    fn finish(&mut self, file: FinishedFile) -> Result<(), StoreError> {
        if let Some(table) = self.tables.get_mut(&TableName::Files) {
            let row = std::iter::once(files::arrays(&file));
            let part = part::write(table.folder(), TableName::Files, file.line.id, None, row)?;
            table.add(&self.store.worker, &[part], file.line.ingested_at)?;
        }
        self.files.push(file);
        Ok(())
    }
}
