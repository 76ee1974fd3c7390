//! How many values a CUSUM takes until its alarm.

use nalgebra::{DMatrix, DVector};

use crate::stats::error::StatsError;
use crate::stats::optimise::root_between;
use crate::stats::quadrature::gauss_legendre;
use crate::stats::special::{normal_cdf, normal_pdf};

/// Points of the rule: ten digits for limits up to about 10.
const POINTS: usize = 96;

/// Mean number of values until a one-sided CUSUM of independent N(`shift`, 1)
/// values exceeds `limit`, from zero; `allowance` and `limit` in standard deviations.
///
/// For both sides at once, 1/L = 1/L(shift) + 1/L(−shift).
///
/// # Errors
/// A limit or allowance that is not positive, or values that are not finite.
///
/// # Source
/// The integral equation of Page 1954, Biometrika 41:100, by Gauss–Legendre quadrature.
pub fn cusum_run_length(limit: f64, allowance: f64, shift: f64) -> Result<f64, StatsError> {
    for (what, value) in [("decision limit", limit), ("allowance", allowance)] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(StatsError::OutOfRange {
                what,
                value,
                allowed: "finite and above 0",
            });
        }
    }
    if !shift.is_finite() {
        return Err(StatsError::NotFinite {
            what: "shift",
            index: 0,
        });
    }
    // unknowns: the run length from zero, then from each point of the rule
    let rule = gauss_legendre(POINTS, 0.0, limit);
    let from = |i: usize| i.checked_sub(1).map_or(0.0, |i| rule[i].0);
    let matrix = DMatrix::from_fn(POINTS + 1, POINTS + 1, |i, j| {
        let drop = allowance - from(i) - shift;
        let reached = match j.checked_sub(1) {
            None => normal_cdf(drop),
            Some(j) => rule[j].1 * normal_pdf(rule[j].0 + drop),
        };
        if i == j { 1.0 - reached } else { -reached }
    });
    let lengths = matrix
        .lu()
        .solve(&DVector::from_element(POINTS + 1, 1.0))
        .ok_or(StatsError::Singular {
            what: "run-length equation",
        })?;
    Ok(lengths[0])
}

/// The decision limit at which a one-sided CUSUM alarms falsely once in
/// `run_length` values on average.
///
/// # Errors
/// An allowance that is not positive, a run length not above 1, or one so long
/// that the limit would exceed 30 standard deviations.
pub fn cusum_limit(allowance: f64, run_length: f64) -> Result<f64, StatsError> {
    if !(run_length > 1.0 && run_length.is_finite()) {
        let allowed = "finite and above 1";
        return Err(StatsError::OutOfRange {
            what: "run length",
            value: run_length,
            allowed,
        });
    }
    let (low, high) = (1e-6, 30.0);
    cusum_run_length(low, allowance, 0.0)?;
    root_between(
        |limit| cusum_run_length(limit, allowance, 0.0).map_or(f64::NAN, f64::ln) - run_length.ln(),
        low,
        high,
    )
}
