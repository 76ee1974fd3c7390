//! The only door to the table format: snapshots and atomic commits. No type
//! of the Delta library is seen beyond this file.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use deltalake_core::kernel::transaction::{
    CommitBuilder, CommitData, CommitProperties, TableReference, TransactionError,
};
use deltalake_core::kernel::{Action, Add, MetadataExt, StructType, new_metadata};
use deltalake_core::logstore::CommitOrBytes;
use deltalake_core::protocol::{DeltaOperation, SaveMode};
use deltalake_core::{DeltaTable, DeltaTableBuilder, DeltaTableError, ensure_table_uri};
use tokio::runtime::Runtime;
use uuid::Uuid;

use super::error::StoreError;
use super::folder;
use super::log::Log;
use super::part::{NewPart, Part, file_id_of};
use super::records::Instant;
use super::schema::{MONTH, TableName};

pub(super) const LOG_FOLDER: &str = "_delta_log";

/// Runs the table library's work on the calling thread.
#[derive(Debug)]
pub(super) struct Worker(Runtime);

impl Worker {
    pub(super) fn start() -> Result<Worker, StoreError> {
        tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map(Worker)
            .map_err(|source| StoreError::Worker { source })
    }
}

/// One table as its last seen commit left it. Its log is read by ourselves; the
/// library writes it, and loads what is in it where a commit depends on that.
pub(super) struct Table {
    name: TableName,
    folder: PathBuf,
    parts: Vec<Part>,
    /// The newest commit, where what only adds hangs on nothing else in the log.
    newest: Option<u64>,
    /// An earlier litrewise made it without some of the columns.
    lacks_columns: bool,
    library: Option<DeltaTable>,
}

/// Of so many commits the library sums up the last.
const SUMMED_UP: u64 = 100;

/// Values said of a commit, by name.
type Said = serde_json::Map<String, serde_json::Value>;

impl std::fmt::Debug for Table {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Table")
            .field("folder", &self.folder)
            .field("parts", &self.parts.len())
            .finish()
    }
}

impl Table {
    /// Makes the empty table, where it is not there yet.
    pub(super) fn create(worker: &Worker, store: &Path, name: TableName) -> Result<(), StoreError> {
        let folder = store.join(name.folder());
        let log = folder.join(LOG_FOLDER);
        folder::create_folder(&log).map_err(|e| StoreError::io("create", &log, e))?;
        let library = unloaded(&folder)?;
        let failed = |e| StoreError::table("create", &folder, e);
        let (actions, operation) = making(name, &library).map_err(failed)?;
        write_commit(worker, &library, 0, actions, operation, Said::new()).map_err(failed)?;
        restrict_commit(&folder, 0)
    }

    /// # Errors
    /// [`StoreError::DamagedLog`], or what kept it from being read.
    pub(super) fn load(store: &Path, name: TableName) -> Result<Table, StoreError> {
        let folder = store.join(name.folder());
        let log = Log::read(&folder.join(LOG_FOLDER))?;
        let parts = log.parts(&folder);
        let newest = log.newest_of_plain();
        let mut written = name.columns();
        let lacks_columns = written.any(|column| !log.columns.contains(column.name));
        if let Some((path, what)) = log.damaged.into_iter().next() {
            return Err(StoreError::DamagedLog { path, what });
        }
        Ok(Table {
            name,
            parts,
            newest,
            lacks_columns,
            folder,
            library: None,
        })
    }

    /// `None` where an earlier litrewise made the store without this table.
    pub(super) fn load_if_there(
        store: &Path,
        name: TableName,
    ) -> Result<Option<Table>, StoreError> {
        if store.join(name.folder()).join(LOG_FOLDER).is_dir() {
            Table::load(store, name).map(Some)
        } else {
            Ok(None)
        }
    }

    /// Makes sure that the library can read it too.
    pub(super) fn is_read_by_library(&mut self, worker: &Worker) -> Result<(), StoreError> {
        self.library(worker).map(|_| ())
    }

    /// The library's view of the table, with nothing of it loaded yet.
    fn unloaded(&mut self) -> Result<&mut DeltaTable, StoreError> {
        let library = match self.library.take() {
            Some(library) => library,
            None => unloaded(&self.folder)?,
        };
        Ok(self.library.insert(library))
    }

