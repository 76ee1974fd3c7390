//! Minima and roots of functions of one variable.

use super::{StatsError, Stop};

/// A minimum on an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LineMinimum {
    pub at: f64,
    pub value: f64,
    pub stop: Stop,
}

/// Golden section with parabolic steps (Brent 1973, chapter 5) between `low`
/// and `high`. Finds the minimum of a function with one; of several, some one.
///
/// The place is good to about √ε, as function values cannot tell more.
pub fn minimise_between(mut f: impl FnMut(f64) -> f64, low: f64, high: f64) -> LineMinimum {
    let golden = 0.5 * (3.0 - 5.0_f64.sqrt());
    let (mut a, mut b) = (low, high);
    let mut x = a + golden * (b - a);
    let (mut w, mut v) = (x, x);
    let mut fx = f(x);
    let (mut fw, mut fv) = (fx, fx);
    let (mut step, mut before) = (0.0_f64, 0.0_f64);
    for _ in 0..200 {
        let middle = 0.5 * (a + b);
        let tolerance = 1e-9 * x.abs() + 1e-300;
        if (x - middle).abs() <= 2.0 * tolerance - 0.5 * (b - a) {
            return LineMinimum {
                at: x,
                value: fx,
                stop: Stop::StepSmall,
            };
        }
        let r = (x - w) * (fx - fv);
        let q0 = (x - v) * (fx - fw);
        let p0 = (x - v) * q0 - (x - w) * r;
        let q1 = 2.0 * (q0 - r);
        let (p, q) = if q1 > 0.0 { (-p0, q1) } else { (p0, -q1) };
        if p.abs() < (0.5 * q * before).abs() && p > q * (a - x) && p < q * (b - x) {
            before = step;
            step = p / q;
            let u = x + step;
            if u - a < 2.0 * tolerance || b - u < 2.0 * tolerance {
                step = tolerance.copysign(middle - x);
            }
        } else {
            before = if x < middle { b - x } else { a - x };
            step = golden * before;
        }
        let u = x + if step.abs() >= tolerance {
            step
        } else {
            tolerance.copysign(step)
        };
        let fu = f(u);
        if fu <= fx {
            if u < x {
                b = x
            } else {
                a = x
            }
            (v, fv, w, fw, x, fx) = (w, fw, x, fx, u, fu);
        } else {
            if u < x {
                a = u
            } else {
                b = u
            }
            if fu <= fw || w == x {
                (v, fv, w, fw) = (w, fw, u, fu);
            } else if fu <= fv || v == x || v == w {
                (v, fv) = (u, fu);
            }
        }
    }
    LineMinimum {
        at: x,
        value: fx,
        stop: Stop::IterationLimit,
    }
}

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
