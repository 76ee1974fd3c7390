#![allow(clippy::unwrap_used)]

use super::*;

fn close(got: f64, expected: f64) {
    let slack = 1e-9 * expected.abs().max(1e-6);
    assert!((got - expected).abs() <= slack, "{got} against {expected}");
}

#[test]
fn scores_of_normal_and_log_normal_forecasts() {
    // closed forms agreed with quadrature; mean, sd, outcome, CRPS, log score
    let normal = [
        [0.0, 1.0, 0.0, 0.23369497725510913, 0.9189385332046727],
        [0.0, 1.0, 1.5, 0.9944240039774529, 2.0439385332046727],
        [3.2, 0.4, 2.1, 0.8750435374650505, 3.783897801330517],
        [100.0, 25.0, 260.0, 145.89526041188645, 24.617814358072877],
        [0.0, 1.0, -4.0, 3.435824706969109, 8.918938533204672],
    ];
    for [mean, sd, y, crps, log_score] in normal {
        close(crps_normal(mean, sd, y), crps);
        close(log_score_normal(mean, sd, y), log_score);
    }
    let log_normal = [
        [8.101677747454572, 0.25, 2500.0, 502.6607973461437],
        [8.101677747454572, 0.25, 3300.0, 194.3993117040537],
        [0.0, 1.0, 4.0, 1.9834069849393428],
    ];
    for [mu, sigma, y, crps] in log_normal {
        close(crps_log_normal(mu, sigma, y), crps);
    }
}

#[test]
fn scores_of_samples() {
    // integral of the step function
    let sample = [2.1, 2.9, 3.4, 3.6, 5.0];
    close(crps_sample(&sample, 3.0).unwrap(), 0.28);
    close(crps_sample_fair(&sample, 3.0).unwrap(), 0.15000000000000002);
    let sample = [10.0, 12.0, 12.0, 15.0, 18.0, 30.0];
    close(crps_sample(&sample, 9.0).unwrap(), 3.805555555555556);
    close(crps_sample_fair(&sample, 9.0).unwrap(), 3.1333333333333337);
    close(crps_sample(&[1.0], 2.5).unwrap(), 1.5);
    assert!(crps_sample_fair(&[1.0], 2.5).is_err());
    assert!(crps_sample(&[], 1.0).is_err());
}

#[test]
fn pinball_and_interval_scores() {
    // outcome, quantile, level, loss
    let cases = [
        [5.0, 3.0, 0.1, 0.2],
        [5.0, 7.0, 0.1, 1.8],
        [5.0, 7.0, 0.9, 0.19999999999999996],
        [5.0, 3.0, 0.9, 1.8],
        [5.0, 5.0, 0.5, 0.0],
        [4.0, 1.0, 0.5, 1.5],
        [-2.0, 1.5, 0.25, 2.625],
    ];
    for [y, q, level, loss] in cases {
        close(pinball(q, level, y), loss);
    }
    // outcome, interval score, weighted interval score of 2,500 to 4,200 about 3,300
    let cases = [
        [3000.0, 1700.0, 213.33333333333334],
        [2000.0, 6700.0, 880.0],
        [5000.0, 9700.0, 1213.3333333333333],
        [4200.0, 1700.0, 413.3333333333333],
    ];
    for [y, score, weighted] in cases {
        close(interval_score(2500.0, 4200.0, 0.2, y), score);
        close(
            weighted_interval_score(2500.0, 3300.0, 4200.0, 0.2, y),
            weighted,
        );
    }
}

#[test]
fn limits_of_a_coverage() {
    // statsmodels and scipy: hits, of, exact limits, Wilson's, p-value of 0.8
    let cases = [
        (
            80,
            100,
            [
                0.7081573109113719,
                0.8733444478980441,
                0.7111708344068411,
                0.8666330666689676,
                1.0,
            ],
        ),
        (
            8,
            10,
            [
                0.4439045376923585,
                0.9747892736731666,
                0.4901624715366418,
                0.9433178485456248,
                1.0,
            ],
        ),
        (
            10,
            10,
            [
                0.6915028921812392,
                1.0,
                0.7224672001371107,
                1.0,
                0.22824806399999997,
            ],
        ),
        (
            0,
            12,
            [
                0.0,
                0.2646484693970512,
                0.0,
                0.24249400665524085,
                4.095999999999989e-09,
            ],
        ),
        (
            412,
            500,
            [
                0.7877324296532344,
                0.8563814050773386,
                0.78818582871064,
                0.854873598670274,
                0.19832136144011092,
            ],
        ),
        (
            37,
            52,
            [
                0.5692419853813397,
                0.8287032126694857,
                0.5772721196331574,
                0.8167003958529009,
                0.118574492828813,
            ],
        ),
    ];
    for (hits, of, [low, high, wilson_low, wilson_high, p_value]) in cases {
        let exact = clopper_pearson(hits, of, 0.95).unwrap();
        let approximate = wilson(hits, of, 0.95).unwrap();
        close(exact.0, low);
        close(exact.1, high);
        close(approximate.0, wilson_low);
        close(approximate.1, wilson_high);
        close(binomial_p_value(hits, of, 0.8).unwrap(), p_value);
    }
    assert!(clopper_pearson(3, 2, 0.95).is_err());
    assert!(wilson(0, 0, 0.95).is_err());
}

#[test]
fn conformal_widths() {
    let residuals = [
        0.4, -1.2, 0.9, 2.2, -0.3, 1.7, -2.6, 0.1, 0.8, -1.4, 3.3, -0.7, 1.1, -0.2, 0.6, -1.9, 2.8,
        -0.5, 1.3,
    ];
    assert_eq!(conformal_half_width(&residuals, 0.5).unwrap(), Some(1.1));
    assert_eq!(conformal_half_width(&residuals, 0.2).unwrap(), Some(2.2));
    assert_eq!(conformal_half_width(&residuals, 0.1).unwrap(), Some(2.8));
    assert_eq!(conformal_half_width(&residuals, 0.05).unwrap(), Some(3.3));
    assert_eq!(conformal_half_width(&residuals, 0.04).unwrap(), None);
    // forty scores at 80 %: the 33rd
    assert_eq!(conformal_rank(40, 0.2), Some(33));
    assert_eq!(conformal_rank(0, 0.2), None);
    assert_eq!(conformal_rank(3, 0.2), None);
}
