//! A Weibull of known shape, for few ends or none.

use crate::stats::error::{StatsError, check_finite};
use crate::stats::special::chi_squared_quantile;

/// Scale of a Weibull whose shape is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FixedShape {
    /// Maximum-likelihood scale; `None` where no end was seen.
    pub scale: Option<f64>,
    /// Lower confidence limit of the scale.
    pub scale_low: f64,
}

/// Scale from `ages` (ended or running), `ends` of which were seen to end, with
/// the lower limit at `confidence`.
///
/// # Errors
/// No ages, an age that is not positive, more ends than ages, a shape that is not positive.
///
/// # Source
/// Nelson 1985, J. Qual. Technol. 17:140: 2Σtᵝ/χ²(confidence; 2r + 2), time-censored.
pub fn weibull_of_known_shape(
    ages: &[f64],
    ends: usize,
    shape: f64,
    confidence: f64,
) -> Result<FixedShape, StatsError> {
    let out = |what, value, allowed| {
        Err(StatsError::OutOfRange {
            what,
            value,
            allowed,
        })
    };
    check_finite("ages", ages)?;
    if ages.is_empty() || ends > ages.len() {
        return Err(StatsError::TooFew {
            what: "ages",
            needed: ends.max(1),
            found: ages.len(),
        });
    }
    if let Some(&age) = ages.iter().find(|t| **t <= 0.0) {
        return out("age", age, "above 0");
    }
    if !(shape > 0.0 && shape.is_finite()) {
        return out("shape", shape, "above 0");
    }
    if !(confidence > 0.0 && confidence < 1.0) {
        return out("confidence", confidence, "between 0 and 1");
    }
    // relative to the longest age: high powers must not overflow
    let longest = ages.iter().fold(0.0_f64, |m, t| m.max(*t));
    let exposure: f64 = ages.iter().map(|t| (t / longest).powf(shape)).sum();
    let scale_at = |ends: f64| longest * (exposure / ends).powf(1.0 / shape);
    let scale = (ends > 0).then(|| scale_at(ends as f64));
    let bound = 0.5 * chi_squared_quantile(2.0 * ends as f64 + 2.0, confidence);
    Ok(FixedShape {
        scale,
        scale_low: scale_at(bound),
    })
}
