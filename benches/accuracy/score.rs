//! Scores of a set of cases for one forecaster.

use std::collections::BTreeMap;

use litrewise::inside::stats::Rng;

use crate::cases::{CAP_DAYS, Case, Three};

/// A truth and a forecast of it.
#[derive(Debug, Clone, Copy)]
pub struct Pair {
    pub cluster: u64,
    pub truth: f64,
    pub forecast: Three,
    pub elapsed: f64,
}

/// Pairs of forecaster number `who`, in days or litres.
pub fn pairs<'a>(cases: impl Iterator<Item = &'a Case>, who: usize, in_litres: bool) -> Vec<Pair> {
    cases
        .filter_map(|c| {
            let (truth, forecast) = if in_litres {
                let (truth, forecasts) = c.litres.as_ref()?;
                (*truth, (*forecasts.get(who)?)?)
            } else {
                (c.truth, (*c.forecasts.get(who)?)?)
            };
            Some(Pair {
                cluster: c.cluster,
                truth,
                forecast,
                elapsed: c.elapsed,
            })
        })
        .collect()
}

/// Mean of the pinball losses at 10, 50 and 90 %.
pub fn pinball(pair: &Pair) -> f64 {
    [0.1, 0.5, 0.9]
        .iter()
        .zip(pair.forecast)
        .map(|(p, q)| {
            let miss = pair.truth - q;
            if miss >= 0.0 {
                p * miss
            } else {
                (p - 1.0) * miss
            }
        })
        .sum::<f64>()
        / 3.0
}

#[derive(Debug, Clone, Copy, Default)]
pub struct Scores {
    pub n: usize,
    /// Median of |p50 − truth| over truth.
    pub relative_error: f64,
    /// Share of cases in which p50 is too early.
    pub early: f64,
    pub pinball: f64,
    pub coverage: f64,
    /// Share of forecasts made in the middle of life within a fifth of what is left.
    pub alpha_lambda: f64,
}

pub fn scores(pairs: &[Pair]) -> Scores {
    let n = pairs.len();
    if n == 0 {
        return Scores::default();
    }
    let mut relative: Vec<f64> = pairs
        .iter()
        .map(|p| (p.forecast[1] - p.truth).abs() / p.truth.max(1.0))
        .collect();
    relative.sort_by(f64::total_cmp);
    let share = |count: usize| count as f64 / n as f64;
    let middle: Vec<&Pair> = pairs
        .iter()
        .filter(|p| (0.4..=0.6).contains(&p.elapsed))
        .collect();
    let within = middle
        .iter()
        .filter(|p| (p.forecast[1] - p.truth).abs() <= 0.2 * p.truth)
        .count();
    // Where both are at the cap neither is early.
    let early: f64 = pairs
        .iter()
        .map(|p| {
            if p.forecast[1] < p.truth {
                1.0
            } else if p.forecast[1] == p.truth {
                0.5
            } else {
                0.0
            }
        })
        .sum();
    Scores {
        n,
        relative_error: relative[n / 2],
        early: early / n as f64,
        pinball: pairs.iter().map(pinball).sum::<f64>() / n as f64,
        coverage: share(
            pairs
                .iter()
                .filter(|p| p.forecast[0] <= p.truth && p.truth <= p.forecast[2])
                .count(),
        ),
        alpha_lambda: within as f64 / middle.len().max(1) as f64,
    }
}

/// Whether truth and the forecast's middle are both at the cap.
pub fn both_capped(case: &Case) -> bool {
    case.capped
        && case
            .forecasts
            .first()
            .copied()
            .flatten()
            .is_some_and(|f| f[1] >= CAP_DAYS)
}

/// Ratio of two forecasters' pinball losses over the same cases, with a 90 %
/// interval by bootstrap over vans.
pub fn ratio(ours: &[Pair], theirs: &[Pair]) -> (f64, f64, f64) {
    let mut by_van: BTreeMap<u64, (f64, f64)> = BTreeMap::new();
    for (a, b) in ours.iter().zip(theirs) {
        let sum = by_van.entry(a.cluster).or_default();
        sum.0 += pinball(a);
        sum.1 += pinball(b);
    }
    let sums: Vec<(f64, f64)> = by_van.into_values().collect();
    let of = |items: &mut dyn Iterator<Item = (f64, f64)>| {
        let (a, b) = items.fold((0.0, 0.0), |s, x| (s.0 + x.0, s.1 + x.1));
        a / b
    };
    let middle = of(&mut sums.iter().copied());
    let mut rng = Rng::for_part(1, "bootstrap over vans");
    let mut draws: Vec<f64> = (0..400)
        .map(|_| of(&mut (0..sums.len()).filter_map(|_| sums.get(rng.index(sums.len())).copied())))
        .collect();
    draws.sort_by(f64::total_cmp);
    let at = |p: f64| draws.get((p * 399.0) as usize).copied().unwrap_or(f64::NAN);
    (middle, at(0.05), at(0.95))
}
