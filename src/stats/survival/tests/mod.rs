#![allow(clippy::unwrap_used)]

mod expected;

use expected::*;

use super::*;
use crate::stats::test_data::{columns, rows};

/// Rossi, Berk & Lenihan 1980, Money, Work and Crime: weeks to arrest.
const ROSSI: &str = include_str!("../../../../tests/data/rossi.csv");
/// Loprinzi et al. 1994, J. Clin. Oncol. 12:601: survival with lung cancer, days.
const LUNG: &str = include_str!("../../../../tests/data/lung.csv");
/// Meeker & Escobar 1998: hours of Device-A at four temperatures.
const DEVICE_A: &str = include_str!("../../../../tests/data/devicea.csv");
/// O'Connor 1985 by Meeker & Escobar 1998: kilometres of shock absorbers.
const SHOCK_ABSORBER: &str = include_str!("../../../../tests/data/shockabsorber.csv");
/// Nelson 1982: hours of diesel generator fans.
const FANS: &str = include_str!("../../../../tests/data/genfan.csv");
/// Hyde 1980: months of age at entry and leaving of a retirement home.
const CHANNING: &str = include_str!("../../../../tests/data/channing.csv");
/// Lieblein & Zelen 1956: million revolutions of ball bearings to fatigue.
const BEARINGS: [f64; 23] = [
    17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.4, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64,
    68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4,
];
/// Nelson 1982: hours, turbine wheels inspected, of these found cracked.
const TURBINE: [(f64, f64, f64); 11] = [
    (4.0, 39.0, 0.0),
    (10.0, 53.0, 4.0),
    (14.0, 33.0, 2.0),
    (18.0, 73.0, 7.0),
    (22.0, 30.0, 5.0),
    (26.0, 39.0, 9.0),
    (30.0, 42.0, 9.0),
    (34.0, 13.0, 6.0),
    (38.0, 34.0, 22.0),
    (42.0, 40.0, 21.0),
    (46.0, 36.0, 21.0),
];

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    let slack = relative * expected.abs().max(1e-8);
    assert!(
        (got - expected).abs() <= slack,
        "{what}: {got} against {expected}"
    );
}

fn check(fit: &SurvivalFit, expected: &Expected) {
    assert!(fit.stop.is_converged());
    assert_eq!(fit.coef.len(), expected.coef.len());
    for (got, e) in fit.coef.iter().zip(expected.coef) {
        close(*got, *e, 1e-6, "coefficient");
    }
    close(fit.ln_sigma, expected.ln_sigma, 1e-6, "ln sigma");
    for (got, e) in fit.se().iter().zip(expected.se) {
        close(*got, *e, 1e-5, "standard error");
    }
    for (got, e) in fit.cov.row(0).iter().zip(expected.cov_first) {
        close(*got, *e, 1e-5, "covariance");
    }
    close(fit.loglik, expected.loglik, 1e-9, "log-likelihood");
    for (covariates, p, values) in expected.quantiles {
        let x: Vec<f64> = std::iter::once(1.0)
            .chain(covariates.iter().copied())
            .collect();
        let q = fit.quantile(&x, *p).unwrap();
        let (low, high) = q.limits(0.95);
        close(q.age, values[0], 1e-6, "quantile");
        close(q.se, values[1], 1e-5, "its standard error");
        close(low, values[2], 1e-5, "its lower limit");
        close(high, values[3], 1e-5, "its upper limit");
        close(
            fit.survival(&x, q.age).unwrap(),
            1.0 - p,
            1e-12,
            "survival at the quantile",
        );
    }
}

fn check_sample(lives: &[Life], weibull: &Expected, log_normal: &Expected) {
    check(
        &SurvivalModel::new(Distribution::Weibull)
            .fit_sample(lives)
            .unwrap(),
        weibull,
    );
    check(
        &SurvivalModel::new(Distribution::LogNormal)
            .fit_sample(lives)
            .unwrap(),
        log_normal,
    );
}

/// Lives of age and status columns, and a design of ones and the other columns.
fn with_covariates(text: &str, covariates: &[usize]) -> (Vec<Life>, DMatrix<f64>) {
    let time = columns(text, &[0, 1]);
    let lives: Vec<Life> = time[0]
        .iter()
        .zip(&time[1])
        .map(|(t, e)| Life::to(*t, *e == 1.0))
        .collect();
    let x = columns(text, covariates);
    let design = DMatrix::from_fn(lives.len(), covariates.len() + 1, |i, j| {
        if j == 0 { 1.0 } else { x[j - 1][i] }
    });
    (lives, design)
}

fn fans() -> Vec<Life> {
    with_covariates(FANS, &[]).0
}

