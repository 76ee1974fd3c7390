//! Taking a file in: judged row by row, written, committed table by table,
//! finished by its line in `files`.

use std::collections::BTreeMap;

use arrow_array::ArrayRef;
use rayon::prelude::*;

use super::Store;
use super::arrays::{instants, strings, wholes};
use super::columns::Kind;
use super::error::StoreError;
use super::files::{self, FileLine, FinishedFile, FinishedFiles};
use super::judge::{Month, Verdict, Whose, judge_kind, month_name, month_of};
use super::lock::WriteLock;
use super::mend::{EarlierRow, Mended, mend};
use super::names::VanNames;
use super::part::{self, GROUP_ROWS, NewPart, Part};
use super::reader::{finished_parts, listed_rows, of_no_van, van_names};
use super::records::{
    FileRows, Fill, Hardness, Instant, Reading, Record, RowCounts, Service, SetAside, Van,
};
use super::schema::TableName;
use super::table::Table;

/// What a file brought.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileOutcome {
    pub counts: RowCounts,
    /// Of those stored: corrected versions of records known before.
    pub replaced: u64,
    /// Of those stored: records not known before.
    pub new: u64,
    /// Names that the van list does not know, with their rows; by name.
    pub unknown_vans: Vec<(String, u64)>,
    /// Rows set aside before that are in now.
    pub mended: u64,
}

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
        let outcome = outcome(file, &verdicts, mended.mended);
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
        let mut months: BTreeMap<Month, Vec<RowOf<'_, T>>> = BTreeMap::new();
        for ((line, record, text), verdict) in origin.file.rows.iter().zip(origin.verdicts) {
            if let Some(record) = T::of(record)
                && verdict.is_written()
            {
                let month = month_of(record).ok_or_else(|| StoreError::TimeOutOfRange {
                    file: origin.file.name.clone(),
                    line: *line,
                })?;
                let row = RowOf {
                    record,
                    line: *line,
                    text,
                };
                months.entry(month).or_default().push(row);
            }
        }
        let Some(table) = self.tables.get_mut(&T::TABLE) else {
            return Ok(());
        };
        if months.is_empty() {
            return Ok(());
        }
        let folder = table.folder();
        let parts: Vec<NewPart> = months
            .into_par_iter()
            .map(|(month, rows)| write_month(folder, month, rows, origin))
            .collect::<Result<_, _>>()?;
        table.add(&self.store.worker, &parts, origin.at)
    }

    fn write_set_aside(&mut self, origin: &Origin<'_>) -> Result<(), StoreError> {
        let rows = &origin.file.set_aside;
        let Some(table) = self.tables.get_mut(&TableName::SetAside) else {
            return Ok(());
        };
        if rows.is_empty() {
            return Ok(());
        }
        let batches = rows.chunks(GROUP_ROWS).map(|chunk| {
            let mut arrays = vec![strings(chunk.iter().map(|r| Some(r.reason.as_str())))];
            arrays
                .extend(origin.arrays(chunk.iter().map(|r: &SetAside| (r.line, r.text.as_str()))));
            arrays
        });
        let part = part::write(
            table.folder(),
            TableName::SetAside,
            origin.id,
            None,
            batches,
        )?;
        table.add(&self.store.worker, &[part], origin.at)
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

/// Where the rows being written come from.
struct Origin<'f> {
    file: &'f FileRows,
    verdicts: &'f [Verdict],
    id: u64,
    at: Instant,
}

impl Origin<'_> {
    /// The columns beside the record's own; `rows`: line and text.
    fn arrays<'r>(
        &self,
        rows: impl Iterator<Item = (Option<u64>, &'r str)> + Clone,
    ) -> [ArrayRef; 4] {
        [
            wholes(rows.clone().map(|_| Some(self.id))),
            wholes(rows.clone().map(|(line, _)| line)),
            instants(rows.clone().map(|_| Some(self.at))),
            strings(rows.map(|(_, text)| Some(text))),
        ]
    }
}

struct RowOf<'f, T> {
    record: &'f T,
    line: u64,
    text: &'f str,
}

/// Sorted by van and time, so that one van's rows lie side by side.
fn write_month<T: Kind>(
    folder: &std::path::Path,
    month: Month,
    mut rows: Vec<RowOf<'_, T>>,
    origin: &Origin<'_>,
) -> Result<NewPart, StoreError> {
    rows.sort_by(|a, b| {
        let who = a.record.who().cmp(b.record.who());
        who.then_with(|| (a.record.when(), a.line).cmp(&(b.record.when(), b.line)))
    });
    let batches = rows.chunks(GROUP_ROWS).map(|chunk| {
        let records: Vec<&T> = chunk.iter().map(|row| row.record).collect();
        let mut arrays = T::arrays(&records);
        arrays.extend(origin.arrays(chunk.iter().map(|row| (Some(row.line), row.text))));
        arrays
    });
    part::write(folder, T::TABLE, origin.id, month.map(month_name), batches)
}

fn outcome(file: &FileRows, verdicts: &[Verdict], mended: u64) -> FileOutcome {
    let mut outcome = FileOutcome {
        mended,
        ..FileOutcome::default()
    };
    let mut unknown: BTreeMap<&str, u64> = BTreeMap::new();
    for ((_, record, _), verdict) in file.rows.iter().zip(verdicts) {
        match verdict {
            Verdict::New => outcome.new += 1,
            Verdict::Corrected => outcome.replaced += 1,
            Verdict::AlreadyStored => outcome.counts.already_stored += 1,
            Verdict::OfNoVan | Verdict::AlreadyListed => {
                *unknown.entry(super::judge::who(record)).or_default() += 1;
            }
        }
    }
    let of_no_van: u64 = unknown.values().sum();
    outcome.unknown_vans = unknown
        .into_iter()
        .map(|(name, rows)| (name.to_owned(), rows))
        .collect();
    outcome.counts.stored = outcome.new + outcome.replaced;
    outcome.counts.set_aside = of_no_van + file.set_aside.len() as u64;
    outcome.counts.read =
        outcome.counts.stored + outcome.counts.already_stored + outcome.counts.set_aside;
    outcome
}
