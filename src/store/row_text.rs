//! A row's text as it goes out, as it is known again, and as it is written again from
//! its values.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::field::TimeSpelling;
use super::records::Instant;
use super::schema::Kind;
use crate::calendar::{TimeZone, Timelike};

/// A text that a spreadsheet would take for a formula gets an apostrophe in
/// front, and so does one that begins with such an apostrophe already, so
/// that taking one away always gives the text back.
pub fn harmless(text: &str) -> Cow<'_, str> {
    let is_formula = text
        .trim_start_matches('\'')
        .starts_with(['=', '+', '-', '@', '\t', '\r']);
    if is_formula {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// First bytes of the SHA-256 of a row's text, by which a row that comes back
/// from mending names the one it replaces.
pub fn print_of(text: &str) -> u32 {
    let hash = Sha256::digest(text.as_bytes());
    hash.iter()
        .take(4)
        .fold(0, |n, byte| n << 8 | u32::from(*byte))
}

/// How a plain file writes its rows, as its line in `files` keeps it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowStyle {
    /// The columns by their canonical names, in the order of the file.
    pub columns: Vec<String>,
    /// What stands between a day and its time.
    pub between: String,
    /// Whether times have seconds.
    pub seconds: bool,
    /// The zone whose local times they are.
    pub zone: String,
}

impl RowStyle {
    /// Empty where rows cannot be written again.
    pub(super) fn to_text(&self) -> String {
        if self.columns.is_empty() {
            return String::new();
        }
        serde_json::to_string(self).unwrap_or_default()
    }
}

/// Writes rows of one file again.
#[derive(Debug, Clone)]
pub(super) struct RowWriter {
    style: RowStyle,
    delimiter: String,
    zone: TimeZone,
}

impl RowWriter {
    /// `None` where the file's rows were all kept as text.
    pub(super) fn new(style: &str, delimiter: &str) -> Option<RowWriter> {
        let style: RowStyle = serde_json::from_str(style).ok()?;
        let zone = TimeZone::named(&style.zone)?;
        Some(RowWriter {
            style,
            delimiter: delimiter.to_owned(),
            zone,
        })
    }

    pub(super) fn text<T: Kind>(&self, record: &T) -> String {
        let cells = self.style.columns.iter();
        let cells = cells.map(|column| record.spell(column, self));
        cells.collect::<Vec<_>>().join(&self.delimiter)
    }
}

impl TimeSpelling for RowWriter {
    fn time(&self, at: Instant) -> String {
        let Some(local) = self.zone.local(at.0) else {
            return String::new();
        };
        let (date, time) = (local.date(), local.time());
        let mut text = format!(
            "{date}{}{:02}:{:02}",
            self.style.between,
            time.hour(),
            time.minute()
        );
        if self.style.seconds {
            text += &format!(":{:02}", time.second());
        }
        text
    }

    fn day(&self, at: Instant) -> String {
        let day = at.date_in(&self.zone);
        day.map_or_else(String::new, |day| day.to_string())
    }
}
