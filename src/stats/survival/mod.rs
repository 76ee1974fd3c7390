//! Censored lives: Weibull and log-normal regression.
//!
//! ln T = xβ + σW, with W standard smallest-extreme-value (Weibull: shape 1/σ,
//! scale exp(xβ)) or standard normal (log-normal). The log-likelihood is that of
//! T itself.
//!
//! # Source
//! Meeker & Escobar 1998, Statistical Methods for Reliability Data, chapters 8,
//! 11 and 17; Lawless 2003, Statistical Models and Methods for Lifetime Data.

mod fixed_shape;
mod life;
mod likelihood;
mod newton;

use nalgebra::{DMatrix, DVector};

use super::error::{StatsError, Stop, check_length};
use super::prior::GaussianPrior;
use super::special::{ln_gamma, normal_cdf, normal_quantile, normal_sf};
pub use fixed_shape::{FixedShape, weibull_of_known_shape};
pub use life::{Life, Outcome};

/// The form of the lives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Distribution {
    Weibull,
    LogNormal,
}

impl Distribution {
    /// Quantile of the standard form W.
    pub fn standard_quantile(self, p: f64) -> f64 {
        match self {
            Distribution::Weibull => (-(-p).ln_1p()).ln(),
            Distribution::LogNormal => normal_quantile(p),
        }
    }

    /// P(W > w).
    pub fn standard_survival(self, w: f64) -> f64 {
        match self {
            Distribution::Weibull => (-w.exp()).exp(),
            Distribution::LogNormal => normal_sf(w),
        }
    }

    /// P(W ≤ w).
    pub fn standard_cdf(self, w: f64) -> f64 {
        match self {
            Distribution::Weibull => -(-w.exp()).exp_m1(),
            Distribution::LogNormal => normal_cdf(w),
        }
    }
}

/// What is known of ln σ beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LnSigma {
    /// Nothing.
    Free,
    /// Normal about `mean`.
    Prior { mean: f64, sd: f64 },
    /// Known: for a Weibull of known shape, −ln shape.
    Fixed(f64),
}

/// What to fit, and what is believed beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct SurvivalModel {
    pub distribution: Distribution,
    pub coef_prior: Option<GaussianPrior>,
    pub ln_sigma: LnSigma,
}

/// A fitted survival regression: maximum likelihood, or the posterior mode.
#[derive(Debug, Clone)]
pub struct SurvivalFit {
    pub distribution: Distribution,
    pub coef: DVector<f64>,
    pub ln_sigma: f64,
    /// Covariance of (coefficients, ln σ) from the curvature; zero for a fixed ln σ.
    pub cov: DMatrix<f64>,
    /// Log-likelihood of the lives, without priors.
    pub loglik: f64,
    /// Log-likelihood plus log prior, up to the prior's constant.
    pub log_posterior: f64,
    pub iterations: usize,
    pub stop: Stop,
}

/// A quantile of the lives with what the estimate's own error does to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LifeQuantile {
    pub age: f64,
    /// Standard error of `age` by the delta method.
    pub se: f64,
    /// Standard error of ln `age`.
    pub se_ln: f64,
}

impl LifeQuantile {
    /// Limits from the normal approximation of ln age.
    pub fn limits(&self, confidence: f64) -> (f64, f64) {
        let reach = (normal_quantile(0.5 + 0.5 * confidence) * self.se_ln).exp();
        (self.age / reach, self.age * reach)
    }
}

impl SurvivalModel {
    /// Maximum likelihood with nothing believed beforehand.
    pub fn new(distribution: Distribution) -> Self {
        SurvivalModel {
            distribution,
            coef_prior: None,
            ln_sigma: LnSigma::Free,
        }
    }

    /// Fits lives that share one distribution.
    ///
    /// # Errors
    /// As [`SurvivalModel::fit`].
    pub fn fit_sample(&self, lives: &[Life]) -> Result<SurvivalFit, StatsError> {
        self.fit(lives, &DMatrix::from_element(lives.len(), 1, 1.0))
    }

    /// Fits lives with one row of covariates each; an intercept is a column of ones.
    ///
    /// # Errors
    /// A life that contradicts itself, no end seen and no prior on the
    /// coefficients, covariates that depend on each other, or no optimum (as
    /// when the ends seen leave σ free to go to 0).
    pub fn fit(&self, lives: &[Life], design: &DMatrix<f64>) -> Result<SurvivalFit, StatsError> {
        newton::fit(self, lives, design)
    }
}

impl SurvivalFit {
    pub fn sigma(&self) -> f64 {
        self.ln_sigma.exp()
    }

    /// Standard errors of the coefficients, then of ln σ.
    pub fn se(&self) -> DVector<f64> {
        self.cov.diagonal().map(f64::sqrt)
    }

    /// xβ, the location of ln T.
    ///
    /// # Errors
    /// Covariates of another length than fitted.
    pub fn location(&self, x: &[f64]) -> Result<f64, StatsError> {
        check_length("covariates", self.coef.len(), x.len())?;
        Ok(self.coef.iter().zip(x).map(|(b, x)| b * x).sum())
    }

    /// The age by which a share `p` has ended.
    ///
    /// # Errors
    /// As [`SurvivalFit::location`]; `p` not inside 0..1.
    pub fn quantile(&self, x: &[f64], p: f64) -> Result<LifeQuantile, StatsError> {
        if p.is_nan() || p <= 0.0 || p >= 1.0 {
            return Err(StatsError::OutOfRange {
                what: "share",
                value: p,
                allowed: "between 0 and 1",
            });
        }
        let by_ln_sigma = self.sigma() * self.distribution.standard_quantile(p);
        let age = (self.location(x)? + by_ln_sigma).exp();
        let slope = DVector::from_iterator(x.len() + 1, x.iter().copied().chain([by_ln_sigma]));
        let se_ln = slope.dot(&(&self.cov * &slope)).max(0.0).sqrt();
        Ok(LifeQuantile {
            age,
            se: age * se_ln,
            se_ln,
        })
    }

    /// P(T > age), the estimate's own error not included.
    ///
    /// # Errors
    /// As [`SurvivalFit::location`].
    pub fn survival(&self, x: &[f64], age: f64) -> Result<f64, StatsError> {
        let location = self.location(x)?;
        if age <= 0.0 {
            return Ok(1.0);
        }
        Ok(self
            .distribution
            .standard_survival((age.ln() - location) / self.sigma()))
    }

    /// Mean life.
    ///
    /// # Errors
    /// As [`SurvivalFit::location`].
    pub fn mean(&self, x: &[f64]) -> Result<f64, StatsError> {
        let (location, sigma) = (self.location(x)?, self.sigma());
        Ok(match self.distribution {
            Distribution::Weibull => (location + ln_gamma(1.0 + sigma)).exp(),
            Distribution::LogNormal => (location + 0.5 * sigma * sigma).exp(),
        })
    }
}

#[cfg(test)]
mod tests;
