//! `litrewise due`: what to do on which van in the coming weeks.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::looking;
use super::van_names;
use crate::advise::{self, State};
use crate::report::due::{self, By};

/// List what to do on which van in the coming weeks
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise due --weeks 6 --group-by base\n  litrewise due --weeks 26 --format ics > jobs.ics\n  litrewise due --last-month"
)]
pub(super) struct DueArgs {
    /// How many weeks ahead; what is overdue is listed too
    #[arg(long, default_value_t = crate::report::DUE_WEEKS, value_name = "N", value_parser = clap::value_parser!(u32).range(0..=520))]
    weeks: u32,
    /// How the text lists the visits
    #[arg(long, value_enum, default_value_t = Order::Day, value_name = "ORDER")]
    group_by: Order,
    /// Only this van (repeatable)
    #[arg(long, value_name = "NAME")]
    van: Vec<String>,
    /// Only vans of this base, a postcode district (repeatable)
    #[arg(long, value_name = "DISTRICT")]
    base: Vec<String>,
    /// Also say what became of the list of a month before: done, open, how late
    #[arg(long)]
    last_month: bool,
    /// End with code 3 if any job is overdue
    #[arg(long)]
    exit_code: bool,
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Csv, Format::Json, Format::Ics]))]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Order {
    /// By day
    Day,
    /// By base, then by day
    Base,
}

/// What `--exit-code` ends with where a job is overdue.
const OVERDUE: u8 = 3;

pub(super) fn run(
    args: &DueArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let (mut assessment, last) = match args.last_month {
        false => (looking::standing(context)?, None),
        true => {
            let (now, before) = looking::standing_and_before(context)?;
            let list = advise::last_list(&before, &now);
            (now, Some((before.as_of, list)))
        }
    };
    van_names::keep(&mut assessment.vans, &args.van)?;
    if !args.base.is_empty() {
        let is_wanted = |base: &str| args.base.iter().any(|b| b.eq_ignore_ascii_case(base));
        assessment
            .vans
            .retain(|van| van.postcode.as_deref().is_some_and(is_wanted));
        if assessment.vans.is_empty() {
            let why = format!("no van is based in {}", args.base.join(", "));
            return Err(CliError::Usage(why));
        }
    }
    let visits = due::visits(&assessment, args.weeks);
    let jobs = || visits.iter().flat_map(|visit| &visit.jobs);
    let text = match args.format {
        Format::Csv => due::csv(jobs()),
        Format::Json => {
            let list = last.as_ref().map(|(_, list)| list.as_slice());
            due::json(&visits, assessment.as_of, list)?
        }
        Format::Ics => due::icalendar(&visits),
        _ => {
            let last = last.as_ref().map_or(String::new(), |(before, list)| {
                due::last_list_text(list, *before, context.screen) + "\n"
            });
            let by = match args.group_by {
                Order::Day => By::Day,
                Order::Base => By::Base,
            };
            last + &due::text(&visits, &assessment, by, context.screen)
        }
    };
    out.write_all(text.as_bytes())?;
    let late = jobs().any(|job| job.state == State::Overdue);
    Ok(match args.exit_code && late {
        true => ExitCode::from(OVERDUE),
        false => ExitCode::SUCCESS,
    })
}
