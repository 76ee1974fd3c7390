//! Location and scale that a few wild values cannot move.

use super::error::{StatsError, check_finite};

/// The upper quartile of the standard normal, which makes a median of absolute
/// deviations estimate a standard deviation.
pub const NORMAL_UPPER_QUARTILE: f64 = 0.674_489_750_196_081_7;

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

#[cfg(test)]
mod tests;
