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
