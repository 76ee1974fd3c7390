//! Which rows of which ingested files, written small.

use std::collections::BTreeMap;

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

#[cfg(test)]
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
}