    fn library(&mut self, worker: &Worker) -> Result<&mut DeltaTable, StoreError> {
        let folder = self.folder.clone();
        let library = self.unloaded()?;
        if library.state.is_none() {
            // Other bytes may still be JSON; the library trusts them more
            // than it should.
            let loaded = quietly(|| worker.0.block_on(library.load()));
            let Some(loaded) = loaded else {
                return Err(StoreError::DamagedLog {
                    path: folder.join(LOG_FOLDER),
                    what: "cannot be made sense of".to_owned(),
                });
            };
            loaded.map_err(|e| StoreError::table("open", &folder, e))?;
        }
        Ok(library)
    }

    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// The Parquet files that are part of the table now, by ingested file and month.
    pub(super) fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Makes the new Parquet files part of the table, all or none. Without any,
    /// there is no commit.
    pub(super) fn add(
        &mut self,
        worker: &Worker,
        parts: &[NewPart],
        at: Instant,
    ) -> Result<(), StoreError> {
        let actions: Vec<Action> = parts
            .iter()
            .map(|p| Action::Add(add_action(p, at)))
            .collect();
        let hashes: Said = parts
            .iter()
            .map(|p| (p.relative.clone(), p.sha256.clone().into()))
            .collect();
        let operation = DeltaOperation::Write {
            mode: SaveMode::Append,
            partition_by: self.name.is_by_month().then(|| vec![MONTH.to_owned()]),
            predicate: None,
        };
        let wider = match self.lacks_columns && !parts.is_empty() {
            true => vec![self.with_all_columns(worker)?],
            false => Vec::new(),
        };
        if !wider.is_empty() || !self.append(worker, &actions, &operation, &hashes)? {
            let actions = wider.into_iter().chain(actions).collect();
            self.commit(worker, actions, operation, hashes)?;
            self.lacks_columns = false;
        }
        let added = parts.iter().filter_map(|part| {
            Some(Part {
                path: part.path.clone(),
                file_id: file_id_of(&part.relative)?,
                month: part.month.clone(),
                bytes: Some(part.bytes),
                rows: Some(part.rows),
            })
        });
        self.parts.extend(added);
        sort(&mut self.parts);
        Ok(())
    }

    /// Describes the table with the columns that it lacks: of older rows they are empty.
    fn with_all_columns(&mut self, worker: &Worker) -> Result<Action, StoreError> {
        let (name, folder) = (self.name, self.folder.clone());
        let library = self.library(worker)?;
        let described = || -> Result<Action, DeltaTableError> {
            let schema = StructType::try_new(name.delta_columns())?;
            let metadata = library.snapshot()?.metadata().clone();
            Ok(Action::Metadata(metadata.with_schema(&schema)?))
        };
        described().map_err(|e| StoreError::table("write to", &folder, e))
    }

    /// Takes the Parquet files of these ingested files out of the table. The
    /// bytes stay, so that a reader of an earlier commit is not disturbed.
    pub(super) fn remove_files(
        &mut self,
        worker: &Worker,
        is_to_go: impl Fn(u64) -> bool,
    ) -> Result<(), StoreError> {
        self.remove(worker, |part| is_to_go(part.file_id))
    }

    /// Takes these Parquet files out of the table.
    pub(super) fn remove_paths(
        &mut self,
        worker: &Worker,
        paths: &[PathBuf],
    ) -> Result<(), StoreError> {
        self.remove(worker, |part| paths.contains(&part.path))
    }

    fn remove(
        &mut self,
        worker: &Worker,
        is_to_go: impl Fn(&Part) -> bool,
    ) -> Result<(), StoreError> {
        let (going, staying): (Vec<Part>, Vec<Part>) =
            self.parts.iter().cloned().partition(is_to_go);
        if going.is_empty() {
            return Ok(());
        }
        let folder = self.folder.clone();
        let failed = |e| StoreError::table("read", &folder, e);
        let state = self.library(worker)?.snapshot().map_err(failed)?;
        let going: HashSet<PathBuf> = going.into_iter().map(|part| part.path).collect();
        let actions: Vec<Action> = state
            .snapshot()
            .try_log_data()
            .map_err(failed)?
            .iter()
            .filter(|view| going.contains(&folder.join(&*view.path())))
            .map(|view| Action::Remove(view.remove_action(true)))
            .collect();
        let operation = DeltaOperation::Delete { predicate: None };
        self.commit(worker, actions, operation, Said::new())?;
        self.parts = staying;
        Ok(())
    }

