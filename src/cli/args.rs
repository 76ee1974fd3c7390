//! What can be typed, and the options that mean the same everywhere.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use jiff::civil::Date;

use super::{
    assess, backtest, check, completions, demo, due, export, ingest, man, report, set_aside,
    settings, simulate, summarise, template,
};

/// From water readings to replacement dates: when each van's membrane, resin
/// and pre-filters are best changed, and how sure that is.
#[derive(Debug, Parser)]
#[command(
    name = "litrewise",
    version,
    after_help = "Example:\n  litrewise demo\n  litrewise ingest exports/ && litrewise assess"
)]
pub struct Cli {
    #[command(flatten)]
    pub(super) shared: Shared,
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Args)]
pub(super) struct Shared {
    /// Folder that holds the store
    #[arg(
        long,
        global = true,
        env = "LITREWISE_STORE",
        default_value = "./litrewise-store",
        value_name = "DIR",
        help_heading = "Everywhere"
    )]
    pub store: PathBuf,
    /// Day to look from, YYYY-MM-DD; only what happened by its end counts [default: day of the newest row]
    #[arg(long, global = true, value_name = "DATE", value_parser = day, help_heading = "Everywhere")]
    pub as_of: Option<Date>,
    /// Say nothing but the result and what went wrong
    #[arg(long, short, global = true, help_heading = "Everywhere")]
    pub quiet: bool,
    /// Vans worked on side by side [default: one per processor]
    #[arg(long, global = true, value_name = "N", help_heading = "Everywhere")]
    pub jobs: Option<NonZeroUsize>,
    /// A setting for this run, such as limits.product_ppm=5; may be given again
    #[arg(long = "set", global = true, value_name = "KEY=VALUE", value_parser = key_and_value, help_heading = "Everywhere")]
    pub set: Vec<(String, String)>,
    /// The day that counts as today when rows of the future are refused
    #[arg(long, global = true, hide = true, env = "LITREWISE_TODAY", value_parser = day)]
    pub today: Option<Date>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    Demo(demo::DemoArgs),
    Ingest(ingest::IngestArgs),
    SetAside(set_aside::SetAsideArgs),
    Assess(assess::AssessArgs),
    Report(report::ReportArgs),
    Due(due::DueArgs),
    Backtest(backtest::BacktestArgs),
    Check(check::CheckArgs),
    Export(export::ExportArgs),
    Simulate(simulate::SimulateArgs),
    Summarise(summarise::SummariseArgs),
    Template(template::TemplateArgs),
    Settings(settings::SettingsArgs),
    Completions(completions::CompletionsArgs),
    Man(man::ManArgs),
}

fn day(typed: &str) -> Result<Date, String> {
    let exact = typed.len() == 10 && typed.is_ascii();
    match typed.parse::<Date>() {
        Ok(date) if exact => Ok(date),
        _ => Err("write the day as YYYY-MM-DD, such as 2026-10-31".to_owned()),
    }
}

fn key_and_value(typed: &str) -> Result<(String, String), String> {
    typed
        .split_once('=')
        .map(|(key, value)| (key.trim().to_owned(), value.trim().to_owned()))
        .ok_or_else(|| "write KEY=VALUE, such as limits.product_ppm=5".to_owned())
}
