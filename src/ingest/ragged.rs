//! Rows with a cell too many or too few: put right where exactly one way of
//! doing it makes a sound row.

/// How many cells may be too many for a repair to be looked for.
const MOST_OVER: usize = 10;

/// All ways to make `width` cells of a ragged row: neighbours joined by the
/// delimiter, or empty cells put in. Empty where the row is too far off.
pub(super) fn alignments(cells: &[&str], width: usize, delimiter: char) -> Vec<Vec<String>> {
    let owned = |part: &[&str]| part.iter().map(|c| (*c).to_owned()).collect::<Vec<_>>();
    if cells.len() > width && cells.len() - width <= MOST_OVER {
        let join = cells.len() - width + 1;
        let beyond = cells.get(width..).unwrap_or_default();
        let trimmed = beyond
            .iter()
            .all(|cell| cell.trim().is_empty())
            .then(|| owned(cells.get(..width).unwrap_or_default()));
        let joined = (0..width).filter_map(|at| {
            let (before, rest) = cells.split_at_checked(at)?;
            let (joined, after) = rest.split_at_checked(join)?;
            let mut row = owned(before);
            row.push(joined.join(&delimiter.to_string()));
            row.extend(owned(after));
            Some(row)
        });
        return trimmed.into_iter().chain(joined).collect();
    }
    if cells.len() < width && cells.len() > 1 {
        let missing = width - cells.len();
        return (1..=cells.len())
            .filter_map(|at| {
                let (before, after) = cells.split_at_checked(at)?;
                let mut row = owned(before);
                row.extend(std::iter::repeat_n(String::new(), missing));
                row.extend(owned(after));
                Some(row)
            })
            .collect();
    }
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_too_many_is_joined_to_a_neighbour() {
        let ways = alignments(&["a", "b", "c"], 2, ',');
        assert_eq!(ways, [vec!["a,b", "c"], vec!["a", "b,c"]]);
    }

    #[test]
    fn empty_cells_at_the_end_may_be_dropped() {
        let ways = alignments(&["a", "b", ""], 2, ';');
        assert_eq!(ways, [vec!["a", "b"], vec!["a;b", ""], vec!["a", "b;"]]);
    }

    #[test]
    fn a_cell_too_few_leaves_a_gap_somewhere() {
        let ways = alignments(&["a", "b"], 3, ';');
        assert_eq!(ways, [vec!["a", "", "b"], vec!["a", "b", ""]]);
    }

    #[test]
    fn rows_far_off_are_left_alone() {
        assert!(alignments(&["a"], 5, ',').is_empty());
        assert!(alignments(&["a"; 16], 5, ',').is_empty());
    }
}
