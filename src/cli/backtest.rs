//! `litrewise backtest`: how good the forecasts were on the fleet's own past.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use crate::backtest::Backtest;
use crate::report;

/// Say how good the forecasts were on this fleet's own past
///
/// Every month-end is forecast again with only the data of that day, and held
/// against what came, beside the usual interval.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise backtest --format json")]
pub(super) struct BacktestArgs {
    /// Output format
    #[arg(long, short, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// Everything, for scripts
    Json,
}

pub(super) struct BacktestPlan {
    result: Backtest,
    format: Format,
}

impl BacktestArgs {
    pub(super) fn plan(self, context: &Context) -> Result<BacktestPlan, CliError> {
        let looking = Looking::open(context)?;
        let as_of = looking.as_of(context);
        Ok(BacktestPlan {
            result: looking.backtest(as_of, context),
            format: self.format,
        })
    }
}

pub(super) fn run(
    plan: &BacktestPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let text = match plan.format {
        Format::Text => report::text::sentences(&plan.result.words, context.screen),
        Format::Json => report::backtest_json(&plan.result)?,
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
