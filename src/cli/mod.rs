//! The command line: what was typed, turned into plans that the work runs on.
//! One file per command; none does work of its own.

mod answers;
mod args;
mod context;
mod error;
mod format;
mod json;
mod looking;
mod progress;
mod said;
mod scratch;
mod screen;
mod to_mend;
mod van_names;

mod assess;
mod backtest;
mod check;
mod completions;
mod demo;
mod districts;
mod due;
mod export;
mod files;
mod ingest;
mod licences;
mod man;
mod month;
mod parts;
mod remake;
mod repair;
mod report;
mod settings;
mod simulate;
mod summarise;
mod template;
mod to_fix;
mod vans;

use std::io::{BufWriter, Write};
use std::process::ExitCode;

use clap::FromArgMatches;

pub use args::Cli;
pub use error::CliError;

use args::Command;
use context::Context;

/// What was typed. Help, the version and what cannot be meant end the program.
pub fn parse() -> Cli {
    let typed = args::command().get_matches();
    Cli::from_arg_matches(&typed).unwrap_or_else(|error| error.exit())
}

/// Runs the command that was typed, writing to standard output.
///
/// # Errors
/// [`CliError`]; [`CliError::is_closed_pipe`] is no failure.
pub fn run(cli: Cli) -> Result<ExitCode, CliError> {
    let context = Context::new(cli.shared)?;
    let stdout = std::io::stdout().lock();
    let mut out = BufWriter::new(stdout);
    let code = match cli.command {
        Command::Demo(args) => demo::run(args, &context, &mut out),
        Command::Month(args) => month::run(args, &context, &mut out),
        Command::Ingest(args) => ingest::run(&args.plan(&context)?, &context, &mut out),
        Command::ToFix(args) => to_fix::run(&args.plan(&context)?, &context, &mut out),
        Command::Assess(args) => assess::run(&args, &context, &mut out),
        Command::Backtest(args) => backtest::run(&args, &context, &mut out),
        Command::Report(args) => report::run(&args, &context, &mut out),
        Command::Due(args) => due::run(&args, &context, &mut out),
        Command::Check(args) => check::run(&args, &context, &mut out),
        Command::Repair(args) => repair::run(&args, &context, &mut out),
        Command::Vans(args) => vans::run(&args, &context, &mut out),
        Command::Files(args) => files::run(&args, &context, &mut out),
        Command::Districts(args) => districts::run(&args, &context, &mut out),
        Command::Parts(args) => parts::run(&args, &context, &mut out),
        Command::Export(args) => export::run(&args, &context, &mut out),
        Command::Simulate(args) => simulate::run(&args, &context, &mut out),
        Command::Settings(args) => settings::run(&args, &context, &mut out),
        Command::Completions(args) => completions::run(&args, &mut out),
        Command::Man(args) => man::run(&args, &mut out),
        Command::Licences(args) => licences::run(&args, &mut out),
        Command::Summarise(args) => summarise::run(&args, &context, &mut out),
        Command::Template(args) => template::run(&args, &context, &mut out),
    }?;
    out.flush()?;
    if context.name_damage() && code == ExitCode::SUCCESS {
        return Ok(ExitCode::FAILURE);
    }
    Ok(code)
}
