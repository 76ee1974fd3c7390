//! Weighted linear least squares through an orthogonal decomposition.

use nalgebra::{DMatrix, DVector};

use super::error::{StatsError, check_finite, check_length};

/// Below this share of a column's length what is left of it after the other
/// columns counts as rounding.
const RANK_TOLERANCE: f64 = 1e-11;

/// A fitted linear model y = Xβ + ε.
#[derive(Debug, Clone)]
pub struct LinearFit {
    pub coef: DVector<f64>,
    /// Covariance of the coefficients, `sigma2` included; zero where no degrees of freedom are left.
    pub cov: DMatrix<f64>,
    /// Weighted residual sum of squares over n − p.
    pub sigma2: f64,
    /// Weighted residual sum of squares.
    pub rss: f64,
    /// y − Xβ, unweighted, in the order of the rows.
    pub residuals: DVector<f64>,
    pub degrees_of_freedom: usize,
}

impl LinearFit {
    /// Standard errors of the coefficients.
    pub fn se(&self) -> DVector<f64> {
        self.cov.diagonal().map(f64::sqrt)
    }
}

/// Fits y = Xβ with weights (inverse variances up to a factor); `None` for equal ones.
///
/// # Errors
/// Fewer rows than columns, values that are not finite, columns that depend on each other.
pub fn least_squares(
    design: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
) -> Result<LinearFit, StatsError> {
    let (n, p) = design.shape();
    check_length("observations", n, y.len())?;
    check_finite("observations", y)?;
    check_finite("design matrix", design.as_slice())?;
    if n < p || p == 0 {
        return Err(StatsError::TooFew {
            what: "rows of the design matrix",
            needed: p.max(1),
            found: n,
        });
    }
    let mut x = design.clone();
    let mut target = DVector::from_column_slice(y);
    if let Some(w) = weights {
        check_length("weights", n, w.len())?;
        check_finite("weights", w)?;
        for (i, &w) in w.iter().enumerate() {
            if w < 0.0 {
                return Err(StatsError::OutOfRange {
                    what: "weight",
                    value: w,
                    allowed: "0 or more",
                });
            }
            x.row_mut(i).scale_mut(w.sqrt());
            target[i] *= w.sqrt();
        }
    }
    let lengths = unit_columns(&mut x, "design matrix")?;
    let qr = x.qr();
    let r = qr.r();
    let mut rotated = target;
    qr.q_tr_mul(&mut rotated);
    let head = rotated.rows(0, p).into_owned();
    let cov = covariance_of_triangle(&r, &lengths, RANK_TOLERANCE, "design matrix")?;
    let mut coef = r
        .solve_upper_triangular(&head)
        .ok_or(StatsError::Singular {
            what: "design matrix",
        })?;
    for (b, length) in coef.iter_mut().zip(&lengths) {
        *b /= length;
    }
    let rss = rotated.rows(p, n - p).norm_squared();
    let degrees_of_freedom = n - p;
    let sigma2 = if degrees_of_freedom > 0 {
        rss / degrees_of_freedom as f64
    } else {
        0.0
    };
    let residuals = DVector::from_column_slice(y) - design * &coef;
    Ok(LinearFit {
        coef,
        cov: cov * sigma2,
        sigma2,
        rss,
        residuals,
        degrees_of_freedom,
    })
}

/// Brings the columns to length 1, so that the size of a covariate's unit costs
/// no digits; returns their former lengths.
pub(super) fn unit_columns(
    matrix: &mut DMatrix<f64>,
    what: &'static str,
) -> Result<Vec<f64>, StatsError> {
    let lengths: Vec<f64> = matrix.column_iter().map(|c| c.norm()).collect();
    if matrix.nrows() < matrix.ncols() || lengths.contains(&0.0) {
        return Err(StatsError::Singular { what });
    }
    for (j, length) in lengths.iter().enumerate() {
        matrix.column_mut(j).unscale_mut(*length);
    }
    Ok(lengths)
}

/// (XᵀX)⁻¹ from the triangle of X with unit columns and the lengths these had.
pub(super) fn covariance_of_triangle(
    r: &DMatrix<f64>,
    lengths: &[f64],
    tolerance: f64,
    what: &'static str,
) -> Result<DMatrix<f64>, StatsError> {
    let p = r.ncols();
    if (0..p).any(|j| r[(j, j)].is_nan() || r[(j, j)].abs() < tolerance) {
        return Err(StatsError::Singular { what });
    }
    let inverse = r
        .solve_upper_triangular(&DMatrix::identity(p, p))
        .ok_or(StatsError::Singular { what })?;
    let unit = &inverse * inverse.transpose();
    Ok(DMatrix::from_fn(p, p, |j, k| {
        unit[(j, k)] / (lengths[j] * lengths[k])
    }))
}

#[cfg(test)]
mod tests;
