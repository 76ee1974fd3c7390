//! `litrewise due`: what to do on which van in the coming weeks.

use std::io::Write;
use std::process::ExitCode;

use crate::calendar::Date;
use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking;
use super::van_names;
use crate::advise::{self, Assessment, ListedJob, State, VanAssessment, Visit};
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
    #[arg(long, short, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// For a spreadsheet
    Csv,
    /// For scripts
    Json,
    /// iCalendar, for a calendar
    Ics,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Order {
    /// By day
    Day,
    /// By base, then by day
    Base,
}

pub(super) struct DuePlan {
    assessment: Assessment,
    visits: Vec<Visit>,
    last: Option<(Date, Vec<ListedJob>)>,
    by: By,
    format: Format,
    exit_code: bool,
}

impl DueArgs {
    pub(super) fn plan(self, context: &Context) -> Result<DuePlan, CliError> {
        let (mut assessment, last) = match self.last_month {
            false => (looking::standing(context)?, None),
            true => {
                let (now, before) = looking::standing_and_before(context)?;
                let list = advise::last_list(&before, &now);
                (now, Some((before.as_of, list)))
            }
        };
        if !self.van.is_empty() {
            let names = || assessment.vans.iter().map(|v| v.van.as_str());
            let wanted = self
                .van
                .iter()
                .map(|typed| van_names::named(typed, names()));
            let wanted = wanted.collect::<Result<Vec<String>, CliError>>()?;
            assessment.vans.retain(|v| wanted.contains(&v.van));
        }
        if !self.base.is_empty() {
            let is_wanted = |base: &str| self.base.iter().any(|b| b.eq_ignore_ascii_case(base));
            let at = |v: &VanAssessment| v.postcode.as_deref().is_some_and(is_wanted);
            if !assessment.vans.iter().any(at) {
                return Err(CliError::Usage(format!(
                    "no van is based in {}",
                    self.base.join(", ")
                )));
            }
            assessment.vans.retain(at);
        }
        Ok(DuePlan {
            visits: due::visits(&assessment, self.weeks),
            last,
            assessment,
            by: match self.group_by {
                Order::Day => By::Day,
                Order::Base => By::Base,
            },
            format: self.format,
            exit_code: self.exit_code,
        })
    }
}

/// What `--exit-code` ends with where a job is overdue.
const OVERDUE: u8 = 3;

pub(super) fn run(
    plan: &DuePlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let list = plan.last.as_ref();
    let jobs = || plan.visits.iter().flat_map(|visit| &visit.jobs);
    let text = match plan.format {
        Format::Text => {
            let mut text = list.map_or(String::new(), |(before, list)| {
                due::last_list_text(list, *before, context.screen) + "\n"
            });
            text += &due::text(&plan.visits, &plan.assessment, plan.by, context.screen);
            text
        }
        Format::Csv => due::csv(jobs()),
        Format::Json => {
            let list = list.map(|(_, list)| list.as_slice());
            due::json(&plan.visits, plan.assessment.as_of, list)?
        }
        Format::Ics => due::icalendar(&plan.visits),
    };
    out.write_all(text.as_bytes())?;
    let late = jobs().any(|job| job.state == State::Overdue);
    Ok(match plan.exit_code && late {
        true => ExitCode::from(OVERDUE),
        false => ExitCode::SUCCESS,
    })
}
