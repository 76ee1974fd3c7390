#![allow(clippy::unwrap_used)]

use super::*;
use crate::stats::test_data::columns;

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    let slack = relative * expected.abs().max(1e-9);
    assert!(
        (got - expected).abs() <= slack,
        "{what}: {got} against {expected}"
    );
}

/// Cobb 1978, Biometrika 65:243: yearly flow of the Nile at Aswan, 1871 to 1970, 10⁸ m³.
#[rustfmt::skip]
pub(crate) const NILE: [f64; 100] = [
    1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0, 1110.0, 994.0,
    1020.0, 960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0, 1260.0, 1220.0, 1030.0, 1100.0,
    774.0, 840.0, 874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0, 1020.0, 1050.0, 969.0, 831.0, 726.0,
    456.0, 824.0, 702.0, 1120.0, 1100.0, 832.0, 764.0, 821.0, 768.0, 845.0, 864.0, 862.0, 698.0, 845.0,
    744.0, 796.0, 1040.0, 759.0, 781.0, 865.0, 845.0, 944.0, 984.0, 897.0, 822.0, 1010.0, 771.0, 676.0,
    649.0, 846.0, 812.0, 742.0, 801.0, 1040.0, 860.0, 874.0, 848.0, 890.0, 744.0, 749.0, 838.0, 1050.0,
    918.0, 986.0, 797.0, 923.0, 975.0, 815.0, 1020.0, 906.0, 901.0, 1170.0, 912.0, 746.0, 919.0, 718.0,
    714.0, 740.0,
];

/// Breaks, residual sum of squares, BIC, means. Dynamic programming agreed with
/// `ruptures`; R's strucchange to the printed figures (4 breaks excepted).
#[rustfmt::skip]
const SEGMENTS: [(&[usize], f64, f64, &[f64]); 5] = [
    (&[], 2835156.75, 1318.2418068761806, &[919.35]),
    (&[28], 1597457.1944444478, 1270.0837357395662, &[1097.75, 849.9722222222222]),
    (&[28, 83], 1552923.6157754008, 1276.4667007553514, &[1097.75, 836.1454545454545, 894.7058823529412]),
    (&[28, 68, 83], 1538096.5127450973, 1284.7176674489144, &[1097.75, 846.2, 809.3333333333334, 894.7058823529412]),
    (&[28, 45, 68, 83], 1507888.4759164527, 1291.9444768872736, &[1097.75, 814.2352941176471, 869.8260869565217, 809.3333333333334, 894.7058823529412]),
];

#[test]
fn the_nile_changes_its_level_after_1898() {
    let fits = segment_means(&NILE, 4, 15).unwrap();
    assert_eq!(fits.len(), 5);
    for (fit, (starts, rss, bic, means)) in fits.iter().zip(SEGMENTS) {
        assert_eq!(fit.starts, starts);
        close(fit.rss, rss, 1e-9, "rss");
        close(fit.bic, bic, 1e-9, "bic");
        for (got, expected) in fit.means.iter().zip(means) {
            close(*got, *expected, 1e-9, "mean");
        }
    }
    close(sup_f(&NILE, 15).unwrap(), 75.92976942748508, 1e-9, "sup F");
    assert_eq!(segment_means(&NILE, 1, 1).unwrap()[1].starts, [28]);
}

#[test]
fn a_short_series_has_as_many_breaks_as_fit() {
    assert_eq!(segment_means(&NILE[..31], 4, 15).unwrap().len(), 2);
    assert!(segment_means(&NILE[..5], 1, 6).is_err());
    assert!(sup_f(&NILE[..20], 15).is_err());
}

/// Synthetic: a slope that changes at 23,400, joined; another with a jump at 26,000.
const SLOPES: &str = include_str!("../../../tests/data/slope_change.csv");

