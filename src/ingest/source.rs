//! Where a file's bytes come from, read more than once: each pass says what it
//! saw, so that a file that changes meanwhile is noticed.

use std::cell::RefCell;
use std::fmt::Write as _;
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use sha2::{Digest, Sha256};

use super::error::ReadError;

/// Bytes that can be read again from the start.
pub(super) enum Source<'b> {
    Bytes(&'b [u8]),
    /// What was made a table of.
    Made(Vec<u8>),
    File(File),
}

impl Source<'_> {
    /// Opens a file; what can be read only once, as a pipe, is copied first.
    pub fn open(path: &Path, shown_name: &str) -> Result<Source<'static>, ReadError> {
        let failed = |source| super::files::cannot_read(shown_name, source);
        let is_pipe = is_pipe(&std::fs::metadata(path).map_err(failed)?);
        let mut file = File::open(path).map_err(failed)?;
        if is_pipe {
            let mut copy = unnamed_file().map_err(failed)?;
            io::copy(&mut file, &mut copy).map_err(failed)?;
            return Ok(Source::File(copy));
        }
        if !file.metadata().map_err(failed)?.is_file() {
            return Err(ReadError::NoFile {
                file: shown_name.to_owned(),
            });
        }
        Ok(Source::File(file))
    }

    pub fn rewound(&self) -> io::Result<Box<dyn Read + Send + '_>> {
        Ok(match self {
            Source::Bytes(bytes) => Box::new(*bytes),
            Source::Made(bytes) => Box::new(bytes.as_slice()),
            Source::File(file) => {
                let mut file: &File = file;
                file.seek(SeekFrom::Start(0))?;
                Box::new(file)
            }
        })
    }
}

#[cfg(unix)]
fn is_pipe(found: &std::fs::Metadata) -> bool {
    std::os::unix::fs::FileTypeExt::is_fifo(&found.file_type())
}

#[cfg(not(unix))]
fn is_pipe(_: &std::fs::Metadata) -> bool {
    false
}

/// A file that is gone once nobody has it open.
fn unnamed_file() -> io::Result<File> {
    let base = std::env::temp_dir();
    let process = std::process::id();
    let mut number = 0u32;
    loop {
        let path = base.join(format!("litrewise-pipe-{process}-{number}"));
        let mut options = std::fs::OpenOptions::new();
        options.read(true).write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        match options.open(&path) {
            Ok(file) => {
                std::fs::remove_file(&path)?;
                return Ok(file);
            }
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists && number < 1000 => number += 1,
            Err(e) => return Err(e),
        }
    }
}

/// What a pass saw.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Scanned {
    pub bytes: u64,
    /// SHA-256, hex.
    pub sha256: String,
}

/// One pass over a source, counted and hashed.
pub(super) struct Watched<'s> {
    inner: RefCell<Inner<'s>>,
}

struct Inner<'s> {
    bytes: Box<dyn Read + 's>,
    count: u64,
    hash: Sha256,
}

impl<'s> Watched<'s> {
    pub fn over(source: &'s Source<'_>) -> io::Result<Watched<'s>> {
        Ok(Watched {
            inner: RefCell::new(Inner {
                bytes: source.rewound()?,
                count: 0,
                hash: Sha256::new(),
            }),
        })
    }

    /// The bytes, to be read to their end before [`Watched::seen`] is asked.
    pub fn bytes(&self) -> impl Read + '_ {
        Bytes(&self.inner)
    }

    pub fn seen(self) -> Scanned {
        let Inner { count, hash, .. } = self.inner.into_inner();
        Scanned {
            bytes: count,
            sha256: hex(&hash.finalize()),
        }
    }
}

pub(super) fn hex(hash: &[u8]) -> String {
    let mut text = String::with_capacity(64);
    for byte in hash {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

struct Bytes<'w, 's>(&'w RefCell<Inner<'s>>);

impl Read for Bytes<'_, '_> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let inner = &mut *self.0.borrow_mut();
        let count = inner.bytes.read(buffer)?;
        inner.count += count as u64;
        inner.hash.update(buffer.get(..count).unwrap_or_default());
        Ok(count)
    }
}