    /// Commits what only adds, without loading what is in the table: nothing
    /// there speaks against it. `false`: nothing was committed.
    fn append(
        &mut self,
        worker: &Worker,
        actions: &[Action],
        operation: &DeltaOperation,
        hashes: &Said,
    ) -> Result<bool, StoreError> {
        let Some(version) = self.newest.map(|newest| newest + 1) else {
            return Ok(false);
        };
        if (version + 1).is_multiple_of(SUMMED_UP) {
            return Ok(false);
        }
        let library = self.unloaded()?;
        let (actions, operation) = (actions.to_vec(), operation.clone());
        let written = write_commit(worker, library, version, actions, operation, hashes.clone());
        library.state = None;
        let written = written.map_err(|e| StoreError::table("write to", &self.folder, e))?;
        // where another program was quicker the library looks at what it did
        self.newest = written.then_some(version);
        if written {
            restrict_commit(&self.folder, version)?;
        }
        Ok(written)
    }

    fn commit(
        &mut self,
        worker: &Worker,
        actions: Vec<Action>,
        operation: DeltaOperation,
        hashes: Said,
    ) -> Result<(), StoreError> {
        let folder = self.folder.clone();
        let failed = |doing| {
            let folder = &folder;
            move |e| StoreError::table(doing, folder, e)
        };
        let library = self.library(worker)?;
        let state = library.snapshot().map_err(failed("read"))?;
        let properties = CommitProperties::default()
            .with_metadata([("sha256".to_owned(), hashes.into())])
            .with_cleanup_expired_logs(Some(false));
        let commit = CommitBuilder::from(properties).with_actions(actions).build(
            Some(state as &dyn TableReference),
            library.log_store(),
            operation,
        );
        let done = worker
            .0
            .block_on(async { commit.await })
            .map_err(failed("write to"))?;
        library.state = Some(done.snapshot());
        let version = done.version();
        self.newest = self.newest.map(|_| version);
        restrict_commit(&folder, version)
    }
}

/// What the first commit of a table says.
fn making(
    name: TableName,
    library: &DeltaTable,
) -> Result<(Vec<Action>, DeltaOperation), DeltaTableError> {
    let plainest = serde_json::json!({"minReaderVersion": 1, "minWriterVersion": 2});
    let protocol = serde_json::from_value(plainest)?;
    let schema = StructType::try_new(name.delta_columns())?;
    let partitions: &[&str] = if name.is_by_month() { &[MONTH] } else { &[] };
    let settings: [(&str, &str); 0] = [];
    let metadata = new_metadata(&schema, partitions, settings)?;
    let metadata = metadata.with_name(name.folder().to_owned())?;
    let operation = DeltaOperation::Create {
        mode: SaveMode::Ignore,
        location: library.table_url().clone(),
        protocol: Clone::clone(&protocol),
        metadata: metadata.clone(),
    };
    let actions = vec![Action::Protocol(protocol), Action::Metadata(metadata)];
    Ok((actions, operation))
}

/// Writes a commit under its number; says whether the number was still free.
fn write_commit(
    worker: &Worker,
    library: &DeltaTable,
    version: u64,
    actions: Vec<Action>,
    operation: DeltaOperation,
    hashes: Said,
) -> Result<bool, DeltaTableError> {
    let said = match hashes.is_empty() {
        true => HashMap::new(),
        false => HashMap::from([("sha256".to_owned(), hashes.into())]),
    };
    let commit = CommitData::new(actions, operation, said, Vec::new());
    let bytes = CommitOrBytes::LogBytes(commit.get_bytes()?);
    let log = library.log_store();
    let writing = log.write_commit_entry(version, bytes, Uuid::new_v4());
    match worker.0.block_on(writing) {
        Ok(()) => Ok(true),
        Err(TransactionError::VersionAlreadyExists(_)) => Ok(false),
        Err(e) => Err(e.into()),
    }
}

pub(super) fn sort(parts: &mut [Part]) {
    parts.sort_by(|a, b| (a.file_id, &a.month, &a.path).cmp(&(b.file_id, &b.month, &b.path)));
}

/// The library creates its log files readable by all.
fn restrict_commit(folder: &Path, version: u64) -> Result<(), StoreError> {
    let log = folder.join(LOG_FOLDER);
    let names = [
        format!("{version:020}.json"),
        format!("{version:020}.checkpoint.parquet"),
        "_last_checkpoint".to_owned(),
    ];
    for path in names.map(|name| log.join(name)) {
        if path.is_file() {
            folder::restrict_file(&path)
                .map_err(|e| StoreError::io("set the permissions of", &path, e))?;
        }
    }
    Ok(())
}

