//! The gamma function and the distributions built on it.

use super::normal::normal_quantile;
use super::root::positive_root;

/// ln Γ(x) for x > 0.
pub fn ln_gamma(x: f64) -> f64 {
    if x > 0.0 { libm::lgamma(x) } else { f64::NAN }
}

/// x^a·e^(−x) / Γ(a), the factor common to series and continued fraction.
fn prefactor(a: f64, x: f64) -> f64 {
    (a * x.ln() - x - ln_gamma(a)).exp()
}

fn series(a: f64, x: f64) -> f64 {
    let (mut term, mut sum, mut n) = (1.0 / a, 1.0 / a, a);
    while term > sum * 1e-17 {
        n += 1.0;
        term *= x / n;
        sum += term;
    }
    sum * prefactor(a, x)
}

/// Lentz's method as modified by Thompson & Barnett 1986.
fn continued_fraction(a: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut h = d;
    for i in 1..1_000_000 {
        let i = f64::from(i);
        let an = -i * (i - a);
        b += 2.0;
        d = an * d + b;
        c = b + an / c;
        if d.abs() < TINY {
            d = TINY
        }
        if c.abs() < TINY {
            c = TINY
        }
        d = 1.0 / d;
        let delta = d * c;
        h *= delta;
        if (delta - 1.0).abs() < 1e-16 {
            break;
        }
    }
    h * prefactor(a, x)
}

/// Regularised lower incomplete gamma function P(a, x): the gamma cdf of shape `a`, scale 1.
pub fn gamma_p(a: f64, x: f64) -> f64 {
    if a.is_nan() || x.is_nan() || a <= 0.0 {
        f64::NAN
    } else if x <= 0.0 {
        0.0
    } else if x == f64::INFINITY {
        1.0
    } else if x < a + 1.0 {
        series(a, x)
    } else {
        1.0 - continued_fraction(a, x)
    }
}

/// Its complement Q(a, x), exact in the upper tail.
pub fn gamma_q(a: f64, x: f64) -> f64 {
    if a.is_nan() || x.is_nan() || a <= 0.0 {
        f64::NAN
    } else if x <= 0.0 {
        1.0
    } else if x == f64::INFINITY {
        0.0
    } else if x < a + 1.0 {
        1.0 - series(a, x)
    } else {
        continued_fraction(a, x)
    }
}

/// Quantile of the gamma distribution with the given shape and scale 1.
pub fn gamma_quantile(shape: f64, p: f64) -> f64 {
    if shape.is_nan() || shape <= 0.0 || p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 || p == 1.0 {
        return if p == 0.0 { 0.0 } else { f64::INFINITY };
    }
    // Wilson & Hilferty 1931 where it is good, else the first term of the series
    let cube = 1.0 - 1.0 / (9.0 * shape) + normal_quantile(p) / (3.0 * shape.sqrt());
    let start = if cube > 0.1 && shape > 0.5 {
        shape * cube.powi(3)
    } else {
        ((p.ln() + ln_gamma(shape + 1.0)) / shape).exp()
    };
    positive_root(
        |x| {
            let excess = if p < 0.5 {
                gamma_p(shape, x) - p
            } else {
                (1.0 - p) - gamma_q(shape, x)
            };
            (excess, prefactor(shape, x) / x)
        },
        start,
    )
}

/// Chi-squared distribution function with `df` degrees of freedom.
pub fn chi_squared_cdf(df: f64, x: f64) -> f64 {
    gamma_p(0.5 * df, 0.5 * x)
}

/// Chi-squared quantile.
pub fn chi_squared_quantile(df: f64, p: f64) -> f64 {
    2.0 * gamma_quantile(0.5 * df, p)
}
