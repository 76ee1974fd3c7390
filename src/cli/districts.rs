//! `litrewise districts`: intervals, costs and bottles, postcode district by
//! postcode district.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking;
use crate::report;

/// Compare postcode districts: intervals, what 1,000 L cost, what is saved, which bottle suits
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise districts\n  litrewise districts -f csv > districts.csv"
)]
pub(super) struct DistrictsArgs {
    /// Output format
    #[arg(long, short, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// For scripts
    Json,
    /// For a spreadsheet
    Csv,
}

pub(super) fn run(
    args: &DistrictsArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let assessment = looking::standing(context)?;
    let text = match args.format {
        Format::Text => report::districts::text(&assessment, context.screen),
        Format::Json => report::districts::json(&assessment)?,
        Format::Csv => report::districts::csv(&assessment),
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
