//! `litrewise export`: clean tables for a spreadsheet or another engine.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;

/// Write the current rows as five clean CSV files
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise export --out tables\n  litrewise export --anonymous --out to-show"
)]
pub(super) struct ExportArgs {
    /// Folder for the five files
    #[arg(long, short, default_value = "./litrewise-export", value_name = "DIR")]
    out: PathBuf,
    /// For others to see: vans under made-up names, postcodes cut to their area, no free texts
    #[arg(long)]
    anonymous: bool,
}

pub(super) fn run(
    args: &ExportArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let store = context.open_store()?;
    let time_zone = context.settings(&context.store)?.time_zone;
    match args.anonymous {
        true => store.export_anonymous(&args.out, &time_zone)?,
        false => store.export(&args.out, &time_zone)?,
    };
    writeln!(out, "{}", args.out.display())?;
    Ok(ExitCode::SUCCESS)
}
