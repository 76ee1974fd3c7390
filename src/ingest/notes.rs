//! What was repaired or is worth knowing, gathered so that ten thousand equal
//! repairs are one note.

use std::collections::BTreeMap;

use crate::store::records::Note;

use super::columns::Column;
use super::text::shown;

/// A repair or remark that may recur in many rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Repair {
    /// `None` where the whole row was repaired.
    pub column: Option<Column>,
    /// What was done, said behind the column's name.
    pub what: &'static str,
}

#[derive(Debug, Default, Clone)]
pub(super) struct Notes {
    file: Vec<Note>,
    repairs: BTreeMap<Repair, Lines>,
}

#[derive(Debug, Default, Clone)]
struct Lines {
    first: Vec<u64>,
    more: u64,
    example: String,
}

/// Lines listed in full before they are only counted.
const LISTED: usize = 5;

impl Notes {
    /// A note on the file, or on one line of it.
    pub fn file(&mut self, line: Option<u64>, text: String) {
        self.file.push(Note { line, text });
    }

    /// The same, unless it was said already.
    pub fn file_once(&mut self, line: Option<u64>, text: String) {
        if self.file.iter().all(|note| note.text != text) {
            self.file(line, text);
        }
    }

    /// A repair of `example` in `line`; an empty example is not shown.
    pub fn repair(&mut self, line: u64, repair: Repair, example: &str) {
        let lines = self.repairs.entry(repair).or_default();
        if lines.first.len() < LISTED {
            if lines.first.is_empty() {
                lines.example = example.chars().take(40).collect();
            }
            lines.first.push(line);
        } else {
            lines.more += 1;
        }
    }

    /// All notes: those on the file, then the repairs by their first line.
    ///
    /// `told` gives a column's name as the file heads it.
    pub fn finish(self, told: impl Fn(Column) -> String) -> Vec<Note> {
        let mut notes = self.file;
        let mut repairs: Vec<Note> = self
            .repairs
            .into_iter()
            .map(|(repair, lines)| Note {
                line: lines.first.first().copied(),
                text: lines.sentence(repair.column.map(&told), repair.what),
            })
            .collect();
        repairs.sort_by_key(|note| note.line);
        notes.append(&mut repairs);
        for note in &mut notes {
            if let std::borrow::Cow::Owned(text) = shown(&note.text) {
                note.text = text;
            }
        }
        notes
    }
}

impl Lines {
    fn sentence(&self, column: Option<String>, what: &str) -> String {
        let mut text = match column {
            Some(column) => format!("{column}: {what}"),
            None => what.to_owned(),
        };
        if !self.example.is_empty() {
            text += &format!(" (\"{}\")", self.example);
        }
        if self.first.len() > 1 {
            let listed: Vec<String> = self.first.iter().map(u64::to_string).collect();
            text += &format!("; lines {}", listed.join(", "));
            if self.more > 0 {
                text += &format!(" and {} more", self.more);
            }
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_equal_repairs_are_one_note() {
        let mut notes = Notes::default();
        for line in 2..=10 {
            let repair = Repair {
                column: Some(Column::FeedPpm),
                what: "read without its unit",
            };
            notes.repair(line, repair, "320 uS");
        }
        notes.file(Some(1), "columns \"Weather\" kept out".into());
        let notes = notes.finish(|column| column.name().to_owned());
        assert_eq!(notes.len(), 2);
        assert_eq!(
            notes.get(1).map(|n| (n.line, n.text.as_str())),
            Some((
                Some(2),
                "feed_ppm: read without its unit (\"320 uS\"); lines 2, 3, 4, 5, 6 and 4 more"
            ))
        );
    }
}
