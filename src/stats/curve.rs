//! Nonlinear least squares by Levenberg and Marquardt's method.

use nalgebra::{DMatrix, DVector};

use super::error::{StatsError, Stop, check_finite, check_length};
use super::linear::{covariance_of_triangle, unit_columns};
use super::prior::GaussianPrior;

/// A relative step below this moves no digit that matters.
const STEP_TOLERANCE: f64 = 1e-13;

/// A promised gain below this share of the sum of squares is not to be had.
const GAIN_TOLERANCE: f64 = 1e-26;
/// Below this share of a derivative's size what the others leave of it is rounding.
const RANK_TOLERANCE: f64 = 1e-10;

/// How to weigh the rows, what is believed of the parameters, how long to try.
#[derive(Debug, Clone)]
pub struct CurveOptions<'a> {
    /// One a row. Inverse variances up to a factor, unless `known_variance`.
    pub weights: Option<&'a [f64]>,
    /// The weights are the inverse variances themselves, so the residuals have
    /// no say in how sure the parameters are.
    pub known_variance: bool,
    /// A belief about the parameters; needs `known_variance` to have its proper
    /// share beside the rows.
    pub prior: Option<&'a GaussianPrior>,
    pub iterations: usize,
}

impl Default for CurveOptions<'_> {
    fn default() -> Self {
        CurveOptions {
            weights: None,
            known_variance: false,
            prior: None,
            iterations: 500,
        }
    }
}

/// A curve fitted.
#[derive(Debug, Clone)]
pub struct CurveFit {
    pub parameters: DVector<f64>,
    pub cov: DMatrix<f64>,
    /// Weighted residual sum of squares, without the prior's part.
    pub rss: f64,
    /// What the covariance was multiplied with: rss over its degrees of freedom,
    /// or 1 for known variances.
    pub sigma2: f64,
    pub degrees_of_freedom: usize,
    pub iterations: usize,
    pub stop: Stop,
}

impl CurveFit {
    /// Standard errors of the parameters.
    pub fn se(&self) -> DVector<f64> {
        self.cov.diagonal().map(f64::sqrt)
    }

    /// Standard error of a function of the parameters with this gradient (delta method).
    ///
    /// # Errors
    /// A gradient of another length than the parameters.
    pub fn delta_se(&self, gradient: &[f64]) -> Result<f64, StatsError> {
        check_length("gradient", self.parameters.len(), gradient.len())?;
        let g = DVector::from_column_slice(gradient);
        Ok(g.dot(&(&self.cov * &g)).max(0.0).sqrt())
    }
}

/// Rows of the least-squares problem: weighted residuals, then the prior's.
struct Rows<'a, F> {
    model: F,
    y: &'a [f64],
    root_weights: Vec<f64>,
    /// Lᵀ with LLᵀ the prior's precision, and its mean.
    prior: Option<(DMatrix<f64>, DVector<f64>)>,
}

impl<F: Fn(usize, &[f64]) -> f64> Rows<'_, F> {
    fn residuals(&self, parameters: &DVector<f64>) -> DVector<f64> {
        let n = self.y.len();
        let extra = self.prior.as_ref().map_or(0, |_| parameters.len());
        let mut out = DVector::zeros(n + extra);
        for (i, (y, w)) in self.y.iter().zip(&self.root_weights).enumerate() {
            out[i] = w * (y - (self.model)(i, parameters.as_slice()));
        }
        if let Some((root, mean)) = &self.prior {
            out.rows_mut(n, extra)
                .copy_from(&(root * (mean - parameters)));
        }
        out
    }

    /// Derivatives of the weighted model (and the prior's rows), central differences.
    fn jacobian(&self, parameters: &DVector<f64>) -> DMatrix<f64> {
        let (n, p) = (self.y.len(), parameters.len());
        let extra = self.prior.as_ref().map_or(0, |_| p);
        let mut out = DMatrix::zeros(n + extra, p);
        let mut probe = parameters.clone();
        for j in 0..p {
            let step = f64::EPSILON.cbrt() * parameters[j].abs().max(1e-7);
            let mut at = |t: f64, i: usize| {
                probe[j] = parameters[j] + t * step;
                let value = (self.model)(i, probe.as_slice());
                probe[j] = parameters[j];
                value
            };
            for i in 0..n {
                let near = at(1.0, i) - at(-1.0, i);
                let far = at(2.0, i) - at(-2.0, i);
                out[(i, j)] = self.root_weights[i] * (8.0 * near - far) / (12.0 * step);
            }
        }
        if let Some((root, _)) = &self.prior {
            out.view_mut((n, 0), (p, p)).copy_from(root);
        }
        out
    }
}

