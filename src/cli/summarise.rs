//! `litrewise summarise`: vans summed up one by one, for the fleet step.

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use crate::store::Input;

/// Sum up each van's rows, as an Arrow stream on standard output
///
/// The step that looks at one van alone: an engine that spreads work over machines can run it
/// on its shares of the store's rows. `litrewise assess --from-summaries` does the rest.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise summarise > vans.arrow\n  litrewise assess --from-summaries vans.arrow"
)]
pub(super) struct SummariseArgs {
    /// Rows of whole vans instead of the store's own: an Arrow stream, Arrow file or Parquet
    /// file with the columns of the tables readings, fills and services, and `kind`, the
    /// table's name; - for an Arrow stream on standard input (repeatable)
    #[arg(long, value_name = "FILE")]
    rows: Vec<PathBuf>,
}

/// Files, and `-` for standard input.
pub(super) fn sources(typed: &[PathBuf]) -> Vec<Input> {
    let named = |path: &PathBuf| match path.as_os_str() == "-" {
        true => Input::StandardInput,
        false => Input::File(path.clone()),
    };
    typed.iter().map(named).collect()
}

pub(super) fn run(
    args: &SummariseArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    if std::io::stdout().is_terminal() {
        return Err(CliError::Usage(
            "summaries are binary: redirect them to a file, as in `litrewise summarise > vans.arrow`"
                .to_owned(),
        ));
    }
    let store = context.open_store()?;
    match args.rows.is_empty() {
        true => store.summarise(out)?,
        false => store.summarise_rows(&sources(&args.rows), out)?,
    }
    Ok(ExitCode::SUCCESS)
}
