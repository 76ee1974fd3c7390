//! The one rule of what is in force, for ingest, reading, export and check.
//!
//! A row of a file taken back is hidden, unless rows of other files repeat it:
//! then it is theirs. A row set aside is off the list once a row in force took
//! its place. Of the rows of one record that are left, in order of ingest, one
//! that says the same as an earlier one is a repeat, the others are versions,
//! and the last version counts. (The README says the same in SQL.)

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use polars::prelude::{Column as FrameColumn, DataFrame, GroupsIndicator, NamedFrom, Series};
use polars::prelude::{IntoColumn, PolarsResult};

use super::error::StoreError;
use super::field::Cells;
use super::files::{FinishedFile, FinishedFiles};
use super::lineage::{Lines, Place, holds};
use super::part::Part;
use super::part::{self, PartRows, damaged};
use super::row_text::RowWriter;
use super::schema::{
    FILE_ID, IS_LISTED, Kind, LINE, Moment, OF_FILE_ID, OF_LINE, OF_MARK, Role, TableName,
};

/// What a reader has to leave out, and what stands for it.
#[derive(Debug, Clone, Default)]
pub(super) struct View {
    /// Rows set aside whose place was taken.
    hidden: Lines,
    taken_back: BTreeSet<u64>,
    /// Single rows that were taken back by hand.
    rows_out: Lines,
    /// Rows of files taken back that other files repeat: they are theirs now.
    replacements: BTreeMap<u64, ReplacementRows>,
    /// Rows counted as already stored when they came, which stand for rows of
    /// files taken back now.
    pub(super) inherited: u64,
    /// Files of which a later one has the same bytes: what is set aside of
    /// them is listed there.
    read_again: BTreeSet<u64>,
    /// Rows that stand for rows of later files, on the list or off it.
    stands_for: Lines,
    /// Files of whose rows not every text was kept.
    writers: BTreeMap<u64, RowWriter>,
}

/// Line and mark of a row → the rows that repeat it.
type ReplacementRows = HashMap<(u64, u32), Vec<Place>>;