#[test]
fn joined_lines_meet_at_the_knot() {
    // MINPACK and a profile search
    let xy = columns(SLOPES, &[0, 1]);
    let fit = joined_lines(&xy[0], &xy[1], 3).unwrap();
    close(fit.knot, 23448.177860096686, 1e-5, "knot");
    close(fit.intercept, -3.3983866656440718, 1e-6, "intercept");
    close(fit.slope, 1.0975652037378228e-05, 1e-6, "slope");
    close(
        fit.slope_change,
        4.4297877063175714e-05,
        1e-6,
        "slope change",
    );
    close(fit.rss, 0.009210963358908822, 1e-9, "rss");
    close(
        fit.rss_one_line,
        0.5882221009080677,
        1e-9,
        "rss of one line",
    );
}

#[test]
fn separate_lines_jump() {
    // ruptures and least squares
    let xy = columns(SLOPES, &[0, 2]);
    let fit = separate_lines(&xy[0], &xy[1], 3).unwrap();
    assert_eq!(fit.start, 26);
    let got = [fit.first.0, fit.first.1, fit.second.0, fit.second.1];
    for (g, e) in got.iter().zip([
        -3.3970940170940183,
        1.0816752136752202e-05,
        -3.5322857142857167,
        2.5837362637362708e-05,
    ]) {
        close(*g, e, 1e-9, "line");
    }
    close(fit.rss, 0.009152454407814443, 1e-9, "rss");
    close(
        fit.rss_one_line,
        0.33541375469043144,
        1e-9,
        "rss of one line",
    );
}

#[test]
fn a_knot_at_a_point_is_found_exactly() {
    let x = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
    let y = [0.0, 0.0, 0.0, 2.0, 4.0, 6.0];
    let fit = joined_lines(&x, &y, 2).unwrap();
    close(fit.knot, 2.0, 1e-6, "knot");
    close(fit.slope_change, 2.0, 1e-6, "slope change");
    assert!(joined_lines(&[0.0, 1.0, 1.0, 2.0], &y[..4], 2).is_err());
    assert!(separate_lines(&x[..3], &y[..3], 2).is_err());
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 (from memory; the
/// worked table is reproduced to its printed figures).
#[rustfmt::skip]
const CUSUM: [f64; 20] = [324.925, 324.675, 324.725, 324.35, 325.35, 325.225, 324.125, 324.525, 325.225, 324.6, 324.625, 325.15, 328.325, 327.25, 327.825, 328.5, 326.675, 327.775, 326.875, 328.35];

#[test]
fn cusum_of_the_handbook() {
    let mut cusum = Cusum::new(325.0, 0.3175, 4.1959);
    let states: Vec<CusumState> = CUSUM.iter().map(|v| cusum.push(*v)).collect();
    let high = [
        0.0,
        0.0,
        0.0,
        0.0,
        0.03250000000002273,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        3.0074999999999887,
        4.939999999999993,
        7.4474999999999865,
        10.62999999999999,
        11.987500000000006,
        14.444999999999988,
        16.002499999999994,
        19.03500000000002,
    ];
    let low = [
        0.0,
        0.007499999999993179,
        0.0,
        0.3324999999999818,
        0.0,
        0.0,
        0.5575000000000045,
        0.7150000000000318,
        0.17250000000001364,
        0.25499999999999545,
        0.3125,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
        0.0,
    ];
    for (i, state) in states.iter().enumerate() {
        close(state.high, high[i], 1e-9, "high");
        close(state.low, low[i], 1e-9, "low");
        assert_eq!((state.rise, state.fall), (i >= 13, false));
    }
    assert_eq!(cusum.push(f64::NAN), states[19]);
}

/// The same handbook, 6.3.2.4.
#[rustfmt::skip]
const EWMA: [f64; 20] = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];

#[test]
fn ewma_of_the_handbook() {
    let mut ewma = Ewma::new(50.0, 2.0539, 0.3, 3.0).unwrap();
    let averages = [
        50.6,
        49.52,
        50.564,
        50.184799999999996,
        50.15935999999999,
        49.21155199999999,
        49.74808639999999,
        49.853660479999995,
        50.25756233599999,
        50.33029363519999,
        50.111205544639986,
        49.35784388124799,
        49.52049071687359,
        50.05434350181151,
        49.37804045126805,
        49.92462831588763,
        50.72723982112134,
        51.22906787478493,
        51.94034751234945,
        51.988243258644616,
    ];
    let exact = [
        (1, 51.84851),
        (2, 52.25639401212399),
        (3, 52.43140557079542),
        (5, 52.551611460073964),
        (10, 52.58739884787116),
        (20, 52.58843091412438),
    ];
    for (i, value) in EWMA.iter().enumerate() {
        let state = ewma.push(*value);
        close(state.average, averages[i], 1e-9, "average");
        assert!(!state.alarm);
        if let Some((_, high)) = exact.iter().find(|(k, _)| *k == i + 1) {
            close(state.high, *high, 1e-9, "limit");
        }
    }
    close(
        50.0 + ewma.settled_reach(),
        52.588431738126616,
        1e-9,
        "settled limit",
    );
    assert!(Ewma::new(0.0, 1.0, 0.0, 3.0).is_err());
}

#[test]
fn individuals_chart_of_the_handbook() {
    let chart =
        individuals_chart(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]).unwrap();
    close(chart.mean, 50.81, 1e-9, "mean");
    close(chart.moving_range, 1.8777777777777784, 1e-9, "moving range");
    close(chart.high, 55.80408983451537, 1e-9, "high");
    close(chart.low, 45.81591016548463, 1e-9, "low");
}

