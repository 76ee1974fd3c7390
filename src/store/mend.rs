//! What became of rows of the same bytes, and which rows set aside before a file's rows
//! take the place of: the same row read again, or mended in the file.

use std::collections::hash_map::DefaultHasher;
use std::collections::{BTreeSet, HashMap, HashSet};
use std::hash::{Hash, Hasher};

use super::error::StoreError;
use super::files::FinishedFile;
use super::lineage::{Lines, Place, Supersessions, WHOLE_FILE};
use super::part::Part;
use super::records::{Record, line_of, part_of};
use super::set_aside::{ListedRow, lines};

/// A row of an earlier ingest of this file that is set aside now.
#[derive(Debug)]
pub(super) struct EarlierRow {
    pub(super) listed: ListedRow,
    /// What was stored of it, where only its van was unknown.
    pub(super) record: Option<Record>,
    /// Whether that file had the very same bytes.
    pub(super) same_bytes: bool,
}

/// What is set aside now of earlier ingests of a file, and those of the file's
/// rows that may take a place there. Of others nothing is kept.
#[derive(Debug, Default)]
pub(super) struct Mending {
    earlier: Vec<EarlierRow>,
    /// Rows set aside of files with the very same bytes, which need no text to
    /// be known again: their line is enough.
    same: Lines,
    same_files: Vec<u64>,
    texts: HashSet<u64>,
    lines: HashSet<u64>,
    accepted: Vec<NewRow>,
    set_aside: Vec<NewRow>,
    ties: Vec<(u64, Place)>,
    mended: u64,
}

/// What the file does to the list of rows set aside.
#[derive(Debug, Default)]
pub(super) struct Mended {
    pub(super) supersedes: Supersessions,
    /// Rows that were set aside and are in now.
    pub(super) mended: u64,
    /// Rows of no van that are listed already, by line.
    pub(super) listed: HashMap<u64, Vec<(Record, Place)>>,
}

/// A row of the file that an earlier one may have been.
#[derive(Debug)]
struct NewRow {
    line: Option<u64>,
    text: Box<str>,
    /// What it means, where its van is unknown.
    of_no_van: Option<Record>,
    is_accepted: bool,
}

/// Nearly always another for another text.
pub(super) fn text_hash(text: &str) -> u64 {
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    hasher.finish()
}

impl Mending {
    /// `same`: lines set aside of files with the same bytes.
    pub(super) fn new(earlier: Vec<EarlierRow>, same: Lines, same_files: Vec<u64>) -> Mending {
        Mending {
            texts: earlier
                .iter()
                .map(|row| text_hash(&row.listed.text))
                .collect(),
            lines: earlier
                .iter()
                .filter_map(|row| row.listed.line.map(line_of))
                .collect(),
            earlier,
            same,
            same_files,
            ..Mending::default()
        }
    }

    /// Whether no row can take the place of one set aside before.
    pub(super) fn is_idle(&self) -> bool {
        self.earlier.is_empty() && self.same == Lines::default()
    }

    /// Takes the places of the same line in files of the same bytes; says
    /// whether there was one.
    fn take_same(&mut self, line: u64) -> bool {
        let before = self.ties.len();
        for file_id in &self.same_files {
            let file_id = *file_id;
            if self.same.contains(file_id, line) {
                self.ties.push((line, Place { file_id, line }));
            }
        }
        self.ties.len() > before
    }

    /// A row that says itself whose place it takes.
    pub(super) fn replaces(&mut self, line: u64, place: Place, is_in: bool) {
        self.ties.push((line, place));
        self.mended += u64::from(is_in);
    }

    fn may_be_earlier(&self, line: Option<u64>, text: &str) -> bool {
        !self.earlier.is_empty()
            && (line.is_some_and(|line| self.lines.contains(&line_of(line)))
                || self.texts.contains(&text_hash(text)))
    }

