//! Location, scale and slopes that a few wild values cannot move.

use nalgebra::{DMatrix, DVector};

use super::error::{StatsError, Stop, check_finite, check_length};
use super::linear::least_squares;
use super::quantiles::{QuantileType, quantile_of_sorted};
use super::special::normal_quantile;

/// The upper quartile of the standard normal, which makes a median of absolute
/// deviations estimate a standard deviation.
pub const NORMAL_UPPER_QUARTILE: f64 = 0.674_489_750_196_081_7;

/// The usual tuning of Huber's weights: 95 % efficiency under the normal.
pub const HUBER_TUNING: f64 = 1.345;

/// The middle value.
///
/// # Errors
/// No values, or one that is not finite.
pub fn median(values: &[f64]) -> Result<f64, StatsError> {
    median_in_place(&mut values.to_vec())
}

/// The same; puts the values in another order.
///
/// # Errors
/// As there.
pub fn median_in_place(values: &mut [f64]) -> Result<f64, StatsError> {
    let Some(below) = values.len().checked_sub(1).map(|last| last / 2) else {
        return Err(StatsError::TooFew {
            what: "sample",
            needed: 1,
            found: 0,
        });
    };
    check_finite("values", values)?;
    let is_odd = values.len() % 2 == 1;
    let (_, low, above) = values.select_nth_unstable_by(below, f64::total_cmp);
    let low = *low;
    match above.iter().copied().min_by(f64::total_cmp) {
        Some(high) if !is_odd => Ok(low + 0.5 * (high - low)),
        _ => Ok(low),
    }
}

/// Median of the absolute deviations from the median, not scaled to a standard deviation.
pub fn mad(values: &[f64]) -> Result<f64, StatsError> {
    let centre = median(values)?;
    let deviations: Vec<f64> = values.iter().map(|v| (v - centre).abs()).collect();
    median(&deviations)
}

/// [`mad`] scaled to estimate the standard deviation of normal values.
pub fn mad_sd(values: &[f64]) -> Result<f64, StatsError> {
    Ok(mad(values)? / NORMAL_UPPER_QUARTILE)
}

/// A line by the median of the slopes of all pairs.
#[derive(Debug, Clone, PartialEq)]
pub struct TheilSen {
    pub slope: f64,
    /// Median of y minus slope times median of x.
    pub intercept: f64,
    /// Median of y − slope·x.
    pub intercept_of_residuals: f64,
    /// Sen's limits of the slope at the confidence asked for.
    pub slope_low: f64,
    pub slope_high: f64,
    /// Pairs with different x.
    pub pairs: usize,
    /// Kendall's S: rising pairs minus falling pairs.
    pub kendall_s: i64,
    /// Kendall's tau-b; 0 where all x or all y are equal.
    pub kendall_tau: f64,
}

/// n(n−1)(2n+5) summed over the groups of equal values, and the pairs tied.
fn ties(values: &[f64]) -> (f64, f64) {
    let mut ascending = values.to_vec();
    ascending.sort_unstable_by(f64::total_cmp);
    ascending
        .chunk_by(|a, b| a == b)
        .fold((0.0, 0.0), |(term, pairs), group| {
            let k = group.len() as f64;
            (
                term + k * (k - 1.0) * (2.0 * k + 5.0),
                pairs + 0.5 * k * (k - 1.0),
            )
        })
}

/// Theil–Sen line of `y` on `x` with Sen's limits at `confidence` (such as 0.95).
///
/// All pairs are compared: meant for some hundred points, not for millions.
///
/// # Errors
/// Different lengths, values that are not finite, fewer than two different x.
///
/// # Source
/// Theil 1950; Sen 1968, JASA 63:1379, with his variance for ties.
pub fn theil_sen(x: &[f64], y: &[f64], confidence: f64) -> Result<TheilSen, StatsError> {
    check_length("y", x.len(), y.len())?;
    check_finite("x", x)?;
    check_finite("y", y)?;
    let mut slopes = Vec::new();
    let mut kendall_s = 0_i64;
    for (i, (xi, yi)) in x.iter().zip(y).enumerate() {
        for (xj, yj) in x.iter().zip(y).skip(i + 1) {
            if xi != xj {
                let slope = (yj - yi) / (xj - xi);
                kendall_s += i64::from(slope > 0.0) - i64::from(slope < 0.0);
                slopes.push(slope);
            }
        }
    }
    if slopes.is_empty() {
        return Err(StatsError::TooFew {
            what: "points at different x",
            needed: 2,
            found: 1,
        });
    }
    slopes.sort_unstable_by(f64::total_cmp);
    let pairs = slopes.len();
    let slope = quantile_of_sorted(&slopes, 0.5, QuantileType::Type7);
    let n = x.len() as f64;
    let (x_term, x_ties) = ties(x);
    let (y_term, y_ties) = ties(y);
    let spread = ((n * (n - 1.0) * (2.0 * n + 5.0) - x_term - y_term).max(0.0) / 18.0).sqrt();
    let reach = normal_quantile(0.5 + 0.5 * confidence.clamp(0.0, 1.0)) * spread;
    let rank = |v: f64| v.round_ties_even().clamp(0.0, (pairs - 1) as f64) as usize;
    let low = rank((pairs as f64 - reach) / 2.0 - 1.0);
    let high = rank((pairs as f64 + reach) / 2.0);
    let at = |i: usize| slopes.get(i).copied().unwrap_or(f64::NAN);
    let residuals: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope * x).collect();
    let all = 0.5 * n * (n - 1.0);
    let comparable = (all - x_ties) * (all - y_ties);
    Ok(TheilSen {
        slope,
        intercept: median(y)? - slope * median(x)?,
        intercept_of_residuals: median(&residuals)?,
        slope_low: at(low),
        slope_high: at(high),
        pairs,
        kendall_s,
        kendall_tau: if comparable > 0.0 {
            kendall_s as f64 / comparable.sqrt()
        } else {
            0.0
        },
    })
}