#[test]
fn regressions_with_right_censoring() {
    let (lives, design) = with_covariates(ROSSI, &[2, 3, 4, 5, 6, 7, 8]);
    check(
        &SurvivalModel::new(Distribution::Weibull)
            .fit(&lives, &design)
            .unwrap(),
        &ROSSI_WEIBULL,
    );
    check(
        &SurvivalModel::new(Distribution::LogNormal)
            .fit(&lives, &design)
            .unwrap(),
        &ROSSI_LOGNORMAL,
    );
    let (lives, design) = with_covariates(LUNG, &[2, 3]);
    check(
        &SurvivalModel::new(Distribution::Weibull)
            .fit(&lives, &design)
            .unwrap(),
        &LUNG_WEIBULL,
    );
    check(
        &SurvivalModel::new(Distribution::LogNormal)
            .fit(&lives, &design)
            .unwrap(),
        &LUNG_LOGNORMAL,
    );
}

#[test]
fn counts_weigh_like_so_many_rows() {
    let (mut lives, mut terms) = (Vec::new(), Vec::new());
    for row in rows(DEVICE_A) {
        let (hours, count): (f64, f64) = (row[0].parse().unwrap(), row[2].parse().unwrap());
        lives.push(Life::to(hours, row[1] == "Failed").times(count));
        let celsius: f64 = row[3].parse().unwrap();
        terms.push(11605.0 / (celsius + 273.15));
    }
    let design = DMatrix::from_fn(lives.len(), 2, |i, j| if j == 0 { 1.0 } else { terms[i] });
    check(
        &SurvivalModel::new(Distribution::LogNormal)
            .fit(&lives, &design)
            .unwrap(),
        &DEVICEA_LOGNORMAL,
    );
}

#[test]
fn one_sample_exact_and_right_censored() {
    let bearings: Vec<Life> = BEARINGS.iter().map(|t| Life::to(*t, true)).collect();
    check_sample(&bearings, &BEARINGS_WEIBULL, &BEARINGS_LOGNORMAL);
    let fit = SurvivalModel::new(Distribution::Weibull)
        .fit_sample(&bearings)
        .unwrap();
    close(
        fit.mean(&[1.0]).unwrap(),
        72.51535524051043,
        1e-7,
        "mean life",
    );
    let fit = SurvivalModel::new(Distribution::LogNormal)
        .fit_sample(&bearings)
        .unwrap();
    close(
        fit.mean(&[1.0]).unwrap(),
        72.70870357059518,
        1e-7,
        "mean life",
    );
    let absorbers: Vec<Life> = rows(SHOCK_ABSORBER)
        .iter()
        .map(|r| Life::to(r[0].parse().unwrap(), r[1] == "Failure"))
        .collect();
    check_sample(&absorbers, &SHOCKABSORBER_WEIBULL, &SHOCKABSORBER_LOGNORMAL);
    check_sample(&fans(), &GENFAN_WEIBULL, &GENFAN_LOGNORMAL);
}

#[test]
fn inspections_give_left_and_interval_censoring() {
    let mut wheels = Vec::new();
    for (hours, inspected, cracked) in TURBINE {
        wheels.push(Life::new(Outcome::EndedBy(hours)).times(cracked));
        wheels.push(Life::new(Outcome::Running(hours)).times(inspected - cracked));
    }
    check_sample(&wheels, &TURBINE_WEIBULL, &TURBINE_LOGNORMAL);
    let rounded: Vec<Life> = BEARINGS
        .iter()
        .map(|t| {
            Life::new(Outcome::Between(
                (t / 25.0).floor() * 25.0,
                (t / 25.0).ceil() * 25.0,
            ))
        })
        .collect();
    check_sample(
        &rounded,
        &BEARINGS_INTERVAL_WEIBULL,
        &BEARINGS_INTERVAL_LOGNORMAL,
    );
}

#[test]
fn late_entry_is_left_truncation() {
    let residents = |sex: &str| -> Vec<Life> {
        rows(CHANNING)
            .iter()
            .filter(|r| r[0] == sex)
            .map(|r| (r[1].parse().unwrap(), r[2].parse().unwrap(), r[3] == "1"))
            .filter(|(entry, exit, _): &(f64, f64, bool)| exit > entry)
            .map(|(entry, exit, died)| Life::to(exit, died).entered_at(entry))
            .collect()
    };
    check_sample(
        &residents("Male"),
        &CHANNING_MALE_WEIBULL,
        &CHANNING_MALE_LOGNORMAL,
    );
    check_sample(
        &residents("Female"),
        &CHANNING_FEMALE_WEIBULL,
        &CHANNING_FEMALE_LOGNORMAL,
    );
}

