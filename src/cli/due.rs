//! `litrewise due`: what to do on which van in the coming weeks.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking;
use crate::advise::Assessment;
use crate::report::due::{self, By, Job};

/// List what to do on which van in the coming weeks
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise due --weeks 6 --by base\n  litrewise due --weeks 26 --format ics > jobs.ics\n  litrewise due --parts --format csv"
)]
pub(super) struct DueArgs {
    /// How many weeks ahead; what is overdue is listed too
    #[arg(long, default_value_t = 4, value_name = "N", value_parser = clap::value_parser!(u32).range(0..=520))]
    weeks: u32,
    /// In which order the text lists the visits
    #[arg(long, value_enum, default_value_t = Order::Day, value_name = "ORDER")]
    by: Order,
    /// List the parts to order in each of the next twelve months instead (text or csv)
    #[arg(long)]
    parts: bool,
    /// How to list it
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// For a spreadsheet
    Csv,
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
    jobs: Vec<Job>,
    by: By,
    parts: bool,
    format: Format,
}

impl DueArgs {
    pub(super) fn plan(self, context: &Context) -> Result<DuePlan, CliError> {
        if self.parts && matches!(self.format, Format::Ics) {
            return Err(CliError::Usage(
                "parts go into no calendar: choose --format text or csv with --parts".to_owned(),
            ));
        }
        let assessment = looking::standing(context)?;
        Ok(DuePlan {
            jobs: due::jobs(&assessment, self.weeks),
            assessment,
            by: match self.by {
                Order::Day => By::Day,
                Order::Base => By::Base,
            },
            parts: self.parts,
            format: self.format,
        })
    }
}

pub(super) fn run(plan: &DuePlan, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let months = &plan.assessment.parts_to_order;
    let text = match plan.format {
        Format::Text if plan.parts => due::parts_text(&plan.assessment),
        Format::Csv if plan.parts => due::parts_csv(months),
        Format::Text => due::text(&plan.jobs, &plan.assessment, plan.by),
        Format::Csv => due::csv(&plan.jobs),
        Format::Ics => due::icalendar(&plan.jobs),
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
