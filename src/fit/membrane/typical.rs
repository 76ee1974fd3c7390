//! How long elements typically last in a district: pressure, valves and habits
//! there make of the fleet's shared numbers what those do not tell.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::shared::SharedFit;
use super::told::Told;
use crate::fit::{PartLife, Span};
use crate::stats::drift;

/// Standard deviation of `ln` typical life between districts beyond what the
/// shared numbers tell (judgement).
const DISTRICT_SD: f64 = 0.25;

/// What a district's elements add to `ln` of the typical life there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TypicalLife {
    pub addition: f64,
    pub sd: f64,
}

impl TypicalLife {
    pub const UNKNOWN: TypicalLife = TypicalLife {
        addition: 0.0,
        sd: DISTRICT_SD,
    };
}

/// One element's `ln` life beyond the typical one of the shared numbers, and the
/// variance with which its readings alone tell it.
fn own(fit: &SharedFit, told: &Told, ln_limit: f64) -> Option<(f64, f64)> {
    if !told.start_known {
        return None;
    }
    let shared = &fit.best.shared.without_lateness();
    let (addition, _) = fit.best.district(told.district.as_ref());
    let usual = shared.ln_rate + addition;
    let limit = shared.bend(ln_limit).0;
    let typical = (limit - shared.bend(shared.ln_start).0).max(0.05) / usual.exp();
    let (summary, exposure) = (told.without_lateness, told.exposure);
    // Every rate with the life that it leads to from the level it implies now.
    let rates = drift::rate_posterior(&summary, usual, shared.rate_sd);
    let life = |ln_rate: f64| {
        let rate = ln_rate.exp();
        let level = summary.level_0 + rate * summary.level_rate;
        ((exposure + (limit - level) / rate) / typical)
            .max(0.02)
            .ln()
    };
    let moments = |values: &[f64], weights: &[f64]| {
        let mean: f64 = values.iter().zip(weights).map(|(v, w)| v * w).sum();
        let second: f64 = values
            .iter()
            .zip(weights)
            .map(|(v, w)| (v - mean).powi(2) * w)
            .sum();
        (mean, second)
    };
    let lives: Vec<f64> = rates.ln_rate.iter().map(|&u| life(u)).collect();
    let (mean, variance) = moments(&lives, &rates.weight);
    // Beside the rate, the level's own spread.
    let left = (limit - summary.level_0 - rates.ln_quantile(0.5).exp() * summary.level_rate).abs();
    let level_share = left / (rates.ln_quantile(0.5).exp() * typical);
    let level = summary.level_variance / left.max(0.1).powi(2) * level_share.min(1.0).powi(2);
    let variance = variance + level;
    let start = shared.start_sd * shared.bend(shared.ln_start).1;
    let before = shared.rate_sd.powi(2) + (start / (usual.exp() * typical)).powi(2);
    let shown = 1.0 - variance / before;
    if shown < 0.1 {
        return None;
    }
    let noise = before * (1.0 - shown) / shown;
    Some((mean / shown, before + noise))
}

/// What the elements of each district add; districts without any that tell are missing.
pub fn typical_lives<'a>(
    fit: &SharedFit,
    elements: impl Iterator<Item = &'a Told>,
    ln_limit: f64,
) -> BTreeMap<Arc<str>, TypicalLife> {
    let mut by_district: BTreeMap<Arc<str>, Vec<(f64, f64)>> = BTreeMap::new();
    for told in elements {
        let own = own(fit, told, ln_limit);
        if let (Some(name), Some(own)) = (&told.district, own) {
            by_district.entry(name.clone()).or_default().push(own);
        }
    }
    by_district
        .into_iter()
        .map(|(name, list)| {
            let (middle, precision) = weighted_median(list);
            let shrink = precision / (precision + DISTRICT_SD.powi(-2));
            let typical = TypicalLife {
                addition: middle * shrink,
                sd: (1.0 - shrink).sqrt() * DISTRICT_SD,
            };
            (name, typical)
        })
        .collect()
}

/// The median of values weighted by their precision, and its own precision: of
/// normal values a median has 2/π of a mean's.
fn weighted_median(mut values: Vec<(f64, f64)>) -> (f64, f64) {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = values.iter().map(|v| 1.0 / v.1).sum();
    let mut below = 0.0;
    let mut middle = 0.0;
    for (value, variance) in values {
        middle = value;
        below += 1.0 / variance;
        if below >= 0.5 * total {
            break;
        }
    }
    (middle, total * std::f64::consts::FRAC_2_PI)
}

/// How long elements of each part last against what is typical in their water,
/// the district's own addition taken out; empty unless two parts can be compared.
pub fn lives_by_part<'a>(
    fit: &SharedFit,
    elements: impl Iterator<Item = (&'a Arc<str>, &'a Told)>,
    ln_limit: f64,
) -> Vec<PartLife> {
    /// Spread of the mean `ln` life between parts (judgement).
    const PART_SD: f64 = 0.3;
    const LEAST: usize = 2;
    let mut by_part: BTreeMap<Arc<str>, Vec<(f64, f64)>> = BTreeMap::new();
    for (part, told) in elements {
        let Some((value, variance)) = own(fit, told, ln_limit) else {
            continue;
        };
        let life = told.district.as_ref().and_then(|d| fit.typical.get(d));
        let life = life.copied().unwrap_or(TypicalLife::UNKNOWN);
        let entry = by_part.entry(part.clone()).or_default();
        entry.push((value - life.addition, variance));
    }
    by_part.retain(|_, list| list.len() >= LEAST);
    if by_part.len() < 2 {
        return Vec::new();
    }
    by_part
        .into_iter()
        .map(|(part, list)| {
            let precision: f64 = list.iter().map(|l| 1.0 / l.1).sum();
            let total = precision + PART_SD.powi(-2);
            let mean = list.iter().map(|l| l.0 / l.1).sum::<f64>() / total;
            let at = |z: f64| Some((mean + z * total.powf(-0.5)).exp());
            const Z90: f64 = 1.2816;
            PartLife {
                part,
                membranes: list.len(),
                life_over_typical: Span {
                    p10: at(-Z90),
                    p50: at(0.0),
                    p90: at(Z90),
                },
            }
        })
        .collect()
}
