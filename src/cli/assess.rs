//! `litrewise assess`: where every van stands.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::looking::{self, Looking};
use super::summarise::sources;
use super::van_names;
use crate::advise::what_if::{self, Change};
use crate::report;
use crate::store::Input;

/// Say where every membrane, resin and pre-filter set stands, and when to change it
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise assess --as-of 2026-10-31 --format json\n  litrewise assess --what-if \"van QV-003 to QB1\" --what-if \"limit 5 ppm, prices +20 %\""
)]
pub(super) struct AssessArgs {
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json, Format::Csv]))]
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

pub(super) fn run(
    args: &AssessArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let summaries = sources(&args.from_summaries);
    let text = match args.what_if.is_empty() {
        true => assessed(args, &summaries, context)?,
        false => what_if_answered(args, &summaries, context)?,
    };
    out.write_all(text.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}

fn assessed(args: &AssessArgs, summaries: &[Input], context: &Context) -> Result<String, CliError> {
    let mut assessment = match summaries.is_empty() {
        true => looking::standing(context)?,
        false => looking::standing_of_summaries(context, summaries)?,
    };
    van_names::keep(&mut assessment.vans, &args.van)?;
    Ok(match args.format {
        Format::Csv => report::assessment_csv(&assessment),
        Format::Json if args.explain => report::explained_json(&assessment)?,
        Format::Json => report::assessment_json(&assessment)?,
        _ if args.explain => report::text::explained(&assessment, context.screen),
        _ => {
            report::text::reservations(&assessment, context.screen)
                + &report::text::table(&assessment, context.screen)
        }
    })
}

fn what_if_answered(
    args: &AssessArgs,
    summaries: &[Input],
    context: &Context,
) -> Result<String, CliError> {
    if args.format == Format::Csv {
        let why = "--what-if comes as text or json, not as csv";
        return Err(CliError::Usage(why.to_owned()));
    }
    let looking = match summaries.is_empty() {
        true => Looking::open(context)?,
        false => Looking::from_summaries(context, summaries)?,
    };
    let as_of = looking.as_of(context);
    let answers = looking.what_if(as_of, &args.what_if)?;
    let currency = looking.settings.prices.currency.as_deref();
    Ok(match args.format {
        Format::Json => report::what_if::json(as_of, &answers)?,
        _ => report::what_if::text(&answers, currency, context.screen),
    })
}
