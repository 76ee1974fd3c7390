//! `litrewise export`: clean tables for a spreadsheet or another engine.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use crate::report;

/// Write the current rows as five clean CSV files
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise export --out tables\n  litrewise export --anonymous --out to-show\n  litrewise export --by-month"
)]
pub(super) struct ExportArgs {
    /// Folder for the files
    #[arg(long, short, default_value = "./litrewise-export", value_name = "DIR")]
    out: PathBuf,
    /// For others to see: vans under made-up names, postcodes cut to their area, no free texts
    #[arg(long)]
    anonymous: bool,
    /// Instead of the rows: months-by-district.csv, what each district's vans read, made and had
    /// changed in each month
    #[arg(long, conflicts_with = "anonymous")]
    by_month: bool,
}

pub(super) fn run(
    args: &ExportArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    if args.by_month {
        let looking = Looking::open(context)?;
        let as_of = context.as_of.unwrap_or(looking.newest_day);
        let table = report::by_month_csv(&looking.by_month(as_of)?);
        report::prepare(&args.out)?;
        let path = args.out.join("months-by-district.csv");
        writeln!(
            out,
            "{}",
            report::replace(&path, table.as_bytes())?.display()
        )?;
        return Ok(ExitCode::SUCCESS);
    }
    let store = context.open_store()?;
    let time_zone = context.settings(&context.store)?.time_zone;
    match args.anonymous {
        true => store.export_anonymous(&args.out, &time_zone)?,
        false => store.export(&args.out, &time_zone)?,
    };
    writeln!(out, "{}", args.out.display())?;
    Ok(ExitCode::SUCCESS)
}
