//! `litrewise to-fix`: the rows that could not be used.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;
use serde::Serialize;

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::{json, to_mend};
use crate::ingest::shown;
use crate::report::harmless;
use crate::store::Store;
use crate::store::records::SetAside;

/// List the rows that could not be used, each with its file, line and reason
///
/// Correct them in the original file and ingest it again; or let --out write
/// them into a file of their own, correct that, and ingest it: a row that can
/// be used then leaves the list.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise to-fix\n  litrewise to-fix --out fix.csv\n  litrewise ingest fix.csv"
)]
pub(super) struct ToFixArgs {
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Csv, Format::Json, Format::Jsonl]))]
    format: Format,
    /// Write the rows below their own header, to be corrected and ingested; - for standard output
    #[arg(long, short, value_name = "FILE", conflicts_with = "format")]
    out: Option<PathBuf>,
}

pub(super) struct ToFixPlan {
    store: Store,
    format: Format,
    out: Option<PathBuf>,
}

impl ToFixArgs {
    pub(super) fn plan(self, context: &Context) -> Result<ToFixPlan, CliError> {
        Ok(ToFixPlan {
            store: context.open_store()?,
            format: self.format,
            out: self.out,
        })
    }
}

/// The contract's object.
#[derive(Serialize)]
struct Listed<'a> {
    file: &'a str,
    line: Option<u64>,
    reason: &'a str,
    text: &'a str,
    /// The part of its line that it is, where that holds several kinds.
    #[serde(skip_serializing_if = "Option::is_none")]
    kind: Option<&'static str>,
}

impl<'a> From<&'a SetAside> for Listed<'a> {
    fn from(row: &'a SetAside) -> Listed<'a> {
        Listed {
            file: &row.file,
            line: row.line,
            reason: &row.reason,
            text: &row.text,
            kind: row.kind(),
        }
    }
}

pub(super) fn run(
    plan: &ToFixPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    if let Some(path) = &plan.out {
        return to_mend::write(&plan.store, path, context, out);
    }
    let rows = plan.store.set_aside()?;
    match plan.format {
        Format::Csv => csv(&rows, out)?,
        Format::Json => {
            let listed: Vec<Listed<'_>> = rows.iter().map(Listed::from).collect();
            json::write(&listed, out)?;
        }
        Format::Jsonl => {
            for row in &rows {
                let line =
                    serde_json::to_string(&Listed::from(row)).map_err(std::io::Error::from)?;
                writeln!(out, "{line}")?;
            }
        }
        _ => text(&rows, out)?,
    }
    match rows.iter().find_map(|row| Some((&row.file, row.line?))) {
        Some((file, line)) => context.say(format_args!(
            "a row that is none, such as a total, leaves the list for good by `litrewise files take-back {}:{line}`",
            shown(file)
        )),
        None if rows.is_empty() => context.say("no rows are set aside"),
        None => {}
    }
    Ok(ExitCode::SUCCESS)
}

fn text(rows: &[SetAside], out: &mut dyn Write) -> Result<(), CliError> {
    for row in rows {
        let line = row.line.map(|n| format!(":{n}")).unwrap_or_default();
        let kind = row
            .kind()
            .map(|kind| format!("{kind}: "))
            .unwrap_or_default();
        writeln!(
            out,
            "{}{line}: {kind}{}",
            shown(&row.file),
            shown(&row.reason)
        )?;
        for piece in row.text.lines() {
            writeln!(out, "    {}", shown(piece))?;
        }
    }
    Ok(())
}

fn csv(rows: &[SetAside], out: &mut dyn Write) -> Result<(), CliError> {
    let mut writer = csv::Writer::from_writer(out);
    writer
        .write_record(["file", "line", "reason", "text"])
        .map_err(std::io::Error::from)?;
    for row in rows {
        writer
            .write_record([
                harmless(&row.file),
                row.line.map(|n| n.to_string()).unwrap_or_default(),
                harmless(&row.reason),
                harmless(&row.text),
            ])
            .map_err(std::io::Error::from)?;
    }
    writer.flush()?;
    Ok(())
}
