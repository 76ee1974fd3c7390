//! Rows with cells too many or too few: all the ways in which they could be meant.

use super::dates::{WrittenDate, written};
use super::text::plain;

/// How many cells may be too many for a repair to be looked for.
const MOST_OVER: usize = 10;

/// One way to give a row as many cells as the header has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Alignment {
    pub cells: Vec<String>,
    pub how: Alteration,
}

/// What was done to the row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Alteration {
    /// It ends early: the last cells are empty.
    EndsEarly,
    /// Cells are missing somewhere else.
    Gap,
    /// Empty cells were taken out.
    EmptyOut,
    /// A date was parted from its neighbour, the separator between them being lost.
    Parted,
    /// Neighbours were joined by the delimiter, into this cell.
    Joined(usize),
}

impl Alteration {
    /// What is said of a row put right so.
    pub fn label(self) -> &'static str {
        match self {
            Alteration::EndsEarly => "ends early: its last cells are taken for empty",
            Alteration::Gap => "cells too few",
            Alteration::Parted => {
                "a cell too few: put right in the only way that makes sense, a separator lost beside a date"
            }
            Alteration::EmptyOut => "an empty cell too many: left out",
            Alteration::Joined(_) => {
                "cells too many: put right in the only way that makes sense, a separator within a text"
            }
        }
    }
}

/// Every way to make `width` cells of a ragged row; none where it is too far off.
pub(super) fn ways(cells: &[&str], width: usize, delimiter: char) -> Vec<Alignment> {
    if cells.len() > width && cells.len() - width <= MOST_OVER {
        let mut ways = empty_out(cells, width);
        ways.extend(joined(cells, width, delimiter));
        return ways;
    }
    if cells.len() < width && cells.len() > 1 {
        let mut ways = gaps(cells, width);
        if cells.len() + 1 == width {
            ways.extend(parted(cells));
        }
        return ways;
    }
    Vec::new()
}

fn owned(cells: &[&str]) -> Vec<String> {
    cells.iter().map(|c| (*c).to_owned()).collect()
}

fn empty_out(cells: &[&str], width: usize) -> Vec<Alignment> {
    let is_empty = |cell: &&str| plain(cell).is_empty();
    let mut ways: Vec<Alignment> = Vec::new();
    if cells.iter().skip(width).all(is_empty) {
        ways.push(Alignment {
            cells: owned(cells.get(..width).unwrap_or_default()),
            how: Alteration::EmptyOut,
        });
    }
    if cells.len() == width + 1 {
        for (at, _) in cells.iter().enumerate().filter(|(_, cell)| is_empty(cell)) {
            let mut kept = owned(cells);
            kept.remove(at);
            if ways.iter().all(|way| way.cells != kept) {
                ways.push(Alignment {
                    cells: kept,
                    how: Alteration::EmptyOut,
                });
            }
        }
    }
    ways
}

/// A delimiter within a text: its pieces are never empty.
fn joined(cells: &[&str], width: usize, delimiter: char) -> Vec<Alignment> {
    let pieces = cells.len() - width + 1;
    let join = |at: usize| {
        let (before, rest) = cells.split_at_checked(at)?;
        let (joined, after) = rest.split_at_checked(pieces)?;
        if joined.iter().any(|piece| plain(piece).is_empty()) {
            return None;
        }
        let mut row = owned(before);
        row.push(joined.join(delimiter.to_string().as_str()));
        row.extend(owned(after));
        Some(Alignment {
            cells: row,
            how: Alteration::Joined(at),
        })
    };
    (0..width).filter_map(join).collect()
}

/// A cell in which a date with a year of four digits and something else stand together.
fn parted(cells: &[&str]) -> Vec<Alignment> {
    let is_date = |text: &str| {
        let years = text.split(|c: char| !c.is_ascii_digit()).map(str::len);
        years.clone().take(3).any(|n| n == 4)
            && matches!(
                written(plain(text)).map(|written| written.date),
                Ok(WrittenDate::Sure(_) | WrittenDate::Numbers(_))
            )
    };
    let each = cells.iter().enumerate();
    let at = each.flat_map(|(n, cell)| cell.char_indices().skip(1).map(move |(at, _)| (n, at)));
    at.filter_map(|(n, at)| {
        let (left, right) = cells.get(n)?.split_at_checked(at)?;
        (is_date(left) || is_date(right)).then_some(())?;
        let mut row = owned(cells);
        row.splice(n..=n, [left.to_owned(), right.to_owned()]);
        Some(Alignment {
            cells: row,
            how: Alteration::Parted,
        })
    })
    .collect()
}

fn gaps(cells: &[&str], width: usize) -> Vec<Alignment> {
    let missing = width - cells.len();
    (1..=cells.len())
        .filter_map(|at| {
            let (before, after) = cells.split_at_checked(at)?;
            let mut row = owned(before);
            row.extend(std::iter::repeat_n(String::new(), missing));
            row.extend(owned(after));
            Some(Alignment {
                cells: row,
                how: if after.is_empty() {
                    Alteration::EndsEarly
                } else {
                    Alteration::Gap
                },
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(row: &[&str], width: usize) -> Vec<(String, Alteration)> {
        let ways = ways(row, width, ',');
        ways.into_iter()
            .map(|way| (way.cells.join("|"), way.how))
            .collect()
    }

    #[test]
    fn a_cell_too_many_is_joined_to_a_neighbour() {
        assert_eq!(
            cells(&["a", "b", "c"], 2),
            [
                ("a,b|c".to_owned(), Alteration::Joined(0)),
                ("a|b,c".to_owned(), Alteration::Joined(1)),
            ]
        );
    }

    #[test]
    fn empty_cells_are_taken_out_and_never_joined() {
        assert_eq!(
            cells(&["a", "b", ""], 2),
            [
                ("a|b".to_owned(), Alteration::EmptyOut),
                ("a,b|".to_owned(), Alteration::Joined(0)),
            ]
        );
        assert_eq!(
            cells(&["a", "", "b"], 2),
            [("a|b".to_owned(), Alteration::EmptyOut)]
        );
    }

    #[test]
    fn a_cell_too_few_leaves_a_gap_somewhere() {
        assert_eq!(
            cells(&["a", "b"], 3),
            [
                ("a||b".to_owned(), Alteration::Gap),
                ("a|b|".to_owned(), Alteration::EndsEarly),
            ]
        );
    }

    #[test]
    fn rows_far_off_are_left_alone() {
        assert!(ways(&["a"], 5, ',').is_empty());
        assert!(ways(&["a"; 16], 5, ',').is_empty());
    }
}
