//! The store's folder: files that only their owner may read, and the lock of the one
//! who writes.

use std::fs::{DirBuilder, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::Path;

use super::error::StoreError;

fn options() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.write(true).create(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    options
}

/// Makes the folder and those above it; says nothing where it is there.
pub(super) fn create_folder(path: &Path) -> io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt;
        builder.mode(0o700);
    }
    builder.create(path)
}

/// Ending of a file that is not yet whole.
pub(super) const UNFINISHED: &str = ".new";

/// Writes the whole file under another name, waits until the disk has it and
/// gives it its own: a kill leaves the old file or the new one, never half.
pub(super) fn write_file(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut unfinished = path.as_os_str().to_owned();
    unfinished.push(UNFINISHED);
    let mut file = options().truncate(true).open(&unfinished)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    std::fs::rename(&unfinished, path)
}

/// Creates or empties the file for writing.
pub(super) fn create_file(path: &Path) -> io::Result<File> {
    options().truncate(true).open(path)
}

pub(super) fn open_to_lock(path: &Path) -> io::Result<File> {
    options().truncate(false).open(path)
}

/// Takes away from others what another library created.
pub(super) fn restrict_file(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o600))?;
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

pub(super) const LOCK_FILE: &str = "ingest.lock";

/// Held for as long as its owner writes; the system lets go of it when the
/// process ends, however it ends.
#[derive(Debug)]
pub(super) struct WriteLock {
    file: File,
}

impl Drop for WriteLock {
    fn drop(&mut self) {
        // Closing alone would not let go while a process that is just being
        // started still has the file open too.
        let _ = self.file.unlock();
    }
}

impl WriteLock {
    /// `wait`: called once where another process writes, whose end is then
    /// waited for.
    ///
    /// # Errors
    /// [`StoreError::Busy`] where another process writes and nobody waits.
    pub(super) fn take(
        store: &Path,
        wait: Option<&(dyn Fn() + Sync)>,
    ) -> Result<WriteLock, StoreError> {
        let path = store.join(LOCK_FILE);
        let file = open_to_lock(&path).map_err(|e| StoreError::io("open the lock", &path, e))?;
        match file.try_lock() {
            Ok(()) => Ok(WriteLock { file }),
            Err(TryLockError::WouldBlock) => {
                let Some(say) = wait else {
                    return Err(StoreError::Busy { lock: path });
                };
                say();
                file.lock().map_err(|e| StoreError::io("lock", &path, e))?;
                Ok(WriteLock { file })
            }
            Err(TryLockError::Error(e)) => Err(StoreError::io("lock", &path, e)),
        }
    }
}
