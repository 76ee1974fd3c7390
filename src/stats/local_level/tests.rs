#![allow(clippy::unwrap_used)]

use super::*;
use crate::stats::change::NILE;

fn close(got: f64, expected: f64, relative: f64) {
    assert!(
        (got - expected).abs() <= relative * expected.abs(),
        "{got} against {expected}"
    );
}

fn nile() -> Vec<Option<f64>> {
    NILE.iter().copied().map(Some).collect()
}

/// Year, filtered level and variance, smoothed level and variance; agreed with
/// statsmodels' UnobservedComponents and penalised least squares.
#[rustfmt::skip]
const LEVELS: [[f64; 5]; 6] = [
    [1871.0, 1120.0, 15099.0, 1111.6683191267957, 4032.1579418084766],
    [1880.0, 1162.902615456583, 4051.2841772235033, 1097.721616550446, 2333.1129009177625],
    [1898.0, 1133.1262912421244, 4032.1582069501846, 999.585218705269, 2326.7569581027074],
    [1899.0, 1037.2223255160652, 4032.158084247536, 950.9300867400271, 2326.7569172443546],
    [1920.0, 849.0705662042777, 4032.157941808783, 834.7632591037506, 2326.7568698141936],
    [1970.0, 798.3702926083641, 4032.157941808477, 798.3702926083641, 4032.157941808477],
];

#[test]
fn level_of_the_nile() {
    // variances of Durbin & Koopman 2001, chapter 2
    let model = LocalLevel {
        var_noise: 15099.0,
        var_level: 1469.1,
    };
    let path = model.path(&nile(), &[1.0; 100]).unwrap();
    close(path.loglik, -632.5456251156737, 1e-9);
    for [
        year,
        filtered,
        filtered_variance,
        smoothed,
        smoothed_variance,
    ] in LEVELS
    {
        let at = year as usize - 1871;
        let (f, s) = (path.filtered[at].unwrap(), path.smoothed[at].unwrap());
        close(f.level, filtered, 1e-9);
        close(f.variance, filtered_variance, 1e-9);
        close(s.level, smoothed, 1e-9);
        close(s.variance, smoothed_variance, 1e-9);
    }
}

#[test]
fn likeliest_variances_of_the_nile() {
    let fit = LocalLevel::fit(&nile(), &[1.0; 100]).unwrap();
    close(fit.model.var_noise, 15098.518423115027, 1e-6);
    close(fit.model.var_level, 1469.176651630271, 1e-6);
}

#[test]
fn a_gap_is_the_same_as_a_longer_wait() {
    let model = LocalLevel {
        var_noise: 2.0,
        var_level: 0.5,
    };
    let gap = model
        .path(&[Some(1.0), None, Some(3.0)], &[1.0; 3])
        .unwrap();
    let wait = model.path(&[Some(1.0), Some(3.0)], &[1.0, 2.0]).unwrap();
    assert_eq!(gap.filtered[2], wait.filtered[1]);
    assert_eq!(gap.smoothed[0], wait.smoothed[0]);
    close(gap.loglik, wait.loglik, 1e-12);
    let middle = gap.smoothed[1].unwrap();
    close(middle.level, 2.0, 1e-12);
}

#[test]
fn a_constant_level_gives_the_mean_and_bad_input_is_refused() {
    let model = LocalLevel {
        var_noise: 3.0,
        var_level: 0.0,
    };
    let path = model
        .path(&[Some(1.0), Some(2.0), Some(6.0)], &[1.0; 3])
        .unwrap();
    let last = path.smoothed[0].unwrap();
    close(last.level, 3.0, 1e-12);
    close(last.variance, 1.0, 1e-12);
    assert!(model.path(&[Some(f64::NAN)], &[1.0]).is_err());
    assert!(model.path(&[Some(1.0)], &[]).is_err());
    assert!(LocalLevel::fit(&[Some(1.0); 9], &[1.0; 9]).is_err());
}
