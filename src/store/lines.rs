//! Which rows of which ingested files, written small.

use std::collections::BTreeMap;

/// Stands for the whole file, which has no line of its own.
pub(super) const WHOLE_FILE: u64 = 0;

/// Lines of ingested files: file id → ranges of lines, both ends included.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Lines(BTreeMap<u64, Vec<(u64, u64)>>);

impl Lines {
    pub(super) fn contains(&self, file_id: u64, line: u64) -> bool {
        let Some(ranges) = self.0.get(&file_id) else {
            return false;
        };
        let after = ranges.partition_point(|(first, _)| *first <= line);
        after
            .checked_sub(1)
            .and_then(|i| ranges.get(i))
            .is_some_and(|(_, last)| line <= *last)
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

    /// `3:0,2-99;5:7`
    pub(super) fn to_text(&self) -> String {
        let range = |(first, last): &(u64, u64)| {
            if first == last {
                first.to_string()
            } else {
                format!("{first}-{last}")
            }
        };
        let files = self.0.iter().map(|(file_id, ranges)| {
            let ranges: Vec<String> = ranges.iter().map(range).collect();
            format!("{file_id}:{}", ranges.join(","))
        });
        files.collect::<Vec<_>>().join(";")
    }

    pub(super) fn from_text(text: &str) -> Option<Lines> {
        let mut lines = Lines::default();
        for file in text.split(';').filter(|f| !f.is_empty()) {
            let (file_id, ranges) = file.split_once(':')?;
            let ranges = ranges.split(',').map(|range| {
                let (first, last) = range.split_once('-').unwrap_or((range, range));
                Some((first.parse().ok()?, last.parse().ok()?))
            });
            lines
                .0
                .insert(file_id.parse().ok()?, ranges.collect::<Option<Vec<_>>>()?);
        }
        Some(lines)
    }
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
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_found_again_after_writing() {
        let rows = [(3, 2), (3, 3), (3, 4), (3, 9), (5, WHOLE_FILE), (3, 3)];
        let lines: Lines = rows.into_iter().collect();
        assert_eq!(lines.to_text(), "3:2-4,9;5:0");
        let again = Lines::from_text(&lines.to_text()).unwrap();
        assert_eq!(again, lines);
        for (file_id, line) in rows {
            assert!(again.contains(file_id, line));
        }
        for (file_id, line) in [(3, 1), (3, 5), (3, 10), (4, 2), (5, 1)] {
            assert!(!again.contains(file_id, line), "{file_id}:{line}");
        }
        let mut both = lines;
        both.extend(&[(3, 5), (3, 7), (4, 1)].into_iter().collect());
        assert_eq!(both.to_text(), "3:2-5,7,9;4:1;5:0");
        assert_eq!(Lines::from_text("x"), None);
        assert_eq!(Lines::from_text(""), Some(Lines::default()));
    }
}
