//! Linear mixed models with one grouping factor: y = Xβ + Zb + ε, with
//! b ~ N(0, Ψ) drawn anew for each group and ε ~ N(0, σ²/weight).
//!
//! A per-group step makes a [`GroupSummary`]; [`MixedModel::fit`] reads the
//! summaries only, so its cost depends on the number of groups, not of rows.
//!
//! # Source
//! Bates, Mächler, Bolker & Walker 2015, J. Stat. Softw. 67(1): the profiled
//! deviance. Prediction error: Henderson 1975, Biometrics 31:423.

mod criterion;
mod predict;
mod search;
mod summary;

use nalgebra::{DMatrix, DVector};

use super::error::{StatsError, Stop};
use super::prior::GaussianPrior;
pub use predict::{GroupEffects, Prediction};
pub use summary::GroupSummary;

/// What is maximised over the variance components.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// The likelihood.
    Ml,
    /// The likelihood with the fixed effects integrated out (restricted, REML).
    /// Together with a proper [`GaussianPrior`] it is the marginal likelihood.
    Reml,
}

/// What is believed of a standard deviation before seeing data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ScalePrior {
    /// Nothing: 0 is allowed.
    Flat,
    /// Not much above `sd`; 0 is allowed.
    HalfNormal { sd: f64 },
    /// ln of the standard deviation is normal about ln `median`; never 0.
    LogNormal { median: f64, ln_sd: f64 },
}

impl ScalePrior {
    /// −2 log density, up to a constant.
    fn penalty(self, value: f64) -> f64 {
        match self {
            ScalePrior::Flat => 0.0,
            ScalePrior::HalfNormal { sd } => (value / sd).powi(2),
            ScalePrior::LogNormal { median, ln_sd } => ((value / median).ln() / ln_sd).powi(2),
        }
    }
}

/// What to fit, and what is believed beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct MixedModel {
    pub method: Method,
    /// Whether the random effects of a group may be correlated.
    pub correlated: bool,
    pub beta_prior: Option<GaussianPrior>,
    /// One a random column, in their order; missing ones are flat.
    pub random_sd: Vec<ScalePrior>,
    pub residual_sd: ScalePrior,
    /// Exponent η of |R|^(η−1) for the correlation matrix R (Lewandowski,
    /// Kurowicka & Joe 2009): 1 is flat, more pulls towards 0.
    pub correlation_shape: f64,
}

impl Default for MixedModel {
    /// REML with correlated random effects and no beliefs.
    fn default() -> Self {
        MixedModel {
            method: Method::Reml,
            correlated: true,
            beta_prior: None,
            random_sd: Vec::new(),
            residual_sd: ScalePrior::Flat,
            correlation_shape: 1.0,
        }
    }
}

/// A fitted mixed model.
///
/// Covariances are given the variance components: their own uncertainty is not in them.
#[derive(Debug, Clone)]
pub struct MixedFit {
    pub beta: DVector<f64>,
    /// Covariance of the fixed effects (posterior, where a prior was given).
    pub cov_beta: DMatrix<f64>,
    /// Residual variance at weight 1.
    pub sigma2: f64,
    /// Ψ, the covariance of the random effects.
    pub random_cov: DMatrix<f64>,
    /// −2 log-likelihood, or the REML criterion. With a prior on β its density
    /// is included (if proper); the scale priors are not.
    pub deviance: f64,
    /// −2 log density of the scale priors, up to a constant.
    pub penalty: f64,
    /// In the order of the groups given.
    pub groups: Vec<GroupEffects>,
    pub n: usize,
    pub evaluations: usize,
    pub stop: Stop,
    /// Λ with Ψ = σ²ΛΛᵀ, lower triangular.
    factor: criterion::Factor,
}

impl MixedFit {
    /// Half the negative deviance.
    pub fn loglik(&self) -> f64 {
        -0.5 * self.deviance
    }

    /// Λ with Ψ = σ²ΛΛᵀ, lower triangular, diagonal not negative.
    pub fn relative_factor(&self) -> DMatrix<f64> {
        let q = self.random_cov.nrows();
        DMatrix::from_fn(q, q, |i, j| self.factor[i][j])
    }

    /// Standard deviations of the random effects.
    pub fn random_sds(&self) -> DVector<f64> {
        self.random_cov.diagonal().map(f64::sqrt)
    }
}

impl MixedModel {
    /// Fits the model to groups of the same columns.
    ///
    /// Groups without rows are allowed: their effects are the prior's. A single
    /// group with little data needs priors on what it cannot tell.
    ///
    /// # Errors
    /// No group; more than three or no random columns; groups of different
    /// columns; too few rows or fixed columns that depend on each other where no
    /// prior settles them; variances that the rows leave open (as with a single
    /// group and no priors); no optimum.
    pub fn fit(&self, groups: &[GroupSummary]) -> Result<MixedFit, StatsError> {
        search::fit(self, groups)
    }
}

#[cfg(test)]
mod tests;
