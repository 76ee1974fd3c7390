//! The only door to the table format: snapshots and atomic commits. No type
//! of the Delta library is seen beyond this file.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use deltalake_core::kernel::transaction::{CommitBuilder, CommitProperties, TableReference};
use deltalake_core::kernel::{Action, Add};
use deltalake_core::operations::create::CreateBuilder;
use deltalake_core::protocol::{DeltaOperation, SaveMode};
use deltalake_core::{DeltaTable, DeltaTableBuilder, ensure_table_uri};
use tokio::runtime::Runtime;

use super::error::StoreError;
use super::log::Log;
use super::part::{NewPart, Part, file_id_of};
use super::private;
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
/// library is asked once something is to be committed.
pub(super) struct Table {
    name: TableName,
    folder: PathBuf,
    parts: Vec<Part>,
    library: Option<DeltaTable>,
}

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
        private::create_folder(&log).map_err(|e| StoreError::io("create", &log, e))?;
        let unloaded = unloaded(&folder)?;
        let partitions: &[&str] = if name.is_by_month() { &[MONTH] } else { &[] };
        let create = CreateBuilder::new()
            .with_log_store(unloaded.log_store())
            .with_table_name(name.folder())
            .with_columns(name.delta_columns())
            .with_partition_columns(partitions.iter().copied())
            .with_save_mode(SaveMode::Ignore);
        let created = worker
            .0
            .block_on(async { create.await })
            .map_err(|e| StoreError::table("create", &folder, e))?;
        restrict_last_commit(&folder, &created)
    }

    /// # Errors
    /// [`StoreError::DamagedLog`], or what kept it from being read.
    pub(super) fn load(store: &Path, name: TableName) -> Result<Table, StoreError> {
        let folder = store.join(name.folder());
        let log = Log::read(&folder.join(LOG_FOLDER))?;
        let parts = log.parts(&folder);
        if let Some((path, what)) = log.damaged.into_iter().next() {
            return Err(StoreError::DamagedLog { path, what });
        }
        Ok(Table {
            name,
            parts,
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

    fn library(&mut self, worker: &Worker) -> Result<&mut DeltaTable, StoreError> {
        let library = match self.library.take() {
            Some(library) => library,
            None => {
                let mut delta = unloaded(&self.folder)?;
                // Other bytes may still be JSON; the library trusts them more
                // than it should.
                let loaded = quietly(|| worker.0.block_on(delta.load()));
                match loaded {
                    Some(loaded) => {
                        loaded.map_err(|e| StoreError::table("open", &self.folder, e))?;
                    }
                    None => {
                        return Err(StoreError::DamagedLog {
                            path: self.folder.join(LOG_FOLDER),
                            what: "cannot be made sense of".to_owned(),
                        });
                    }
                }
                delta
            }
        };
        Ok(self.library.insert(library))
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
        let actions = parts
            .iter()
            .map(|p| Action::Add(add_action(p, at)))
            .collect();
        let hashes: serde_json::Map<String, serde_json::Value> = parts
            .iter()
            .map(|p| (p.relative.clone(), p.sha256.clone().into()))
            .collect();
        let operation = DeltaOperation::Write {
            mode: SaveMode::Append,
            partition_by: self.name.is_by_month().then(|| vec![MONTH.to_owned()]),
            predicate: None,
        };
        self.commit(worker, actions, operation, hashes)?;
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
        self.commit(worker, actions, operation, serde_json::Map::new())?;
        self.parts = staying;
        Ok(())
    }

    fn commit(
        &mut self,
        worker: &Worker,
        actions: Vec<Action>,
        operation: DeltaOperation,
        hashes: serde_json::Map<String, serde_json::Value>,
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
        restrict_last_commit(&folder, library)
    }
}

pub(super) fn sort(parts: &mut [Part]) {
    parts.sort_by(|a, b| (a.file_id, &a.month, &a.path).cmp(&(b.file_id, &b.month, &b.path)));
}

/// The library creates its log files readable by all.
fn restrict_last_commit(folder: &Path, library: &DeltaTable) -> Result<(), StoreError> {
    let version = library.version().unwrap_or_default();
    let log = folder.join(LOG_FOLDER);
    let names = [
        format!("{version:020}.json"),
        format!("{version:020}.checkpoint.parquet"),
        "_last_checkpoint".to_owned(),
    ];
    for path in names.map(|name| log.join(name)) {
        if path.is_file() {
            private::restrict_file(&path)
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
