//! Monotone regression by pooling adjacent violators.

use super::error::{StatsError, check_finite, check_length};

/// The increasing sequence nearest to `y` in weighted least squares.
///
/// # Errors
/// Different lengths, a value that is not finite, a weight that is not positive.
///
/// # Source
/// Ayer, Brunk, Ewing, Reid & Silverman 1955; Barlow, Bartholomew, Bremner & Brunk 1972.
pub fn isotonic_increasing(y: &[f64], weights: &[f64]) -> Result<Vec<f64>, StatsError> {
    check_length("weights", y.len(), weights.len())?;
    check_finite("values", y)?;
    check_finite("weights", weights)?;
    if let Some(&value) = weights.iter().find(|w| **w <= 0.0) {
        return Err(StatsError::OutOfRange {
            what: "weight",
            value,
            allowed: "above 0",
        });
    }
    // (mean, weight, length) of each pool; a pool below its predecessor joins it
    let mut pools: Vec<(f64, f64, usize)> = Vec::with_capacity(y.len());
    for (&value, &weight) in y.iter().zip(weights) {
        let mut pool = (value, weight, 1);
        while let Some(&(mean, w, len)) = pools.last() {
            if mean <= pool.0 {
                break;
            }
            pools.pop();
            let total = w + pool.1;
            pool = ((mean * w + pool.0 * pool.1) / total, total, len + pool.2);
        }
        pools.push(pool);
    }
    Ok(pools
        .iter()
        .flat_map(|&(mean, _, len)| std::iter::repeat_n(mean, len))
        .collect())
}

/// The decreasing sequence nearest to `y`; see [`isotonic_increasing`].
pub fn isotonic_decreasing(y: &[f64], weights: &[f64]) -> Result<Vec<f64>, StatsError> {
    let negated: Vec<f64> = y.iter().map(|v| -v).collect();
    Ok(isotonic_increasing(&negated, weights)?
        .iter()
        .map(|v| -v)
        .collect())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn assert_near(got: &[f64], expected: &[f64]) {
        assert_eq!(got.len(), expected.len());
        for (g, e) in got.iter().zip(expected) {
            assert!((g - e).abs() < 1e-12, "{got:?} against {expected:?}");
        }
    }

    #[test]
    fn pools_match_an_independent_implementation() {
        // expected: scipy.optimize.isotonic_regression
        let plain =
            isotonic_increasing(&[1.0, 3.0, 2.0, 4.0, 3.5, 3.0, 6.0, 5.0, 7.0], &[1.0; 9]).unwrap();
        assert_near(&plain, &[1.0, 2.5, 2.5, 3.5, 3.5, 3.5, 5.5, 5.5, 7.0]);
        let y = [
            0.031, 0.034, 0.03, 0.036, 0.041, 0.039, 0.038, 0.052, 0.047, 0.06,
        ];
        let w = [3.0, 1.0, 2.0, 5.0, 1.0, 4.0, 2.0, 1.0, 1.0, 2.0];
        let third = 0.03133333333333333;
        let expected = [
            0.031, third, third, 0.036, 0.039, 0.039, 0.039, 0.0495, 0.0495, 0.06,
        ];
        assert_near(&isotonic_increasing(&y, &w).unwrap(), &expected);
        let down =
            isotonic_increasing(&[5.0, 4.0, 3.0, 2.0, 1.0], &[1.0, 2.0, 3.0, 4.0, 5.0]).unwrap();
        assert_near(&down, &[7.0 / 3.0; 5]);
    }

    #[test]
    fn decreasing_mirrors_increasing() {
        assert_near(
            &isotonic_decreasing(&[1.0, 3.0, 2.0], &[1.0; 3]).unwrap(),
            &[2.0, 2.0, 2.0],
        );
        assert_eq!(isotonic_decreasing(&[], &[]).unwrap(), Vec::<f64>::new());
    }
}
