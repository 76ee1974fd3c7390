//! Descent with numerical gradients, from a start that may be far off.

use nalgebra::{DMatrix, DVector};

use super::{Minimum, Stop};

/// Step of the central differences, in units of each scale: the cube root of
/// the double's precision, rounded up.
const STEP: f64 = 1e-4;
/// Largest scaled gradient at which the search is done.
const FLAT: f64 = 1e-3;

/// Minimises a function by BFGS with central differences. `f` gives its values
/// at several points, as it may find them side by side. `scale` is the size of a
/// noticeable change of each unknown. A value that is not finite counts as very
/// large.
pub fn bfgs(
    f: impl Fn(&[Vec<f64>]) -> Vec<f64>,
    x0: &[f64],
    scale: &[f64],
    most: usize,
) -> Minimum {
    let n = x0.len();
    let evaluations = std::cell::Cell::new(0);
    let moved = |z: &DVector<f64>| -> Vec<f64> {
        let each = z.iter().zip(scale).zip(x0);
        each.map(|((z, s), x)| x + z * s).collect()
    };
    let values = |points: &[Vec<f64>]| -> Vec<f64> {
        evaluations.set(evaluations.get() + points.len());
        let mut values = f(points);
        for value in &mut values {
            if !value.is_finite() {
                *value = 1e300;
            }
        }
        values
    };
    let at = |z: &DVector<f64>| values(&[moved(z)]).first().copied().unwrap_or(1e300);
    let gradient = |z: &DVector<f64>| {
        let points: Vec<Vec<f64>> = (0..n)
            .flat_map(|i| {
                [STEP, -STEP].map(|step| {
                    let mut aside = z.clone();
                    aside[i] += step;
                    moved(&aside)
                })
            })
            .collect();
        let values = values(&points);
        let slopes = values
            .chunks_exact(2)
            .map(|pair| pair.iter().rev().copied().reduce(|down, up| up - down));
        DVector::from_iterator(n, slopes.map(|d| d.unwrap_or(0.0) / (2.0 * STEP)))
    };
    let mut z = DVector::zeros(n);
    let mut value = at(&z);
    let mut slope = gradient(&z);
    let mut inverse = DMatrix::<f64>::identity(n, n);
    let mut stop = Stop::IterationLimit;
    for _ in 0..most {
        if slope.amax() < FLAT {
            stop = Stop::GradientSmall;
            break;
        }
        let mut direction = -(&inverse * &slope);
        if direction.dot(&slope) >= 0.0 {
            inverse = DMatrix::identity(n, n);
            direction = -slope.clone();
        }
        // No unknown moves more than two scales at once.
        let longest = direction.amax();
        if longest > 2.0 {
            direction *= 2.0 / longest;
        }
        let Some((next, next_value)) = shorten(&at, &z, value, &direction, &slope) else {
            stop = Stop::NoDescent;
            break;
        };
        let next_slope = gradient(&next);
        update(&mut inverse, &(&next - &z), &(&next_slope - &slope));
        (z, value, slope) = (next, next_value, next_slope);
    }
    let point = z
        .iter()
        .zip(scale)
        .zip(x0)
        .map(|((z, s), x)| x + z * s)
        .collect();
    Minimum {
        point,
        value,
        evaluations: evaluations.get(),
        stop,
    }
}

/// Halves the step until the value falls enough (Armijo).
fn shorten(
    at: &impl Fn(&DVector<f64>) -> f64,
    z: &DVector<f64>,
    value: f64,
    direction: &DVector<f64>,
    slope: &DVector<f64>,
) -> Option<(DVector<f64>, f64)> {
    let expected = direction.dot(slope);
    let mut length = 1.0;
    for _ in 0..30 {
        let next = z + direction * length;
        let next_value = at(&next);
        if next_value <= value + 1e-4 * length * expected {
            return Some((next, next_value));
        }
        length *= 0.5;
    }
    None
}

/// The BFGS update of the inverse Hessian.
fn update(inverse: &mut DMatrix<f64>, step: &DVector<f64>, change: &DVector<f64>) {
    let curvature = step.dot(change);
    if curvature <= 1e-12 {
        return;
    }
    let hy = &*inverse * change;
    let factor = (1.0 + change.dot(&hy) / curvature) / curvature;
    *inverse += step * step.transpose() * factor
        - (&hy * step.transpose() + step * hy.transpose()) / curvature;
}
