//! `litrewise report`: the month's report as pages and files.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use jiff::civil::Date;

use super::context::Context;
use super::error::CliError;
use super::looking::{Looking, Month};
use crate::report::{self, ReportPlan, Written};

/// Write the month's report: a page for the fleet, one per van and per district
///
/// Open index.html in the folder; it needs no network.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise report --month 2026-10 --out october")]
pub(super) struct ReportArgs {
    /// The month, YYYY-MM [default: newest month with rows]
    #[arg(long, value_name = "YYYY-MM", value_parser = month)]
    month: Option<Date>,
    /// Also say how good earlier forecasts were: the fleet's past is forecast again, month by
    /// month, which takes as long as so many assessments
    #[arg(long)]
    backtest: bool,
    /// Folder for the report
    #[arg(long, default_value = "./litrewise-report", value_name = "DIR")]
    out: PathBuf,
}

fn month(typed: &str) -> Result<Date, String> {
    let whole = format!("{typed}-01");
    match whole.parse::<Date>() {
        Ok(day) if whole.len() == 10 => Ok(day),
        _ => Err("write the month as YYYY-MM, such as 2026-10".to_owned()),
    }
}

pub(super) struct ReportingPlan {
    told: Month,
    /// First day of the month.
    month: Date,
    out: PathBuf,
}

impl ReportArgs {
    pub(super) fn plan(self, context: &Context) -> Result<ReportingPlan, CliError> {
        // The output place before the long part.
        crate::report::prepare(&self.out)?;
        let looking = Looking::open(context)?;
        let (month, as_of) = month_and_day(&looking, self.month, context.as_of)?;
        context.say(format_args!(
            "report for {}, as of {as_of}",
            month.strftime("%Y-%m")
        ));
        Ok(ReportingPlan {
            told: looking.month(as_of, self.backtest, context),
            month,
            out: self.out,
        })
    }
}

/// First day of the month, and the day it is looked at from: its last one, or
/// the newest row's where the month has more days to come.
fn month_and_day(
    looking: &Looking,
    month: Option<Date>,
    as_of: Option<Date>,
) -> Result<(Date, Date), CliError> {
    let month = month.unwrap_or_else(|| as_of.unwrap_or(looking.newest_day).first_of_month());
    if let Some(day) = as_of {
        if day.first_of_month() != month {
            return Err(CliError::Usage(format!(
                "--as-of {day} lies outside --month {}",
                month.strftime("%Y-%m")
            )));
        }
        return Ok((month, day));
    }
    if month > looking.newest_day || month.last_of_month() < looking.first_day {
        return Err(CliError::NoRowsInMonth {
            month: month.strftime("%Y-%m").to_string(),
            first: looking.first_day,
            newest: looking.newest_day,
        });
    }
    Ok((month, month.last_of_month().min(looking.newest_day)))
}

pub(super) fn run(
    plan: &ReportingPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let written = write(&plan.told, plan.month, &plan.out, context)?;
    writeln!(out, "{}", written.index.display())?;
    Ok(ExitCode::SUCCESS)
}

/// Draws and writes the report with progress on the terminal.
pub(super) fn write(
    told: &Month,
    month: Date,
    out: &Path,
    context: &Context,
) -> Result<Written, CliError> {
    let plan = ReportPlan {
        assessment: &told.assessment,
        since: told.since.as_ref(),
        backtest: told.backtest.as_ref(),
        month,
        out,
    };
    let progress = context.progress("pages drawn");
    let written = report::write(&plan, &|done, all| progress.at(done, all))?;
    progress.end();
    Ok(written)
}
