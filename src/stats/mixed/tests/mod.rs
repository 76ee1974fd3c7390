#![allow(clippy::unwrap_used)]

mod data;
mod expected;
mod priors;

use data::*;
use expected::*;

use super::*;
use nalgebra::{DMatrix, DVector};

const LOGLIK: f64 = 1e-8;
const BETA: f64 = 1e-7;
const VARIANCE: f64 = 1e-5;

fn close(got: f64, expected: f64, relative: f64, what: &str) {
    // a value that is zero by symmetry is compared with the size of its unit
    let slack = relative * expected.abs().max(1e-9);
    assert!(
        (got - expected).abs() <= slack,
        "{what}: {got} against {expected}"
    );
}

fn all_close<'a>(
    got: impl IntoIterator<Item = &'a f64>,
    expected: &[f64],
    relative: f64,
    what: &str,
) {
    let got: Vec<f64> = got.into_iter().copied().collect();
    assert_eq!(got.len(), expected.len(), "{what}");
    for (g, e) in got.iter().zip(expected) {
        close(*g, *e, relative, what);
    }
}

fn check(fit: &MixedFit, expected: &Expected) {
    assert!(fit.stop.is_converged());
    close(fit.loglik(), expected.loglik, LOGLIK, "log-likelihood");
    all_close(fit.beta.iter(), expected.beta, BETA, "beta");
    close(fit.sigma2, expected.sigma2, VARIANCE, "sigma2");
    all_close(fit.cov_beta.iter(), expected.beta_cov, VARIANCE, "cov beta");
    all_close(
        fit.random_cov.iter(),
        expected.random_cov,
        VARIANCE,
        "random cov",
    );
    for (i, blup) in expected.blups {
        all_close(fit.groups[*i].blup.iter(), blup, VARIANCE, "blup");
    }
    let first = &fit.groups[0];
    all_close(
        first.conditional_cov.iter(),
        expected.conditional_cov,
        VARIANCE,
        "conditional",
    );
    all_close(
        first.prediction_error_cov.iter(),
        expected.prediction_error_cov,
        VARIANCE,
        "prediction error",
    );
}

fn reml() -> MixedModel {
    MixedModel::default()
}

fn ml() -> MixedModel {
    MixedModel {
        method: Method::Ml,
        ..MixedModel::default()
    }
}

fn sleep(kept: impl Fn(usize, usize) -> bool) -> Vec<GroupSummary> {
    let mut groups = Vec::new();
    for (s, (_, reactions)) in SLEEP.iter().enumerate() {
        let mut group = GroupSummary::empty(2, 2);
        for (day, y) in reactions
            .iter()
            .enumerate()
            .filter(|(day, _)| kept(s, *day))
        {
            let row = [1.0, day as f64];
            group.add_row(&row, &row, *y, 1.0).unwrap();
        }
        groups.push(group);
    }
    groups
}

fn orthodont() -> Vec<GroupSummary> {
    let mut groups = Vec::new();
    for (_, girl, distances) in &ORTHODONT {
        let mut group = GroupSummary::empty(4, 2);
        for (k, y) in distances.iter().enumerate() {
            let (age, girl) = (2.0 * k as f64 - 3.0, f64::from(u8::from(*girl)));
            group
                .add_row(&[1.0, girl, age, girl * age], &[1.0, age], *y, 1.0)
                .unwrap();
        }
        groups.push(group);
    }
    groups
}

fn batches(yields: &[[f64; 5]; 6]) -> Vec<GroupSummary> {
    let mut groups = Vec::new();
    for batch in yields {
        let mut group = GroupSummary::empty(1, 1);
        batch
            .iter()
            .for_each(|y| group.add_row(&[1.0], &[1.0], *y, 1.0).unwrap());
        groups.push(group);
    }
    groups
}

#[test]
fn sleep_study_balanced() {
    let groups = sleep(|_, _| true);
    check(&reml().fit(&groups).unwrap(), &SLEEPSTUDY_REML);
    check(&ml().fit(&groups).unwrap(), &SLEEPSTUDY_ML);
    let uncorrelated = MixedModel {
        correlated: false,
        ..reml()
    };
    check(
        &uncorrelated.fit(&groups).unwrap(),
        &SLEEPSTUDY_REML_UNCORRELATED,
    );
}

#[test]
fn sleep_study_unbalanced() {
    let groups = sleep(|s, day| SLEEP_DAYS_KEPT[s].contains(&day));
    check(&reml().fit(&groups).unwrap(), &SLEEPSTUDY_UNBALANCED_REML);
    check(&ml().fit(&groups).unwrap(), &SLEEPSTUDY_UNBALANCED_ML);
}

#[test]
fn orthodont_with_a_covariate_of_the_group_on_the_slope() {
    let groups = orthodont();
    check(&reml().fit(&groups).unwrap(), &ORTHODONT_REML);
    check(&ml().fit(&groups).unwrap(), &ORTHODONT_ML);
}

