//! Which rows of which files took the place of which, and which files were
//! taken back out and put back. The rows themselves stay where they are.

use std::collections::{BTreeMap, BTreeSet};

use super::error::StoreError;
use super::field::Cell;
use super::part::Part;
use super::part::{self, damaged};
use super::records::Instant;
use super::schema::FILE_ID;

/// Stands for the whole file, which has no line of its own.
pub(super) const WHOLE_FILE: u64 = 0;

/// Lines of ingested files: file id → ranges of lines, both ends included.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Lines(BTreeMap<u64, Vec<(u64, u64)>>);

impl Lines {
    pub(super) fn contains(&self, file_id: u64, line: u64) -> bool {
        holds(self.of_file(file_id), line)
    }

    pub(super) fn extend(&mut self, other: &Lines) {
        for (file_id, ranges) in &other.0 {
            let mut all = self.0.remove(file_id).unwrap_or_default();
            all.extend(ranges);
            all.sort_unstable();
            let merged = self.0.entry(*file_id).or_default();
            all.into_iter().for_each(|range| join(merged, range));
        }
    }

    /// The ranges of one file, in order.
    pub(super) fn of_file(&self, file_id: u64) -> &[(u64, u64)] {
        self.0.get(&file_id).map_or(&[], Vec::as_slice)
    }

    /// From ranges of lines, both ends included: file id, first, last.
    pub(super) fn of_ranges(ranges: impl Iterator<Item = (u64, u64, u64)>) -> Lines {
        let mut ranges: Vec<(u64, u64, u64)> = ranges.collect();
        ranges.sort_unstable();
        let mut lines = Lines::default();
        for (file_id, first, last) in ranges {
            join(lines.0.entry(file_id).or_default(), (first, last));
        }
        lines
    }
}

/// Whether one of the ranges, which are in order, holds the line.
pub(super) fn holds(ranges: &[(u64, u64)], line: u64) -> bool {
    let after = ranges.partition_point(|(first, _)| *first <= line);
    after
        .checked_sub(1)
        .and_then(|i| ranges.get(i))
        .is_some_and(|(_, last)| line <= *last)
}

/// Adds a range that starts no earlier than the last one.
fn join(ranges: &mut Vec<(u64, u64)>, (first, last): (u64, u64)) {
    match ranges.last_mut() {
        Some((_, end)) if first <= end.saturating_add(1) => *end = last.max(*end),
        _ => ranges.push((first, last)),
    }
}

impl FromIterator<(u64, u64)> for Lines {
    fn from_iter<I: IntoIterator<Item = (u64, u64)>>(rows: I) -> Lines {
        let mut rows: Vec<(u64, u64)> = rows.into_iter().collect();
        rows.sort_unstable();
        let mut lines = Lines::default();
        for (file_id, line) in rows {
            join(lines.0.entry(file_id).or_default(), (line, line));
        }
        lines
    }
}

/// Where a row came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Place {
    pub(super) file_id: u64,
    /// [`WHOLE_FILE`] for a whole file.
    pub(super) line: u64,
}

/// Runs of tied rows, in order of line.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Supersessions(Vec<Run>);

/// `count` rows from `line` on, each tied to the next row from `to` on. Where
/// `line` stands for the whole file, it stays while the other end goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Run {
    line: u64,
    to: Place,
    count: u64,
}

impl Run {
    fn steps(self) -> u64 {
        u64::from(self.line != WHOLE_FILE)
    }

    fn is_followed_by(self, line: u64, to: Place) -> bool {
        to.file_id == self.to.file_id
            && line == self.line + self.steps() * self.count
            && to.line == self.to.line + self.count
    }
}

impl Supersessions {
    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Adds a tie whose line comes behind all others.
    pub(super) fn push(&mut self, line: u64, to: Place) {
        match self.0.last_mut() {
            Some(run) if run.is_followed_by(line, to) => run.count += 1,
            _ => self.0.push(Run { line, to, count: 1 }),
        }
    }

