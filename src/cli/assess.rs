//! `litrewise assess`: where every van stands.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use crate::calendar::Date;
use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking::{self, Looking};
use super::summarise::sources;
use super::van_names;
use crate::advise::Assessment;
use crate::advise::what_if::{self, Change, WhatIf};
use crate::report;

/// Say where every membrane, resin and pre-filter set stands, and when to change it
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise assess --as-of 2026-10-31 --format json\n  litrewise assess --what-if \"van QV-003 to QB1\" --what-if \"limit 5 ppm, prices +20 %\""
)]
pub(super) struct AssessArgs {
    /// Output format
    #[arg(long, short, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Only this van (repeatable)
    #[arg(long, value_name = "NAME")]
    van: Vec<String>,
    /// Also show the few numbers that drove each forecast
    #[arg(long)]
    explain: bool,
    /// Show today's answers beside those if … (text or json); several changes with commas (repeatable)
    ///
    /// van QV-003 to QB1 | limit 5 ppm | limit 8 % | prices +20 % | price membrane 210 |
    /// hardness -30 % | hardness 120 | membranes 2 | recovery 45 %;
    /// the last four may end with: for VAN, or: in DISTRICT
    #[arg(long, value_name = "CHANGE", value_parser = question, conflicts_with_all = ["van", "explain"])]
    what_if: Vec<Question>,
    /// From vans summed up before (`litrewise summarise`) instead of the store's rows; - for
    /// standard input (repeatable)
    #[arg(long, value_name = "FILE")]
    from_summaries: Vec<PathBuf>,
}

/// A question as typed, and as understood.
type Question = (String, Vec<Change>);

fn question(typed: &str) -> Result<Question, String> {
    Ok((typed.to_owned(), what_if::read(typed)?))
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum Format {
    /// For people
    Text,
    /// Everything, for scripts
    Json,
    /// One row per van, for a spreadsheet
    Csv,
}

pub(super) enum AssessPlan {
    Assessment {
        assessment: Box<Assessment>,
        format: Format,
        explain: bool,
    },
    WhatIf {
        as_of: Date,
        answers: Vec<WhatIf>,
        currency: Option<String>,
        json: bool,
    },
}

impl AssessArgs {
    pub(super) fn plan(self, context: &Context) -> Result<AssessPlan, CliError> {
        if !self.what_if.is_empty() {
            let json = match self.format {
                Format::Text => false,
                Format::Json => true,
                Format::Csv => {
                    return Err(CliError::Usage(
                        "--what-if comes as text or json, not as csv".to_owned(),
                    ));
                }
            };
            let looking = match self.from_summaries.is_empty() {
                true => Looking::open(context)?,
                false => Looking::from_summaries(context, &sources(self.from_summaries))?,
            };
            let as_of = looking.as_of(context);
            return Ok(AssessPlan::WhatIf {
                as_of,
                answers: looking.what_if(as_of, &self.what_if)?,
                currency: looking.settings.prices.currency.clone(),
                json,
            });
        }
        let mut assessment = match self.from_summaries.is_empty() {
            true => looking::standing(context)?,
            false => looking::standing_of_summaries(context, &sources(self.from_summaries))?,
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
        Ok(AssessPlan::Assessment {
            assessment: Box::new(assessment),
            format: self.format,
            explain: self.explain,
        })
    }
}

pub(super) fn run(
    plan: &AssessPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let text = match plan {
        AssessPlan::WhatIf {
            as_of,
            answers,
            json: true,
            ..
        } => report::what_if::json(*as_of, answers)?,
        AssessPlan::WhatIf {
            answers, currency, ..
        } => report::what_if::text(answers, currency.as_deref(), context.screen),
        AssessPlan::Assessment {
            assessment,
            format,
            explain,
        } => match format {
            Format::Text if *explain => report::text::explained(assessment, context.screen),
            Format::Text => {
                report::text::reservations(assessment, context.screen)
                    + &report::text::table(assessment, context.screen)
            }
            Format::Json if *explain => report::explained_json(assessment)?,
            Format::Json => report::assessment_json(assessment)?,
            Format::Csv => report::assessment_csv(assessment),
        },
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
