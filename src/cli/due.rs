//! `litrewise due`: what to do on which van in the coming weeks.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use crate::report::due::{self, Job};

/// List what to do on which van in the coming weeks
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise due --weeks 6 --format ics > jobs.ics")]
pub(super) struct DueArgs {
    /// How many weeks ahead; what is overdue is listed too
    #[arg(long, default_value_t = 4, value_name = "N", value_parser = clap::value_parser!(u32).range(0..=520))]
    weeks: u32,
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

pub(super) struct DuePlan {
    jobs: Vec<Job>,
    format: Format,
}

impl DueArgs {
    pub(super) fn plan(self, context: &Context) -> Result<DuePlan, CliError> {
        let looking = Looking::open(context)?;
        let as_of = looking.as_of(context);
        let assessment = looking.assess(as_of);
        Ok(DuePlan {
            jobs: due::jobs(&assessment, self.weeks),
            format: self.format,
        })
    }
}

pub(super) fn run(plan: &DuePlan, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let text = match plan.format {
        Format::Text => due::text(&plan.jobs),
        Format::Csv => due::csv(&plan.jobs),
        Format::Ics => due::icalendar(&plan.jobs),
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
