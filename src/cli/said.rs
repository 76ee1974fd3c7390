//! What is said about a file that was taken in.

use std::collections::HashMap;

use crate::ingest::{FileReader, shown};
use crate::store::records::{FileTail, Note, RowCounts};
use crate::store::{FileOutcome, Taking, Writer};

use super::error::CliError;
use super::ingest::now;

/// So many remarks of one file are shown; the rest is counted.
const REMARKS_SHOWN: usize = 4;
/// So many vans that the list does not know.
const VANS_SHOWN: usize = 20;

/// A file's line, its remarks and its rows.
pub(super) struct Told {
    pub name: String,
    pub recognised: String,
    pub line: String,
    notes: Vec<Note>,
    /// What the store remarked.
    of_store: Vec<String>,
    pub counts: RowCounts,
    /// Of those stored: new records, and corrected ones.
    pub new: u64,
    pub corrected: u64,
    /// Rows set aside before that are in now.
    pub now_accepted: u64,
}

impl Told {
    /// Every remark where all are wanted, else the first ones and a count.
    pub(super) fn remarks(&self, all: bool) -> Vec<String> {
        let most = if all { usize::MAX } else { REMARKS_SHOWN };
        let mut remarks = remarks(&self.notes, most);
        remarks.extend(self.of_store.iter().cloned());
        remarks
    }
}

/// Takes the file in and tells what became of it.
pub(super) fn file(file: FileReader<'_>, writer: &mut Writer<'_>) -> Result<Told, CliError> {
    let head = file.head();
    let name = shown(&head.name).into_owned();
    let mut taking = writer.begin(head, now())?;
    let tail = file.read(|batch| taking.take(batch).map_err(CliError::from))?;
    finish(taking, tail, name)
}

fn finish(taking: Taking<'_, '_>, tail: FileTail, name: String) -> Result<Told, CliError> {
    let (notes, recognised) = (tail.notes.clone(), tail.recognised.clone());
    let outcome = taking.finish(tail)?;
    let unknown = outcome.unknown_vans.iter().take(VANS_SHOWN);
    let unknown = unknown.map(|(van, count)| {
        format!(
            "{} of van {van}, which is not in the van list: set aside",
            rows_of(*count)
        )
    });
    let mut remarks: Vec<String> = unknown.collect();
    if let Some(more) = outcome.unknown_vans.len().checked_sub(VANS_SHOWN + 1) {
        remarks.push(format!("and of {} more such vans", more + 1));
    }
    if outcome.stray > 0 {
        remarks.push(format!(
            "{} replace none that is set aside here now: taken like rows of any file",
            rows_of(outcome.stray)
        ));
    }
    Ok(Told {
        line: format!("{name}: {recognised}: {}", counted(&outcome)),
        notes,
        of_store: remarks,
        counts: outcome.counts,
        new: outcome.new,
        corrected: outcome.replaced,
        now_accepted: outcome.mended,
        name,
        recognised,
    })
}

/// What became of the rows; how many there were is said before.
fn counted(outcome: &FileOutcome) -> String {
    let counts = outcome.counts;
    let mut parts = vec![format!("{} new", outcome.new)];
    if outcome.replaced > 0 {
        parts.push(format!("{} corrected", outcome.replaced));
    }
    parts.push(format!("{} already stored", counts.already_stored));
    parts.push(format!("{} set aside", counts.set_aside));
    if outcome.mended > 0 {
        parts.push(format!(
            "and {} set aside before now accepted",
            rows_of(outcome.mended)
        ));
    }
    parts.join(", ")
}

/// The totals of a run; they add up.
pub(super) fn totals(files: usize, counts: RowCounts) -> String {
    let files = if files == 1 {
        "1 file".to_owned()
    } else {
        format!("{files} files")
    };
    format!("{files}: {}", equation(counts))
}

/// `6 rows read = 3 stored + 2 already stored + 1 set aside`
pub(super) fn equation(counts: RowCounts) -> String {
    format!(
        "{} read = {} stored + {} already stored + {} set aside",
        rows_of(counts.read),
        counts.stored,
        counts.already_stored,
        counts.set_aside
    )
}

pub(super) fn rows_of(count: u64) -> String {
    if count == 1 {
        "1 row".to_owned()
    } else {
        format!("{count} rows")
    }
}

/// So many notes with their lines, the same words once; the rest is counted.
pub(super) fn remarks(notes: &[Note], most: usize) -> Vec<String> {
    let mut told: Vec<(&str, Option<u64>, usize)> = Vec::new();
    let mut places: HashMap<&str, usize> = HashMap::new();
    for note in notes {
        let place = places.get(note.text.as_str());
        if let Some((.., count)) = place.and_then(|place| told.get_mut(*place)) {
            *count += 1;
        } else if told.len() < most {
            places.insert(&note.text, told.len());
            told.push((&note.text, note.line, 1));
        }
    }
    let shown: usize = told.iter().map(|(.., count)| count).sum();
    let mut lines: Vec<String> = told
        .iter()
        .map(|(text, line, count)| match (line, count) {
            (Some(line), 1) => format!("line {line}: {text}"),
            (Some(line), more) => format!("line {line} and {} more: {text}", more - 1),
            (None, _) => (*text).to_owned(),
        })
        .collect();
    if notes.len() > shown {
        lines.push(format!(
            "and {} more remarks (all with --verbose)",
            notes.len() - shown
        ));
    }
    lines
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn note(line: u64, text: &str) -> Note {
        Note {
            line: Some(line),
            text: text.to_owned(),
        }
    }

    #[test]
    fn the_same_remark_is_said_once_and_the_rest_is_counted() {
        let mut notes = vec![note(2, "no time of day"), note(3, "no time of day")];
        notes.extend((10..20).map(|n| note(n, &format!("repair {n}"))));
        let lines = remarks(&notes, REMARKS_SHOWN);
        assert_eq!(
            lines.first().map(String::as_str),
            Some("line 2 and 1 more: no time of day")
        );
        assert_eq!(
            lines.last().map(String::as_str),
            Some("and 7 more remarks (all with --verbose)")
        );
        assert_eq!(lines.len(), REMARKS_SHOWN + 1);
        assert_eq!(remarks(&notes, usize::MAX).len(), 11);
    }

    #[test]
    fn totals_are_written_so_that_they_can_be_added_up() {
        let counts = RowCounts {
            read: 6,
            stored: 3,
            already_stored: 2,
            set_aside: 1,
        };
        assert_eq!(
            totals(2, counts),
            "2 files: 6 rows read = 3 stored + 2 already stored + 1 set aside"
        );
    }
}