    /// A row that was accepted; `is_of_no_van` where its van is unknown.
    pub(super) fn accepted(&mut self, line: u64, record: &Record, text: &str, is_of_no_van: bool) {
        if self.take_same(line) {
            self.mended += u64::from(!is_of_no_van);
        } else if self.may_be_earlier(Some(line), text) {
            self.accepted.push(NewRow {
                line: Some(line),
                text: text.into(),
                of_no_van: is_of_no_van.then(|| record.clone()),
                is_accepted: true,
            });
        }
    }

    /// A row that was set aside.
    pub(super) fn set_aside(&mut self, line: Option<u64>, text: &str) {
        if !line.is_some_and(|line| self.take_same(line)) && self.may_be_earlier(line, text) {
            self.set_aside.push(NewRow {
                line,
                text: text.into(),
                of_no_van: None,
                is_accepted: false,
            });
        }
    }

    /// Finds for each row the earlier row whose place it takes: first the same
    /// text on the same line, then the same text elsewhere, then a text on the
    /// same line that shares at least half of its cells.
    pub(super) fn finish(self) -> Mended {
        let rows = self.accepted.into_iter().chain(self.set_aside);
        let mut unmatched: Vec<NewRow> = rows.collect();
        let mut waiting = Waiting::new(&self.earlier);
        let mut taken: Vec<(usize, NewRow)> = Vec::new();
        for pass in [Fits::TextAndLine, Fits::Text, Fits::LineAndHalf] {
            for row in std::mem::take(&mut unmatched) {
                match waiting.take(pass, row.line, &row.text) {
                    Some(i) => taken.push((i, row)),
                    None => unmatched.push(row),
                }
            }
        }

        let mut gone = self.ties;
        let mut kept: Vec<(u64, Record, Place)> = Vec::new();
        let mut mended = self.mended;
        for (i, row) in taken {
            let Some(old) = self.earlier.get(i) else {
                continue;
            };
            let line = row.line.unwrap_or(WHOLE_FILE);
            match row.of_no_van {
                Some(record) if old.record.as_ref() == Some(&record) => {
                    kept.push((line, record, old.listed.place()));
                    continue;
                }
                None if row.is_accepted => mended += 1,
                _ => {}
            }
            gone.push((line, old.listed.place()));
        }
        // The same bytes were judged anew as a whole, and a file that could
        // not be read as a whole has been read now, or is listed anew.
        for i in waiting.left() {
            if let Some(old) = self.earlier.get(i)
                && (old.same_bytes || old.listed.line.is_none())
            {
                gone.push((WHOLE_FILE, old.listed.place()));
            }
        }
        let supersedes: Supersessions = gone.into_iter().collect();
        // A line that gave several records goes as a whole: those of its
        // records that had not changed are written anew with the others.
        let taken = supersedes.taken();
        let mut listed: HashMap<u64, Vec<(Record, Place)>> = HashMap::new();
        for (line, record, place) in kept {
            if !taken.contains(place.file_id, place.line) {
                listed.entry(line).or_default().push((record, place));
            }
        }
        Mended {
            supersedes,
            mended,
            listed,
        }
    }
}

impl Mended {
    /// Where the row of no van is listed already.
    pub(super) fn listed_as(&self, line: u64, record: &Record) -> Option<Place> {
        let on_line = self.listed.get(&line)?;
        on_line
            .iter()
            .find(|(listed, _)| listed == record)
            .map(|(_, place)| *place)
    }
}

/// How a row may take an earlier one's place.
#[derive(Debug, Clone, Copy)]
enum Fits {
    TextAndLine,
    Text,
    LineAndHalf,
}

/// Earlier rows that no row has taken the place of yet.
struct Waiting<'e> {
    earlier: &'e [EarlierRow],
    is_taken: Vec<bool>,
    by_text: HashMap<&'e str, Vec<usize>>,
    by_line: HashMap<u64, Vec<usize>>,
}

