//! `litrewise assess`: where every van stands.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use crate::advise::Assessment;
use crate::report;

/// Say where every membrane, resin filling and pre-filter stands, and when to change it
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise assess --as-of 2026-10-31 --format json")]
pub(super) struct AssessArgs {
    /// How to say it
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
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
}

impl AssessArgs {
    pub(super) fn plan(self, context: &Context) -> Result<AssessPlan, CliError> {
        let looking = Looking::open(context)?;
        let as_of = looking.as_of(context);
        Ok(AssessPlan {
            assessment: looking.assess(as_of),
            format: self.format,
        })
    }
}

pub(super) fn run(plan: &AssessPlan, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let text = match plan.format {
        Format::Text => report::text::table(&plan.assessment),
        Format::Json => report::assessment_json(&plan.assessment)?,
        Format::Csv => report::assessment_csv(&plan.assessment),
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
