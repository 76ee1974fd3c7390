//! The incomplete beta function and the distributions built on it.

use super::gamma::ln_gamma;
use super::normal::normal_quantile;
use super::root::{increasing_root, positive_root};

/// ln B(a, b) for a, b > 0.
pub fn ln_beta(a: f64, b: f64) -> f64 {
    ln_gamma(a) + ln_gamma(b) - ln_gamma(a + b)
}

/// Lentz's method on the continued fraction of the incomplete beta function
/// (Abramowitz & Stegun 26.5.8).
fn continued_fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let guard = |v: f64| if v.abs() < TINY { TINY } else { v };
    let mut c = 1.0;
    let mut d = 1.0 / guard(1.0 - (a + b) * x / (a + 1.0));
    let mut h = d;
    for m in 1..100_000 {
        let m = f64::from(m);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / guard(1.0 + even * d);
        c = guard(1.0 + even / c);
        h *= d * c;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / guard(1.0 + odd * d);
        c = guard(1.0 + odd / c);
        let delta = d * c;
        h *= delta;
        if (delta - 1.0).abs() < 1e-16 {
            break;
        }
    }
    h
}

/// I_x(a, b) and its complement, from `x` and `y` = 1 − x, both exact.
fn both_tails(a: f64, b: f64, x: f64, y: f64) -> (f64, f64) {
    if x <= 0.0 || y <= 0.0 {
        return if x <= 0.0 { (0.0, 1.0) } else { (1.0, 0.0) };
    }
    let front = (a * x.ln() + b * y.ln() - ln_beta(a, b)).exp();
    if x < (a + 1.0) / (a + b + 2.0) {
        let lower = front * continued_fraction(a, b, x) / a;
        (lower, 1.0 - lower)
    } else {
        let upper = front * continued_fraction(b, a, y) / b;
        (1.0 - upper, upper)
    }
}

/// Regularised incomplete beta function I_x(a, b): the beta distribution function.
pub fn incomplete_beta(a: f64, b: f64, x: f64) -> f64 {
    if x.is_nan() || a.is_nan() || b.is_nan() || a <= 0.0 || b <= 0.0 {
        return f64::NAN;
    }
    both_tails(a, b, x, 1.0 - x).0
}

/// Quantile of the beta distribution.
pub fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    if a.is_nan() || b.is_nan() || a <= 0.0 || b <= 0.0 || p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return p;
    }
    let ln_b = ln_beta(a, b);
    increasing_root(
        |x| {
            let (lower, upper) = both_tails(a, b, x, 1.0 - x);
            let excess = if p < 0.5 {
                lower - p
            } else {
                (1.0 - p) - upper
            };
            (
                excess,
                ((a - 1.0) * x.ln() + (b - 1.0) * (-x).ln_1p() - ln_b).exp(),
            )
        },
        a / (a + b),
        0.0,
        1.0,
    )
}

/// Density of Student's t with `nu` degrees of freedom.
pub fn student_t_pdf(nu: f64, t: f64) -> f64 {
    (-0.5 * (nu + 1.0) * (t * t / nu).ln_1p() - ln_beta(0.5 * nu, 0.5)).exp() / nu.sqrt()
}

/// P(T > t) for t ≥ 0.
fn student_t_upper(nu: f64, t: f64) -> f64 {
    let square = t * t;
    0.5 * both_tails(0.5 * nu, 0.5, nu / (nu + square), square / (nu + square)).0
}

/// P(T ≤ t) for Student's t with `nu` > 0 degrees of freedom.
pub fn student_t_cdf(nu: f64, t: f64) -> f64 {
    if nu.is_nan() || t.is_nan() || nu <= 0.0 {
        return f64::NAN;
    }
    if t.is_infinite() {
        return if t > 0.0 { 1.0 } else { 0.0 };
    }
    if t < 0.0 {
        student_t_upper(nu, -t)
    } else {
        1.0 - student_t_upper(nu, t)
    }
}

/// Quantile of Student's t; the normal quantile for infinite `nu`.
pub fn student_t_quantile(nu: f64, p: f64) -> f64 {
    if nu.is_nan() || nu <= 0.0 || p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let z = normal_quantile(p);
    if nu.is_infinite() || z.is_infinite() || p == 0.5 {
        return z;
    }
    let upper = p.min(1.0 - p);
    let magnitude = positive_root(
        |t| (upper - student_t_upper(nu, t), student_t_pdf(nu, t)),
        z.abs(),
    );
    if p < 0.5 { -magnitude } else { magnitude }
}

fn f_tails(d1: f64, d2: f64, x: f64) -> (f64, f64) {
    let sum = d1 * x + d2;
    both_tails(0.5 * d1, 0.5 * d2, d1 * x / sum, d2 / sum)
}

/// P(F ≤ x) for the F distribution with `d1` and `d2` degrees of freedom.
pub fn f_cdf(d1: f64, d2: f64, x: f64) -> f64 {
    if x <= 0.0 { 0.0 } else { f_tails(d1, d2, x).0 }
}

/// Quantile of the F distribution.
pub fn f_quantile(d1: f64, d2: f64, p: f64) -> f64 {
    if d1.is_nan()
        || d2.is_nan()
        || d1 <= 0.0
        || d2 <= 0.0
        || p.is_nan()
        || !(0.0..=1.0).contains(&p)
    {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return if p == 0.0 { 0.0 } else { f64::INFINITY };
    }
    let ln_front = 0.5 * d1 * (d1 / d2).ln() - ln_beta(0.5 * d1, 0.5 * d2);
    positive_root(
        |x| {
            let (lower, upper) = f_tails(d1, d2, x);
            let excess = if p < 0.5 {
                lower - p
            } else {
                (1.0 - p) - upper
            };
            let ln_pdf =
                ln_front + (0.5 * d1 - 1.0) * x.ln() - 0.5 * (d1 + d2) * (d1 * x / d2).ln_1p();
            (excess, ln_pdf.exp())
        },
        1.0,
    )
}
