//! `litrewise check`: the store held against what was written.

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use clap::Args;
use serde::Serialize;

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::{json, said};
use crate::ingest::shown;
use crate::store::{Checked, Store};

/// Check that the stored files are undamaged
///
/// Every file is held against the size and hash that were written. Says what is
/// damaged, which rows that touches, and which of your files bring them back
/// when they are ingested again.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise check")]
pub(super) struct CheckArgs {
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json]))]
    format: Format,
}

#[derive(Serialize)]
struct Document<'a> {
    files: u64,
    rows: u64,
    commits: u64,
    damaged: Vec<Damaged<'a>>,
    bring_back: Vec<BringBack<'a>>,
}

#[derive(Serialize)]
struct Damaged<'a> {
    path: &'a Path,
    what: &'a str,
    rows: Option<u64>,
}

/// A file that brings rows back when it is ingested again.
#[derive(Serialize)]
struct BringBack<'a> {
    id: u64,
    file: &'a str,
    bytes: u64,
    sha256: &'a str,
    rows: u64,
}

pub(super) fn run(
    args: &CheckArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let checked = Store::open(&context.store)?.check()?;
    match args.format {
        Format::Json => json::write(&document(&checked), out)?,
        _ => text(&checked, context, out)?,
    }
    Ok(match checked.damage.is_empty() {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

fn document(checked: &Checked) -> Document<'_> {
    let damaged = checked.damage.iter().map(|damage| Damaged {
        path: &damage.path,
        what: &damage.what,
        rows: damage.rows,
    });
    let bring_back = checked.sources.iter().map(|(file, rows)| BringBack {
        id: file.id,
        file: &file.name,
        bytes: file.bytes,
        sha256: &file.sha256,
        rows: *rows,
    });
    Document {
        files: checked.files,
        rows: checked.rows,
        commits: checked.commits,
        damaged: damaged.collect(),
        bring_back: bring_back.collect(),
    }
}

fn text(checked: &Checked, context: &Context, out: &mut dyn Write) -> Result<(), CliError> {
    if checked.damage.is_empty() {
        writeln!(
            out,
            "{} files, {}: no damage",
            checked.files,
            said::rows_of(checked.rows)
        )?;
        if context.verbose {
            writeln!(out, "{} commits", checked.commits)?;
        }
        return Ok(());
    }
    for damage in &checked.damage {
        let rows = match damage.rows {
            Some(rows) => format!(": {}", said::rows_of(rows)),
            None => String::new(),
        };
        writeln!(out, "{} {}{rows}", damage.path.display(), damage.what)?;
    }
    writeln!(out)?;
    for (file, rows) in &checked.sources {
        let name = shown(&file.name);
        writeln!(
            out,
            "file {} ({name}, {} bytes): up to {rows} rows come back with `litrewise ingest {name}`",
            file.id, file.bytes
        )?;
        if context.verbose {
            writeln!(out, "  SHA-256 {}", file.sha256)?;
        }
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
            "Then `litrewise repair` takes the damaged files out of the store for good."
        )?;
    }
    Ok(())
}
