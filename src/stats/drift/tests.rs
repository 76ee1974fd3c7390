use nalgebra::{DMatrix, DVector};

use super::*;
use crate::stats::random::Rng;

const DRIFTING: Drifting = Drifting {
    start_mean: -3.5,
    start_variance: 0.09,
    wander: 0.002,
};
const LOOKS: [Look; 4] = [
    Look {
        advance: 2.0,
        y: -3.41,
        variance: 0.02,
        jump: 0.0,
    },
    Look {
        advance: 5.0,
        y: -3.30,
        variance: 0.01,
        jump: 0.0,
    },
    Look {
        advance: 0.0,
        y: -3.52,
        variance: 0.05,
        jump: 0.0,
    },
    Look {
        advance: 9.0,
        y: -3.02,
        variance: 0.02,
        jump: 0.0,
    },
];

/// Mean and covariance of the looks, and covariance of each with the last level.
fn dense(rate: f64) -> (DVector<f64>, DMatrix<f64>, DVector<f64>, f64) {
    let at: Vec<f64> = LOOKS
        .iter()
        .scan(0.0, |sum, l| {
            *sum += l.advance;
            Some(*sum)
        })
        .collect();
    let path = |i: usize, j: usize| DRIFTING.start_variance + DRIFTING.wander * at[i].min(at[j]);
    let n = LOOKS.len();
    let mean = DVector::from_fn(n, |i, _| DRIFTING.start_mean + rate * at[i]);
    let covariance = DMatrix::from_fn(n, n, |i, j| {
        path(i, j) + if i == j { LOOKS[i].variance } else { 0.0 }
    });
    (
        mean,
        covariance,
        DVector::from_fn(n, |i, _| path(i, n - 1)),
        path(n - 1, n - 1),
    )
}

#[test]
fn one_pass_gives_the_same_likelihood_and_level_as_the_whole_covariance() {
    let summary = summarise(&LOOKS, &DRIFTING);
    let y = DVector::from_fn(LOOKS.len(), |i, _| LOOKS[i].y);
    for rate in [0.0, 0.02, 0.3] {
        let (mean, covariance, cross, last) = dense(rate);
        let inverse = covariance.clone().try_inverse().unwrap();
        let miss = &y - &mean;
        let n = LOOKS.len() as f64;
        let expected = -0.5
            * ((&miss.transpose() * &inverse * &miss)[0]
                + covariance.determinant().ln()
                + n * (2.0 * std::f64::consts::PI).ln());
        assert!((summary.log_likelihood(rate) - expected).abs() < 1e-10);
        let level = summary.level_0 + rate * summary.level_rate;
        let expected_level = mean[LOOKS.len() - 1] + (cross.transpose() * &inverse * &miss)[0];
        let expected_variance = last - (cross.transpose() * &inverse * &cross)[0];
        assert!((level - expected_level).abs() < 1e-12);
        assert!((summary.level_variance - expected_variance).abs() < 1e-12);
    }
}

#[test]
fn without_looks_the_posterior_of_the_rate_is_its_prior() {
    let posterior = rate_posterior(&summarise(&[], &DRIFTING), -4.0, 0.4);
    assert!(posterior.ln_evidence.abs() < 1e-6);
    // Quantiles of the normal: 1.2815515655 at 0.9 (tables).
    assert!((posterior.ln_quantile(0.9) - (-4.0 + 0.4 * 1.281_551_565_5)).abs() < 0.01);
    assert!((posterior.ln_quantile(0.95) - (-4.0 + 0.4 * 1.644_853_627)).abs() < 0.01);
}

/// Level at 2,000 h, hours at which 10 % was reached, and the crossing hours
/// (10, 50, 90 %) of a Wiener process with a normal drift per unit.
///
/// Data: GaAs lasers, Meeker & Escobar 1998, Statistical Methods for
/// Reliability Data; three crossings observed, the others extrapolated from
/// 4,000 h. Quantiles: closed form of Peng & Tseng 2009.
const LASERS: [(f64, f64, [f64; 3]); 15] = [
    (5.4782, 3780.8, [3486.8, 3752.8, 4090.6]),
    (4.9894, 4173.4, [3766.9, 4089.3, 4503.9]),
    (3.9354, 5621.4, [4522.9, 5020.9, 5687.2]),
    (3.7863, 5982.6, [4651.3, 5182.6, 5898.8]),
    (3.3765, 5433.4, [5039.3, 5678.3, 6559.3]),
    (5.3541, 3522.9, [3554.5, 3833.7, 4189.3]),
    (2.9397, 6141.4, [5520.6, 6307.3, 7424.5]),
    (3.0187, 6415.5, [5427.6, 6184.5, 7253.2]),
    (4.1148, 5065.8, [4376.5, 4837.6, 5449.6]),
    (6.2560, 3374.4, [3108.0, 3304.9, 3551.2]),
    (4.0070, 5267.6, [4463.5, 4946.3, 5590.2]),
    (4.4393, 4948.3, [4131.6, 4534.2, 5061.6]),
    (3.9207, 4781.3, [4535.3, 5036.4, 5707.4]),
    (3.3908, 5819.5, [5024.8, 5659.6, 6534.0]),
    (3.4153, 6121.3, [5000.2, 5627.8, 6491.2]),
];

#[test]
fn laser_paths_are_forecast_as_widely_as_they_scatter() {
    // Fitted on the first half of the test, all units: variance per hour, mean
    // and variance of the drift between units.
    let (wander, drift, between) = (1.234_053_763_8e-4_f64, 2.080_74e-3_f64, 1.730_696_7e-7_f64);
    let ln_sd = (1.0 + between / (drift * drift)).ln().sqrt();
    let ln_mean = drift.ln() - 0.5 * ln_sd * ln_sd;
    let none = Drifting {
        start_mean: 0.0,
        start_variance: 0.0,
        wander,
    };
    let mut inside = 0;
    for (unit, &(level, came, normal_drift)) in LASERS.iter().enumerate() {
        let looks = [Look {
            advance: 2000.0,
            y: level,
            variance: 1e-9,
            jump: 0.0,
        }];
        let posterior = rate_posterior(&summarise(&looks, &none), ln_mean, ln_sd);
        let mut rng = Rng::seeded(unit as u64);
        let mut hours: Vec<f64> = (0..20_000)
            .map(|i| {
                let rate = posterior.ln_quantile((f64::from(i) + 0.5) / 20_000.0).exp();
                let left = 10.0 - level;
                2000.0 + rng.inverse_gaussian(left / rate, left * left / wander)
            })
            .collect();
        hours.sort_by(f64::total_cmp);
        let at = |p: f64| hours[(p * 20_000.0) as usize];
        for (p, expected) in [0.1, 0.5, 0.9].into_iter().zip(normal_drift) {
            // Log-normal drifts here, normal ones there: the same but for skew.
            assert!(
                (at(p) / expected - 1.0).abs() < 0.04,
                "unit {unit}: {} against {expected}",
                at(p)
            );
        }
        inside += usize::from((at(0.1)..=at(0.9)).contains(&came));
    }
    // Independent errors along a straight line cover 1 of these 15, one common drift 6.
    assert!(
        (11..=14).contains(&inside),
        "{inside} of 15 within 80 % spans"
    );
}
