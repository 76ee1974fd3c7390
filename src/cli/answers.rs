//! What was once said of files of a shape, beside the store.

use std::io::Write;
use std::path::Path;

use super::error::CliError;
use crate::ingest::Answers;

const FILE_NAME: &str = "answers.json";

/// What was said so far; nothing where the file is not there or is spoilt.
pub(super) fn load(store: &Path) -> Answers {
    let text = std::fs::read_to_string(store.join(FILE_NAME)).unwrap_or_default();
    serde_json::from_str(&text).unwrap_or_default()
}

pub(super) fn save(store: &Path, answers: &Answers) -> Result<(), CliError> {
    let failed = |source| CliError::Write {
        path: store.join(FILE_NAME),
        source,
    };
    let text = serde_json::to_string_pretty(answers).map_err(|e| failed(e.into()))?;
    // whole or not at all, and only for its owner's eyes
    let mut file = tempfile::NamedTempFile::new_in(store).map_err(failed)?;
    file.write_all(text.as_bytes()).map_err(failed)?;
    file.persist(store.join(FILE_NAME))
        .map_err(|error| failed(error.error))?;
    Ok(())
}