#[test]
fn shape_one_is_the_exponential() {
    let model = SurvivalModel {
        ln_sigma: LnSigma::Fixed(0.0),
        ..SurvivalModel::new(Distribution::Weibull)
    };
    let fit = model.fit_sample(&fans()).unwrap();
    close(fit.coef[0].exp(), 28703.333333333332, 1e-9, "mean");
    close(
        fit.coef[0].exp() * fit.se()[0],
        8285.938613319779,
        1e-8,
        "its standard error",
    );
    close(fit.loglik, -135.17722246826523, 1e-9, "log-likelihood");
    assert_eq!(fit.se()[1], 0.0);
}

#[test]
fn known_shape_gives_a_scale_even_without_ends() {
    // Nelson 1985; checked by maximising the likelihood and by the chi-squared identity
    let cases = [
        (
            1.0,
            28703.333333333332,
            17715.765553168552,
            114976.89664750092,
        ),
        (
            1.5,
            17228.24066110336,
            12488.951804279868,
            43453.666647424216,
        ),
        (
            3.0,
            11274.231141015918,
            9599.07675361132,
            17905.220912119577,
        ),
    ];
    let hours = columns(FANS, &[0]).remove(0);
    for (shape, scale, low, low_without_ends) in cases {
        let seen = weibull_of_known_shape(&hours, 12, shape, 0.95).unwrap();
        close(seen.scale.unwrap(), scale, 1e-9, "scale");
        close(seen.scale_low, low, 1e-9, "lower limit");
        let none = weibull_of_known_shape(&hours, 0, shape, 0.95).unwrap();
        assert_eq!(none.scale, None);
        close(
            none.scale_low,
            low_without_ends,
            1e-9,
            "lower limit without ends",
        );
        let model = SurvivalModel {
            ln_sigma: LnSigma::Fixed(-shape.ln()),
            ..SurvivalModel::new(Distribution::Weibull)
        };
        close(
            model.fit_sample(&fans()).unwrap().coef[0].exp(),
            scale,
            1e-9,
            "the general fit",
        );
    }
}

/// With nothing seen to end, a normal prior on ln scale and a fixed log-normal
/// σ, the posterior of exact lives is conjugate.
#[test]
fn priors_pull_as_the_conjugate_normal_does() {
    let (sigma, prior_mean, prior_sd) = (0.4_f64, 8.0, 0.3);
    let model = SurvivalModel {
        distribution: Distribution::LogNormal,
        coef_prior: Some(GaussianPrior::independent(&[prior_mean], &[prior_sd]).unwrap()),
        ln_sigma: LnSigma::Fixed(sigma.ln()),
    };
    let ages = [2500.0_f64, 4100.0, 3300.0];
    let lives: Vec<Life> = ages.iter().map(|t| Life::to(*t, true)).collect();
    let fit = model.fit_sample(&lives).unwrap();
    let precision = 3.0 / (sigma * sigma) + 1.0 / (prior_sd * prior_sd);
    let pull = ages.iter().map(|t| t.ln()).sum::<f64>() / (sigma * sigma)
        + prior_mean / (prior_sd * prior_sd);
    close(fit.coef[0], pull / precision, 1e-10, "posterior mean");
    close(fit.se()[0], precision.sqrt().recip(), 1e-10, "posterior sd");
}

#[test]
fn running_lives_alone_move_a_prior_upwards_only() {
    let model = SurvivalModel {
        distribution: Distribution::LogNormal,
        coef_prior: Some(GaussianPrior::independent(&[8.0], &[0.4]).unwrap()),
        ln_sigma: LnSigma::Prior {
            mean: -1.0,
            sd: 0.3,
        },
    };
    let at = |age: f64| model.fit_sample(&[Life::to(age, false)]).unwrap().coef[0];
    close(at(1.0), 8.0, 1e-9, "a charge just fitted tells nothing");
    assert!(at(3000.0) > 8.0 && at(9000.0) > at(3000.0));
    assert!(
        SurvivalModel::new(Distribution::Weibull)
            .fit_sample(&[Life::to(5.0, false)])
            .is_err()
    );
}

#[test]
fn a_life_that_contradicts_itself_is_refused() {
    let model = SurvivalModel::new(Distribution::Weibull);
    let bad = [
        Life::to(-1.0, true),
        Life::to(f64::NAN, true),
        Life::new(Outcome::Between(5.0, 3.0)),
        Life::to(5.0, true).entered_at(6.0),
        Life::to(5.0, true).times(-1.0),
    ];
    for life in bad {
        assert!(
            model.fit_sample(&[Life::to(3.0, true), life]).is_err(),
            "{life:?}"
        );
    }
    // two equal ends: σ may go to 0 and the likelihood to infinity
    assert!(
        model
            .fit_sample(&[Life::to(3.0, true), Life::to(3.0, true)])
            .is_err()
    );
}
