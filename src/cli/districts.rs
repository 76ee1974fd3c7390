//! `litrewise districts`: intervals, costs and bottles, postcode district by
//! postcode district.

use std::io::Write;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::looking;
use crate::report;

/// Compare postcode districts: intervals, what 1,000 L cost, what is saved, which bottle suits
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise districts\n  litrewise districts -f csv > districts.csv"
)]
pub(super) struct DistrictsArgs {
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json, Format::Csv]))]
    format: Format,
}

pub(super) fn run(
    args: &DistrictsArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let assessment = looking::standing(context)?;
    let text = match args.format {
        Format::Json => report::districts::json(&assessment)?,
        Format::Csv => report::districts::csv(&assessment),
        _ => report::districts::text(&assessment, context.screen),
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
