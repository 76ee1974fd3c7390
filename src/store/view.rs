//! Which rows are in force: those of files taken back are not, and neither are
//! rows set aside whose place a later row took.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::arrays::Columns;
use super::error::StoreError;
use super::files::{FinishedFile, FinishedFiles};
use super::lines::{Lines, holds};
use super::part::{self, Part};
use super::rewritten::{Rewritten, RowWriter};
use super::rows::damaged;
use super::schema::{FILE_ID, IS_LISTED, LINE, OF_FILE_ID, OF_LINE, OF_MARK, TableName};
use super::ties::Place;

/// What a reader has to leave out, and what stands for it.
#[derive(Debug, Clone, Default)]
pub(super) struct View {
    /// Rows set aside whose place was taken.
    pub(super) hidden: Lines,
    pub(super) taken_back: BTreeSet<u64>,
    /// Rows of files taken back that other files repeat: they are theirs now.
    pub(super) heirs: BTreeMap<u64, Heirs>,
    /// Rows counted as already stored when they came, which are heirs now.
    pub(super) inherited: u64,
    /// Files of which a later one has the same bytes: what is set aside of
    /// them is listed there.
    read_again: BTreeSet<u64>,
    /// Files of whose rows not every text was kept.
    writers: BTreeMap<u64, RowWriter>,
}

/// Line and mark of a row → the rows that repeat it.
pub(super) type Heirs = HashMap<(u64, u32), Vec<Place>>;

impl View {
    /// `repeats`: the Parquet files of the table of that name.
    pub(super) fn new(
        files: &FinishedFiles,
        taken_back: BTreeSet<u64>,
        repeats: &[Part],
    ) -> Result<View, StoreError> {
        let mut view = View {
            hidden: hidden(files, &taken_back),
            read_again: read_again(files, &taken_back),
            taken_back,
            ..View::default()
        };
        for file in &files.files {
            view.remember_style(file);
            if view.is_in_force(file.line.id) {
                view.know(file);
            }
        }
        if !view.taken_back.is_empty() {
            for part in repeats {
                if view.is_in_force(part.file_id) {
                    view.inherit(part)?;
                }
            }
        }
        Ok(view)
    }

    /// How the file's rows are written again.
    pub(super) fn remember_style(&mut self, file: &FinishedFile) {
        let writer = RowWriter::new(&file.row_style, &file.line.dialect.delimiter);
        if let Some(writer) = writer {
            self.writers.insert(file.line.id, writer);
        }
    }

    /// The text of a row of a file: as it was kept, or written again.
    pub(super) fn text_of<T: Rewritten>(
        &self,
        file_id: u64,
        kept: Option<&str>,
        record: impl FnOnce() -> Option<T>,
    ) -> String {
        if let Some(kept) = kept {
            return kept.to_owned();
        }
        let writer = self.writers.get(&file_id);
        let again = writer.and_then(|writer| Some(writer.text(&record()?)));
        again.unwrap_or_default()
    }

    /// Rows set aside that were accepted in an earlier file are not listed, as
    /// long as that file is in force.
    pub(super) fn know(&mut self, file: &FinishedFile) {
        let mut stored = Vec::new();
        for (first, count, in_file) in file.known.runs() {
            if self.is_in_force(in_file) {
                stored.push((file.line.id, first, first + count - 1));
            } else {
                self.inherited += count;
            }
        }
        if !stored.is_empty() {
            self.hidden.extend(&Lines::of_ranges(stored.into_iter()));
        }
    }

    fn inherit(&mut self, part: &Part) -> Result<(), StoreError> {
        for batch in part::batches(&part.path, TableName::Repeats, None)? {
            let batch = batch?;
            let columns = Columns {
                batch: &batch,
                path: &part.path,
            };
            let wholes = [FILE_ID, LINE, OF_FILE_ID, OF_LINE].map(|name| columns.wholes(name));
            let [file_id, line, of_file_id, of_line] = wholes;
            let [file_id, line, of_file_id, of_line] = [file_id?, line?, of_file_id?, of_line?];
            let (marks, listed) = (columns.smalls(OF_MARK)?, columns.smalls(IS_LISTED)?);
            for row in 0..batch.num_rows() {
                let of = of_file_id.get(row).ok_or_else(|| damaged(part))?;
                if self.is_in_force(of) {
                    continue;
                }
                let heir = Place {
                    file_id: file_id.get(row).ok_or_else(|| damaged(part))?,
                    line: line.get(row).ok_or_else(|| damaged(part))?,
                };
                let of_line = of_line.get(row).ok_or_else(|| damaged(part))?;
                let key = (of_line, marks.get(row).unwrap_or(0));
                self.heirs
                    .entry(of)
                    .or_default()
                    .entry(key)
                    .or_default()
                    .push(heir);
                self.inherited += u64::from(listed.get(row) != Some(1));
            }
        }
        Ok(())
    }

