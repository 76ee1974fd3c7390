//! Files and folders that only their owner may read.

use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{self, Write};
use std::path::Path;

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
