//! The middle of a few numbers.

/// Median; puts `values` in another order. `None` for an empty slice.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    /// So few are put in order sooner than parted.
    const FEW: usize = 20;
    let (middle, odd) = (values.len() / 2, values.len() % 2 == 1);
    if values.len() <= FEW {
        values.sort_unstable_by(f64::total_cmp);
        let upper = *values.get(middle)?;
        if odd {
            return Some(upper);
        }
        return values.get(middle - 1).map(|lower| (lower + upper) / 2.0);
    }
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    if odd {
        return Some(*upper);
    }
    let lower = below.iter().copied().max_by(f64::total_cmp)?;
    Some((lower + *upper) / 2.0)
}

/// The same, of a running collection.
pub(crate) fn median_of(values: impl Iterator<Item = f64>) -> Option<f64> {
    median(&mut values.collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_the_middle_or_the_mean_of_the_two_middles() {
        assert_eq!(median_of([3.0, 1.0, 2.0].into_iter()), Some(2.0));
        assert_eq!(median_of([4.0, 1.0, 2.0, 3.0].into_iter()), Some(2.5));
        assert_eq!(median(&mut []), None);
    }
}