#[test]
fn orthodont_girls_with_a_random_intercept() {
    let mut groups = Vec::new();
    for (_, _, distances) in ORTHODONT.iter().filter(|child| child.1) {
        let mut group = GroupSummary::empty(2, 1);
        for (k, y) in distances.iter().enumerate() {
            group
                .add_row(&[1.0, 8.0 + 2.0 * k as f64], &[1.0], *y, 1.0)
                .unwrap();
        }
        groups.push(group);
    }
    check(&reml().fit(&groups).unwrap(), &ORTHODONT_FEMALE_REML_RI);
}

#[test]
fn dyestuff_one_way() {
    check(&reml().fit(&batches(&DYESTUFF)).unwrap(), &DYESTUFF_REML);
    check(&ml().fit(&batches(&DYESTUFF)).unwrap(), &DYESTUFF_ML);
}

#[test]
fn a_variance_of_exactly_zero_is_found() {
    for (model, expected) in [
        (reml(), DYESTUFF2_REML_SINGULAR),
        (ml(), DYESTUFF2_ML_SINGULAR),
    ] {
        let fit = model.fit(&batches(&DYESTUFF2)).unwrap();
        assert!(
            fit.random_cov[(0, 0)] < 1e-6 * fit.sigma2,
            "{}",
            fit.random_cov
        );
        close(fit.loglik(), expected.loglik, LOGLIK, "log-likelihood");
        close(fit.sigma2, expected.sigma2, VARIANCE, "sigma2");
        all_close(fit.beta.iter(), expected.beta, BETA, "beta");
        all_close(fit.cov_beta.iter(), expected.beta_cov, VARIANCE, "cov beta");
        assert!(fit.groups[0].blup[0].abs() < 1e-5);
    }
}

#[test]
fn predictions_for_known_and_new_subjects() {
    let fit = reml().fit(&sleep(|_, _| true)).unwrap();
    let row = [1.0, 12.0];
    let lines = [
        (0, 489.6587644676377),
        (1, 233.17752419189358),
        (17, 404.7354317740938),
    ];
    for (group, line) in lines {
        let known = fit.predict_known(&fit.groups[group], &row, &row).unwrap();
        close(known.mean, line, VARIANCE, "own line");
        close(
            known.variance_given_beta,
            396.0062734718707,
            VARIANCE,
            "given beta",
        );
        close(
            known.residual_variance,
            654.9410270722988,
            VARIANCE,
            "residual",
        );
        assert!(known.variance > known.variance_given_beta);
    }
    let new = fit.predict_new(&row, &row).unwrap();
    close(new.mean, 377.01253636363634, BETA, "new subject");
    close(
        new.variance_given_beta,
        5892.913050022089,
        VARIANCE,
        "new subject, random",
    );
    close(
        new.variance - new.variance_given_beta,
        355.83099183366033,
        VARIANCE,
        "new subject, beta",
    );
    assert!(fit.predict_new(&[1.0], &row).is_err());
}

#[test]
fn a_group_left_out_is_predicted_as_if_it_had_taken_part_with_known_parameters() {
    let groups = sleep(|_, _| true);
    let fit = reml().fit(&groups).unwrap();
    let again = fit.effects_of(&groups[5]).unwrap();
    assert_eq!(again, fit.groups[5]);
    let nothing = fit.effects_of(&GroupSummary::empty(2, 2)).unwrap();
    all_close(nothing.blup.iter(), &[0.0, 0.0], 1e-12, "no rows");
    let spread: Vec<f64> = fit.random_cov.iter().copied().collect();
    all_close(nothing.conditional_cov.iter(), &spread, 1e-12, "no rows");
}

#[test]
fn the_factor_matches_and_a_prior_that_says_nothing_changes_nothing() {
    let groups = sleep(|_, _| true);
    let plain = reml().fit(&groups).unwrap();
    let factor = plain.relative_factor();
    all_close(
        &[factor[(0, 0)], factor[(1, 0)], factor[(1, 1)]],
        SLEEPSTUDY_REML.theta,
        VARIANCE,
        "theta",
    );
    // sigma is then searched for instead of solved for: another route to the same place
    let nothing = GaussianPrior::independent(&[0.0, 0.0], &[f64::INFINITY; 2]).unwrap();
    check(
        &MixedModel {
            beta_prior: Some(nothing),
            ..reml()
        }
        .fit(&groups)
        .unwrap(),
        &SLEEPSTUDY_REML,
    );
}

#[test]
fn a_weight_is_a_smaller_residual_variance() {
    let mut weighted = batches(&DYESTUFF);
    let mut scaled = batches(&DYESTUFF);
    for (w, s) in weighted.iter_mut().zip(&mut scaled) {
        w.add_row(&[1.0], &[1.0], 1500.0, 4.0).unwrap();
        s.add_row(&[2.0], &[2.0], 3000.0, 1.0).unwrap();
    }
    let (a, b) = (reml().fit(&weighted).unwrap(), reml().fit(&scaled).unwrap());
    close(a.beta[0], b.beta[0], 1e-10, "beta");
    close(a.sigma2, b.sigma2, 1e-6, "sigma2");
    close(
        a.loglik(),
        b.loglik() + 6.0 * 2.0_f64.ln(),
        1e-10,
        "log-likelihood",
    );
    assert!(weighted[0].add_row(&[1.0], &[1.0], 1.0, 0.0).is_err());
}
