//! One writer at a time; readers never wait.

use std::fs::{File, TryLockError};
use std::path::Path;

use super::error::StoreError;
use super::private;

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
        let file =
            private::open_to_lock(&path).map_err(|e| StoreError::io("open the lock", &path, e))?;
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