impl<'e> Waiting<'e> {
    fn new(earlier: &'e [EarlierRow]) -> Self {
        let mut by_text: HashMap<&str, Vec<usize>> = HashMap::new();
        let mut by_line: HashMap<u64, Vec<usize>> = HashMap::new();
        for (i, row) in earlier.iter().enumerate() {
            if let Some(line) = row.listed.line {
                by_text.entry(&row.listed.text).or_default().push(i);
                by_line.entry(line_of(line)).or_default().push(i);
            }
        }
        Waiting {
            earlier,
            is_taken: vec![false; earlier.len()],
            by_text,
            by_line,
        }
    }

    fn take(&mut self, how: Fits, line: Option<u64>, text: &str) -> Option<usize> {
        let found = match how {
            Fits::TextAndLine => self.on_line(line, |old| old.text == text),
            Fits::Text => self.same_text(line, text),
            Fits::LineAndHalf => self.on_line(line, |old| is_alike(&old.text, text)),
        }?;
        *self.is_taken.get_mut(found)? = true;
        Some(found)
    }

    fn is_free(&self, i: usize) -> bool {
        self.is_taken.get(i) == Some(&false)
    }

    fn on_line(&self, line: Option<u64>, fits: impl Fn(&ListedRow) -> bool) -> Option<usize> {
        let found = self.by_line.get(&line_of(line?))?.iter().copied();
        let mut free = found.filter(|i| self.is_free(*i));
        free.find(|i| {
            let row = self.earlier.get(*i);
            row.is_some_and(|row| is_same_part(row.listed.line, line) && fits(&row.listed))
        })
    }

    fn same_text(&mut self, line: Option<u64>, text: &str) -> Option<usize> {
        // Those taken are dropped for good, so that a text that repeats a
        // thousand times is not searched a thousand times over.
        let same = self.by_text.get_mut(text)?;
        while let Some(last) = same.last() {
            if self.is_taken.get(*last) == Some(&false) {
                break;
            }
            same.pop();
        }
        let of_part = |i: &usize| {
            let row = self.earlier.get(*i);
            self.is_taken.get(*i) == Some(&false)
                && row.is_some_and(|row| is_same_part(row.listed.line, line))
        };
        let place = same.iter().rposition(of_part)?;
        Some(same.remove(place))
    }

    fn left(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.earlier.len()).filter(|i| self.is_free(*i))
    }
}

/// Whether two rows of one line may be the same part of it: a sheet that came
/// to hold several kinds numbers what was a whole line before.
fn is_same_part(one: Option<u64>, other: Option<u64>) -> bool {
    let part = |number: Option<u64>| number.map_or(0, part_of);
    part(one) == part(other) || part(one) == 0 || part(other) == 0
}

fn cells(text: &str) -> Vec<&str> {
    let mut cells: Vec<&str> = text
        .split([',', ';', '\t', '|'])
        .map(|cell| cell.trim_matches(|c: char| c.is_whitespace() || c == '"'))
        .filter(|cell| !cell.is_empty())
        .collect();
    cells.sort_unstable();
    cells
}

