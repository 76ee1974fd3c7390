//! The `files` table: one line per ingested file, written last. A file
//! without its line was never finished.

use std::sync::Arc;

use arrow_array::ArrayRef;
use rayon::prelude::*;

use super::arrays::{Columns, instants, strings, wholes};
use super::error::StoreError;
use super::part::{self, Part};
use super::records::{Dialect, Instant, Note, RowCounts};
use super::schema::{INGESTED_AT, TableName};
use super::ties::Ties;

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
    pub(super) supersedes: Ties,
    /// Its rows set aside that were accepted in an earlier file all the same:
    /// already stored, as long as that file is in force.
    pub(super) known: Ties,
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
            supersedes: Ties::default(),
            known: Ties::default(),
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

/// The file's line as the columns of one row.
pub(super) fn arrays(file: &FinishedFile) -> Vec<ArrayRef> {
    let line = &file.line;
    let one = |n: u64| wholes(std::iter::once(Some(n)));
    let text = |t: &str| strings(std::iter::once(Some(t)));
    let notes: Vec<(Option<u64>, &str)> = line.notes.iter().map(|n| (n.line, &*n.text)).collect();
    vec![
        one(line.id),
        text(&line.name),
        text(&line.sha256),
        one(line.bytes),
        instants(std::iter::once(Some(line.ingested_at))),
        text(&line.recognised),
        text(&serde_json::json!(notes).to_string()),
        one(line.counts.read),
        one(line.counts.stored),
        one(line.counts.already_stored),
        one(line.counts.set_aside),
        text(&file.supersedes.to_text()),
        text(&file.known.to_text()),
        text(&line.dialect.header),
        text(&line.dialect.delimiter),
        text(&line.dialect.habits),
        text(&file.row_style),
    ]
}

fn read_part(part: &Part) -> Result<Vec<FinishedFile>, StoreError> {
    let mut files = Vec::new();
    for batch in part::batches(&part.path, TableName::Files, None)? {
        let batch = batch?;
        let columns = Columns {
            batch: &batch,
            path: &part.path,
        };
        let texts =
            ["name", "sha256", "recognised", "notes", "supersedes"].map(|c| columns.texts(c));
        let [name, sha256, recognised, notes, supersedes] = texts;
        let texts = [name?, sha256?, recognised?, notes?, supersedes?];
        let wholes = [
            "id",
            "bytes",
            "rows_read",
            "rows_stored",
            "rows_already_stored",
            "rows_set_aside",
        ]
        .map(|c| columns.wholes(c));
        let [id, bytes, read, stored, already, aside] = wholes;
        let wholes = [id?, bytes?, read?, stored?, already?, aside?];
        let at = columns.instants(INGESTED_AT)?;
        let added = ["known", "header", "delimiter", "habits", "row_style"];
        let [known, header, delimiter, habits, row_style] =
            added.map(|c| columns.texts_if_there(c));
        let added = [known?, header?, delimiter?, habits?, row_style?];
        for row in 0..batch.num_rows() {
            let [name, sha256, recognised, notes, supersedes] =
                texts.each_ref().map(|t| t.value(row).to_owned());
            let [id, bytes, read, stored, already_stored, set_aside] =
                wholes.each_ref().map(|w| w.get(row).unwrap_or_default());
            let [known, header, delimiter, habits, row_style] = added.each_ref().map(|texts| {
                let text = texts.as_ref().map(|t| t.value(row));
                text.unwrap_or_default().to_owned()
            });
            let damaged = |what: &str| StoreError::Damaged {
                path: part.path.clone(),
                what: what.to_owned(),
            };
            let notes: Vec<(Option<u64>, String)> =
                serde_json::from_str(&notes).map_err(|_| damaged("its notes cannot be read"))?;
            files.push(FinishedFile {
                line: FileLine {
                    id,
                    name,
                    sha256,
                    bytes,
                    ingested_at: at.get(row).unwrap_or(Instant(0)),
                    recognised,
                    notes: notes
                        .into_iter()
                        .map(|(line, text)| Note { line, text })
                        .collect(),
                    counts: RowCounts {
                        read,
                        stored,
                        already_stored,
                        set_aside,
                    },
                    dialect: Dialect {
                        header,
                        delimiter,
                        habits,
                    },
                },
                known: Ties::from_text(&known)
                    .ok_or_else(|| damaged("the rows it repeats cannot be read"))?,
                supersedes: Ties::from_text(&supersedes)
                    .ok_or_else(|| damaged("the rows it replaces cannot be read"))?,
                row_style,
            });
        }
    }
    Ok(files)
}

/// Shared by the rows of one file.
pub(super) fn name_of(files: &FinishedFiles, id: u64) -> Arc<str> {
    files
        .get(id)
        .map_or_else(|| "".into(), |f| f.line.name.as_str().into())
}
