//! Rows that were accepted before, in a file with the same bytes: where a
//! second reading sets them aside, they are in the store all the same.

use std::collections::{BTreeSet, HashMap};

use super::error::StoreError;
use super::files::FinishedFile;
use super::lineage::{Lines, Place, WHOLE_FILE};
use super::part::Part;
use super::set_aside::lines;

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
