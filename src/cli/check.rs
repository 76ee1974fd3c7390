//! `litrewise check`: the store held against what was written.

use std::io::Write;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use crate::ingest::shown;
use crate::store::{Checked, Store};

/// Check every file of the store against the size and hash that were written
///
/// Says what is damaged, which rows that touches, and which of your files bring
/// them back when they are ingested again.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise check")]
pub(super) struct CheckArgs {
    /// Take damaged files out of the store for good, once their rows are back
    #[arg(long)]
    leave_out: bool,
}

pub(super) fn run(
    args: &CheckArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let store = Store::open(&context.store)?;
    let checked = store.check()?;
    if checked.damage.is_empty() {
        writeln!(
            out,
            "{} files with {} rows and {} commits: all as they were written",
            checked.files, checked.rows, checked.commits
        )?;
        return Ok(ExitCode::SUCCESS);
    }
    for damage in &checked.damage {
        let rows = match damage.rows {
            Some(1) => ": 1 row".to_owned(),
            Some(rows) => format!(": {rows} rows"),
            None => String::new(),
        };
        writeln!(out, "{} {}{rows}", damage.path.display(), damage.what)?;
    }
    if args.leave_out {
        let left_out = store.writer()?.leave_out_damaged()?;
        writeln!(out, "{left_out} damaged files taken out of the store")?;
        return Ok(ExitCode::SUCCESS);
    }
    advise(&checked, out)?;
    Ok(ExitCode::FAILURE)
}

fn advise(checked: &Checked, out: &mut dyn Write) -> Result<(), CliError> {
    writeln!(out)?;
    for (file, rows) in &checked.sources {
        writeln!(
            out,
            "file {} ({}, {} bytes, SHA-256 {}): up to {rows} rows come back with `litrewise ingest {}`",
            file.id,
            shown(&file.name),
            file.bytes,
            file.sha256,
            shown(&file.name)
        )?;
    }
    let in_log = checked.damage.iter().any(|damage| damage.file_id.is_none());
    if in_log {
        writeln!(
            out,
            "The store's own records are damaged, so nothing can be added to it. Restore it from a copy; or `litrewise export`, which writes what can be read, and ingest that into a new store (--store)."
        )?;
    } else {
        writeln!(
            out,
            "Then `litrewise check --leave-out` takes the damaged files out of the store for good."
        )?;
    }
    Ok(())
}
