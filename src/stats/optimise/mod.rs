//! Minimising smooth functions of a few variables, and minima and roots in one.

mod descent;
mod line;
mod simplex;

use nalgebra::{DMatrix, DVector};

use super::error::{StatsError, Stop};

pub use descent::bfgs;
pub use line::{LineMinimum, minimise_between, root_between};
pub use simplex::nelder_mead;

/// A minimum found, and why the search ended there.
#[derive(Debug, Clone)]
pub struct Minimum {
    pub point: Vec<f64>,
    pub value: f64,
    /// How often the function was computed.
    pub evaluations: usize,
    pub stop: Stop,
}

/// A minimum with the curvature around it.
#[derive(Debug, Clone)]
pub struct Polished {
    pub minimum: Minimum,
    /// Second derivatives at the point before the last step.
    pub hessian: DMatrix<f64>,
}

/// Rounding in a value of this size that must not look like a rise.
fn noise(value: f64) -> f64 {
    1e-12 * (1.0 + value.abs())
}

/// Fourth-order central differences of `f` at `x`.
fn gradient(f: &mut impl FnMut(&[f64]) -> f64, x: &[f64], steps: &[f64]) -> DVector<f64> {
    let mut probe = x.to_vec();
    let mut at = |j: usize, t: f64| {
        probe[j] = x[j] + t * steps[j];
        let value = f(&probe);
        probe[j] = x[j];
        value
    };
    DVector::from_fn(x.len(), |j, _| {
        let near = at(j, 1.0) - at(j, -1.0);
        let far = at(j, 2.0) - at(j, -2.0);
        (8.0 * near - far) / (12.0 * steps[j])
    })
}

/// Central second differences at `x`, where the value is `centre`, of the
/// function whose values at several points `f` gives.
pub fn hessian(
    mut f: impl FnMut(&[Vec<f64>]) -> Vec<f64>,
    x: &[f64],
    centre: f64,
    steps: &[f64],
) -> DMatrix<f64> {
    let n = x.len();
    let moved = |j: usize, s: f64, k: usize, t: f64| {
        let mut probe = x.to_vec();
        probe[j] += s * steps[j];
        probe[k] += t * steps[k];
        probe
    };
    let mut points = Vec::with_capacity(2 * n * n);
    for j in 0..n {
        points.extend([1.0, -1.0].map(|s| moved(j, s, j, 0.0)));
        for k in 0..j {
            let corners = [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)];
            points.extend(corners.map(|(s, t)| moved(j, s, k, t)));
        }
    }
    let mut values = f(&points).into_iter();
    let mut next = || values.next().unwrap_or(f64::NAN);
    let mut out = DMatrix::zeros(n, n);
    for j in 0..n {
        out[(j, j)] = (next() - 2.0 * centre + next()) / (steps[j] * steps[j]);
        for k in 0..j {
            let mixed = next() - next() - next() + next();
            out[(j, k)] = mixed / (4.0 * steps[j] * steps[k]);
            out[(k, j)] = out[(j, k)];
        }
    }
    out
}

/// Solves `matrix`·x = `rhs` for a symmetric matrix, adding to its diagonal
/// until it is positive definite, so that the solution leads downhill.
pub(crate) fn solve_damped(matrix: &DMatrix<f64>, rhs: &DVector<f64>) -> Option<DVector<f64>> {
    let largest = matrix.diagonal().amax();
    if !largest.is_finite() || largest == 0.0 {
        return None;
    }
    let mut damping = 0.0;
    for _ in 0..40 {
        let mut damped = matrix.clone();
        for j in 0..matrix.nrows() {
            damped[(j, j)] += damping;
        }
        if let Some(factor) = damped.cholesky() {
            return Some(factor.solve(rhs));
        }
        damping = if damping == 0.0 {
            1e-10 * largest
        } else {
            damping * 4.0
        };
    }
    None
}

/// Newton's method with numerical derivatives, from a point already near the
/// minimum. `steps` are the spans of the differences, one a variable.
///
/// The gradient is far more exact than the values are, so a last step is taken
/// even where the values no longer tell the points apart.
///
/// # Errors
/// The function is not finite around the start.
pub fn newton_polish(
    mut f: impl FnMut(&[f64]) -> f64,
    start: &[f64],
    steps: &[f64],
    limit: usize,
) -> Result<Polished, StatsError> {
    let mut evaluations = 1;
    let mut point = start.to_vec();
    let mut value = f(&point);
    let n = point.len();
    let mut curvature = DMatrix::zeros(n, n);
    let mut stop = Stop::IterationLimit;
    for _ in 0..limit {
        let slope = gradient(&mut f, &point, steps);
        let one_by_one = |points: &[Vec<f64>]| points.iter().map(|x| f(x)).collect();
        curvature = hessian(one_by_one, &point, value, steps);
        evaluations += 4 * n + 2 * n * n;
        let Some(step) = solve_damped(&curvature, &slope) else {
            return Err(StatsError::NotConverged {
                what: "Newton's method",
                stop: Stop::NoDescent,
            });
        };
        let gain = 0.5 * step.dot(&slope);
        let mut share = 1.0;
        let mut moved = false;
        while share > 1e-4 {
            let next: Vec<f64> = point
                .iter()
                .zip(step.iter())
                .map(|(x, s)| x - share * s)
                .collect();
            let next_value = f(&next);
            evaluations += 1;
            if next_value <= value + noise(value) {
                point = next;
                value = next_value;
                moved = true;
                break;
            }
            share *= 0.5;
        }
        if !moved {
            stop = Stop::NoDescent;
            break;
        }
        if gain.abs() <= 1e-15 * (1.0 + value.abs()) {
            stop = Stop::GradientSmall;
            break;
        }
    }
    Ok(Polished {
        minimum: Minimum {
            point,
            value,
            evaluations,
            stop,
        },
        hessian: curvature,
    })
}

#[cfg(test)]
mod tests;
