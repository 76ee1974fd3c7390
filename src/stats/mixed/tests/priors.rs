//! What beliefs do, and what cannot be told without them.

use super::*;

fn nearly(median: f64) -> ScalePrior {
    ScalePrior::LogNormal {
        median,
        ln_sd: 1e-5,
    }
}

/// One group with three rows and firm beliefs: the conjugate normal posterior
/// of (β, b), computed with dense matrices.
#[test]
fn one_group_with_three_rows_gives_the_conjugate_posterior() {
    let rows = [(0.0, 1.3), (1.0, 1.1), (4.0, 2.6)];
    let mut group = GroupSummary::empty(2, 2);
    for (x, y) in rows {
        group.add_row(&[1.0, x], &[1.0, x], y, 1.0).unwrap();
    }
    let (sigma, taus) = (0.5, [0.4, 0.2]);
    let model = MixedModel {
        correlated: false,
        beta_prior: Some(GaussianPrior::independent(&[1.0, 0.1], &[0.6, 0.3]).unwrap()),
        random_sd: taus.map(nearly).to_vec(),
        residual_sd: nearly(sigma),
        ..reml()
    };
    let fit = model.fit(&[group]).unwrap();

    let w = DMatrix::from_fn(3, 4, |i, j| if j % 2 == 0 { 1.0 } else { rows[i].0 });
    let y = DVector::from_fn(3, |i, _| rows[i].1);
    let prior_mean = DVector::from_column_slice(&[1.0, 0.1, 0.0, 0.0]);
    let prior_sd = DVector::from_column_slice(&[0.6, 0.3, taus[0], taus[1]]);
    let prior_precision = DMatrix::from_diagonal(&prior_sd.map(|s| 1.0 / (s * s)));
    let precision = w.transpose() * &w / (sigma * sigma) + &prior_precision;
    let cov = precision.try_inverse().unwrap();
    let mean = &cov * (w.transpose() * &y / (sigma * sigma) + &prior_precision * &prior_mean);
    let effects = &fit.groups[0];
    for k in 0..2 {
        close(fit.beta[k], mean[k], 1e-6, "beta");
        close(effects.blup[k], mean[k + 2], 1e-6, "b");
    }
    let joint = fit.joint_cov(effects);
    all_close(joint.iter(), cov.as_slice(), 1e-6, "joint covariance");
    // marginal density of y: N(Wm, WPW' + σ²I)
    let marginal = &w * DMatrix::from_diagonal(&prior_sd.map(|s| s * s)) * w.transpose()
        + DMatrix::identity(3, 3) * (sigma * sigma);
    let miss = &y - &w * &prior_mean;
    let chol = marginal.cholesky().unwrap();
    let deviance = 3.0 * criterion::LN_2PI + chol.ln_determinant() + miss.dot(&chol.solve(&miss));
    close(fit.deviance, deviance, 1e-6, "marginal likelihood");
}

#[test]
fn priors_settle_what_one_group_cannot_tell() {
    let mut group = GroupSummary::empty(2, 2);
    group.add_row(&[1.0, 3.0], &[1.0, 3.0], -3.1, 1.0).unwrap();
    assert!(
        reml().fit(std::slice::from_ref(&group)).is_err(),
        "two unknowns, one row"
    );
    let model = MixedModel {
        beta_prior: Some(GaussianPrior::independent(&[-3.2, 0.014], &[0.3, 0.005]).unwrap()),
        random_sd: vec![
            ScalePrior::HalfNormal { sd: 0.3 },
            ScalePrior::HalfNormal { sd: 0.01 },
        ],
        residual_sd: ScalePrior::LogNormal {
            median: 0.08,
            ln_sd: 0.3,
        },
        correlation_shape: 2.0,
        ..reml()
    };
    let fit = model.fit(std::slice::from_ref(&group)).unwrap();
    assert!(fit.beta.iter().all(|b| b.is_finite()));
    assert!(fit.cov_beta[(0, 0)].sqrt() < 0.3 && fit.cov_beta[(0, 0)] > 0.0);
    assert!((fit.beta[1] - 0.014).abs() < 0.005);
}

#[test]
fn shrinking_more_under_a_tighter_belief() {
    let groups = batches(&DYESTUFF);
    let spread = |sd: f64| {
        let model = MixedModel {
            random_sd: vec![ScalePrior::HalfNormal { sd }],
            ..reml()
        };
        model.fit(&groups).unwrap().random_sds()[0]
    };
    let free = reml().fit(&groups).unwrap().random_sds()[0];
    assert!(spread(5.0) < spread(20.0) && spread(20.0) < free);
    close(spread(1e6), free, 1e-5, "a wide belief");
}

#[test]
fn one_group_alone_does_not_tell_how_groups_differ() {
    let mut group = GroupSummary::empty(2, 1);
    for (x, y) in [(0.0, 1.0), (1.0, 2.2), (2.0, 2.9), (3.0, 4.1)] {
        group.add_row(&[1.0, x], &[1.0], y, 1.0).unwrap();
    }
    let refused = reml().fit(&[group]).unwrap_err();
    assert_eq!(
        refused,
        StatsError::Singular {
            what: "variances of the random effects"
        }
    );
}

#[test]
fn a_belief_about_the_correlation_is_fitted_where_a_variance_vanishes() {
    // no group differs from another: both standard deviations go to 0
    let mut groups = Vec::new();
    for shift in [0.0, 0.02, -0.02, 0.01] {
        let mut group = GroupSummary::empty(2, 2);
        for k in 0..6 {
            let (x, noise) = (
                f64::from(k),
                [0.3, -0.2, -0.3, 0.25, 0.1, -0.15][k as usize],
            );
            group
                .add_row(&[1.0, x], &[1.0, x], 1.0 + 0.5 * x + noise + shift, 1.0)
                .unwrap();
        }
        groups.push(group);
    }
    let model = MixedModel {
        random_sd: vec![ScalePrior::HalfNormal { sd: 0.3 }; 2],
        residual_sd: ScalePrior::LogNormal {
            median: 0.2,
            ln_sd: 0.5,
        },
        correlation_shape: 2.0,
        ..reml()
    };
    let fit = model.fit(&groups).unwrap();
    assert!(fit.random_sds().amax() < 0.05, "{}", fit.random_cov);
    close(fit.beta[1], 0.5, 0.1, "slope");
}