/// A linear model fitted with Huber's weights.
#[derive(Debug, Clone)]
pub struct HuberFit {
    pub coef: DVector<f64>,
    /// Covariance of the coefficients (Huber's H1, as `MASS` and `statsmodels` give it).
    pub cov: DMatrix<f64>,
    /// Robust residual standard deviation.
    pub scale: f64,
    /// 1 for a row taken at full weight, less for one that lies far off.
    pub weights: Vec<f64>,
    pub iterations: usize,
    pub stop: Stop,
}

/// Huber's M-estimate of y = Xβ + ε, reweighted until it stands still.
///
/// The scale is median(|r|)/0.6745 about zero, re-estimated at every step.
/// `tuning` is usually [`HUBER_TUNING`].
///
/// # Errors
/// As [`least_squares`].
///
/// # Source
/// Huber 1981, Robust Statistics, section 7.
pub fn huber_regression(
    design: &DMatrix<f64>,
    y: &[f64],
    tuning: f64,
) -> Result<HuberFit, StatsError> {
    let mut fit = least_squares(design, y, None)?;
    let scale_of = |residuals: &DVector<f64>| {
        let sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
        median(&sizes).map(|m| m / NORMAL_UPPER_QUARTILE)
    };
    let exact = 1e-14 * y.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    let mut scale = scale_of(&fit.residuals)?;
    let mut weights = vec![1.0; y.len()];
    let mut stop = Stop::IterationLimit;
    let mut iterations = 0;
    while iterations < 500 {
        if scale <= exact {
            // more than half of the rows lie exactly on the plane
            stop = Stop::NoDescent;
            break;
        }
        iterations += 1;
        for (w, r) in weights.iter_mut().zip(fit.residuals.iter()) {
            *w = (tuning * scale / r.abs()).min(1.0);
        }
        let next = least_squares(design, y, Some(&weights))?;
        let moved = (&next.residuals - &fit.residuals).amax();
        fit = next;
        scale = scale_of(&fit.residuals)?;
        if moved <= 1e-13 * scale {
            stop = Stop::StepSmall;
            break;
        }
    }
    let cov = huber_covariance(design, &fit.residuals, scale, tuning)?;
    Ok(HuberFit {
        coef: fit.coef,
        cov,
        scale,
        weights,
        iterations,
        stop,
    })
}

/// K²·[Σψ²/(n−p)] / [Σψ'/n]² · (XᵀX)⁻¹ with Huber's small-sample factor K.
fn huber_covariance(
    design: &DMatrix<f64>,
    residuals: &DVector<f64>,
    scale: f64,
    tuning: f64,
) -> Result<DMatrix<f64>, StatsError> {
    let (n, p) = design.shape();
    let inverse = (design.transpose() * design)
        .try_inverse()
        .ok_or(StatsError::Singular {
            what: "design matrix",
        })?;
    if scale <= 0.0 || n <= p {
        return Ok(inverse * 0.0);
    }
    let (nf, pf) = (n as f64, p as f64);
    let inside = residuals
        .iter()
        .filter(|r| r.abs() <= tuning * scale)
        .count() as f64
        / nf;
    if inside == 0.0 {
        return Err(StatsError::Singular {
            what: "Huber weights",
        });
    }
    let psi2: f64 = residuals
        .iter()
        .map(|r| r.clamp(-tuning * scale, tuning * scale).powi(2))
        .sum();
    let k = 1.0 + pf / nf * (inside * (1.0 - inside)) / (inside * inside);
    Ok(inverse * (k * k * psi2 / (nf - pf) / (inside * inside)))
}

#[cfg(test)]
mod tests;
