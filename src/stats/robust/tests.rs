#![allow(clippy::unwrap_used)]

use super::*;

fn close(got: f64, expected: f64, relative: f64) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{got} against {expected}"
    );
}

#[test]
fn median_and_mad_ignore_the_splash() {
    let x = [3.1, 2.9, 3.0, 3.3, 2.8, 9.7, 3.2, 3.1, 2.7, 3.0];
    close(median(&x).unwrap(), 3.05, 1e-15);
    close(mad(&x).unwrap(), 0.15, 1e-12);
    close(mad_sd(&x).unwrap(), 0.2223903327758405, 1e-12);
    assert!(median(&[]).is_err());
}

struct Case {
    x: &'static [f64],
    y: &'static [f64],
    pairs: usize,
    /// slope, both intercepts, both limits, tau-b
    values: [f64; 6],
    kendall_s: i64,
}

/// The first is the example of Sen 1968 (from memory); limits and the tied
/// cases agree with scipy's theilslopes and kendalltau.
const CASES: [Case; 3] = [
    Case {
        x: &[1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0],
        y: &[9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0],
        pairs: 21,
        values: [4.0, 4.0, 6.0, 3.7142857142857144, 4.375, 1.0],
        kendall_s: 21,
    },
    Case {
        x: &[
            0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 22.0, 24.0, 26.0, 28.0,
        ],
        y: &[
            1.02, 1.11, 1.27, 1.29, 1.45, 6.0, 1.57, 1.74, 1.77, 0.1, 2.03, 2.06, 2.22, 2.31, 2.37,
        ],
        pairs: 105,
        values: [
            0.04777777777777778,
            1.0711111111111111,
            1.0322222222222224,
            0.044999999999999984,
            0.05049999999999999,
            0.6761904761904762,
        ],
        kendall_s: 71,
    },
    Case {
        x: &[0.0, 0.0, 1.0, 1.0, 2.0, 3.0, 3.0, 4.0],
        y: &[2.0, 2.4, 2.9, 3.1, 4.2, 4.8, 5.2, 6.1],
        pairs: 25,
        values: [
            0.95,
            2.2250000000000005,
            2.225,
            0.8499999999999999,
            1.1,
            0.944911182523068,
        ],
        kendall_s: 25,
    },
];

#[test]
fn theil_sen_gives_slope_limits_and_kendall() {
    for case in &CASES {
        let fit = theil_sen(case.x, case.y, 0.95).unwrap();
        assert_eq!((fit.pairs, fit.kendall_s), (case.pairs, case.kendall_s));
        let got = [
            fit.slope,
            fit.intercept,
            fit.intercept_of_residuals,
            fit.slope_low,
            fit.slope_high,
            fit.kendall_tau,
        ];
        for (g, e) in got.iter().zip(case.values) {
            close(*g, e, 1e-9);
        }
    }
    assert!(theil_sen(&[1.0, 1.0], &[2.0, 3.0], 0.95).is_err());
}

/// Brownlee 1965, oxidation of ammonia to nitric acid: air flow, water
/// temperature, acid concentration, stack loss.
const STACK_LOSS: [[f64; 4]; 21] = [
    [80.0, 27.0, 89.0, 42.0],
    [80.0, 27.0, 88.0, 37.0],
    [75.0, 25.0, 90.0, 37.0],
    [62.0, 24.0, 87.0, 28.0],
    [62.0, 22.0, 87.0, 18.0],
    [62.0, 23.0, 87.0, 18.0],
    [62.0, 24.0, 93.0, 19.0],
    [62.0, 24.0, 93.0, 20.0],
    [58.0, 23.0, 87.0, 15.0],
    [58.0, 18.0, 80.0, 14.0],
    [58.0, 18.0, 89.0, 14.0],
    [58.0, 17.0, 88.0, 13.0],
    [58.0, 18.0, 82.0, 11.0],
    [58.0, 19.0, 93.0, 12.0],
    [50.0, 18.0, 89.0, 8.0],
    [50.0, 18.0, 86.0, 7.0],
    [50.0, 19.0, 72.0, 8.0],
    [50.0, 19.0, 79.0, 8.0],
    [50.0, 20.0, 80.0, 9.0],
    [56.0, 20.0, 82.0, 15.0],
    [70.0, 20.0, 91.0, 15.0],
];

#[test]
fn huber_regression_matches_the_stack_loss_fit() {
    // statsmodels RLM; R's MASS::rlm to the printed figures
    let design = DMatrix::from_fn(
        21,
        4,
        |i, j| if j == 0 { 1.0 } else { STACK_LOSS[i][j - 1] },
    );
    let y: Vec<f64> = STACK_LOSS.iter().map(|r| r[3]).collect();
    let ols = least_squares(&design, &y, None).unwrap();
    let fit = huber_regression(&design, &y, HUBER_TUNING).unwrap();
    assert!(fit.stop.is_converged());
    let ols_coef = [
        -39.919674420124025,
        0.7156402004852839,
        1.295286124388572,
        -0.15212251914865257,
    ];
    let coef = [
        -41.026498352400125,
        0.8293843346001146,
        0.9260659661966072,
        -0.1278467249457809,
    ];
    let se = [
        9.791898541349191,
        0.11100521335450371,
        0.30293016310858684,
        0.12864961493536856,
    ];
    for j in 0..4 {
        close(ols.coef[j], ols_coef[j], 1e-9);
        close(fit.coef[j], coef[j], 1e-6);
        close(fit.cov[(j, j)].sqrt(), se[j], 1e-6);
    }
    close(fit.scale, 2.440536091720974, 1e-6);
    let low = [
        (2, 0.7858129803797606),
        (3, 0.5048671960226009),
        (20, 0.3680916821663165),
    ];
    for (i, w) in low {
        close(fit.weights[i], w, 1e-6);
    }
    assert_eq!(fit.weights.iter().filter(|w| **w < 1.0).count(), 3);
}

#[test]
fn a_plane_through_most_points_is_found_exactly() {
    let design = DMatrix::from_fn(7, 2, |i, j| if j == 0 { 1.0 } else { i as f64 });
    let mut y: Vec<f64> = (0..7).map(|i| 2.0 + 3.0 * f64::from(i)).collect();
    y[3] = 90.0;
    let fit = huber_regression(&design, &y, HUBER_TUNING).unwrap();
    close(fit.coef[0], 2.0, 0.05);
    close(fit.coef[1], 3.0, 0.05);
}

#[test]
fn ties_enter_kendalls_variance_as_k_k_minus_1_2k_plus_5() {
    // a pair and a triple: 2·1·9 + 3·2·11, and 1 + 3 tied pairs (Kendall 1970)
    assert_eq!(ties(&[3.0, 1.0, 3.0, 2.0, 1.0, 3.0]), (84.0, 4.0));
    assert_eq!(ties(&[1.0, 2.0]), (0.0, 0.0));
}
