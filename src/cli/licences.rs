//! `litrewise licences`: what the program holds of others, and on what terms.

use std::io::Write;
use std::process::ExitCode;

use clap::Args;

use super::error::CliError;

/// Print the licence texts of the libraries and the font in this program
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise licences > licences.txt")]
pub(super) struct LicencesArgs {}

/// Our own, and what `licences/collect.py` gathered.
const OURS: &str = include_str!("../../LICENSE");
const OF_OTHERS: &str = include_str!("../../licences/THIRD-PARTY.txt");

pub(super) fn run(_: &LicencesArgs, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    writeln!(out, "{OURS}\n{OF_OTHERS}")?;
    Ok(ExitCode::SUCCESS)
}
