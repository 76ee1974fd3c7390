//! What the fit needs to know of one group: cross-products, not rows.

use nalgebra::{DMatrix, DVector};

use crate::stats::error::{StatsError, check_finite, check_length};

/// Sums of products of one group's rows, each row counted with its weight.
///
/// `x` are the p columns of the fixed effects, `z` the q columns of the random
/// effects. Adding rows and merging are the only ways to fill it, so the sums
/// always belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupSummary {
    /// Rows.
    pub n: usize,
    /// Sum of the logarithms of the weights.
    pub ln_weight: f64,
    /// q × q
    pub ztz: DMatrix<f64>,
    /// q × p
    pub ztx: DMatrix<f64>,
    /// q
    pub zty: DVector<f64>,
    /// p × p
    pub xtx: DMatrix<f64>,
    /// p
    pub xty: DVector<f64>,
    pub yty: f64,
}

impl GroupSummary {
    /// A group without rows, for `p` fixed and `q` random columns.
    pub fn empty(p: usize, q: usize) -> Self {
        GroupSummary {
            n: 0,
            ln_weight: 0.0,
            ztz: DMatrix::zeros(q, q),
            ztx: DMatrix::zeros(q, p),
            zty: DVector::zeros(q),
            xtx: DMatrix::zeros(p, p),
            xty: DVector::zeros(p),
            yty: 0.0,
        }
    }

    /// Columns of the fixed effects.
    pub fn p(&self) -> usize {
        self.xty.len()
    }

    /// Columns of the random effects.
    pub fn q(&self) -> usize {
        self.zty.len()
    }

    /// Adds one row, whose residual variance is σ² / `weight`.
    ///
    /// # Errors
    /// Wrong lengths, a value that is not finite, a weight that is not positive.
    pub fn add_row(&mut self, x: &[f64], z: &[f64], y: f64, weight: f64) -> Result<(), StatsError> {
        check_length("fixed columns of a row", self.p(), x.len())?;
        check_length("random columns of a row", self.q(), z.len())?;
        check_finite("fixed columns of a row", x)?;
        check_finite("random columns of a row", z)?;
        check_finite("observation", &[y])?;
        if !(weight > 0.0 && weight.is_finite()) {
            return Err(StatsError::OutOfRange {
                what: "weight",
                value: weight,
                allowed: "above 0",
            });
        }
        self.n += 1;
        self.ln_weight += weight.ln();
        self.yty += weight * y * y;
        for (j, xj) in x.iter().enumerate() {
            self.xty[j] += weight * xj * y;
            for (k, xk) in x.iter().enumerate() {
                self.xtx[(k, j)] += weight * xk * xj;
            }
            for (k, zk) in z.iter().enumerate() {
                self.ztx[(k, j)] += weight * zk * xj;
            }
        }
        for (j, zj) in z.iter().enumerate() {
            self.zty[j] += weight * zj * y;
            for (k, zk) in z.iter().enumerate() {
                self.ztz[(k, j)] += weight * zk * zj;
            }
        }
        Ok(())
    }
}