/// Minimises Σ w·(y − model)² from `start`; `model(i, parameters)` gives row i.
///
/// Derivatives are numerical; a value that is not a number counts as too far.
///
/// # Errors
/// Fewer rows than parameters (without a prior), wrong lengths, values that are
/// not finite, no value at the start, parameters that cannot be told apart, or
/// the iteration limit.
///
/// # Source
/// Levenberg 1944; Marquardt 1963; damping after Nielsen 1999, each step solved
/// by orthogonal decomposition.
pub fn fit_curve(
    model: impl Fn(usize, &[f64]) -> f64,
    y: &[f64],
    start: &[f64],
    options: &CurveOptions,
) -> Result<CurveFit, StatsError> {
    let what = "curve";
    let rows = rows(model, y, start, options)?;
    let mut point = DVector::from_column_slice(start);
    let mut residuals = rows.residuals(&point);
    let mut value = residuals.norm_squared();
    if !value.is_finite() {
        return Err(StatsError::NotFinite {
            what: "curve at the starting parameters",
            index: 0,
        });
    }
    let (mut damping, mut growth) = (1e-3, 2.0);
    let mut scale = DVector::zeros(start.len());
    let mut stop = Stop::IterationLimit;
    let mut iterations = 0;
    let mut jacobian = rows.jacobian(&point);
    while iterations < options.iterations {
        iterations += 1;
        for j in 0..start.len() {
            scale[j] = f64::max(scale[j], jacobian.column(j).norm());
        }
        let step = damped_step(&jacobian, &residuals, &scale, damping)?;
        let small = (0..start.len()).all(|j| step[j].abs() <= STEP_TOLERANCE * point[j].abs());
        let next = &point + &step;
        let next_residuals = rows.residuals(&next);
        let next_value = next_residuals.norm_squared();
        let promised = (&jacobian * &step).norm_squared()
            + 2.0 * damping * step.component_mul(&scale).norm_squared();
        let ratio = (value - next_value) / promised;
        if next_value <= value && next_value.is_finite() {
            (point, residuals, value) = (next, next_residuals, next_value);
            jacobian = rows.jacobian(&point);
            damping *= (1.0 - (2.0 * ratio - 1.0).powi(3)).clamp(1.0 / 3.0, 2.0);
            damping = damping.max(1e-20);
            growth = 2.0;
        } else {
            damping *= growth;
            growth *= 2.0;
        }
        if small || value == 0.0 {
            stop = Stop::StepSmall;
            break;
        }
        if promised <= GAIN_TOLERANCE * value {
            stop = Stop::GradientSmall;
            break;
        }
        if damping > 1e20 {
            stop = Stop::NoDescent;
            break;
        }
    }
    if !stop.is_converged() {
        return Err(StatsError::NotConverged { what, stop });
    }
    finished(
        &jacobian,
        point,
        &residuals,
        y.len(),
        options,
        iterations,
        stop,
    )
}

fn rows<'a, F: Fn(usize, &[f64]) -> f64>(
    model: F,
    y: &'a [f64],
    start: &[f64],
    options: &CurveOptions,
) -> Result<Rows<'a, F>, StatsError> {
    check_finite("observations", y)?;
    check_finite("starting parameters", start)?;
    if options.prior.is_none() && y.len() < start.len() {
        return Err(StatsError::TooFew {
            what: "observations",
            needed: start.len(),
            found: y.len(),
        });
    }
    let root_weights = match options.weights {
        None => vec![1.0; y.len()],
        Some(w) => {
            check_length("weights", y.len(), w.len())?;
            if let Some(&value) = w.iter().find(|w| !(**w >= 0.0 && w.is_finite())) {
                return Err(StatsError::OutOfRange {
                    what: "weight",
                    value,
                    allowed: "0 or more",
                });
            }
            w.iter().map(|w| w.sqrt()).collect()
        }
    };
    let prior = match options.prior {
        None => None,
        Some(prior) => {
            check_length("prior on the parameters", start.len(), prior.mean.len())?;
            // a symmetric root works for zero precisions too
            let eigen = prior.precision.clone().symmetric_eigen();
            let roots = DMatrix::from_diagonal(&eigen.eigenvalues.map(|v| v.max(0.0).sqrt()));
            Some((roots * eigen.eigenvectors.transpose(), prior.mean.clone()))
        }
    };
    Ok(Rows {
        model,
        y,
        root_weights,
        prior,
    })
}

/// The least-squares step with √damping·scale appended as rows.
fn damped_step(
    jacobian: &DMatrix<f64>,
    residuals: &DVector<f64>,
    scale: &DVector<f64>,
    damping: f64,
) -> Result<DVector<f64>, StatsError> {
    let (n, p) = jacobian.shape();
    let mut matrix = DMatrix::zeros(n + p, p);
    matrix.view_mut((0, 0), (n, p)).copy_from(jacobian);
    let largest = scale.amax();
    for j in 0..p {
        // a parameter without any effect yet must not make the system singular
        matrix[(n + j, j)] = damping.sqrt() * scale[j].max(1e-10 * largest).max(1e-300);
    }
    let mut target = DVector::zeros(n + p);
    target.rows_mut(0, n).copy_from(residuals);
    if matrix.iter().any(|v| !v.is_finite()) {
        return Err(StatsError::NotFinite {
            what: "derivatives of the curve",
            index: 0,
        });
    }
    let qr = matrix.qr();
    qr.q_tr_mul(&mut target);
    let head = target.rows(0, p).into_owned();
    qr.r()
        .solve_upper_triangular(&head)
        .ok_or(StatsError::Singular { what: "curve" })
}

fn finished(
    jacobian: &DMatrix<f64>,
    parameters: DVector<f64>,
    residuals: &DVector<f64>,
    n: usize,
    options: &CurveOptions,
    iterations: usize,
    stop: Stop,
) -> Result<CurveFit, StatsError> {
    let rss = residuals.rows(0, n).norm_squared();
    let degrees_of_freedom = n.saturating_sub(parameters.len());
    let sigma2 = if options.known_variance {
        1.0
    } else if degrees_of_freedom > 0 {
        rss / degrees_of_freedom as f64
    } else {
        0.0
    };
    let cov = unit_covariance(jacobian)? * sigma2;
    Ok(CurveFit {
        parameters,
        cov,
        rss,
        sigma2,
        degrees_of_freedom,
        iterations,
        stop,
    })
}

/// (JᵀJ)⁻¹, the covariance of the linearised problem at unit variance.
fn unit_covariance(jacobian: &DMatrix<f64>) -> Result<DMatrix<f64>, StatsError> {
    let mut scaled = jacobian.clone();
    let lengths = unit_columns(&mut scaled, "curve")?;
    covariance_of_triangle(&scaled.qr().r(), &lengths, RANK_TOLERANCE, "curve")
}

#[cfg(test)]
mod tests;
