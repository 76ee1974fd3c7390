//! Rows set aside, written into files in which they can be corrected.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use super::context::Context;
use super::error::CliError;
use crate::ingest::{ToMend, mend_file};
use crate::store::Store;
use crate::store::records::{Dialect, SetAside};

/// Writes the rows below the headers that they stood under.
pub(super) fn write(
    store: &Store,
    path: &Path,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let rows = store.set_aside_by_file()?;
    let files = store.files()?;
    let dialects: BTreeMap<u64, &Dialect> = files.iter().map(|f| (f.id, &f.dialect)).collect();
    let mut sheets: BTreeMap<&Dialect, Vec<ToMend<'_>>> = BTreeMap::new();
    let mut left_out = 0usize;
    for (file_id, row) in &rows {
        let dialect = dialects.get(file_id).filter(|d| !d.header.is_empty());
        match (dialect, row.number(), is_whole(row)) {
            (Some(dialect), Some(line), true) => {
                sheets.entry(*dialect).or_default().push(ToMend {
                    file_id: *file_id,
                    line,
                    day_position: row.day_position,
                    reason: &row.reason,
                    text: &row.text,
                });
            }
            _ => left_out += 1,
        }
    }
    let count: usize = sheets.values().map(Vec::len).sum();
    let tables: Vec<(&Dialect, Vec<ToMend<'_>>)> = sheets.into_iter().collect();
    if path.as_os_str() == "-" {
        out.write_all(mend_file(&tables).as_bytes())?;
        return Ok(ExitCode::SUCCESS);
    }
    if count > 0 {
        write_new(path, mend_file(&tables).as_bytes())?;
        let many = if count == 1 { "row" } else { "rows" };
        writeln!(out, "{}: {count} {many} to correct", path.display())?;
    }
    if rows.is_empty() {
        context.say("no rows are set aside");
    }
    if left_out > 0 {
        context.say(format_args!(
            "{left_out} more are too long to be written here: correct them in the original file"
        ));
    }
    if tables.len() > 1 {
        context.say("one table below the other, for each header that the rows stood under");
    }
    Ok(ExitCode::SUCCESS)
}

/// Whether all of the row's text was kept.
fn is_whole(row: &SetAside) -> bool {
    !row.text.ends_with(" […]")
}

/// Never over somebody's corrections, and only for their owner's eyes.
fn write_new(path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let write = options
        .open(path)
        .and_then(|mut file| file.write_all(bytes));
    write.map_err(|source| {
        let path = path.to_owned();
        if source.kind() == std::io::ErrorKind::AlreadyExists {
            CliError::AlreadyThere { path }
        } else {
            CliError::Write { path, source }
        }
    })
}
