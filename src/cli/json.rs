//! JSON on standard output.

use std::io::Write;

use serde::Serialize;

use super::error::CliError;

/// One document, and the line's end.
pub(super) fn write(document: &impl Serialize, out: &mut dyn Write) -> Result<(), CliError> {
    let text = serde_json::to_string_pretty(document).map_err(std::io::Error::from)?;
    writeln!(out, "{text}")?;
    Ok(())
}
