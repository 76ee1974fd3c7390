//! What is believed before the data are seen.

use nalgebra::{DMatrix, DVector};

use super::error::{StatsError, check_finite, check_length};

/// A normal belief about coefficients. Zero precision says nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct GaussianPrior {
    pub mean: DVector<f64>,
    /// Inverse of the covariance.
    pub precision: DMatrix<f64>,
}

impl GaussianPrior {
    /// Independent beliefs; an infinite standard deviation says nothing.
    ///
    /// # Errors
    /// Different lengths, a mean that is not finite, a standard deviation that is not positive.
    pub fn independent(means: &[f64], sds: &[f64]) -> Result<Self, StatsError> {
        check_length("standard deviations of the prior", means.len(), sds.len())?;
        check_finite("means of the prior", means)?;
        if let Some(&value) = sds.iter().find(|sd| sd.is_nan() || **sd <= 0.0) {
            return Err(StatsError::OutOfRange {
                what: "prior sd",
                value,
                allowed: "above 0",
            });
        }
        let precision = DVector::from_iterator(sds.len(), sds.iter().map(|sd| 1.0 / (sd * sd)));
        Ok(GaussianPrior {
            mean: DVector::from_column_slice(means),
            precision: DMatrix::from_diagonal(&precision),
        })
    }

    /// A joint belief.
    ///
    /// # Errors
    /// A covariance of another size, or one that is not positive definite.
    pub fn from_covariance(mean: DVector<f64>, cov: DMatrix<f64>) -> Result<Self, StatsError> {
        check_length("covariance of the prior", mean.len(), cov.nrows())?;
        let factor = cov.cholesky().ok_or(StatsError::Singular {
            what: "covariance of the prior",
        })?;
        Ok(GaussianPrior {
            mean,
            precision: factor.inverse(),
        })
    }
}