    /// Runs of rows: the first line, how many, and the file they are tied to.
    pub(super) fn runs(&self) -> impl Iterator<Item = (u64, u64, u64)> + '_ {
        self.0
            .iter()
            .map(|run| (run.line, run.count, run.to.file_id))
    }

    /// Every tied row and what it is tied to.
    pub(super) fn iter(&self) -> impl Iterator<Item = (u64, Place)> + '_ {
        self.0.iter().flat_map(|run| {
            (0..run.count).map(|n| {
                let to = Place {
                    file_id: run.to.file_id,
                    line: run.to.line + n,
                };
                (run.line + run.steps() * n, to)
            })
        })
    }

    /// The rows whose place was taken.
    pub(super) fn taken(&self) -> Lines {
        let ranges = self
            .0
            .iter()
            .map(|run| (run.to.file_id, run.to.line, run.to.line + run.count - 1));
        Lines::of_ranges(ranges)
    }

    /// `2x98>3:2;0>5:7`: 98 rows from line 2 on took the place of those of
    /// file 3 from line 2 on, and the file as a whole that of line 7 of file 5.
    pub(super) fn to_text(&self) -> String {
        let run = |run: &Run| {
            let count = match run.count {
                1 => String::new(),
                n => format!("x{n}"),
            };
            format!("{}{count}>{}:{}", run.line, run.to.file_id, run.to.line)
        };
        self.0.iter().map(run).collect::<Vec<_>>().join(";")
    }

    pub(super) fn from_text(text: &str) -> Option<Supersessions> {
        let mut runs = Vec::new();
        for run in text.split(';').filter(|run| !run.is_empty()) {
            match run.split_once('>') {
                Some((from, to)) => runs.push(Run::from_text(from, to)?),
                None => without_lines(run, &mut runs)?,
            }
        }
        Some(Supersessions(runs))
    }
}

impl Run {
    fn from_text(from: &str, to: &str) -> Option<Run> {
        let (line, count) = from.split_once('x').unwrap_or((from, "1"));
        let (file_id, to_line) = to.split_once(':')?;
        let to = Place {
            file_id: file_id.parse().ok()?,
            line: to_line.parse().ok()?,
        };
        Run::checked(line.parse().ok()?, to, count.parse().ok()?)
    }

    /// What would run over the end of all numbers is no run of ours.
    fn checked(line: u64, to: Place, count: u64) -> Option<Run> {
        line.checked_add(count)?;
        to.line.checked_add(count)?;
        (count > 0).then_some(Run { line, to, count })
    }
}

/// `3:0,2-99`, as an earlier litrewise wrote it: rows of a file whose places
/// were taken, without the lines that took them.
fn without_lines(text: &str, runs: &mut Vec<Run>) -> Option<()> {
    let (file_id, ranges) = text.split_once(':')?;
    let file_id = file_id.parse().ok()?;
    for range in ranges.split(',') {
        let (first, last) = range.split_once('-').unwrap_or((range, range));
        let (line, last): (u64, u64) = (first.parse().ok()?, last.parse().ok()?);
        let count = last.checked_sub(line)?.checked_add(1)?;
        runs.push(Run::checked(WHOLE_FILE, Place { file_id, line }, count)?);
    }
    Some(())
}

impl FromIterator<(u64, Place)> for Supersessions {
    fn from_iter<I: IntoIterator<Item = (u64, Place)>>(ties: I) -> Supersessions {
        let mut ties: Vec<(u64, Place)> = ties.into_iter().collect();
        ties.sort_unstable();
        ties.dedup();
        let mut packed = Supersessions::default();
        for (line, to) in ties {
            packed.push(line, to);
        }
        packed
    }
}

/// What can be done to a file that was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    TakenBack,
    PutBack,
}

impl Action {
    const ALL: [Action; 2] = [Action::TakenBack, Action::PutBack];

    pub(super) fn of_word(word: &str) -> Option<Action> {
        Action::ALL.into_iter().find(|action| action.word() == word)
    }

    /// `taken back`, as said to people.
    pub fn word(self) -> &'static str {
        match self {
            Action::TakenBack => "taken back",
            Action::PutBack => "put back",
        }
    }
}

/// Something done to a file after it was taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UndoEntry {
    /// Counts up.
    pub id: u64,
    pub file_id: u64,
    pub action: Action,
    pub at: Instant,
    /// Who was logged in; empty where that is not known.
    pub by: String,
}

