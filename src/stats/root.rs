//! Roots of functions of one variable.

use super::error::StatsError;

/// The place between `low` and `high` at which `f` changes sign: Ridders 1979
/// (IEEE Trans. Circuits Syst. 26:979), which never leaves the bracket.
///
/// # Errors
/// `f` has the same sign at both ends, or is not a number there.
pub fn root_between(mut f: impl FnMut(f64) -> f64, low: f64, high: f64) -> Result<f64, StatsError> {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 || fb == 0.0 {
        return Ok(if fa == 0.0 { a } else { b });
    }
    if fa.is_nan() || fb.is_nan() || fa.signum() == fb.signum() {
        let allowed = "of another sign than at the other end";
        return Err(StatsError::OutOfRange {
            what: "function at an end of the bracket",
            value: fa,
            allowed,
        });
    }
    for _ in 0..300 {
        let middle = 0.5 * (a + b);
        if (b - a).abs() <= 2e-16 * (a.abs() + b.abs()) || middle == a || middle == b {
            break;
        }
        let fm = f(middle);
        if fm == 0.0 {
            return Ok(middle);
        }
        let spread = (fm * fm - fa * fb).sqrt();
        let u = middle + (middle - a) * (fa - fb).signum() * fm / spread;
        let fu = f(u);
        if fu == 0.0 {
            return Ok(u);
        }
        let (l, fl, r, fr) = if middle < u {
            (middle, fm, u, fu)
        } else {
            (u, fu, middle, fm)
        };
        let ascending = a < b;
        let (lo, flo, hi, fhi) = if ascending {
            (a, fa, b, fb)
        } else {
            (b, fb, a, fa)
        };
        (a, fa, b, fb) = if flo.signum() != fl.signum() {
            (lo, flo, l, fl)
        } else if fl.signum() != fr.signum() {
            (l, fl, r, fr)
        } else {
            (r, fr, hi, fhi)
        };
    }
    Ok(if fa.abs() <= fb.abs() { a } else { b })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_change_of_sign_is_found_to_the_last_digit() {
        let root = root_between(|x| x.exp() - 5.0, 0.0, 10.0).unwrap();
        assert!((root - 5.0_f64.ln()).abs() < 1e-15);
        assert!(root_between(|x| x * x + 1.0, -1.0, 1.0).is_err());
    }
}
