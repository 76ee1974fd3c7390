//! `litrewise report`: the month's report as pages and files.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};

use crate::calendar::{Date, DateExt, parse_date};
use clap::Args;

use super::context::{Context, complain};
use super::error::CliError;
use super::looking::{Looking, Month};
use super::van_names;
use crate::report::{self, ReportPlan, Written};

/// Write the month's report: a page for the fleet, one per van and per district
///
/// Open index.html in the folder; it needs no network.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise report --month 2026-10 --out october\n  litrewise report --van QV-003\n  litrewise report --open"
)]
pub(super) struct ReportArgs {
    /// The month, YYYY-MM [default: newest month with rows]
    #[arg(long, value_name = "YYYY-MM", value_parser = month)]
    month: Option<Date>,
    /// Also say how good earlier forecasts were: the fleet's past is forecast again, month by
    /// month, which takes as long as so many assessments
    #[arg(long)]
    backtest: bool,
    /// Only this van's pages (repeatable)
    #[arg(long, value_name = "NAME", conflicts_with = "backtest")]
    van: Vec<String>,
    /// Open the report when it is written
    #[arg(long)]
    open: bool,
    /// Folder for the report [default: ./litrewise-report/YYYY-MM]
    #[arg(long, short, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn month(typed: &str) -> Result<Date, String> {
    parse_date(&format!("{typed}-01"))
        .ok_or_else(|| "write the month as YYYY-MM, such as 2026-10".to_owned())
}

/// Each month has a folder of its own.
pub(super) fn usual_folder(month: Date) -> PathBuf {
    Path::new("litrewise-report").join(month.format("%Y-%m").to_string())
}

/// First day of the month, and the day it is looked at from: its last one, or
/// the newest row's where the month has more days to come.
pub(super) fn month_and_day(
    looking: &Looking,
    month: Option<Date>,
    as_of: Option<Date>,
) -> Result<(Date, Date), CliError> {
    let month = month.unwrap_or_else(|| as_of.unwrap_or(looking.newest_day).first_of_month());
    if let Some(day) = as_of {
        if day.first_of_month() != month {
            return Err(CliError::Usage(format!(
                "--as-of {day} lies outside --month {}",
                month.format("%Y-%m")
            )));
        }
        return Ok((month, day));
    }
    if month > looking.newest_day || month.last_of_month() < looking.first_day {
        return Err(CliError::NoRowsInMonth {
            month: month.format("%Y-%m").to_string(),
            first: looking.first_day,
            newest: looking.newest_day,
        });
    }
    Ok((month, month.last_of_month().min(looking.newest_day)))
}

pub(super) fn run(
    args: &ReportArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let looking = Looking::open(context)?;
    let (month, as_of) = month_and_day(&looking, args.month, context.as_of)?;
    let folder = args.out.clone().unwrap_or_else(|| usual_folder(month));
    // The output place before the long part.
    report::prepare(&folder)?;
    context.say(format_args!(
        "report for {}, as of {as_of}",
        month.format("%Y-%m")
    ));
    let told = looking.month(as_of, args.backtest, context)?;
    let assessed = &told.assessment.vans;
    let mut places = Vec::new();
    for typed in &args.van {
        let name = van_names::named(typed, assessed.iter().map(|v| v.van.as_str()))?;
        places.extend(assessed.iter().position(|v| v.van == name));
    }
    let pages = match places.is_empty() {
        true => vec![write(&told, month, &folder, context)?.index],
        false => report::write_vans(&report_plan(&told, month, &folder), &places)?,
    };
    for page in &pages {
        writeln!(out, "{}", page.display())?;
        if args.open {
            open(page);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Shows a file with whatever the system shows such files with.
pub(super) fn open(path: &Path) {
    let mut command = if cfg!(target_os = "macos") {
        Command::new("open")
    } else if cfg!(windows) {
        Command::new("explorer")
    } else {
        Command::new("xdg-open")
    };
    let quiet = command.arg(path).stdin(Stdio::null()).stdout(Stdio::null());
    if let Err(error) = quiet.stderr(Stdio::null()).spawn() {
        complain(
            "warning",
            format_args!("cannot open {}: {error}", path.display()),
        );
    }
}

fn report_plan<'a>(told: &'a Month, month: Date, out: &'a Path) -> ReportPlan<'a> {
    ReportPlan {
        since: told.since.as_ref(),
        backtest: told.backtest.as_ref(),
        by_month: &told.by_month,
        ..ReportPlan::new(&told.assessment, month, out)
    }
}

/// Draws and writes the report with progress on the terminal.
pub(super) fn write(
    told: &Month,
    month: Date,
    out: &Path,
    context: &Context,
) -> Result<Written, CliError> {
    let plan = report_plan(told, month, out);
    let progress = context.progress("pages drawn");
    Ok(report::write(&plan, &|done, all| progress.at(done, all))?)
}
