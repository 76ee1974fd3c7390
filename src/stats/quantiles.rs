//! Sample quantiles, plain and weighted.

use super::error::{StatsError, check_finite, check_length};

/// How a quantile is read between two order statistics: the types of Hyndman &
/// Fan 1996, Am. Stat. 50:361.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QuantileType {
    /// Hazen: position np + 1/2.
    Type5,
    /// Weibull: position (n + 1)p.
    Type6,
    /// The usual default: position (n − 1)p + 1.
    Type7,
    /// Median-unbiased: position (n + 1/3)p + 1/3.
    Type8,
}

impl QuantileType {
    fn position(self, n: f64, p: f64) -> f64 {
        match self {
            QuantileType::Type5 => n * p + 0.5,
            QuantileType::Type6 => (n + 1.0) * p,
            QuantileType::Type7 => (n - 1.0) * p + 1.0,
            QuantileType::Type8 => (n + 1.0 / 3.0) * p + 1.0 / 3.0,
        }
    }
}

/// The finite values, in ascending order.
pub fn sorted(values: &[f64]) -> Result<Vec<f64>, StatsError> {
    check_finite("values", values)?;
    let mut out = values.to_vec();
    out.sort_unstable_by(f64::total_cmp);
    Ok(out)
}

/// Quantile of values already in ascending order; NaN if there are none.
///
/// `p` outside 0..1 is taken as the nearer end.
pub fn quantile_of_sorted(ascending: &[f64], p: f64, kind: QuantileType) -> f64 {
    let n = ascending.len();
    let at = |i: usize| {
        ascending
            .get(i.clamp(1, n.max(1)) - 1)
            .copied()
            .unwrap_or(f64::NAN)
    };
    let position = kind
        .position(n as f64, p.clamp(0.0, 1.0))
        .clamp(1.0, (n as f64).max(1.0));
    // a position meant to be whole may miss by rounding
    let whole = (position + 4.0 * f64::EPSILON * position).floor();
    let fraction = (position - whole).max(0.0);
    let (low, high) = (at(whole as usize), at(whole as usize + 1));
    if fraction == 0.0 {
        low
    } else {
        low + fraction * (high - low)
    }
}

/// Quantiles at the levels `p`, sorting once.
///
/// # Errors
/// No values, or one that is not finite.
pub fn quantiles(values: &[f64], p: &[f64], kind: QuantileType) -> Result<Vec<f64>, StatsError> {
    if values.is_empty() {
        return Err(StatsError::TooFew {
            what: "sample",
            needed: 1,
            found: 0,
        });
    }
    let ascending = sorted(values)?;
    Ok(p.iter()
        .map(|&p| quantile_of_sorted(&ascending, p, kind))
        .collect())
}

/// One quantile; see [`quantiles`].
pub fn quantile(values: &[f64], p: f64, kind: QuantileType) -> Result<f64, StatsError> {
    Ok(quantiles(values, &[p], kind)?
        .first()
        .copied()
        .unwrap_or(f64::NAN))
}

/// The smallest value at which the share of the weight reaches `p`; the mean of
/// two neighbours where the share is exactly `p` between them.
///
/// With equal weights and p = 1/2 this is the median. Zero weights are allowed.
///
/// # Errors
/// Slices of different lengths, values that are not finite, a negative weight,
/// or no positive weight.
pub fn weighted_quantile(values: &[f64], weights: &[f64], p: f64) -> Result<f64, StatsError> {
    check_length("weights", values.len(), weights.len())?;
    check_finite("values", values)?;
    check_finite("weights", weights)?;
    if let Some(&value) = weights.iter().find(|w| **w < 0.0) {
        return Err(StatsError::OutOfRange {
            what: "weight",
            value,
            allowed: "0 or more",
        });
    }
    let mut pairs: Vec<(f64, f64)> = values
        .iter()
        .copied()
        .zip(weights.iter().copied())
        .filter(|(_, w)| *w > 0.0)
        .collect();
    if pairs.is_empty() {
        return Err(StatsError::TooFew {
            what: "positive weights",
            needed: 1,
            found: 0,
        });
    }
    pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let total: f64 = pairs.iter().map(|(_, w)| w).sum();
    let goal = p.clamp(0.0, 1.0) * total;
    let slack = 1e-12 * total;
    let mut reached = 0.0;
    let mut lower: Option<f64> = None;
    for &(value, weight) in &pairs {
        if let Some(below) = lower {
            return Ok(0.5 * (below + value));
        }
        reached += weight;
        if reached > goal + slack {
            return Ok(value);
        }
        if reached >= goal - slack && goal > 0.0 {
            lower = Some(value);
        }
    }
    Ok(pairs.last().map_or(f64::NAN, |(v, _)| *v))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const SAMPLE: [f64; 10] = [3.1, 2.9, 3.0, 3.3, 2.8, 9.7, 3.2, 3.1, 2.7, 3.0];

    #[test]
    fn each_type_reads_between_its_own_positions() {
        // worked by hand from the definitions of Hyndman & Fan; types 5 to 7
        // agree with scipy's mquantiles and quantile
        let levels = [0.1, 0.25, 0.5, 0.9];
        let cases = [
            (QuantileType::Type7, [2.79, 2.925, 3.05, 3.94]),
            (QuantileType::Type6, [2.71, 2.875, 3.05, 9.06]),
            (QuantileType::Type5, [2.75, 2.9, 3.05, 6.5]),
            (
                QuantileType::Type8,
                [
                    2.736666666666667,
                    2.8916666666666666,
                    3.05,
                    7.35333333333333,
                ],
            ),
        ];
        for (kind, expected) in cases {
            let got = quantiles(&SAMPLE, &levels, kind).unwrap();
            for (g, e) in got.iter().zip(expected) {
                assert!((g - e).abs() < 1e-12, "{kind:?}: {got:?}");
            }
        }
    }

    #[test]
    fn one_value_is_every_quantile() {
        for p in [0.0, 0.3, 1.0] {
            assert_eq!(quantile(&[4.5], p, QuantileType::Type8).unwrap(), 4.5);
        }
        assert!(quantile(&[], 0.5, QuantileType::Type7).is_err());
        assert!(quantile(&[1.0, f64::NAN], 0.5, QuantileType::Type7).is_err());
    }

    #[test]
    fn whole_weights_count_like_repeats() {
        let repeated = [1.0, 1.0, 2.0, 4.0, 4.0, 4.0];
        for p in [0.1, 0.4, 0.5, 0.8] {
            let weighted = weighted_quantile(&[4.0, 1.0, 2.0], &[3.0, 2.0, 1.0], p).unwrap();
            assert_eq!(
                weighted,
                weighted_quantile(&repeated, &[1.0; 6], p).unwrap(),
                "{p}"
            );
        }
        assert_eq!(weighted_quantile(&repeated, &[1.0; 6], 0.5).unwrap(), 3.0);
        assert!(weighted_quantile(&[1.0], &[0.0], 0.5).is_err());
        assert!(weighted_quantile(&[1.0, 2.0], &[1.0, -1.0], 0.5).is_err());
    }
}
