//! `litrewise repair`: damaged files out of the store.

use std::io::Write;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use crate::store::Store;

/// Take damaged files out of the store for good, once their rows are back
///
/// `litrewise check` says which of your files bring the rows back.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise check\n  litrewise repair")]
pub(super) struct RepairArgs {}

pub(super) fn run(
    _: &RepairArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let store = Store::open(&context.store)?;
    match store.check()?.damage.len() {
        0 => writeln!(out, "nothing to repair: no file is damaged")?,
        _ => {
            let left_out = store.writer()?.leave_out_damaged()?;
            writeln!(out, "{left_out} damaged files taken out of the store")?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
