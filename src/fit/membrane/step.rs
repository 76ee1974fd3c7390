//! A lasting step up in salt passage: a seal, an O-ring, frost.

use crate::calendar::Date;
use crate::lives::{PassagePoint, ROUNDING_PPM};
use crate::stats::robust::median;
use crate::stats::special::normal_cdf;

/// A lasting step in salt passage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    pub date: Date,
    /// Salt passage after over before.
    pub ratio: f64,
    pub probability: f64,
}

/// Chance that an element steps at all during its life (judgement).
const PRIOR: f64 = 0.04;
/// Spread of the size of a step, on the log scale.
const SIZE_SD: f64 = 0.7;
/// Readings that must stand on either side.
const BEFORE: usize = 3;
const AFTER: usize = 2;

/// The most probable lasting step among the newest readings, if any is more
/// likely than not. `points`: one element, oldest first; `ln`: `ln` salt passage of each.
/// `spare_variance`: what the path may wander between neighbouring readings.
pub fn step_of(
    points: &[PassagePoint],
    ln: &[f64],
    noise: f64,
    spare_variance: f64,
    growth: impl Fn(usize, usize) -> f64,
) -> Option<Step> {
    const WINDOW: usize = 30;
    let from = points.len().saturating_sub(WINDOW);
    let splits: Vec<usize> = (from.max(BEFORE)..(points.len() + 1).saturating_sub(AFTER)).collect();
    let mut odds_sum = 0.0;
    let mut best: Option<(f64, usize, f64)> = None;
    for &k in &splits {
        let (before, after) = (
            ln.get(k.saturating_sub(5)..k)?,
            ln.get(k..(k + 5).min(ln.len()))?,
        );
        let sd = points.get(k).map_or(0.1, |p| p.sd_ln) * noise;
        // 1.57: a median is that much less sure than a mean of normal noise.
        let variance = 1.57 * sd * sd * (1.0 / before.len() as f64 + 1.0 / after.len() as f64)
            + spare_variance * 3.0
            // Whole ppm are off by the same at each look at a steady level.
            + points.get(k).map_or(0.0, |p| {
                2.0 * (ROUNDING_PPM / p.permeate_ppm.max(0.5)).powi(2)
            });
        let expected = growth(k.saturating_sub(before.len() / 2 + 1), k + after.len() / 2);
        let rise = median(after).ok()? - median(before).ok()? - expected;
        let factor = upward_factor(rise, variance);
        odds_sum += factor;
        if best.is_none_or(|(f, ..)| factor > f) {
            best = Some((factor, k, rise));
        }
    }
    let (_, k, rise) = best?;
    let mean_factor = odds_sum / splits.len() as f64;
    let odds = PRIOR / (1.0 - PRIOR) * mean_factor;
    let probability = odds / (1.0 + odds);
    let ratio = rise.exp();
    (probability > 0.5 && ratio > 1.2)
        .then(|| {
            Some(Step {
                date: points.get(k)?.date,
                ratio,
                probability,
            })
        })
        .flatten()
}

/// How much likelier `rise` is under a step up of unknown size than under none.
fn upward_factor(rise: f64, variance: f64) -> f64 {
    let total = variance + SIZE_SD * SIZE_SD;
    let shrink = SIZE_SD * SIZE_SD / total;
    let (mean, sd) = (shrink * rise, (shrink * variance).sqrt());
    let log = 0.5 * (variance / total).ln() + 0.5 * rise * rise * (1.0 / variance - 1.0 / total);
    // Capped: no reading alone is evidence beyond all measure.
    2.0 * log.min(60.0).exp() * normal_cdf(mean / sd)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::tests::{element, growing};

    #[test]
    fn a_lasting_step_is_seen_and_creep_is_not_called_one() {
        let step = |passage: &dyn Fn(usize) -> f64| {
            let life = element(30, passage);
            let ln: Vec<f64> = life.points.iter().map(|p| p.salt_passage.ln()).collect();
            step_of(&life.points, &ln, 0.8, 0.0007, |_, _| 0.03)
        };
        let stepped = step(&|i| if i < 22 { 0.03 } else { 0.06 }).unwrap();
        assert!((stepped.ratio - 2.0).abs() < 0.3, "{stepped:?}");
        assert!(stepped.probability > 0.9, "{stepped:?}");
        assert_eq!(step(&|i| growing(i, 30)), None);
    }
}
