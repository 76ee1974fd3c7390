//! What stops a command that works on the store.

use std::path::{Path, PathBuf};

use deltalake_core::DeltaTableError;

/// Why the store could not be read or written. The cause, where there is one,
/// is kept as source.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    #[error("no store at {}: run `litrewise ingest` first, or name the right folder with --store", path.display())]
    NoStore { path: PathBuf },

    #[error("{} holds other files and is not a store: choose a new or empty folder", path.display())]
    NotAStore { path: PathBuf },

    #[error(
        "store was written by a newer litrewise (format {found}; this one reads {reads}): update litrewise"
    )]
    NewerFormat { found: u64, reads: u64 },

    #[error(
        "{} does not say which format the store has: put the file back from a copy of the store", path.display()
    )]
    UnreadableMarker { path: PathBuf },

    #[error(
        "another litrewise is writing to this store (lock {}): wait until it has finished, then try again", lock.display()
    )]
    Busy { lock: PathBuf },

    #[error("cannot {doing} {}", path.display())]
    Io {
        doing: &'static str,
        path: PathBuf,
        source: std::io::Error,
    },

    #[error("the disk is full (writing {}): nothing of this file was stored; make room and ingest it again", path.display())]
    DiskFull { path: PathBuf },

    #[error("cannot {doing} the table {}", path.display())]
    Table {
        doing: &'static str,
        path: PathBuf,
        source: Box<DeltaTableError>,
    },

    #[error("cannot {doing} {}", path.display())]
    Parquet {
        doing: &'static str,
        path: PathBuf,
        source: parquet::errors::ParquetError,
    },

    #[error("cannot read {}", path.display())]
    Frame {
        path: PathBuf,
        source: polars::prelude::PolarsError,
    },

    #[error("cannot tell the versions of records apart")]
    Versions {
        source: polars::prelude::PolarsError,
    },

    #[error("cannot sum the rows up by month")]
    ByMonth {
        source: polars::prelude::PolarsError,
    },

    #[error("rows cannot be put into columns")]
    Arrays { source: arrow_schema::ArrowError },

    #[error("cannot write rows to or read them from {}", path.display())]
    Spill {
        path: PathBuf,
        source: arrow_schema::ArrowError,
    },

    #[error("{}: {what}; the store is damaged, restore it from a copy", path.display())]
    Damaged { path: PathBuf, what: String },

    #[error("{file}:{line}: the time lies outside the years -9999 to 9999")]
    TimeOutOfRange { file: String, line: u64 },

    #[error("{} {what}: reading goes on without it, writing does not; `litrewise check` says what to do", path.display())]
    DamagedLog { path: PathBuf, what: String },

    #[error("no file {file_id} was taken in: see `litrewise files`")]
    NoSuchFile { file_id: u64 },

    #[error("the folder name {} is not valid Unicode: choose another name for the store", path.display())]
    FolderName { path: PathBuf },

    #[error("{from} {what}")]
    NoSummaries { from: String, what: String },

    #[error("cannot write the summaries")]
    SummariesOut { source: arrow_schema::ArrowError },

    #[error("cannot start the store's own worker")]
    Worker { source: std::io::Error },
}

/// The libraries mostly keep the cause, but sometimes only its words.
fn is_disk_full(error: &(dyn std::error::Error + 'static)) -> bool {
    let mut cause = Some(error);
    while let Some(error) = cause {
        let io = error.downcast_ref::<std::io::Error>();
        if io.is_some_and(|e| e.kind() == std::io::ErrorKind::StorageFull)
            || error.to_string().contains("No space left on device")
        {
            return true;
        }
        cause = error.source();
    }
    false
}

impl StoreError {
    fn full(path: &Path) -> Self {
        StoreError::DiskFull {
            path: path.to_owned(),
        }
    }

    pub(super) fn io(doing: &'static str, path: &Path, source: std::io::Error) -> Self {
        if is_disk_full(&source) {
            return StoreError::full(path);
        }
        StoreError::Io {
            doing,
            path: path.to_owned(),
            source,
        }
    }

    pub(super) fn table(doing: &'static str, path: &Path, source: DeltaTableError) -> Self {
        if is_disk_full(&source) {
            return StoreError::full(path);
        }
        StoreError::Table {
            doing,
            path: path.to_owned(),
            source: Box::new(source),
        }
    }

    pub(super) fn spill(path: &Path, source: arrow_schema::ArrowError) -> Self {
        if is_disk_full(&source) {
            return StoreError::full(path);
        }
        StoreError::Spill {
            path: path.to_owned(),
            source,
        }
    }

    pub(super) fn frame(path: &Path, source: polars::prelude::PolarsError) -> Self {
        StoreError::Frame {
            path: path.to_owned(),
            source,
        }
    }

    pub(super) fn parquet(
        doing: &'static str,
        path: &Path,
        source: parquet::errors::ParquetError,
    ) -> Self {
        if is_disk_full(&source) {
            return StoreError::full(path);
        }
        StoreError::Parquet {
            doing,
            path: path.to_owned(),
            source,
        }
    }
}
