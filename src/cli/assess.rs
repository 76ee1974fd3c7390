//! `litrewise assess`: where every van stands.

use std::io::{IsTerminal, Write};
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use crate::advise::Assessment;
use crate::report::{self, text::Paint};

/// Say where every membrane, resin filling and pre-filter stands, and when to change it
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise assess --as-of 2026-10-31 --format json")]
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
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// Everything, for scripts
    Json,
    /// One row per van, for a spreadsheet
    Csv,
}

pub(super) struct AssessPlan {
    assessment: Assessment,
    format: Format,
    explain: bool,
}

impl AssessArgs {
    pub(super) fn plan(self, context: &Context) -> Result<AssessPlan, CliError> {
        let looking = Looking::open(context)?;
        let as_of = looking.as_of(context);
        let mut assessment = looking.assess(as_of);
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
        Ok(AssessPlan {
            assessment,
            format: self.format,
            explain: self.explain,
        })
    }
}

pub(super) fn run(plan: &AssessPlan, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let text = match plan.format {
        Format::Text if plan.explain => report::text::explained(&plan.assessment),
        Format::Text => report::text::table(&plan.assessment, paint()),
        Format::Json if plan.explain => report::explained_json(&plan.assessment)?,
        Format::Json => report::assessment_json(&plan.assessment)?,
        Format::Csv => report::assessment_csv(&plan.assessment),
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
