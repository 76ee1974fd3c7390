//! `litrewise parts`: what to order.

use std::io::Write;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::looking;
use crate::{advise, report};

/// List the parts to order: by make for the jobs ahead, and by month for a year
///
/// What lies on the shelf (`stock` in the settings) is taken off.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise parts --weeks 6\n  litrewise parts -f csv > order.csv\n  litrewise parts --months -f csv > year.csv"
)]
pub(super) struct PartsArgs {
    /// For the jobs of so many weeks
    #[arg(long, default_value_t = crate::report::DUE_WEEKS, value_name = "N", value_parser = clap::value_parser!(u32).range(0..=520))]
    weeks: u32,
    /// As csv, the coming months instead of the order
    #[arg(long)]
    months: bool,
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json, Format::Csv]))]
    format: Format,
}

pub(super) fn run(
    args: &PartsArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let assessment = looking::standing(context)?;
    let orders = advise::orders(&assessment, &advise::jobs(&assessment, args.weeks));
    let text = match args.format {
        Format::Json => report::order::json(&orders, &assessment, args.weeks)?,
        Format::Csv if args.months => report::order::months_csv(&assessment.parts_to_order),
        Format::Csv => report::order::csv(&orders),
        _ => report::order::text(&orders, &assessment, args.weeks, context.screen),
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