/// Limit, shift, one-sided and two-sided mean run length at allowance 1/2:
/// integral equation agreed with the Markov chain of Brook & Evans 1972.
#[rustfmt::skip]
const RUN_LENGTHS: [[f64; 4]; 20] = [
    [4.0, 0.0, 335.3675776271484, 167.6837888135742],
    [4.0, 0.25, 77.07851712719386, 74.22402788500398],
    [4.0, 0.5, 26.679162434338764, 26.63020308886864],
    [4.0, 0.75, 13.286597833814188, 13.285088375246152],
    [4.0, 1.0, 8.38320212974997, 8.383131870495138],
    [4.0, 1.5, 4.747168481699991, 4.7471681994699395],
    [4.0, 2.0, 3.3427701311247118, 3.342770129429854],
    [4.0, 2.5, 2.619518911522684, 2.619518911508487],
    [4.0, 3.0, 2.194480908611782, 2.1944809086116104],
    [4.0, 4.0, 1.7084571632864367, 1.7084571632864367],
    [5.0, 0.0, 930.8870120630072, 465.44350603150355],
    [5.0, 0.25, 141.68774521684338, 139.49368977199507],
    [5.0, 0.5, 38.009609921896235, 37.99614318936434],
    [5.0, 0.75, 17.048530150898525, 17.048325942944746],
    [5.0, 1.0, 10.375975300207733, 10.375969921593562],
    [5.0, 1.5, 5.747217711201691, 5.747217703429239],
    [5.0, 2.0, 4.008871061048339, 4.008871061031084],
    [5.0, 2.5, 3.113688391473501, 3.1136883914734557],
    [5.0, 3.0, 2.573252051447414, 2.5732520514474135],
    [5.0, 4.0, 2.0125675232823674, 2.0125675232823674],
];

#[test]
fn run_lengths_of_a_cusum() {
    for [limit, shift, one_sided, two_sided] in RUN_LENGTHS {
        let up = cusum_run_length(limit, 0.5, shift).unwrap();
        let down = cusum_run_length(limit, 0.5, -shift).unwrap();
        close(up, one_sided, 1e-8, "one-sided");
        close(1.0 / (1.0 / up + 1.0 / down), two_sided, 1e-8, "two-sided");
    }
    let limit = cusum_limit(0.5, 930.8870120630072).unwrap();
    close(limit, 5.0, 1e-8, "limit for a run length");
    assert!(cusum_limit(0.5, 0.9).is_err());
    assert!(cusum_run_length(0.0, 0.5, 0.0).is_err());
}