impl View {
    /// `rows_out`: single rows that were taken back; `repeats`: the Parquet files
    /// of the table of that name.
    pub(super) fn new(
        files: &FinishedFiles,
        taken_back: BTreeSet<u64>,
        rows_out: &Lines,
        repeats: &[Part],
    ) -> Result<View, StoreError> {
        let mut view = View {
            hidden: hidden(files, &taken_back),
            read_again: read_again(files, &taken_back),
            taken_back,
            rows_out: rows_out.clone(),
            ..View::default()
        };
        view.hidden.extend(rows_out);
        for file in &files.files {
            view.remember_style(file);
            if view.is_in_force(file.line.id) {
                view.know(file);
            }
        }
        if !view.taken_back.is_empty() {
            for part in repeats {
                if !view.is_in_force(part.file_id) {
                    continue;
                }
                let names = [FILE_ID, LINE, OF_FILE_ID, OF_LINE, OF_MARK, IS_LISTED];
                let columns = part::columns(part, &names, None)?;
                view.inherit(&columns).ok_or_else(|| damaged(part))?;
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

    /// The text of a row: as it was kept, or written again.
    pub(super) fn text_of<T: Kind>(&self, rows: &PartRows, row: usize) -> String {
        if let Some(kept) = rows.texts.name(row) {
            return kept.to_string();
        }
        let writer = self.writers.get(&rows.file_id);
        let again = writer.and_then(|writer| Some(writer.text(&T::get(&rows.columns, row)?)));
        again.unwrap_or_default()
    }

    /// Rows set aside that were accepted in an earlier file are not listed, as
    /// long as that file is in force; those that were taken back by hand there
    /// stay off the list.
    pub(super) fn know(&mut self, file: &FinishedFile) {
        let mut stored = Vec::new();
        let known = file.known.taken();
        for (first, count, in_file) in file.known.runs() {
            if self.is_in_force(in_file) {
                stored.push((file.line.id, first, first + count - 1));
                let ranges = known.of_file(in_file).iter();
                let ranges = ranges.map(|(first, last)| (in_file, *first, *last));
                self.stands_for.extend(&Lines::of_ranges(ranges));
            } else {
                self.inherited += count;
            }
        }
        let is_out = |to: &Place| {
            !self.is_in_force(to.file_id) && self.rows_out.contains(to.file_id, to.line)
        };
        let out = file.known.iter().filter(|(_, to)| is_out(to));
        let before = stored.len();
        stored.extend(out.map(|(line, _)| (file.line.id, line, line)));
        self.inherited -= (stored.len() - before) as u64;
        if !stored.is_empty() {
            self.hidden.extend(&Lines::of_ranges(stored.into_iter()));
        }
    }

    /// `None` where a row lacks a value.
    fn inherit(&mut self, columns: &[Cells]) -> Option<()> {
        let [file_id, line, of_file_id, of_line, marks, listed] = columns else {
            return None;
        };
        for row in 0..line.len() {
            let of = of_file_id.count(row)?;
            if self.is_in_force(of) {
                continue;
            }
            let replacement = Place {
                file_id: file_id.count(row)?,
                line: line.count(row)?,
            };
            let mark = marks.whole(row).and_then(|mark| u32::try_from(mark).ok());
            let rows = self.replacements.entry(of).or_default();
            let key = (of_line.count(row)?, mark.unwrap_or(0));
            rows.entry(key).or_default().push(replacement);
            self.inherited += u64::from(listed.whole(row) != Some(1));
        }
        Some(())
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
        let is_elsewhere = self.read_again.contains(&place.file_id)
            && !self.stands_for.contains(place.file_id, place.line);
        self.is_seen(place) && !is_elsewhere
    }

    fn is_seen(&self, place: Place) -> bool {
        self.is_in_force(place.file_id) && !self.hidden.contains(place.file_id, place.line)
    }

    /// Whether every row of the file stands for itself.
    pub(super) fn is_whole(&self, file_id: u64) -> bool {
        self.is_in_force(file_id) && self.hidden.of_file(file_id).is_empty()
    }

    /// Whether a row of the file may be in force.
    pub(super) fn may_hold(&self, file_id: u64) -> bool {
        self.is_in_force(file_id) || self.replacements.contains_key(&file_id)
    }

    /// Calls `each` with every row that the stored row stands for: mostly itself.
    pub(super) fn owners(&self, stored: Place, mark: u32, mut each: impl FnMut(Place)) {
        if holds(self.hidden.of_file(stored.file_id), stored.line) {
            return;
        }
        if self.is_in_force(stored.file_id) {
            return each(stored);
        }
        let replacements = self.replacements.get(&stored.file_id);
        let replacements = replacements.and_then(|rows| rows.get(&(stored.line, mark)));
        let seen = replacements.into_iter().flatten().copied();
        seen.filter(|place| self.is_seen(*place)).for_each(each);
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
    let mut hidden: HashSet<Place> = HashSet::new();
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

/// A row in force. Rows sort by their record, then in order of ingest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Row {
    /// The number of the van or postcode whose record it is.
    pub(super) who: u32,
    pub(super) moment: Moment,
    pub(super) owner: Place,
    /// Where its values lie: in which of several tables, and there.
    pub(super) table: u32,
    pub(super) row: u32,
}

impl Row {
    fn is_of_the_record_of(&self, other: &Row) -> bool {
        (self.who, self.moment) == (other.who, other.moment)
    }
}

/// What a row in force is to its record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Standing {
    /// A version that says something new; `is_first` of its record,
    /// `is_current` where no later one follows.
    Version { is_first: bool, is_current: bool },
    /// Says the same as an earlier row of the record, the one at this place
    /// among the rows.
    Repeat(usize),
}

/// Puts the rows in order and says what each is to its record.
///
/// `tables`: the columns of the tables that the rows lie in.
pub(super) fn standings(
    kind: TableName,
    rows: &mut [Row],
    tables: &[&[Cells]],
) -> Result<Vec<Standing>, StoreError> {
    rows.sort_unstable();
    let only = Standing::Version {
        is_first: true,
        is_current: true,
    };
    let mut standings = vec![only; rows.len()];
    // Most records have one row; those of the others are compared by what they say.
    let mut several: Vec<usize> = Vec::new();
    let mut records: Vec<u32> = Vec::new();
    let mut at = 0;
    for (record, of_record) in (0..).zip(rows.chunk_by(Row::is_of_the_record_of)) {
        if of_record.len() > 1 {
            several.extend(at..at + of_record.len());
            records.extend(std::iter::repeat_n(record, of_record.len()));
        }
        at += of_record.len();
    }
    if several.is_empty() {
        return Ok(standings);
    }
    let same = equal_rows(kind, rows, &several, &records, tables);
    let same = same.map_err(|source| StoreError::Versions { source })?;
    let mut last: Option<(u32, usize)> = None;
    for ((at, record), same) in several.iter().zip(&records).zip(same) {
        let first_of_record = last.is_none_or(|(before, _)| before != *record);
        let standing = match same.and_then(|first| several.get(first)) {
            Some(first) => Standing::Repeat(*first),
            None => {
                // a version before it is current no more
                if let Some((_, version)) = last.filter(|_| !first_of_record)
                    && let Some(Standing::Version { is_current, .. }) = standings.get_mut(version)
                {
                    *is_current = false;
                }
                last = Some((*record, *at));
                Standing::Version {
                    is_first: first_of_record,
                    is_current: true,
                }
            }
        };
        if let Some(slot) = standings.get_mut(*at) {
            *slot = standing;
        }
    }
    Ok(standings)
}

/// Of each of several rows the earlier one that is equal in record and values,
/// if there is one: by its place among them.
fn equal_rows(
    kind: TableName,
    rows: &[Row],
    several: &[usize],
    records: &[u32],
    tables: &[&[Cells]],
) -> PolarsResult<Vec<Option<usize>>> {
    const RECORD: &str = "record";
    let place = |at: &usize| {
        rows.get(*at)
            .map_or((0, 0), |r| (r.table as usize, r.row as usize))
    };
    let record = Series::new(RECORD.into(), records).into_column();
    let values = kind.own_columns().iter().enumerate();
    let values = values.filter(|(_, column)| column.role == Role::Value);
    let values =
        values.map(|(at, column)| Cells::of_rows(*column, several.iter().map(place), tables, at));
    let columns: Vec<FrameColumn> = std::iter::once(record).chain(values).collect();
    let frame = DataFrame::new(several.len(), columns)?;
    let names = kind.names_of(Role::Value);
    let groups = frame.group_by_stable(std::iter::once(RECORD).chain(names))?;
    let mut same = vec![None; several.len()];
    for group in groups.get_groups().iter() {
        let (first, rest): (usize, Vec<usize>) = match group {
            GroupsIndicator::Idx((first, all)) => {
                (first as usize, all.iter().map(|i| *i as usize).collect())
            }
            GroupsIndicator::Slice([first, count]) => {
                let first = first as usize;
                (first, (first..first + count as usize).collect())
            }
        };
        for row in rest.into_iter().filter(|row| *row != first) {
            if let Some(slot) = same.get_mut(row) {
                *slot = Some(first);
            }
        }
    }
    Ok(same)
}
