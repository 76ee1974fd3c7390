//! Beliefs about the logarithm of a capacity, on an even grid.

/// Points of the grid, and how far apart they are.
pub const POINTS: usize = 96;
pub const STEP: f64 = 0.06;

pub type Values = [f64; POINTS];

/// Where the grid lies: the logarithm at its first point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    pub low: f64,
}

impl Grid {
    pub fn about(middle: f64) -> Grid {
        Grid {
            low: middle - 0.5 * STEP * (POINTS - 1) as f64,
        }
    }

    pub fn at(&self, i: usize) -> f64 {
        self.low + STEP * i as f64
    }
}

/// What lies beyond the ends of the grid when values are spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beyond {
    /// A likelihood goes on as it ends.
    TheSame,
    /// A belief has nothing there.
    Nothing,
}

/// Each value spread normally: the expectation of `values` at a normal deviation of
/// that standard deviation.
pub fn spread(values: &Values, sd: f64, beyond: Beyond) -> Values {
    const MOST: usize = 45;
    let half = ((3.5 * sd / STEP).ceil() as usize).clamp(1, MOST);
    let mut taps = [0.0; MOST + 1];
    for (k, tap) in taps.iter_mut().enumerate().take(half + 1) {
        let z = k as f64 * STEP / sd.max(1e-9);
        *tap = (-0.5 * z * z).exp();
    }
    let total = taps.iter().sum::<f64>() * 2.0 - 1.0;
    let (first, last) = match beyond {
        Beyond::TheSame => (values[0], values[POINTS - 1]),
        Beyond::Nothing => (0.0, 0.0),
    };
    let mut wide = [0.0; POINTS + 2 * MOST];
    wide[..MOST].fill(first);
    wide[MOST..MOST + POINTS].copy_from_slice(values);
    wide[MOST + POINTS..].fill(last);
    let mut out = [0.0; POINTS];
    for (k, tap) in taps.iter().enumerate().take(half + 1) {
        let tap = tap / total;
        let above = &wide[MOST + k..MOST + k + POINTS];
        if k == 0 {
            out.iter_mut().zip(above).for_each(|(o, v)| *o += tap * v);
        } else {
            let below = &wide[MOST - k..MOST - k + POINTS];
            for ((o, a), b) in out.iter_mut().zip(above).zip(below) {
                *o += tap * (a + b);
            }
        }
    }
    out
}

/// Logarithms, and the way back with the highest at 1.
pub fn logs(values: &Values) -> Values {
    values.map(|v| v.max(1e-300).ln())
}

/// `e` to the power of each, divided so that the highest is 1; and the logarithm of
/// what they were divided by.
pub fn unlogged(logs: &Values) -> (Values, f64) {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (logs.map(|l| (l - top).exp()), top)
}

pub fn add(to: &mut Values, other: &Values) {
    to.iter_mut().zip(other).for_each(|(t, o)| *t += o);
}

pub fn less(of: &Values, other: &Values) -> Values {
    std::array::from_fn(|i| of[i] - other[i])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spreading_adds_variances_and_keeps_what_is_even() {
        let grid = Grid::about(0.0);
        let normal = |sd: f64| -> Values {
            std::array::from_fn(|i| (-0.5 * (grid.at(i) / sd).powi(2)).exp() * STEP / sd)
        };
        let wider = spread(&normal(0.3), 0.4, Beyond::Nothing);
        for (a, b) in wider.iter().zip(normal(0.5)) {
            assert!((a - b).abs() < 2e-3 * STEP / 0.5, "{a} {b}");
        }
        let even = spread(&[0.7; POINTS], 0.45, Beyond::TheSame);
        assert!(even.iter().all(|v| (v - 0.7).abs() < 1e-12));
    }
}
