use nalgebra::{DMatrix, DVector};

use super::*;
use crate::stats::drift;
use crate::stats::random::Rng;

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

#[test]
fn levels_ahead_are_those_of_the_filter() {
    let looks = some_looks();
    let mut vigil = Vigil::new(&START, 0);
    looks.iter().for_each(|l| vigil.look(l, 7.0));
    let summary = drift::summarise(&looks, &START);
    let (mean, variance) = summary.level_after(0.05, 3.0, START.wander);
    let expected = normal_cdf((mean - 1.0) / variance.sqrt());
    let found = vigil.above(&known(0.05), &[1.0], 1.0, vigil.exposure() + 3.0);
    assert!((found - expected).abs() < 1e-12);
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

const LN_RATE: f64 = -4.3;
const LN_SD: f64 = 0.3;

/// Pollak 1985: without a step the mean time until the sum of the likelihood
/// ratios passes `A` days is at least `A` days; and steps of 0.4 are seen soon.
#[test]
fn without_a_step_the_sum_keeps_its_word() {
    const LIMIT_DAYS: f64 = 700.0;
    let rates = Rates::log_normal(LN_RATE, LN_SD, 0.0, 1.0);
    let mut rng = Rng::seeded(11);
    let first_past = |looks: &[Look]| {
        let mut vigil = Vigil::new(&START, looks.len());
        looks.iter().position(|l| {
            vigil.look(l, 7.0);
            let weights = vigil.weigh(&rates);
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

/// Ville 1939: of healthy units at most a share α ever shows evidence of 1/α,
/// however often one looks.
#[test]
fn looking_every_week_does_not_raise_the_share_of_false_alarms() {
    const ALPHA: f64 = 0.05;
    const LIMIT: f64 = 1.4;
    let rates = Rates::log_normal(LN_RATE, LN_SD, 0.05, 2.2);
    let typical = LIMIT / LN_RATE.exp();
    let evidence = |vigil: &Vigil| {
        let weights = vigil.weigh(&rates);
        let above = |share: f64| vigil.above(&rates, &weights, LIMIT, share * typical);
        above(0.6).max(1e-12) / (1.0 - above(0.8)).max(1e-12)
    };
    let before = evidence(&Vigil::new(&START, 0));
    let mut rng = Rng::seeded(5);
    let (mut healthy, mut alarms, mut short, mut found) = (0, 0, 0, 0);
    for n in 0..400 {
        let weak = if n % 20 == 0 { 2.2f64.ln() } else { 0.0 };
        let rate = (LN_RATE + LN_SD * rng.normal() + weak).exp();
        let looks = unit(&mut rng, rate, 200, None);
        let life = looks.iter().position(|l| l.y >= LIMIT);
        let share = life.map_or(9.0, |w| w as f64 / typical);
        let mut vigil = Vigil::new(&START, 0);
        let raised = looks.iter().take(life.unwrap_or(199)).any(|l| {
            vigil.look(l, 7.0);
            evidence(&vigil) / before >= 1.0 / ALPHA
        });
        if share > 0.8 {
            healthy += 1;
            alarms += usize::from(raised);
        } else if share < 0.6 {
            short += 1;
            found += usize::from(raised);
        }
    }
    let rate = alarms as f64 / healthy as f64;
    assert!(healthy > 150 && rate <= ALPHA, "{alarms} of {healthy}");
    assert!(short > 15 && found * 10 >= short * 8, "{found} of {short}");
}
