//! Changes that nobody wrote down: what the readings tell by recovering.

use super::median::median_of;

/// One value of a series with what belongs to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Level {
    /// Number of the look.
    pub observation: usize,
    /// `ln` salt passage at 25 °C.
    pub ln_salt_passage: f64,
    /// Standard deviation of that by what meters resolve.
    pub sd_ln: f64,
    pub permeate_ppm: f64,
    /// What else may explain a fall: different numbers mean that the van moved
    /// or that a probe was changed in between.
    pub regime: u32,
    /// Recorded changes well before this look: what was before one says nothing
    /// of a fall after it.
    pub recorded: usize,
}

/// A fall of 40 % within one gap, as a difference of logarithms.
const FALL_LN: f64 = 0.510_825_623_765_990_7;
/// The permeate itself must fall to this share; else the feed probe did it.
const PERMEATE_SHARE: f64 = 0.8;
/// It must fall by this many ppm: in soft water a permeate between 1 and 2 ppm
/// is rounded up and down, and salt passage halves and doubles with it.
const PERMEATE_FALL_PPM: f64 = 3.0;
/// Standard deviations of the difference of medians that chance may explain.
const CHANCE_SDS: f64 = 4.0;
/// Looks before and after that are compared; two high ones before a fall are
/// an excursion, not an ageing membrane.
const LOOKS_BEFORE: usize = 5;
const LOOKS_AFTER: usize = 3;
const LOOKS_AT_LEAST: usize = 2;

/// Gaps over which salt passage fell and stayed low: numbers of the looks
/// before and after each. `levels`: oldest first.
pub(crate) fn falls(levels: &[Level]) -> Vec<(usize, usize)> {
    let scatter = step_scatter(levels);
    let mut found: Vec<(usize, usize)> = Vec::new();
    let mut since = 0;
    let mut n = LOOKS_AT_LEAST;
    while n + LOOKS_AT_LEAST <= levels.len() {
        if fall_at(levels, since, n, scatter).is_some() {
            let best = steepest(levels, since, n, scatter);
            if let (Some(before), Some(after)) = (levels.get(best - 1), levels.get(best)) {
                found.push((before.observation, after.observation));
            }
            since = best;
            n = best + LOOKS_AT_LEAST;
        } else {
            n += 1;
        }
    }
    found
}

/// The gap with the largest single drop among the next ones that also qualify.
fn steepest(levels: &[Level], since: usize, from: usize, scatter: f64) -> usize {
    let drop = |n: usize| match (levels.get(n - 1), levels.get(n)) {
        (Some(a), Some(b)) => a.ln_salt_passage - b.ln_salt_passage,
        _ => f64::NEG_INFINITY,
    };
    let mut best = from;
    for n in from + 1..(from + LOOKS_AFTER).min(levels.len()) {
        if fall_at(levels, since, n, scatter).is_some() && drop(n) > drop(best) {
            best = n;
        }
    }
    best
}

/// How far salt passage fell between looks `n − 1` and `n`, if it did and stayed.
fn fall_at(levels: &[Level], since: usize, n: usize, scatter: f64) -> Option<f64> {
    let before = levels.get(since.max(n.saturating_sub(LOOKS_BEFORE))..n)?;
    let after = levels.get(n..(n + LOOKS_AFTER).min(levels.len()))?;
    let (last, first) = (before.last()?, after.first()?);
    // Asked first, as it nearly always settles the matter.
    if last.ln_salt_passage - first.ln_salt_passage <= FALL_LN / 2.0 {
        return None;
    }
    let own = before
        .iter()
        .rev()
        .take_while(|l| l.regime == last.regime && l.recorded == last.recorded)
        .count();
    let before = before.get(before.len() - own..)?;
    let comparable = after.iter().take_while(|l| l.regime == last.regime);
    let after = after.get(..comparable.count())?;
    if before.len() < LOOKS_AT_LEAST || after.len() < LOOKS_AT_LEAST {
        return None;
    }
    let was = median_of(before.iter().map(|level| level.ln_salt_passage))?;
    let is = median_of(after.iter().map(|level| level.ln_salt_passage))?;
    let permeate_was = median_of(before.iter().map(|level| level.permeate_ppm))?;
    let permeate_is = median_of(after.iter().map(|level| level.permeate_ppm))?;
    let resolved = before.iter().chain(after).map(|level| level.sd_ln);
    let shares = 1.0 / before.len() as f64 + 1.0 / after.len() as f64;
    let chance = CHANCE_SDS * median_of(resolved)?.max(scatter) * shares.sqrt();
    let fall = was - is;
    // Every look after it is down, and the one before it is not yet.
    let middle = was - fall / 2.0;
    let stays = after.iter().all(|level| level.ln_salt_passage < middle);
    let sudden = last.ln_salt_passage > middle;
    (fall > FALL_LN.max(chance)
        && stays
        && sudden
        && permeate_is < PERMEATE_SHARE * permeate_was
        && permeate_was - permeate_is >= PERMEATE_FALL_PPM)
        .then_some(fall)
}