/// Whether at least half of the cells that are filled are the same: a row
/// mended in one place, not another row that came to stand on its line.
fn is_alike(old: &str, new: &str) -> bool {
    let (old, new) = (cells(old), cells(new));
    let (mut a, mut b, mut shared) = (0, 0, 0);
    while let (Some(x), Some(y)) = (old.get(a), new.get(b)) {
        match x.cmp(y) {
            std::cmp::Ordering::Less => a += 1,
            std::cmp::Ordering::Greater => b += 1,
            std::cmp::Ordering::Equal => {
                (a, b, shared) = (a + 1, b + 1, shared + 1);
            }
        }
    }
    shared > 0 && shared * 2 >= old.len().max(new.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_mended_in_one_cell_is_alike_and_next_months_row_is_not() {
        let old = "QV-014,2026-10-03T08:00,QA3,1,2O4,9.1,0";
        assert!(is_alike(old, "QV-014,2026-10-03T08:00,QA3,1,204,9.1,0"));
        assert!(!is_alike(old, "QV-014,2026-11-03T08:10,QA3,231,9.4,1"));
        assert!(is_alike("QA1,2O0", "QA1,200"));
        assert!(!is_alike("", ""));
    }
}

/// What became of the rows of files with the same bytes.
#[derive(Debug, Default)]
pub(super) struct Settled {
    same: Vec<u64>,
    /// All lines that were ever set aside.
    set_aside: Lines,
    /// Rows set aside → the row accepted in their place.
    mended: HashMap<Place, Place>,
    /// Rows set aside → the row set aside in their place in another file.
    moved: HashMap<Place, Place>,
}

impl Settled {
    /// `in_force`: the files in force, in order; `same`: the ids of those with
    /// the same bytes; `parts`: the Parquet files of rows set aside;
    /// `damaged`: files of which it cannot be said what became of their rows.
    pub(super) fn new(
        in_force: &[&FinishedFile],
        same: &[u64],
        parts: &[Part],
        damaged: &BTreeSet<u64>,
    ) -> Result<Settled, StoreError> {
        if same.is_empty() {
            return Ok(Settled::default());
        }
        let mending = in_force.iter().filter(|file| !file.supersedes.is_empty());
        let looked_at: BTreeSet<u64> = mending
            .map(|file| file.line.id)
            .chain(same.iter().copied())
            .collect();
        let mut ranges = Vec::new();
        for part in parts.iter().filter(|p| looked_at.contains(&p.file_id)) {
            read_lines(part, &mut ranges)?;
        }
        let mut settled = Settled {
            same: same.to_vec(),
            set_aside: Lines::of_ranges(ranges.into_iter()),
            mended: HashMap::new(),
            moved: HashMap::new(),
        };
        // Later files first, so that what was set aside twice is followed to
        // its end.
        for file in in_force.iter().rev() {
            let file_id = file.line.id;
            if damaged.contains(&file_id) {
                continue;
            }
            for (line, to) in file.supersedes.iter() {
                let place = Place { file_id, line };
                if line == WHOLE_FILE {
                    continue;
                }
                if !settled.set_aside.contains(file_id, line) {
                    settled.mended.insert(to, place);
                } else if let Some(end) = settled.mended.get(&place) {
                    settled.mended.insert(to, *end);
                } else {
                    let end = settled.moved.get(&place).unwrap_or(&place);
                    settled.moved.insert(to, *end);
                }
            }
        }
        Ok(settled)
    }

    /// Whether no row went to another file to be mended and was set aside there.
    pub(super) fn is_idle(&self) -> bool {
        self.moved.is_empty()
    }

    /// Where the row on this line is listed, if it went to another file to be
    /// mended and was set aside there.
    pub(super) fn listed_elsewhere(&self, line: u64) -> Option<Place> {
        self.same.iter().find_map(|file_id| {
            let file_id = *file_id;
            let end = self.moved.get(&Place { file_id, line });
            end.filter(|place| !self.same.contains(&place.file_id))
                .copied()
        })
    }

    /// Where the row on this line was accepted.
    pub(super) fn accepted(&self, line: u64) -> Option<Place> {
        self.same.iter().find_map(|file_id| {
            let place = Place {
                file_id: *file_id,
                line,
            };
            if self.set_aside.contains(place.file_id, line) {
                self.mended.get(&place).copied()
            } else {
                Some(place)
            }
        })
    }
}

/// Runs of lines of a part of the list: file, first and last.
fn read_lines(part: &Part, ranges: &mut Vec<(u64, u64, u64)>) -> Result<(), StoreError> {
    join(part.file_id, lines(part)?, ranges);
    Ok(())
}

/// Adds lines to runs of lines.
pub(super) fn join(file_id: u64, lines: Vec<u64>, ranges: &mut Vec<(u64, u64, u64)>) {
    for line in lines {
        match ranges.last_mut() {
            Some((of, _, last)) if *of == file_id && line == *last + 1 => *last = line,
            _ => ranges.push((file_id, line, line)),
        }
    }
}
