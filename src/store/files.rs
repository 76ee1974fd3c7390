//! The `files` table: one line per ingested file, written last. A file
//! without its line was never finished.

use std::sync::Arc;

use rayon::prelude::*;

use super::error::StoreError;
use super::field::Cell;
use super::field::Cells;
use super::lineage::Supersessions;
use super::part;
use super::part::Part;
use super::records::{Dialect, Instant, Note, RowCounts};
use super::schema::TableName;

/// An ingested file, as it was taken in.
#[derive(Debug, Clone, PartialEq)]
pub struct FileLine {
    /// Counts up in order of ingest.
    pub id: u64,
    /// Name as the user gave it.
    pub name: String,
    /// SHA-256 of the file's bytes, hex.
    pub sha256: String,
    pub bytes: u64,
    pub ingested_at: Instant,
    /// `semicolon, decimal comma, day first`.
    pub recognised: String,
    pub notes: Vec<Note>,
    /// What became of its rows on that day; rows may have moved since.
    pub counts: RowCounts,
    pub dialect: Dialect,
}

/// A file's line with what it did to rows of earlier files.
#[derive(Debug, Clone)]
pub(super) struct FinishedFile {
    pub(super) line: FileLine,
    /// Rows set aside before whose place this file's rows took.
    pub(super) supersedes: Supersessions,
    /// Its rows set aside that were accepted in an earlier file all the same:
    /// already stored, as long as that file is in force.
    pub(super) known: Supersessions,
    /// How its rows are written again of which no text was kept; empty where
    /// all were.
    pub(super) row_style: String,
}

/// All finished files in order of ingest.
#[derive(Debug, Clone, Default)]
pub(super) struct FinishedFiles {
    pub(super) files: Vec<FinishedFile>,
}

impl FinishedFiles {
    pub(super) fn read(parts: &[Part]) -> Result<FinishedFiles, StoreError> {
        let mut finished = FinishedFiles::default();
        let read: Result<Vec<_>, _> = parts.par_iter().map(read_part).collect();
        finished.files.extend(read?.into_iter().flatten());
        finished.files.sort_by_key(|f| f.line.id);
        Ok(finished)
    }

    /// Puts something in the place of a line that cannot be read.
    pub(super) fn stand_in(&mut self, id: u64) {
        let Err(at) = self.files.binary_search_by_key(&id, |f| f.line.id) else {
            return;
        };
        let line = FileLine {
            id,
            name: format!("file {id}, whose name is lost"),
            sha256: String::new(),
            bytes: 0,
            ingested_at: Instant(0),
            recognised: String::new(),
            notes: Vec::new(),
            counts: RowCounts::default(),
            dialect: Dialect::default(),
        };
        let stand_in = FinishedFile {
            line,
            supersedes: Supersessions::default(),
            known: Supersessions::default(),
            row_style: String::new(),
        };
        self.files.insert(at, stand_in);
    }

    pub(super) fn get(&self, id: u64) -> Option<&FinishedFile> {
        let at = self.files.binary_search_by_key(&id, |f| f.line.id).ok()?;
        self.files.get(at)
    }

    pub(super) fn is_finished(&self, id: u64) -> bool {
        self.get(id).is_some()
    }
}

/// The file's line as a row; `notes`: as [`notes_text`] gives them.
pub(super) fn row(file: &FinishedFile) -> FileRow {
    let notes: Vec<(Option<u64>, &str)> =
        file.line.notes.iter().map(|n| (n.line, &*n.text)).collect();
    FileRow {
        notes: serde_json::json!(notes).to_string(),
        supersedes: file.supersedes.to_text(),
        known: file.known.to_text(),
    }
}

/// What of a file's line is written as text.
pub(super) struct FileRow {
    notes: String,
    supersedes: String,
    known: String,
}

impl FileRow {
    /// In the order of the columns.
    pub(super) fn cells<'c>(&'c self, file: &'c FinishedFile) -> Vec<Cell<'c>> {
        let line = &file.line;
        vec![
            Cell::Whole(line.id),
            Cell::Text(&line.name),
            Cell::Text(&line.sha256),
            Cell::Whole(line.bytes),
            Cell::Instant(line.ingested_at.0),
            Cell::Text(&line.recognised),
            Cell::Text(&self.notes),
            Cell::Whole(line.counts.read),
            Cell::Whole(line.counts.stored),
            Cell::Whole(line.counts.already_stored),
            Cell::Whole(line.counts.set_aside),
            Cell::Text(&self.supersedes),
            Cell::Text(&self.known),
            Cell::Text(&line.dialect.header),
            Cell::Text(&line.dialect.delimiter),
            Cell::Text(&line.dialect.habits),
            Cell::Text(&file.row_style),
        ]
    }
}

fn read_part(part: &Part) -> Result<Vec<FinishedFile>, StoreError> {
    let names: Vec<&str> = TableName::Files
        .columns()
        .map(|column| column.name)
        .collect();
    let columns = part::columns(part, &names, None)?;
    let rows = columns.first().map_or(0, Cells::len);
    (0..rows).map(|row| read_row(part, &columns, row)).collect()
}

fn read_row(part: &Part, columns: &[Cells], row: usize) -> Result<FinishedFile, StoreError> {
    let damaged = |what: &str| StoreError::Damaged {
        path: part.path.clone(),
        what: what.to_owned(),
    };
    let [
        id,
        name,
        sha256,
        bytes,
        at,
        recognised,
        notes,
        read,
        stored,
        already_stored,
        set_aside,
        supersedes,
        known,
        header,
        delimiter,
        habits,
        row_style,
    ] = columns
    else {
        return Err(damaged("it lacks columns"));
    };
    let text = |cells: &Cells| cells.name(row).map_or_else(String::new, |t| t.to_string());
    let count = |cells: &Cells| cells.count(row).unwrap_or(0);
    let notes: Vec<(Option<u64>, String)> =
        serde_json::from_str(&text(notes)).map_err(|_| damaged("its notes cannot be read"))?;
    let known = Supersessions::from_text(&text(known));
    let supersedes = Supersessions::from_text(&text(supersedes));
    Ok(FinishedFile {
        line: FileLine {
            id: count(id),
            name: text(name),
            sha256: text(sha256),
            bytes: count(bytes),
            ingested_at: Instant(at.whole(row).unwrap_or(0)),
            recognised: text(recognised),
            notes: notes
                .into_iter()
                .map(|(line, text)| Note { line, text })
                .collect(),
            counts: RowCounts {
                read: count(read),
                stored: count(stored),
                already_stored: count(already_stored),
                set_aside: count(set_aside),
            },
            dialect: Dialect {
                header: text(header),
                delimiter: text(delimiter),
                habits: text(habits),
            },
        },
        known: known.ok_or_else(|| damaged("the rows it repeats cannot be read"))?,
        supersedes: supersedes.ok_or_else(|| damaged("the rows it replaces cannot be read"))?,
        row_style: text(row_style),
    })
}

/// Shared by the rows of one file.
pub(super) fn name_of(files: &FinishedFiles, id: u64) -> Arc<str> {
    files
        .get(id)
        .map_or_else(|| "".into(), |f| f.line.name.as_str().into())
}