    /// A file came in that took places on the list of rows set aside.
    pub(super) fn hide(&mut self, more: &Lines) {
        self.hidden.extend(more);
    }

    pub(super) fn is_in_force(&self, file_id: u64) -> bool {
        !self.taken_back.contains(&file_id)
    }

    /// Whether the row of the list of rows set aside is still on it.
    pub(super) fn is_listed(&self, place: Place) -> bool {
        self.is_seen(place) && !self.read_again.contains(&place.file_id)
    }

    fn is_seen(&self, place: Place) -> bool {
        self.is_in_force(place.file_id) && !self.hidden.contains(place.file_id, place.line)
    }

    /// `None` where no row of the file is in force.
    pub(super) fn of_file(&self, file_id: u64) -> Option<FileView<'_>> {
        let heirs = self.heirs.get(&file_id);
        let in_force = self.is_in_force(file_id);
        (in_force || heirs.is_some()).then(|| FileView {
            view: self,
            file_id,
            in_force,
            hidden: self.hidden.of_file(file_id),
            heirs: heirs.filter(|_| !in_force),
        })
    }
}

/// Files in force of which a later one in force has the same bytes. Where no
/// file was ever taken back, its rows took the places of theirs anyway.
fn read_again(files: &FinishedFiles, taken_back: &BTreeSet<u64>) -> BTreeSet<u64> {
    let mut seen = BTreeSet::new();
    let later_first = files.files.iter().rev().map(|file| &file.line);
    let in_force = later_first.filter(|line| !taken_back.contains(&line.id));
    in_force
        .filter(|line| !seen.insert(line.sha256.as_str()))
        .map(|line| line.id)
        .collect()
}

/// Rows set aside whose place was taken by a row in force, or by one whose own
/// place was: what a file taken back had replaced is listed again, unless a
/// later file replaced it once more.
fn hidden(files: &FinishedFiles, taken_back: &BTreeSet<u64>) -> Lines {
    if taken_back.is_empty() {
        let mut all = Lines::default();
        for file in &files.files {
            all.extend(&file.supersedes.taken());
        }
        return all;
    }
    let mut hidden: std::collections::HashSet<Place> = std::collections::HashSet::new();
    // Later files first: who took a place always came later than who had it.
    for file in files.files.iter().rev() {
        let file_id = file.line.id;
        let in_force = !taken_back.contains(&file_id);
        for (line, to) in file.supersedes.iter() {
            if in_force || hidden.contains(&Place { file_id, line }) {
                hidden.insert(to);
            }
        }
    }
    let places = hidden.into_iter();
    places.map(|place| (place.file_id, place.line)).collect()
}

/// The same for the rows of one file.
pub(super) struct FileView<'v> {
    view: &'v View,
    file_id: u64,
    in_force: bool,
    hidden: &'v [(u64, u64)],
    heirs: Option<&'v Heirs>,
}

impl FileView<'_> {
    pub(super) fn file_id(&self) -> u64 {
        self.file_id
    }

    /// Whether every row of the file stands for itself.
    pub(super) fn is_whole(&self) -> bool {
        self.in_force && self.hidden.is_empty()
    }

    /// Calls `each` with every row that the stored row stands for: mostly
    /// itself.
    pub(super) fn for_each(
        &self,
        line: u64,
        mark: impl FnOnce() -> u32,
        mut each: impl FnMut(Place) -> Option<()>,
    ) -> Option<()> {
        if !self.hidden.is_empty() && holds(self.hidden, line) {
            return Some(());
        }
        if self.in_force {
            let file_id = self.file_id;
            return each(Place { file_id, line });
        }
        let heirs = self.heirs.and_then(|heirs| heirs.get(&(line, mark())));
        for heir in heirs.into_iter().flatten() {
            if self.view.is_seen(*heir) {
                each(*heir)?;
            }
        }
        Some(())
    }
}
