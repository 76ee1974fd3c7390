//! Which rows set aside before a file's rows take the place of: the same row
//! read again, or mended in the file.

use std::collections::HashMap;

use super::aside::ListedRow;
use super::judge::Verdict;
use super::lines::Lines;
use super::records::{FileRows, Record};

/// A row of an earlier ingest of this file that is set aside now.
#[derive(Debug)]
pub(super) struct EarlierRow {
    pub(super) listed: ListedRow,
    /// What was stored of it, where only its van was unknown.
    pub(super) record: Option<Record>,
    /// Whether that file had the very same bytes.
    pub(super) same_bytes: bool,
}

/// What the file does to the list of rows set aside.
#[derive(Debug, Default)]
pub(super) struct Mended {
    pub(super) supersedes: Lines,
    /// Rows that were set aside and are in now.
    pub(super) mended: u64,
}

/// A row of the file, by its place in the accepted or the set-aside rows.
#[derive(Debug, Clone, Copy)]
enum NewRow {
    Accepted(usize),
    SetAside,
}

/// Finds for each row the earlier row whose place it takes: first the same
/// text on the same line, then the same text elsewhere, then a text on the
/// same line that shares at least half of its cells. Rows of no van that are
/// listed already become [`Verdict::AlreadyListed`].
///
/// `verdicts`: one for every accepted row.
pub(super) fn mend(file: &FileRows, earlier: &[EarlierRow], verdicts: &mut [Verdict]) -> Mended {
    if earlier.is_empty() {
        return Mended::default();
    }
    let accepted = file
        .rows
        .iter()
        .enumerate()
        .map(|(i, (line, _, text))| (NewRow::Accepted(i), Some(*line), &**text));
    let set_aside = file
        .set_aside
        .iter()
        .map(|row| (NewRow::SetAside, row.line, row.text.as_str()));
    let mut unmatched: Vec<(NewRow, Option<u64>, &str)> = accepted.chain(set_aside).collect();

    let mut waiting = Waiting::new(earlier);
    let mut taken: Vec<(usize, NewRow)> = Vec::new();
    for pass in [Fits::TextAndLine, Fits::Text, Fits::LineAndHalf] {
        unmatched.retain(|(row, line, text)| match waiting.take(pass, *line, text) {
            Some(i) => {
                taken.push((i, *row));
                false
            }
            None => true,
        });
    }

    let mut gone = Vec::new();
    let mut kept: Vec<((u64, u64), usize)> = Vec::new();
    let mut mended = 0;
    for (i, row) in taken {
        let Some(old) = earlier.get(i) else { continue };
        if let NewRow::Accepted(n) = row
            && let Some(verdict) = verdicts.get_mut(n)
        {
            let record = file.rows.get(n).map(|(_, record, _)| record);
            if *verdict != Verdict::OfNoVan {
                mended += 1;
            } else if old.record.is_some() && old.record.as_ref() == record {
                *verdict = Verdict::AlreadyListed;
                kept.push((old.listed.place(), n));
                continue;
            }
        }
        gone.push(old.listed.place());
    }
    // The same bytes were judged anew as a whole, and a file that could not
    // be read as a whole has been read now, or is listed anew.
    for i in waiting.left() {
        if let Some(old) = earlier.get(i)
            && (old.same_bytes || old.listed.line.is_none())
        {
            gone.push(old.listed.place());
        }
    }
    let supersedes: Lines = gone.into_iter().collect();
    // A line that gave several records goes as a whole: those of its records
    // that had not changed are written anew with the others.
    for ((file_id, line), n) in kept {
        if let Some(verdict) = verdicts.get_mut(n)
            && supersedes.contains(file_id, line)
        {
            *verdict = Verdict::OfNoVan;
        }
    }
    Mended { supersedes, mended }
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
                by_line.entry(line).or_default().push(i);
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
            Fits::Text => self.same_text(text),
            Fits::LineAndHalf => self.on_line(line, |old| is_alike(&old.text, text)),
        }?;
        *self.is_taken.get_mut(found)? = true;
        Some(found)
    }

    fn is_free(&self, i: usize) -> bool {
        self.is_taken.get(i) == Some(&false)
    }

    fn on_line(&self, line: Option<u64>, fits: impl Fn(&ListedRow) -> bool) -> Option<usize> {
        let found = self.by_line.get(&line?)?.iter().copied();
        let mut free = found.filter(|i| self.is_free(*i));
        free.find(|i| self.earlier.get(*i).is_some_and(|row| fits(&row.listed)))
    }

    fn same_text(&mut self, text: &str) -> Option<usize> {
        // Those taken are dropped for good, so that a text that repeats a
        // thousand times is not searched a thousand times over.
        let same = self.by_text.get_mut(text)?;
        loop {
            let i = same.pop()?;
            if self.is_taken.get(i) == Some(&false) {
                return Some(i);
            }
        }
    }

    fn left(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.earlier.len()).filter(|i| self.is_free(*i))
    }
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