/// Robust standard deviation of one look, from the steps between neighbours.
fn step_scatter(levels: &[Level]) -> f64 {
    let steps = levels.iter().zip(levels.iter().skip(1));
    let typical = median_of(steps.map(|(a, b)| (b.ln_salt_passage - a.ln_salt_passage).abs()));
    // Median absolute deviation to standard deviation; a step holds two looks.
    typical.map_or(0.0, |mad| 1.4826 * mad / std::f64::consts::SQRT_2)
}

/// One product reading with what belongs to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ProductLevel {
    pub observation: usize,
    pub product_ppm: f64,
    /// What entered the resin, where known.
    pub permeate_ppm: Option<f64>,
    /// Mains-fed litres up to here, L.
    pub litres: f64,
    pub regime: u32,
}

/// Product this low is fresh resin.
const FRESH_PPM: f64 = 1.0;
/// Product from here on, or from half the limit on, is a charge going.
const GOING_PPM: f64 = 3.0;
/// Product must fall by this much: a meter that shows whole ppm wanders by one.
const PRODUCT_FALL_PPM: f64 = 2.5;

/// Gaps over which product water went from spent to fresh while water was
/// still made: numbers of the looks before and after. `levels`: oldest first.
/// `litres_known`: whether fills are recorded. `resin_only`: no membrane, so
/// one look may be all there is between fresh and spent.
pub(crate) fn fresh_again(
    levels: &[ProductLevel],
    limit_ppm: f64,
    litres_known: bool,
    resin_only: bool,
) -> Vec<(usize, usize)> {
    let going = GOING_PPM.min(limit_ppm / 2.0);
    let mut found = Vec::new();
    for n in 1..levels.len() {
        let (Some(last), Some(first)) = (levels.get(n - 1), levels.get(n)) else {
            continue;
        };
        let before = levels.get(n.saturating_sub(LOOKS_AFTER)..n);
        let after = levels.get(n..(n + LOOKS_AFTER).min(levels.len()));
        let (Some(before), Some(after)) = (before, after) else {
            continue;
        };
        if after.len() < LOOKS_AT_LEAST {
            break;
        }
        if last.product_ppm < going {
            continue;
        }
        // One splashed cup is no spent charge: the ones before it had risen too.
        let had_risen = median_of(before.iter().map(|level| level.product_ppm))
            .is_some_and(|ppm| ppm > FRESH_PPM);
        let spent = had_risen || (resin_only && last.product_ppm > limit_ppm);
        let fell = median_of(after.iter().map(|level| level.product_ppm))
            .is_some_and(|ppm| last.product_ppm - ppm >= PRODUCT_FALL_PPM);
        let fresh = after.iter().all(|level| {
            level.product_ppm <= FRESH_PPM
                // A permeate that is itself this low tells nothing of the resin.
                && level.permeate_ppm.is_none_or(|ppm| ppm > level.product_ppm + 1.0)
        });
        let water_made =
            !litres_known || after.last().is_some_and(|level| level.litres > last.litres);
        if spent && fell && fresh && water_made && last.regime == first.regime {
            found.push((last.observation, first.observation));
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels(salt_passages: &[f64]) -> Vec<Level> {
        salt_passages
            .iter()
            .enumerate()
            .map(|(observation, sp)| Level {
                observation,
                ln_salt_passage: sp.ln(),
                permeate_ppm: 300.0 * sp,
                sd_ln: 0.14,
                regime: 0,
                recorded: 0,
            })
            .collect()
    }

    const CHANGED: [f64; 12] = [
        0.061, 0.066, 0.064, 0.071, 0.074, 0.078, 0.081, 0.029, 0.031, 0.030, 0.030, 0.032,
    ];

    #[test]
    fn a_recovery_that_stays_is_a_replacement() {
        assert_eq!(falls(&levels(&CHANGED)), [(6, 7)]);
    }

    #[test]
    fn one_splashed_probe_is_no_replacement() {
        let high = [0.04, 0.041, 0.04, 0.12, 0.042, 0.041, 0.043];
        assert!(falls(&levels(&high)).is_empty());
        let low = [0.08, 0.081, 0.08, 0.03, 0.082, 0.081, 0.083];
        assert!(falls(&levels(&low)).is_empty());
    }

    #[test]
    fn two_high_looks_in_a_row_are_an_excursion() {
        let high = [0.04, 0.041, 0.04, 0.09, 0.092, 0.041, 0.043, 0.042];
        assert!(falls(&levels(&high)).is_empty());
    }

    #[test]
    fn a_feed_probe_that_reads_more_is_no_new_membrane() {
        let mut same_permeate = levels(&CHANGED);
        for level in &mut same_permeate {
            level.permeate_ppm = 20.0;
        }
        assert!(falls(&same_permeate).is_empty());
    }

    #[test]
    fn rounding_in_soft_water_is_no_replacement() {
        let rounded = [2.0, 2.0, 2.0, 2.0, 1.0, 1.0, 1.0, 1.0, 2.0, 1.0, 1.0];
        let mut soft = levels(&rounded.map(|ppm| ppm / 45.0));
        for (level, ppm) in soft.iter_mut().zip(rounded) {
            level.permeate_ppm = ppm;
        }
        assert!(falls(&soft).is_empty());
    }

    #[test]
    fn a_fall_with_a_probe_service_is_no_replacement() {
        let mut serviced = levels(&CHANGED);
        for level in serviced.iter_mut().skip(7) {
            level.regime = 1;
        }
        assert!(falls(&serviced).is_empty());
    }

    #[test]
    fn high_looks_on_a_new_membrane_are_not_held_against_the_old_one() {
        let renewed = [
            0.11, 0.12, 0.12, 0.13, 0.12, 0.031, 0.055, 0.030, 0.031, 0.030, 0.030,
        ];
        let mut seen = levels(&renewed);
        for level in seen.iter_mut().skip(6) {
            level.recorded = 1;
        }
        assert_eq!(falls(&seen), [(4, 5)]);
    }

    #[test]
    fn a_slow_decline_of_salt_passage_is_no_replacement() {
        let slow: Vec<f64> = (0..30)
            .map(|n| 0.09 * (-0.06 * f64::from(n)).exp())
            .collect();
        assert!(falls(&levels(&slow)).is_empty());
    }

    fn products(values: &[f64]) -> Vec<ProductLevel> {
        values
            .iter()
            .enumerate()
            .map(|(observation, ppm)| ProductLevel {
                observation,
                product_ppm: *ppm,
                permeate_ppm: Some(14.0),
                litres: 300.0 * observation as f64,
                regime: 0,
            })
            .collect()
    }

    #[test]
    fn product_that_is_fresh_again_means_new_resin() {
        let seen = products(&[0.0, 0.0, 2.0, 3.5, 6.0, 0.0, 0.0, 1.0]);
        assert_eq!(fresh_again(&seen, 10.0, true, false), [(4, 5)]);
        assert!(fresh_again(&products(&[0.0, 0.0, 9.0, 0.0, 0.0]), 10.0, true, false).is_empty());
        assert_eq!(
            fresh_again(&products(&[0.0, 0.0, 19.0, 0.0, 0.0]), 10.0, true, true),
            [(2, 3)]
        );
    }

    #[test]
    fn whole_ppm_that_wander_are_no_new_resin() {
        let wandering = products(&[0.0, 1.0, 2.0, 1.0, 3.0, 1.0, 1.0, 1.0, 2.0]);
        assert!(fresh_again(&wandering, 10.0, true, false).is_empty());
        let plateau = products(&[2.0, 3.0, 3.0, 3.0, 0.0, 0.0, 1.0, 0.0]);
        assert_eq!(fresh_again(&plateau, 10.0, true, false), [(3, 4)]);
    }

    #[test]
    fn fresh_product_without_water_made_is_no_new_resin() {
        let mut bought_in = products(&[0.0, 2.0, 3.5, 6.0, 0.0, 0.0]);
        for level in bought_in.iter_mut().skip(3) {
            level.litres = 900.0;
        }
        assert!(fresh_again(&bought_in, 10.0, true, false).is_empty());
    }
}
