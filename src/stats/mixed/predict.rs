//! Random effects of a group, and what to expect of known and new groups.

use nalgebra::{DMatrix, DVector};

use super::criterion::{column, inner_factor, whiten};
use super::{GroupSummary, MixedFit};
use crate::stats::error::{StatsError, check_length};

/// The random effects of one group.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupEffects {
    /// Best linear unbiased predictor of b.
    pub blup: DVector<f64>,
    /// Covariance of b given the fixed effects.
    pub conditional_cov: DMatrix<f64>,
    /// Covariance of blup − b, the uncertainty of the fixed effects included.
    pub prediction_error_cov: DMatrix<f64>,
    /// q × p: how blup − b goes with the error of the fixed effects.
    pub cov_with_beta: DMatrix<f64>,
}

/// What a linear predictor x·β + z·b is expected to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prediction {
    pub mean: f64,
    /// Variance of the noise-free value given the fixed effects.
    pub variance_given_beta: f64,
    /// Variance of the noise-free value.
    pub variance: f64,
    /// What one row of weight 1 adds to it.
    pub residual_variance: f64,
}

pub(super) fn group_effects(fit: &MixedFit, group: &GroupSummary) -> Option<GroupEffects> {
    let (p, q) = (group.p(), group.q());
    let lambda = &fit.factor;
    let l = inner_factor(&group.ztz, lambda, q)?;
    // W = L⁻¹Λᵀ, so that ΛM⁻¹Λᵀ = WᵀW
    let identity = DMatrix::<f64>::identity(q, q);
    let mut w = DMatrix::zeros(q, q);
    for j in 0..q {
        let whitened = whiten(&l, lambda, column(&identity, j), q);
        for i in 0..q {
            w[(i, j)] = whitened[i];
        }
    }
    let shrunk = w.transpose() * &w;
    let blup = &shrunk * (&group.zty - &group.ztx * &fit.beta);
    let conditional_cov = &shrunk * fit.sigma2;
    let on_beta: DMatrix<f64> = &shrunk * &group.ztx;
    debug_assert_eq!(on_beta.shape(), (q, p));
    let cov_with_beta = -(&on_beta * &fit.cov_beta);
    let prediction_error_cov = &conditional_cov - &cov_with_beta * on_beta.transpose();
    Some(GroupEffects {
        blup,
        conditional_cov,
        prediction_error_cov,
        cov_with_beta,
    })
}

impl MixedFit {
    /// The random effects of a group that took no part in the fit (or has grown
    /// since), at the fitted variance components and fixed effects.
    ///
    /// # Errors
    /// A summary of other columns, or with values that are not finite.
    pub fn effects_of(&self, group: &GroupSummary) -> Result<GroupEffects, StatsError> {
        check_length("fixed columns of a group", self.beta.len(), group.p())?;
        check_length(
            "random columns of a group",
            self.random_cov.nrows(),
            group.q(),
        )?;
        group_effects(self, group).ok_or(StatsError::Singular {
            what: "random effects",
        })
    }

    /// Joint covariance of the errors of (β, b) for one group, (p + q) square.
    pub fn joint_cov(&self, effects: &GroupEffects) -> DMatrix<f64> {
        let (p, q) = (self.beta.len(), effects.blup.len());
        let mut joint = DMatrix::zeros(p + q, p + q);
        joint.view_mut((0, 0), (p, p)).copy_from(&self.cov_beta);
        joint
            .view_mut((p, 0), (q, p))
            .copy_from(&effects.cov_with_beta);
        joint
            .view_mut((0, p), (p, q))
            .copy_from(&effects.cov_with_beta.transpose());
        joint
            .view_mut((p, p), (q, q))
            .copy_from(&effects.prediction_error_cov);
        joint
    }

    /// x·β + z·b for a group whose effects are known.
    ///
    /// # Errors
    /// `x` or `z` of another length than the columns fitted.
    pub fn predict_known(
        &self,
        effects: &GroupEffects,
        x: &[f64],
        z: &[f64],
    ) -> Result<Prediction, StatsError> {
        let (x, z) = self.columns(x, z)?;
        let given_beta = z.dot(&(&effects.conditional_cov * &z));
        let own = z.dot(&(&effects.prediction_error_cov * &z));
        let shared = x.dot(&(&self.cov_beta * &x));
        let crossed = z.dot(&(&effects.cov_with_beta * &x));
        Ok(Prediction {
            mean: x.dot(&self.beta) + z.dot(&effects.blup),
            variance_given_beta: given_beta,
            variance: own + shared + 2.0 * crossed,
            residual_variance: self.sigma2,
        })
    }

    /// x·β + z·b for a group not seen yet.
    ///
    /// # Errors
    /// As [`MixedFit::predict_known`].
    pub fn predict_new(&self, x: &[f64], z: &[f64]) -> Result<Prediction, StatsError> {
        let (x, z) = self.columns(x, z)?;
        let random = z.dot(&(&self.random_cov * &z));
        Ok(Prediction {
            mean: x.dot(&self.beta),
            variance_given_beta: random,
            variance: random + x.dot(&(&self.cov_beta * &x)),
            residual_variance: self.sigma2,
        })
    }

    fn columns(&self, x: &[f64], z: &[f64]) -> Result<(DVector<f64>, DVector<f64>), StatsError> {
        check_length("fixed columns", self.beta.len(), x.len())?;
        check_length("random columns", self.random_cov.nrows(), z.len())?;
        Ok((DVector::from_column_slice(x), DVector::from_column_slice(z)))
    }
}
