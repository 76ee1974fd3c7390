//! `litrewise backtest`: how good the forecasts were on the fleet's own past.

use std::io::Write;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::looking::Looking;
use crate::report;

/// Say how good the forecasts were on this fleet's own past
///
/// Every month-end is forecast again with only the data of that day, and held
/// against what came, beside the usual interval.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise backtest --format json")]
pub(super) struct BacktestArgs {
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json]))]
    format: Format,
}

pub(super) fn run(
    args: &BacktestArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let looking = Looking::open(context)?;
    let as_of = looking.as_of(context);
    let result = looking.backtest(as_of, context);
    let text = match args.format {
        Format::Json => report::backtest_json(&result)?,
        _ => report::text::sentences(&result.words, context.screen),
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
