//! Rows of one file tied to rows of earlier files whose place they took,
//! written small.

use super::lines::{Lines, WHOLE_FILE};

/// Where a row came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Place {
    pub(super) file_id: u64,
    /// [`WHOLE_FILE`] for a whole file.
    pub(super) line: u64,
}

/// Runs of tied rows, in order of line.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Ties(Vec<Run>);

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

impl Ties {
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

    pub(super) fn from_text(text: &str) -> Option<Ties> {
        let mut runs = Vec::new();
        for run in text.split(';').filter(|run| !run.is_empty()) {
            match run.split_once('>') {
                Some((from, to)) => runs.push(Run::from_text(from, to)?),
                None => without_lines(run, &mut runs)?,
            }
        }
        Some(Ties(runs))
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

impl FromIterator<(u64, Place)> for Ties {
    fn from_iter<I: IntoIterator<Item = (u64, Place)>>(ties: I) -> Ties {
        let mut ties: Vec<(u64, Place)> = ties.into_iter().collect();
        ties.sort_unstable();
        ties.dedup();
        let mut packed = Ties::default();
        for (line, to) in ties {
            packed.push(line, to);
        }
        packed
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

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
        let packed: Ties = ties.into_iter().collect();
        assert_eq!(packed.to_text(), "0x2>5:7;2x2>3:2;4>3:9;4>4:4");
        let again = Ties::from_text(&packed.to_text()).unwrap();
        assert_eq!(again, packed);
        let mut sorted = ties;
        sorted.sort_unstable();
        assert_eq!(again.iter().collect::<Vec<_>>(), sorted);
        assert!(again.taken().contains(5, 8) && !again.taken().contains(5, 9));
        for wrong in ["x", "2>3", "2x0>3:2", "2>3:18446744073709551615"] {
            assert_eq!(Ties::from_text(wrong), None, "{wrong}");
        }
        assert_eq!(Ties::from_text(""), Some(Ties::default()));
        // As written before lines were kept.
        let old = Ties::from_text("3:0,2-4;5:7").unwrap();
        let taken = old.taken();
        assert_eq!(taken.of_file(3), [(0, 0), (2, 4)]);
        assert!(taken.contains(5, 7));
        assert_eq!(Ties::from_text("3:4-2"), None);
    }
}