/// The ids of the files that are out now. `entries`: in order.
pub(super) fn out_now(entries: &[UndoEntry]) -> BTreeSet<u64> {
    let mut out = BTreeSet::new();
    for entry in entries {
        match entry.action {
            Action::TakenBack => out.insert(entry.file_id),
            Action::PutBack => out.remove(&entry.file_id),
        };
    }
    out
}

pub(super) fn cells(entry: &UndoEntry) -> Vec<Cell<'_>> {
    vec![
        Cell::Whole(entry.id),
        Cell::Whole(entry.file_id),
        Cell::Text(entry.action.word()),
        Cell::Instant(entry.at.0),
        Cell::Text(&entry.by),
    ]
}

/// All that was done, in order.
pub(super) fn read_undone(parts: &[Part]) -> Result<Vec<UndoEntry>, StoreError> {
    let mut entries = Vec::new();
    for part in parts {
        let columns = part::columns(part, &["id", FILE_ID, "action", "at", "by"], None)?;
        let [ids, file_ids, actions, at, by] = columns.as_slice() else {
            continue;
        };
        for row in 0..ids.len() {
            let entry = || {
                let word = actions.name(row)?;
                Some(UndoEntry {
                    id: ids.count(row)?,
                    file_id: file_ids.count(row)?,
                    action: Action::of_word(word)?,
                    at: Instant(at.whole(row).unwrap_or(0)),
                    by: by.name(row).map_or_else(String::new, |by| by.to_string()),
                })
            };
            entries.push(entry().ok_or_else(|| damaged(part))?);
        }
    }
    entries.sort_by_key(|entry| entry.id);
    Ok(entries)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_found_among_ranges() {
        let rows = [(3, 2), (3, 3), (3, 4), (3, 9), (5, WHOLE_FILE), (3, 3)];
        let lines: Lines = rows.into_iter().collect();
        assert_eq!(lines.of_file(3), [(2, 4), (9, 9)]);
        for (file_id, line) in rows {
            assert!(lines.contains(file_id, line));
        }
        for (file_id, line) in [(3, 1), (3, 5), (3, 10), (4, 2), (5, 1)] {
            assert!(!lines.contains(file_id, line), "{file_id}:{line}");
        }
        let mut both = lines;
        both.extend(&[(3, 5), (3, 7), (4, 1)].into_iter().collect());
        assert_eq!(both.of_file(3), [(2, 5), (7, 7), (9, 9)]);
        assert_eq!(both.of_file(4), [(1, 1)]);
    }

    fn place(file_id: u64, line: u64) -> Place {
        Place { file_id, line }
    }

    #[test]
    fn ties_are_found_again_after_writing() {
        let ties = [
            (2, place(3, 2)),
            (3, place(3, 3)),
            (4, place(3, 9)),
            (WHOLE_FILE, place(5, 7)),
            (WHOLE_FILE, place(5, 8)),
            (4, place(4, 4)),
        ];
        let packed: Supersessions = ties.into_iter().collect();
        assert_eq!(packed.to_text(), "0x2>5:7;2x2>3:2;4>3:9;4>4:4");
        let again = Supersessions::from_text(&packed.to_text()).unwrap();
        assert_eq!(again, packed);
        let mut sorted = ties;
        sorted.sort_unstable();
        assert_eq!(again.iter().collect::<Vec<_>>(), sorted);
        assert!(again.taken().contains(5, 8) && !again.taken().contains(5, 9));
        for wrong in ["x", "2>3", "2x0>3:2", "2>3:18446744073709551615"] {
            assert_eq!(Supersessions::from_text(wrong), None, "{wrong}");
        }
        assert_eq!(Supersessions::from_text(""), Some(Supersessions::default()));
        // As written before lines were kept.
        let old = Supersessions::from_text("3:0,2-4;5:7").unwrap();
        let taken = old.taken();
        assert_eq!(taken.of_file(3), [(0, 0), (2, 4)]);
        assert!(taken.contains(5, 7));
        assert_eq!(Supersessions::from_text("3:4-2"), None);
    }
}
