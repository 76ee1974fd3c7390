//! A store that is thrown away afterwards. A copy of the real one tries out
//! what an ingest would do: only a real run knows what files of one run do to
//! each other.

use std::path::{Path, PathBuf};

use tempfile::TempDir;

use super::error::CliError;
use crate::store::Store;

/// A store in a folder of its own that nobody else can read, removed when dropped.
pub(super) struct ScratchStore {
    folder: TempDir,
}

impl ScratchStore {
    /// A place for a store with nothing in it.
    pub(super) fn empty() -> Result<ScratchStore, CliError> {
        let folder = tempfile::Builder::new().prefix("litrewise-").tempdir();
        let folder = folder.map_err(|source| CliError::Write {
            path: std::env::temp_dir(),
            source,
        })?;
        Ok(ScratchStore { folder })
    }

    /// Copies the store; nothing in it where there is none.
    pub(super) fn copy_of(store: &Path) -> Result<ScratchStore, CliError> {
        let scratch = ScratchStore::empty()?;
        if store.join("litrewise.json").exists() {
            let original = Store::open(store)?;
            // Held while copying, so that nobody changes what is copied.
            let _writer = original.writer()?;
            copy(store, &scratch.path())?;
        }
        Ok(scratch)
    }

    pub(super) fn path(&self) -> PathBuf {
        self.folder.path().join("store")
    }
}

fn copy(from: &Path, to: &Path) -> Result<(), CliError> {
    let failed = |source| CliError::Copy {
        from: from.to_owned(),
        to: to.to_owned(),
        source,
    };
    std::fs::create_dir_all(to).map_err(failed)?;
    for entry in std::fs::read_dir(from).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let target = to.join(entry.file_name());
        if entry.file_type().map_err(failed)?.is_dir() {
            copy(&entry.path(), &target)?;
        } else if entry.file_name() != "ingest.lock" {
            std::fs::copy(entry.path(), &target).map_err(failed)?;
        }
    }
    Ok(())
}
