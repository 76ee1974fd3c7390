//! `litrewise assess`: where every van stands.

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, ValueEnum};
use jiff::civil::Date;

use super::context::Context;
use super::error::CliError;
use super::looking::{self, Looking};
use super::summarise::sources;
use crate::advise::Assessment;
use crate::advise::what_if::{self, Change, WhatIf};
use crate::report::{self, text::Paint};

/// Say where every membrane, resin filling and pre-filter stands, and when to change it
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise assess --as-of 2026-10-31 --format json\n  litrewise assess --what-if \"van QV-003 to QB1\" --what-if \"limit 5 ppm, prices +20 %\""
)]
pub(super) struct AssessArgs {
    /// How to say it
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Only this van; may be given again
    #[arg(long, value_name = "NAME")]
    van: Vec<String>,
    /// Also show the few numbers that drove each forecast
    #[arg(long)]
    explain: bool,
    /// Show the districts instead: intervals, what 1000 L cost, what is saved (text)
    #[arg(long, conflicts_with_all = ["van", "explain", "what_if"])]
    districts: bool,
    /// Show today's answers beside those if … (text or json); several changes with commas, may be given again
    ///
    /// van QV-003 to QB1 | limit 5 ppm | limit 8 % | prices +20 % | price membrane 210 |
    /// hardness -30 % | hardness 120 | membranes 2 | recovery 45 %;
    /// the last four may end with: for VAN, or: in DISTRICT
    #[arg(long, value_name = "CHANGE", value_parser = question, conflicts_with_all = ["van", "explain"])]
    what_if: Vec<Question>,
    /// From vans summed up before (`litrewise summarise`) instead of the store's rows; - for
    /// standard input; may be given again
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
        districts: bool,
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
        if self.districts && !matches!(self.format, Format::Text) {
            return Err(CliError::Usage(
                "--districts comes as text; --format json holds the districts anyway".to_owned(),
            ));
        }
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
            if let Some(unknown) = self
                .van
                .iter()
                .find(|name| !assessment.vans.iter().any(|v| v.van == **name))
            {
                return Err(CliError::UnknownVan {
                    name: unknown.clone(),
                    near: nearest(unknown, assessment.vans.iter().map(|v| v.van.as_str())),
                });
            }
            assessment.vans.retain(|v| self.van.contains(&v.van));
        }
        Ok(AssessPlan::Assessment {
            assessment: Box::new(assessment),
            format: self.format,
            explain: self.explain,
            districts: self.districts,
        })
    }
}

pub(super) fn run(plan: &AssessPlan, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let text = match plan {
        AssessPlan::WhatIf {
            as_of,
            answers,
            json: true,
            ..
        } => report::what_if::json(*as_of, answers)?,
        AssessPlan::WhatIf {
            answers, currency, ..
        } => report::what_if::text(answers, currency.as_deref()),
        AssessPlan::Assessment {
            assessment,
            format,
            explain,
            districts,
        } => match format {
            Format::Text if *districts => report::districts::text(assessment),
            Format::Text if *explain => report::text::explained(assessment),
            Format::Text => report::text::table(assessment, paint()),
            Format::Json if *explain => report::explained_json(assessment)?,
            Format::Json => report::assessment_json(assessment)?,
            Format::Csv => report::assessment_csv(assessment),
        },
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}

/// Colour where a terminal shows it and nobody asked for none (the NO_COLOR
/// convention: set and not empty).
fn paint() -> Paint {
    let asked_not = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|v| v == "dumb");
    if std::io::stdout().is_terminal() && !asked_not && !dumb {
        Paint::Colour
    } else {
        Paint::Plain
    }
}

/// The van in service whose name is most like what was typed, if any is near.
fn nearest<'a>(typed: &str, names: impl Iterator<Item = &'a str>) -> Option<String> {
    let fold = |s: &str| s.to_uppercase().replace([' ', '-', '_'], "");
    names
        .map(|name| (strsim::jaro_winkler(&fold(typed), &fold(name)), name))
        .filter(|(likeness, _)| *likeness > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name.to_owned())
}
