//! `litrewise month`: the whole month in one go: what is new goes in, what is
//! missing is said, pages and work list come out.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use crate::calendar::Date;
use clap::Args;

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use super::{ingest, report as pages};
use crate::advise::{self, Missing};
use crate::report::text::{self, Screen};
use crate::report::{due, order};
use crate::store::Store;

/// Do the whole month: take in what is new, say what is missing, write pages and work list
///
/// The same as ingest, report, due and parts one after the other. A folder that
/// was taken in before may be named again: only what is new goes in.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise month exports/\n  litrewise month exports/ --month 2026-10 --open"
)]
pub(super) struct MonthArgs {
    /// Files or folders with the fleet's records, - for standard input
    #[arg(required = true, value_name = "FOLDER")]
    paths: Vec<PathBuf>,
    /// The month, YYYY-MM [default: newest month with rows]
    #[arg(long, value_name = "YYYY-MM", value_parser = pages::month)]
    month: Option<Date>,
    /// Open the report when it is written
    #[arg(long)]
    open: bool,
    /// Folder for the report [default: ./litrewise-report/YYYY-MM]
    #[arg(long, short, value_name = "DIR")]
    out: Option<PathBuf>,
}

pub(super) fn run(
    args: MonthArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let settings = context.settings(&context.store)?;
    let store = Store::create_or_open(&context.store)?;
    context.watch(&store);
    let taken = ingest::only_new(&args.paths, &store, &settings, context, out)?;
    let looking = Looking::at(&store, settings)?;
    let (month, as_of) = pages::month_and_day(&looking, args.month, context.as_of)?;
    let folder = args.out.unwrap_or_else(|| pages::usual_folder(month));
    // The output place before the long part.
    crate::report::prepare(&folder)?;
    let told = looking.month(as_of, false, context)?;
    let assessment = &told.assessment;
    let written = pages::write(&told, month, &folder, context)?;

    let screen = context.screen;
    let missing = advise::missing(assessment, month);
    writeln!(out, "\n{}", month.format("%B %Y"))?;
    let gaps = text::reservations(assessment, screen);
    out.write_all(gaps.as_bytes())?;
    out.write_all(missing_text(&missing, gaps.is_empty(), screen).as_bytes())?;
    writeln!(out)?;
    out.write_all(text::summary(assessment, screen).as_bytes())?;
    if let Some(since) = &told.since {
        writeln!(out)?;
        out.write_all(due::last_list_text(&since.list, since.from, screen).as_bytes())?;
    }
    let jobs = advise::jobs(assessment, crate::report::DUE_WEEKS);
    let now = order::now(&advise::orders(assessment, &jobs), assessment);
    if !now.is_empty() {
        writeln!(out)?;
        let now = format!("Order now: {}.", now.join("; "));
        out.write_all(text::sentences(&[now], screen).as_bytes())?;
    }
    writeln!(out, "\nThe work list: {}", folder.join("due.csv").display())?;
    writeln!(out, "The report: {}", written.index.display())?;
    if args.open {
        pages::open(&written.index);
    }
    Ok(match taken {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

/// What the month lacks, in sentences; one where nothing is and the records are
/// complete.
fn missing_text(missing: &Missing, complete: bool, screen: Screen) -> String {
    let listed = |what: &str, names: &[String]| match names.is_empty() {
        true => None,
        false => Some(format!("{what}: {}.", names.join(", "))),
    };
    let mut said: Vec<String> = [
        listed("No TDS reading this month", &missing.not_read),
        listed("No litres recorded this month", &missing.no_litres),
        listed(
            "No hardness from the water company for",
            &missing.no_hardness,
        ),
    ]
    .into_iter()
    .flatten()
    .collect();
    match missing.rows_to_fix {
        0 => {}
        1 => said.push("1 row to fix: `litrewise to-fix` lists it.".to_owned()),
        rows => said.push(format!(
            "{rows} rows to fix: `litrewise to-fix` lists them."
        )),
    }
    if said.is_empty() && complete {
        said.push("Nothing is missing: every van was read and has litres.".to_owned());
    }
    text::sentences(&said, screen)
}
