use nalgebra::{DMatrix, DVector};

use super::*;
use crate::stats::drift;
use crate::stats::random::Rng;
use crate::stats::special::normal_cdf;

const START: Drifting = Drifting {
    start_mean: 0.0,
    start_variance: 0.04,
    wander: 0.002,
};

fn look(advance: f64, y: f64, variance: f64) -> Look {
    Look {
        advance,
        y,
        variance,
        jump: 0.0,
    }
}

fn some_looks() -> Vec<Look> {
    [
        (1.0, 0.1, 0.01),
        (2.0, 0.16, 0.02),
        (1.5, 0.2, 0.01),
        (0.5, 0.71, 0.01),
        (2.0, 0.8, 0.015),
    ]
    .map(|(a, y, v)| look(a, y, v))
    .to_vec()
}

/// `ln` density of the looks by their whole covariance, a step of a size of
/// normal spread added from one look on.
fn dense(looks: &[Look], rate: f64, step: Option<(usize, f64)>) -> f64 {
    let at: Vec<f64> = looks
        .iter()
        .scan(0.0, |sum, l| {
            *sum += l.advance;
            Some(*sum)
        })
        .collect();
    let n = looks.len();
    let after = |i: usize| step.map_or(0.0, |(k, _)| if i >= k { 1.0 } else { 0.0 });
    let size = step.map_or(0.0, |s| s.1);
    let covariance = DMatrix::from_fn(n, n, |i, j| {
        START.start_variance
            + START.wander * at[i].min(at[j])
            + if i == j { looks[i].variance } else { 0.0 }
            + size * size * after(i) * after(j)
    });
    let miss = DVector::from_fn(n, |i, _| looks[i].y - rate * at[i]);
    let solved = covariance.clone().lu().solve(&miss).unwrap();
    -0.5 * (miss.dot(&solved)
        + covariance.determinant().ln()
        + n as f64 * (2.0 * std::f64::consts::PI).ln())
}

/// One rate only.
fn known(rate: f64) -> Rates {
    Rates(vec![Rate { rate, share: 1.0 }])
}

#[test]
fn the_sums_are_those_of_the_drifting_path() {
    let looks = some_looks();
    let mut vigil = Vigil::new(&START, 9);
    looks.iter().for_each(|l| vigil.look(l, 7.0));
    let summary = drift::summarise(&looks, &START);
    for rate in [0.0, 0.03, 0.2] {
        assert!((vigil.summary.log_likelihood(rate) - summary.log_likelihood(rate)).abs() < 1e-12);
        assert!((vigil.summary.log_likelihood(rate) - dense(&looks, rate, None)).abs() < 1e-10);
    }
}

#[test]
fn a_steps_evidence_is_that_of_the_whole_covariance() {
    let looks = some_looks();
    let mut vigil = Vigil::new(&START, 9);
    looks.iter().for_each(|l| vigil.look(l, 7.0));
    let rates = known(0.05);
    let (days, seen) = vigil.steps(&rates, &[1.0], StepSize(0.5));
    // Two-sided by the covariance; one-sided by the share of the sizes that are up.
    let mut expected = 0.0;
    let mut best = (0.0, 0);
    for k in LEAST_BEFORE..looks.len() {
        let ratio = (dense(&looks, 0.05, Some((k, 0.5))) - dense(&looks, 0.05, None)).exp();
        let s = vigil.steps[k - LEAST_BEFORE];
        let precision = s.information + 4.0;
        let z = (s.by_miss - 0.05 * s.by_rate) / precision.sqrt();
        let part = 7.0 * 2.0 * ratio * normal_cdf(z);
        expected += part;
        if part > best.0 {
            best = (part, k);
        }
    }
    assert!((days / expected - 1.0).abs() < 1e-9, "{days} {expected}");
    let seen = seen.unwrap();
    assert_eq!((seen.look, best.1), (3, 3));
    assert!((0.3..0.7).contains(&seen.size), "{}", seen.size);
}

/// A unit seen weekly, with a rate of its own and a step at some look.
fn unit(rng: &mut Rng, rate: f64, weeks: usize, step: Option<(usize, f64)>) -> Vec<Look> {
    let mut level = START.start_mean + START.start_variance.sqrt() * rng.normal();
    (0..weeks)
        .map(|week| {
            level += rate + START.wander.sqrt() * rng.normal();
            if let Some((at, size)) = step
                && at == week
            {
                level += size;
            }
            look(1.0, level + 0.08 * rng.normal(), 0.0064)
        })
        .collect()
}

/// Rates of log-normal spread.
fn log_normal(ln_mean: f64, ln_sd: f64) -> Rates {
    let step = 8.0 * ln_sd / (POINTS - 1) as f64;
    let mut rates: Vec<Rate> = (0..POINTS)
        .map(|i| {
            let u = step * i as f64 - 4.0 * ln_sd;
            Rate {
                rate: (ln_mean + u).exp(),
                share: (-0.5 * (u / ln_sd).powi(2)).exp(),
            }
        })
        .collect();
    let total: f64 = rates.iter().map(|r| r.share).sum();
    rates.iter_mut().for_each(|r| r.share /= total);
    Rates(rates)
}

/// What the looks make of beliefs about the rate: Bayes' rule.
fn weights(vigil: &Vigil, rates: &Rates) -> Vec<f64> {
    let log = |r: &Rate| r.share.ln() + vigil.summary.log_likelihood(r.rate);
    let logs: Vec<f64> = rates.0.iter().map(log).collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    logs.iter().map(|l| (l - top).exp() / total).collect()
}

const LN_RATE: f64 = -4.3;
const LN_SD: f64 = 0.3;

/// Pollak 1985: without a step the mean time until the sum of the likelihood
/// ratios passes `A` days is at least `A` days; and steps of 0.4 are seen soon.
#[test]
fn without_a_step_the_sum_keeps_its_word() {
    const LIMIT_DAYS: f64 = 700.0;
    let rates = log_normal(LN_RATE, LN_SD);
    let mut rng = Rng::seeded(11);
    let first_past = |looks: &[Look]| {
        let mut vigil = Vigil::new(&START, looks.len());
        looks.iter().position(|l| {
            vigil.look(l, 7.0);
            let weights = weights(&vigil, &rates);
            vigil.steps(&rates, &weights, StepSize(0.5)).0 >= LIMIT_DAYS
        })
    };
    // Censored at 300 weeks: the mean is then known to be larger still.
    let mut sum = 0.0;
    const UNITS: usize = 60;
    for _ in 0..UNITS {
        let rate = (LN_RATE + LN_SD * rng.normal()).exp();
        let looks = unit(&mut rng, rate, 300, None);
        sum += 7.0 * (first_past(&looks).unwrap_or(299) + 1) as f64;
    }
    let mean = sum / UNITS as f64;
    assert!(mean >= LIMIT_DAYS, "{mean} days until a false alarm");
    let mut late = Vec::new();
    for _ in 0..20 {
        let looks = unit(&mut rng, LN_RATE.exp(), 60, Some((40, 0.4)));
        late.push(first_past(&looks).map_or(99, |n| n as i64 - 40));
    }
    late.sort_unstable();
    assert!((0..=4).contains(&late[10]), "{late:?}");
}
