//! What can be typed, and the options that mean the same everywhere.

use std::num::NonZeroUsize;
use std::path::PathBuf;

use crate::calendar::{Date, parse_date};
use clap::{Args, Parser, Subcommand};

use super::screen::When;
use super::{
    assess, backtest, check, completions, demo, districts, due, export, files, ingest, licences,
    man, month, parts, repair, report, settings, simulate, summarise, template, to_fix, vans,
};

/// From TDS readings to replacement dates: when each van's RO membrane, DI
/// resin and pre-filters are best changed, and how sure that is.
#[derive(Debug, Parser)]
#[command(
    name = "litrewise",
    version,
    after_help = "Example:\n  litrewise demo\n  litrewise month exports/"
)]
pub struct Cli {
    #[command(flatten)]
    pub(super) shared: Shared,
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Global options")]
pub(super) struct Shared {
    /// Folder that holds the store
    #[arg(
        long,
        global = true,
        env = "LITREWISE_STORE",
        default_value = "./litrewise-store",
        value_name = "DIR"
    )]
    pub store: PathBuf,
    /// Day to look from, YYYY-MM-DD; only what happened by its end counts [default: day of the newest row]
    #[arg(long, global = true, value_name = "DATE", value_parser = day)]
    pub as_of: Option<Date>,
    /// Print only results, warnings and errors
    #[arg(long, short, global = true, conflicts_with = "verbose")]
    pub quiet: bool,
    /// Print every remark and detail
    #[arg(long, short, global = true)]
    pub verbose: bool,
    /// Number of threads [default: one per processor]
    #[arg(long, short, global = true, value_name = "N")]
    pub jobs: Option<NonZeroUsize>,
    /// A setting for this run, such as limits.product_ppm=5 (repeatable)
    #[arg(long = "set", global = true, value_name = "KEY=VALUE", value_parser = key_and_value)]
    pub set: Vec<(String, String)>,
    /// Colour in the terminal
    #[arg(
        long,
        global = true,
        alias = "colour",
        value_enum,
        default_value_t = When::Auto,
        value_name = "WHEN"
    )]
    pub color: When,
    /// The day that counts as today when rows of the future are refused
    #[arg(long, global = true, hide = true, env = "LITREWISE_TODAY", value_parser = day)]
    pub today: Option<Date>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    Demo(demo::DemoArgs),
    Template(template::TemplateArgs),
    Month(month::MonthArgs),
    Ingest(ingest::IngestArgs),
    Assess(assess::AssessArgs),
    Due(due::DueArgs),
    Parts(parts::PartsArgs),
    Report(report::ReportArgs),
    #[command(visible_alias = "set-aside")]
    ToFix(to_fix::ToFixArgs),
    Files(files::FilesArgs),
    Vans(vans::VansArgs),
    Check(check::CheckArgs),
    Repair(repair::RepairArgs),
    Export(export::ExportArgs),
    Districts(districts::DistrictsArgs),
    Backtest(backtest::BacktestArgs),
    Settings(settings::SettingsArgs),
    Completions(completions::CompletionsArgs),
    Man(man::ManArgs),
    Licences(licences::LicencesArgs),
    Simulate(simulate::SimulateArgs),
    #[command(visible_alias = "summarize")]
    Summarise(summarise::SummariseArgs),
}

/// How the commands are grouped where all are listed.
pub(super) const GROUPS: [(&str, &[&str]); 5] = [
    (
        "Every month",
        &["month", "ingest", "assess", "due", "parts", "report"],
    ),
    ("Looking closer", &["districts", "backtest"]),
    (
        "Records",
        &["to-fix", "files", "vans", "check", "repair", "export"],
    ),
    (
        "Setting up",
        &[
            "demo",
            "template",
            "settings",
            "completions",
            "man",
            "licences",
        ],
    ),
    ("For developers", &["simulate", "summarise"]),
];

/// The command line with its commands in groups.
pub(super) fn command() -> clap::Command {
    use clap::CommandFactory;
    let command = Cli::command();
    let listed = grouped(&command);
    command.help_template(format!(
        "{{about-with-newline}}\n{{usage-heading}} {{usage}}\n\n{listed}Global options:\n{{options}}{{after-help}}"
    ))
}

/// A heading for each group, and what each command does.
fn grouped(command: &clap::Command) -> String {
    let wide = command
        .get_subcommands()
        .map(|c| c.get_name().len())
        .max()
        .unwrap_or(0);
    let mut listed = String::new();
    for (heading, names) in GROUPS {
        listed.push_str(&format!("{heading}:\n"));
        for name in names {
            let about = command
                .find_subcommand(name)
                .and_then(clap::Command::get_about);
            let about = about.map(ToString::to_string).unwrap_or_default();
            listed.push_str(&format!("  {name:wide$}  {about}\n"));
        }
        listed.push('\n');
    }
    listed
}

fn day(typed: &str) -> Result<Date, String> {
    parse_date(typed).ok_or_else(|| "write the day as YYYY-MM-DD, such as 2026-10-31".to_owned())
}

pub(super) fn key_and_value(typed: &str) -> Result<(String, String), String> {
    typed
        .split_once('=')
        .map(|(key, value)| (key.trim().to_owned(), value.trim().to_owned()))
        .ok_or_else(|| "write KEY=VALUE, such as limits.product_ppm=5".to_owned())
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn every_command_is_listed_once() {
        let command = command();
        let all: BTreeSet<&str> = command
            .get_subcommands()
            .filter(|c| !c.is_hide_set())
            .map(clap::Command::get_name)
            .collect();
        let listed: Vec<&str> = GROUPS
            .iter()
            .flat_map(|(_, names)| *names)
            .copied()
            .collect();
        assert_eq!(listed.len(), all.len());
        assert_eq!(listed.into_iter().collect::<BTreeSet<_>>(), all);
    }
}
