//! How long elements of each make last against what is usual in their water.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::element_likelihood::ElementLikelihood;
use crate::fit::{PartLife, Span};

/// Standard deviation of `ln` life between districts beyond what the shared numbers
/// tell (judgement).
const DISTRICT_SD: f64 = 0.25;

/// What the elements of each district add to `ln` life there.
fn by_district<'a>(
    elements: impl Iterator<Item = &'a ElementLikelihood>,
) -> BTreeMap<Arc<str>, f64> {
    let mut lives: BTreeMap<Arc<str>, Vec<(f64, f64)>> = BTreeMap::new();
    for told in elements {
        if let (Some(name), Some(life)) = (&told.district, told.life) {
            lives.entry(name.clone()).or_default().push(life);
        }
    }
    lives
        .into_iter()
        .map(|(name, list)| {
            let (middle, precision) = weighted_median(list);
            let shrink = precision / (precision + DISTRICT_SD.powi(-2));
            (name, middle * shrink)
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

/// How long elements of each part last against what is usual in their water, the
/// district's own addition taken out; empty unless two parts can be compared. `all`: of
/// every element, `named`: of those whose part is on record.
pub fn lives_by_part<'a>(
    all: impl Iterator<Item = &'a ElementLikelihood>,
    named: impl Iterator<Item = (&'a Arc<str>, &'a ElementLikelihood)>,
) -> Vec<PartLife> {
    /// Spread of the mean `ln` life between parts (judgement).
    const PART_SD: f64 = 0.3;
    const LEAST: usize = 2;
    let districts = by_district(all);
    let mut by_part: BTreeMap<Arc<str>, Vec<(f64, f64)>> = BTreeMap::new();
    for (part, told) in named {
        let Some((value, variance)) = told.life else {
            continue;
        };
        let addition = told.district.as_ref().and_then(|d| districts.get(d));
        let entry = by_part.entry(part.clone()).or_default();
        entry.push((value - addition.copied().unwrap_or(0.0), variance));
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