thread_local! {
    static MAY_PANIC: std::cell::Cell<bool> = const { std::cell::Cell::new(false) };
}

/// Runs what may panic in a library on bytes that nobody vouches for; `None`
/// where it did, without a word.
fn quietly<T>(run: impl FnOnce() -> T) -> Option<T> {
    static HOOK: std::sync::Once = std::sync::Once::new();
    HOOK.call_once(|| {
        let usual = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |panic| {
            if !MAY_PANIC.get() {
                usual(panic);
            }
        }));
    });
    MAY_PANIC.set(true);
    let ran = std::panic::catch_unwind(std::panic::AssertUnwindSafe(run));
    MAY_PANIC.set(false);
    ran.ok()
}

fn unloaded(folder: &Path) -> Result<DeltaTable, StoreError> {
    let text = folder.to_str().ok_or_else(|| StoreError::FolderName {
        path: folder.to_owned(),
    })?;
    ensure_table_uri(text)
        .and_then(DeltaTableBuilder::from_url)
        .and_then(DeltaTableBuilder::build)
        .map_err(|e| StoreError::table("open", folder, e))
}

fn add_action(part: &NewPart, at: Instant) -> Add {
    let partition = part
        .month
        .iter()
        .map(|month| (MONTH.to_owned(), Some(month.clone())));
    Add {
        path: part.relative.clone(),
        partition_values: partition.collect::<HashMap<_, _>>(),
        size: part.bytes.cast_signed(),
        modification_time: at.0.div_euclid(1000),
        data_change: true,
        stats: Some(serde_json::json!({ "numRecords": part.rows }).to_string()),
        tags: Some(HashMap::from([(
            "sha256".to_owned(),
            Some(part.sha256.clone()),
        )])),
        deletion_vector: None,
        base_row_id: None,
        default_row_commit_version: None,
        clustering_provider: None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use deltalake_core::operations::create::CreateBuilder;
    use serde_json::Value;

    use super::*;

    /// The first commit without what differs each time.
    fn first_commit(table: &Path) -> Vec<Value> {
        let path = table.join(LOG_FOLDER).join(format!("{:020}.json", 0));
        let text = std::fs::read_to_string(path).unwrap();
        let of_its_own = ["id", "createdTime", "timestamp", "location"];
        let lines = text.lines().map(|line| {
            let mut said: Value = serde_json::from_str(line).unwrap();
            let stated = said.pointer_mut("/commitInfo/operationParameters/metadata");
            if let Some(stated) = stated {
                *stated = serde_json::from_str(stated.as_str().unwrap()).unwrap();
            }
            let places = [
                "/commitInfo",
                "/commitInfo/operationParameters",
                "/commitInfo/operationParameters/metadata",
                "/metaData",
            ];
            for place in places {
                if let Some(values) = said.pointer_mut(place).and_then(Value::as_object_mut) {
                    values.retain(|key, _| !of_its_own.contains(&key.as_str()));
                }
            }
            said
        });
        lines.collect()
    }

    #[test]
    fn a_table_is_made_as_the_library_makes_one() {
        let folder = tempfile::tempdir().unwrap();
        let (ours, theirs) = (folder.path().join("ours"), folder.path().join("theirs"));
        let worker = Worker::start().unwrap();
        for name in TableName::ALL {
            Table::create(&worker, &ours, name).unwrap();
            let log = theirs.join(name.folder()).join(LOG_FOLDER);
            folder::create_folder(&log).unwrap();
            let library = unloaded(&theirs.join(name.folder())).unwrap();
            let partitions: &[&str] = if name.is_by_month() { &[MONTH] } else { &[] };
            let create = CreateBuilder::new()
                .with_log_store(library.log_store())
                .with_table_name(name.folder())
                .with_columns(name.delta_columns())
                .with_partition_columns(partitions.iter().copied())
                .with_save_mode(SaveMode::Ignore);
            worker.0.block_on(async { create.await }).unwrap();
            let [ours, theirs] = [&ours, &theirs].map(|store| store.join(name.folder()));
            assert_eq!(first_commit(&ours), first_commit(&theirs));
            // both may be added to without being loaded
            for table in [ours, theirs] {
                let log = Log::read(&table.join(LOG_FOLDER)).unwrap();
                assert_eq!(log.newest_of_plain(), Some(0));
            }
        }
    }
}
