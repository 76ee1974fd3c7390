#![allow(clippy::unwrap_used)]

use super::*;

/// Rosenbrock 1960: a curved valley with its floor at (1, 1).
fn valley(x: &[f64]) -> f64 {
    (1.0 - x[0]).powi(2) + 100.0 * (x[1] - x[0] * x[0]).powi(2)
}

#[test]
fn simplex_follows_a_curved_valley_and_newton_finishes() {
    let near = nelder_mead(valley, &[-1.2, 1.0], &[0.5, 0.5], 1e-10, 2000);
    assert!(near.stop.is_converged());
    assert!((near.point[0] - 1.0).abs() < 1e-3, "{near:?}");
    let polished = newton_polish(valley, &near.point, &[1e-3, 1e-3], 20).unwrap();
    assert!(polished.minimum.stop.is_converged());
    for x in &polished.minimum.point {
        assert!((x - 1.0).abs() < 1e-9, "{polished:?}");
    }
    // second derivatives at (1, 1): 802, −400, 200
    assert!((polished.hessian[(0, 1)] + 400.0).abs() < 0.1);
}

#[test]
fn the_limit_is_reported() {
    let cut_short = nelder_mead(valley, &[-1.2, 1.0], &[0.5, 0.5], 1e-10, 10);
    assert_eq!(cut_short.stop, Stop::IterationLimit);
}

#[test]
fn line_minimum_and_root() {
    let at = minimise_between(|x| (x - 2.0).powi(4) + x, 0.0, 10.0);
    // derivative 4(x−2)³ + 1 = 0
    assert!((at.at - (2.0 - 0.25_f64.cbrt())).abs() < 1e-7, "{at:?}");
    let root = root_between(|x| x.exp() - 5.0, 0.0, 10.0).unwrap();
    assert!((root - 5.0_f64.ln()).abs() < 1e-15);
    assert!(root_between(|x| x * x + 1.0, -1.0, 1.0).is_err());
}
