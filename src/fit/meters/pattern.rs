//! How the membranes of a fleet begin and age, as far as their readings tell before any
//! law is fitted: what a break has to stand out from.

use crate::lives::VanLives;
use crate::stats::robust::{mad_sd, median_in_place};

/// Litres of a membrane in which its ageing is measured, and its usual rise in so many, ln.
pub(super) const LITRES: f64 = 30_000.0;
const USUAL_RISE: f64 = 0.4;
/// Bounds of the spread of that rise, and of what new membranes read, ln.
const RISE_SPREAD: (f64, f64) = (0.2, 0.8);
const NEW_SPREAD: (f64, f64) = (0.15, 0.45);

/// How the membranes of a fleet begin and age.
#[derive(Debug, Clone, Copy)]
pub struct Pattern {
    /// `ln` salt passage of new ones in the middle, and its spread; `None` where too few
    /// were seen.
    pub new: Option<(f64, f64)>,
    /// Rise in [`LITRES`], `ln`, in the middle, and its spread.
    pub rise: (f64, f64),
}

impl Default for Pattern {
    fn default() -> Pattern {
        Pattern {
            new: None,
            rise: (USUAL_RISE, RISE_SPREAD.1),
        }
    }
}

impl Pattern {
    /// Of what the membranes of a fleet read when new, and of the rises of those that were
    /// read for long enough.
    pub(super) fn of(new: &[f64], rises: &[f64]) -> Pattern {
        const MEMBRANES: usize = 6;
        let middle = |of: &[f64], (least, most): (f64, f64), wider: f64| {
            let spread = wider * mad_sd(of).ok()?;
            let middle = median_in_place(&mut of.to_vec()).ok()?;
            (of.len() >= MEMBRANES).then_some((middle, spread.clamp(least, most)))
        };
        Pattern {
            new: middle(new, NEW_SPREAD, 1.0),
            // Some age much faster than most.
            rise: middle(rises, RISE_SPREAD, 1.5).unwrap_or(Pattern::default().rise),
        }
    }
}

/// By how much each membrane of a van rose in so many litres, `ln`: the later half of its
/// readings beside the earlier.
pub(super) fn rises(van: &VanLives) -> Vec<f64> {
    const READINGS: usize = 8;
    const APART: f64 = 0.2;
    let of = van.elements.iter().filter_map(|e| {
        let seen = e
            .points
            .iter()
            .filter(|p| p.at_base && p.salt_passage > 0.0);
        let (ages, lns): (Vec<f64>, Vec<f64>) = seen
            .map(|p| {
                (
                    p.litres_by_level.iter().sum::<f64>() / LITRES,
                    p.salt_passage.ln(),
                )
            })
            .unzip();
        (ages.len() >= READINGS).then_some(())?;
        let halves = |of: &[f64]| {
            let (early, late) = of.split_at(of.len() / 2);
            let middle = |of: &[f64]| median_in_place(&mut of.to_vec()).ok();
            Some(middle(late)? - middle(early)?)
        };
        let (age, rise) = (halves(&ages)?, halves(&lns)?);
        (age >= APART).then_some(rise / age)
    });
    of.collect()
}

/// What a new membrane read, `ln`, by each that was fitted on record: its first readings,
/// with the usual rise until then taken off.
pub(super) fn when_new(van: &VanLives) -> Vec<f64> {
    const FIRST: usize = 8;
    const YOUNG: f64 = 0.5;
    const LEAST_YOUNG: usize = 2;
    let known = van.elements.iter().filter(|e| e.fitted_on.is_some());
    known
        .filter_map(|e| {
            let young = e.points.iter().take(FIRST).filter_map(|p| {
                let age = p.litres_by_level.iter().sum::<f64>() / LITRES;
                (p.salt_passage > 0.0 && age < YOUNG)
                    .then(|| p.salt_passage.ln() - USUAL_RISE * age)
            });
            let mut young: Vec<f64> = young.collect();
            (young.len() >= LEAST_YOUNG).then_some(())?;
            median_in_place(&mut young).ok()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 25 like each other and five that age many times as fast: the middle and the spread
    /// are the many's, a few tell nothing.
    #[test]
    fn the_pattern_is_that_of_most_membranes() {
        let new: Vec<f64> = (0..30)
            .map(|i| -3.4 + 0.02 * f64::from(i % 11 - 5))
            .collect();
        let mut rises: Vec<f64> = (0..25).map(|i| 0.5 + 0.05 * f64::from(i % 7 - 3)).collect();
        rises.extend([3.0; 5]);
        let pattern = Pattern::of(&new, &rises);
        let (level, spread) = pattern.new.unwrap();
        assert!((level + 3.4).abs() < 0.03 && spread == NEW_SPREAD.0);
        assert!((pattern.rise.0 - 0.5).abs() < 0.08, "{pattern:?}");
        assert!(pattern.rise.1 < 0.4, "{pattern:?}");
        let few = Pattern::of(&new[..3], &rises[..3]);
        assert!(few.new.is_none() && few.rise == Pattern::default().rise);
    }
}
