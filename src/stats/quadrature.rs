//! Integrals over an interval.

use super::error::Stop;

/// An integral with its estimated error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Integral {
    pub value: f64,
    pub error: f64,
    pub stop: Stop,
}

/// Nodes and weights of the 15-point rule of Kronrod 1965 and, where given, of
/// the 7-point rule of Gauss inside it (as in QUADPACK's QK15).
const RULE: [(f64, f64, f64); 8] = [
    (0.0, 0.209_482_141_084_727_83, 0.417_959_183_673_469_4),
    (0.207_784_955_007_898_47, 0.204_432_940_075_298_9, 0.0),
    (
        0.405_845_151_377_397_2,
        0.190_350_578_064_785_42,
        0.381_830_050_505_118_9,
    ),
    (0.586_087_235_467_691_1, 0.169_004_726_639_267_9, 0.0),
    (
        0.741_531_185_599_394_5,
        0.140_653_259_715_525_92,
        0.279_705_391_489_276_64,
    ),
    (0.864_864_423_359_769_1, 0.104_790_010_322_250_19, 0.0),
    (
        0.949_107_912_342_758_5,
        0.063_092_092_629_978_55,
        0.129_484_966_168_869_7,
    ),
    (0.991_455_371_120_812_6, 0.022_935_322_010_529_224, 0.0),
];

fn rule(f: &mut impl FnMut(f64) -> f64, a: f64, b: f64) -> (f64, f64) {
    let (middle, half) = (0.5 * (a + b), 0.5 * (b - a));
    let (mut fine, mut coarse) = (0.0, 0.0);
    for (node, kronrod, gauss) in RULE {
        let sum = if node == 0.0 {
            f(middle)
        } else {
            f(middle - half * node) + f(middle + half * node)
        };
        fine += kronrod * sum;
        coarse += gauss * sum;
    }
    (fine * half, ((fine - coarse) * half).abs())
}

/// ∫ f from `a` to `b`, the worst part halved until the error estimate is below
/// `relative` of the value, or 400 parts are in use.
pub fn integrate(mut f: impl FnMut(f64) -> f64, a: f64, b: f64, relative: f64) -> Integral {
    let (value, error) = rule(&mut f, a, b);
    let mut parts = vec![(a, b, value, error)];
    loop {
        let value: f64 = parts.iter().map(|p| p.2).sum();
        let error: f64 = parts.iter().map(|p| p.3).sum();
        if error <= relative * value.abs() || error == 0.0 || value.is_nan() {
            return Integral {
                value,
                error,
                stop: Stop::StepSmall,
            };
        }
        let worst = parts
            .iter()
            .enumerate()
            .max_by(|x, y| x.1.3.total_cmp(&y.1.3))
            .map(|(i, _)| i);
        let Some(worst) = worst.filter(|_| parts.len() < 400) else {
            return Integral {
                value,
                error,
                stop: Stop::IterationLimit,
            };
        };
        let (low, high, ..) = parts.swap_remove(worst);
        let middle = 0.5 * (low + high);
        for (from, to) in [(low, middle), (middle, high)] {
            let (value, error) = rule(&mut f, from, to);
            parts.push((from, to, value, error));
        }
    }
}

/// Nodes and weights of the Gauss–Legendre rule with `points` nodes on `a`..`b`,
/// in ascending order: exact for polynomials up to degree 2·`points` − 1.
pub fn gauss_legendre(points: usize, a: f64, b: f64) -> Vec<(f64, f64)> {
    let n = points as f64;
    let mut out = Vec::with_capacity(points);
    for i in 0..points {
        // Newton's method on the Legendre polynomial, from Tricomi's estimate
        let mut x = -(std::f64::consts::PI * (i as f64 + 0.75) / (n + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..50 {
            let (mut before, mut value) = (1.0, x);
            for k in 2..=points {
                let k = k as f64;
                (before, value) = (
                    value,
                    ((2.0 * k - 1.0) * x * value - (k - 1.0) * before) / k,
                );
            }
            slope = n * (x * value - before) / (x * x - 1.0);
            let step = value / slope;
            x -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        let weight = 2.0 / ((1.0 - x * x) * slope * slope);
        out.push((0.5 * (a + b) + 0.5 * (b - a) * x, 0.5 * (b - a) * weight));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn legendre_rules_are_exact_for_polynomials() {
        for points in [1, 2, 5, 16, 96] {
            let degree = 2 * points as i32 - 1;
            let got: f64 = gauss_legendre(points, 0.0, 1.0)
                .iter()
                .map(|(x, w)| w * x.powi(degree))
                .sum();
            assert!(
                (got * f64::from(degree + 1) - 1.0).abs() < 1e-12,
                "{points}: {got}"
            );
        }
    }

    #[test]
    fn integrals_with_a_known_value() {
        let near = |got: Integral, expected: f64| {
            assert!(
                (got.value - expected).abs() < 1e-12 * expected.abs(),
                "{got:?} against {expected}"
            );
            assert!(got.stop.is_converged());
        };
        near(integrate(|x| x * x, 0.0, 3.0, 1e-13), 9.0);
        near(integrate(f64::sin, 0.0, std::f64::consts::PI, 1e-13), 2.0);
        near(integrate(f64::sqrt, 0.0, 4.0, 1e-13), 16.0 / 3.0);
        near(
            integrate(|x| (-x * x).exp(), -8.0, 8.0, 1e-13),
            std::f64::consts::PI.sqrt(),
        );
    }

    #[test]
    fn an_integral_that_does_not_settle_says_so() {
        assert_eq!(
            integrate(|x| 1.0 / x, 0.0, 1.0, 1e-13).stop,
            Stop::IterationLimit
        );
    }
}
