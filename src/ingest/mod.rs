//! CSV files into checked rows: what a row means, or why it is set aside.
//!
//! A file is recognised by its header; its delimiter, decimal mark, encoding and
//! order of day and month are taken from the file itself. A row is judged by its
//! own file alone: what needs the van's past or the van list is for the store
//! and later.

mod bulk;
mod calendar;
mod clock;
mod columns;
mod dates;
#[cfg(fuzzing)]
pub mod doors;
mod encoding;
mod error;
mod evidence;
mod headers;
mod instants;
mod judge;
mod kind;
mod layout;
mod local_days;
mod mapping;
mod meaning;
mod mend_file;
mod names;
mod notes;
mod numbers;
mod postcode;
mod quotes;
mod ragged;
mod read;
mod row;
mod row_dates;
mod row_numbers;
mod rows_fills;
mod rows_hardness;
mod rows_readings;
mod rows_services;
mod rows_vans;
mod settle;
mod source;
mod split;
mod text;
mod units;
mod words;

#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};

pub use columns::Column;
pub use dates::DateOrder;
pub use error::ReadError;
pub use headers::{RecordKind, canonical_header};
pub use mapping::{Heading, MAPPING};
pub use mend_file::{ToMend, mend_file};
pub use read::{FileReader, read_bytes};
pub use text::shown;

/// How files are read.
#[derive(Debug, Clone)]
pub struct Options {
    /// The order of day and month in files in which neither a row nor the header
    /// settles it; `None` sets the rows in question aside.
    pub date_order: Option<DateOrder>,
    /// Days and local times are those of this zone.
    pub time_zone: jiff::tz::TimeZone,
    /// Rows that happened after this day are set aside.
    pub today: jiff::civil::Date,
}

/// The files that a path names: the file itself, or a folder's files in order of
/// their names, hidden ones and sub-folders left out.
///
/// # Errors
/// [`ReadError::Missing`], [`ReadError::Unreadable`], [`ReadError::EmptyFolder`].
pub fn files_in(path: &Path) -> Result<Vec<PathBuf>, ReadError> {
    let shown = path.display().to_string();
    let failed = |source| cannot_read(&shown, source);
    if !std::fs::metadata(path).map_err(failed)?.is_dir() {
        return Ok(vec![path.to_owned()]);
    }
    let mut files = Vec::new();
    for entry in std::fs::read_dir(path).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let hidden = entry.file_name().to_string_lossy().starts_with(['.', '~']);
        // links are followed, so that a folder of links works too
        if !hidden && std::fs::metadata(entry.path()).is_ok_and(|m| m.is_file()) {
            files.push(entry.path());
        }
    }
    if files.is_empty() {
        return Err(ReadError::EmptyFolder { file: shown });
    }
    files.sort();
    Ok(files)
}

fn cannot_read(file: &str, source: std::io::Error) -> ReadError {
    let file = file.to_owned();
    if source.kind() == std::io::ErrorKind::NotFound {
        ReadError::Missing { file }
    } else {
        ReadError::Unreadable { file, source }
    }
}
