//! Expected values: roots of the distribution function and `erfc` to 40 digits,
//! agreed with a second library to 14 or more.

#![allow(clippy::approx_constant)]

use super::*;

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    let error = (got - expected).abs();
    assert!(
        error <= relative * expected.abs() + 1e-300,
        "{what}: {got} against {expected}"
    );
}

/// (p, quantile)
const QUANTILES: &[(f64, f64)] = &[
    (0.005, -2.575829303548901),
    (0.025, -1.9599639845400545),
    (0.1, -1.2815515655446004),
    (0.5, 0.0),
    (0.9, 1.2815515655446004),
    (0.975, 1.959963984540054),
    (0.999, 3.090232306167813),
];

#[test]
fn quantiles_match_to_full_precision() {
    for &(p, expected) in QUANTILES {
        close(normal_quantile(p), expected, 1e-12, &format!("normal {p}"));
    }
}

/// (z, ln of the upper tail)
const TAILS: &[(f64, f64)] = &[
    (-8.0, -6.220960574271786e-16),
    (-3.0, -0.0013508099647481938),
    (0.0, -0.6931471805599453),
    (1.0, -1.8410216450092636),
    (3.0, -6.607726221510349),
    (6.0, -20.736768949974707),
    (10.0, -53.23128515051247),
    (20.0, -203.91715537109727),
    (38.0, -726.5572160188201),
    (60.0, -1805.0135606805673),
];

#[test]
fn far_tails_keep_their_digits() {
    for &(z, ln_upper_tail) in TAILS {
        close(
            ln_normal_cdf(-z),
            ln_upper_tail,
            1e-12,
            &format!("ln tail at {z}"),
        );
    }
}

#[test]
fn quantile_and_distribution_function_undo_each_other() {
    let far = normal_cdf(normal_quantile(1e-250));
    close(far, 1e-250, 1e-12, "far");
    for p in [1e-30, 1e-12, 1e-6, 0.001, 0.07, 0.3, 0.5, 0.6, 0.93, 0.999] {
        close(normal_cdf(normal_quantile(p)), p, 1e-12, "normal");
    }
}

#[test]
fn outside_the_domain_is_nan_and_the_ends_are_the_ends() {
    assert!(normal_quantile(-0.1).is_nan());
    assert_eq!(normal_quantile(1.0), f64::INFINITY);
}
