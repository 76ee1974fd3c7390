//! A line that changes its slope once.

use nalgebra::{DMatrix, Matrix3, Vector3};

use crate::stats::error::{StatsError, check_finite, check_length};
use crate::stats::linear::least_squares;

/// Two lines that meet at a knot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JoinedLines {
    pub knot: f64,
    /// Of the first line, at x = 0.
    pub intercept: f64,
    pub slope: f64,
    /// Slope of the second line minus that of the first.
    pub slope_change: f64,
    pub rss: f64,
    /// Residual sum of squares of one line through all.
    pub rss_one_line: f64,
}

/// Two lines with a jump between.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeparateLines {
    /// Index of the first point on the second line.
    pub start: usize,
    /// Intercept and slope.
    pub first: (f64, f64),
    pub second: (f64, f64),
    pub rss: f64,
    /// Residual sum of squares of one line through all.
    pub rss_one_line: f64,
}

/// Sums of 1, x, y, x², xy, y² over a stretch, of centred and scaled values.
type Sums = [f64; 6];

struct Points {
    x: Vec<f64>,
    running: Vec<Sums>,
    x_centre: f64,
    x_unit: f64,
    y_centre: f64,
}

impl Points {
    fn new(x: &[f64], y: &[f64], shortest: usize) -> Result<Self, StatsError> {
        check_length("y", x.len(), y.len())?;
        check_finite("x", x)?;
        check_finite("y", y)?;
        let needed = 2 * shortest.max(2);
        if x.len() < needed {
            return Err(StatsError::TooFew {
                what: "points",
                needed,
                found: x.len(),
            });
        }
        if let Some((_, &value)) = x.iter().zip(x.iter().skip(1)).find(|(a, b)| a >= b) {
            return Err(StatsError::OutOfRange {
                what: "x",
                value,
                allowed: "above the x before",
            });
        }
        let n = x.len() as f64;
        let x_centre = x.iter().sum::<f64>() / n;
        let y_centre = y.iter().sum::<f64>() / n;
        let x_unit = (x.iter().map(|v| (v - x_centre).powi(2)).sum::<f64>() / n).sqrt();
        let scaled: Vec<f64> = x.iter().map(|v| (v - x_centre) / x_unit).collect();
        let mut total = [0.0; 6];
        let mut running = vec![total];
        for (x, y) in scaled.iter().zip(y) {
            let y = y - y_centre;
            for (sum, term) in total.iter_mut().zip([1.0, *x, y, x * x, x * y, y * y]) {
                *sum += term;
            }
            running.push(total);
        }
        Ok(Points {
            x: scaled,
            running,
            x_centre,
            x_unit,
            y_centre,
        })
    }

    fn sums(&self, from: usize, to: usize) -> Sums {
        std::array::from_fn(|k| self.running[to][k] - self.running[from][k])
    }

    /// Intercept, slope and residual sum of squares of the points `from`..`to`.
    fn line(&self, from: usize, to: usize) -> (f64, f64, f64) {
        let [n, sx, sy, sxx, sxy, syy] = self.sums(from, to);
        let (mx, my) = (sx / n, sy / n);
        let (xx, xy, yy) = (sxx - sx * mx, sxy - sx * my, syy - sy * my);
        let slope = xy / xx;
        (my - slope * mx, slope, (yy - slope * xy).max(0.0))
    }

    /// Residual sum of squares of two lines that meet at `knot`, the points from
    /// `start` on lying beyond it.
    fn hinge_rss(&self, knot: f64, start: usize) -> Option<f64> {
        let n = self.x.len();
        let [c, sx, sy, sxx, sxy, syy] = self.sums(0, n);
        let [tc, tx, ty, txx, txy, _] = self.sums(start, n);
        // the third column is x − knot beyond the knot, else 0
        let (h, xh, hh) = (
            tx - knot * tc,
            txx - knot * tx,
            txx - 2.0 * knot * tx + knot * knot * tc,
        );
        let hy = txy - knot * ty;
        let normal = Matrix3::new(c, sx, h, sx, sxx, xh, h, xh, hh);
        let rhs = Vector3::new(sy, sxy, hy);
        Some(syy - rhs.dot(&normal.cholesky()?.solve(&rhs)))
    }

    /// A line's intercept and slope in the units of the caller.
    fn in_units(&self, intercept: f64, slope: f64) -> (f64, f64) {
        let slope = slope / self.x_unit;
        (self.y_centre + intercept - slope * self.x_centre, slope)
    }
}

/// The two lines that fit best with a jump between, each through at least
/// `shortest` (2 or more) points; x strictly ascending. Linear time.
///
/// # Errors
/// Too few points, x not ascending, values that are not finite.
pub fn separate_lines(x: &[f64], y: &[f64], shortest: usize) -> Result<SeparateLines, StatsError> {
    let points = Points::new(x, y, shortest)?;
    let (n, shortest) = (x.len(), shortest.max(2));
    let split = |start: usize| points.line(0, start).2 + points.line(start, n).2;
    let start = (shortest..=n - shortest)
        .min_by(|a, b| split(*a).total_cmp(&split(*b)))
        .unwrap_or(shortest);
    let (a, b, first_rss) = points.line(0, start);
    let (c, d, second_rss) = points.line(start, n);
    Ok(SeparateLines {
        start,
        first: points.in_units(a, b),
        second: points.in_units(c, d),
        rss: first_rss + second_rss,
        rss_one_line: points.line(0, n).2,
    })
}

/// The two lines that fit best and meet, with at least `shortest` (2 or more)
/// points on each side of the knot; x strictly ascending. Linear time.
///
/// # Errors
/// As [`separate_lines`].
///
/// # Source
/// Hudson 1966, JASA 61:1097: the optimum is where two free lines cross between
/// their points, or else at a point.
pub fn joined_lines(x: &[f64], y: &[f64], shortest: usize) -> Result<JoinedLines, StatsError> {
    let points = Points::new(x, y, shortest)?;
    let (n, shortest) = (x.len(), shortest.max(2));
    let mut best = (f64::INFINITY, 0.0);
    for start in shortest..=n - shortest {
        let (a, b, first_rss) = points.line(0, start);
        let (c, d, second_rss) = points.line(start, n);
        let crossing = (a - c) / (d - b);
        let inside = crossing > points.x[start - 1] && crossing < points.x[start];
        if inside && first_rss + second_rss < best.0 {
            best = (first_rss + second_rss, crossing);
        }
        for knot in [points.x[start - 1], points.x[start]] {
            if let Some(rss) = points.hinge_rss(knot, start).filter(|rss| *rss < best.0) {
                best = (rss, knot);
            }
        }
    }
    let knot = points.x_centre + points.x_unit * best.1;
    // once more with full precision at the knot found
    let design = DMatrix::from_fn(n, 3, |i, j| [1.0, x[i], (x[i] - knot).max(0.0)][j]);
    let fit = least_squares(&design, y, None)?;
    Ok(JoinedLines {
        knot,
        intercept: fit.coef[0],
        slope: fit.coef[1],
        slope_change: fit.coef[2],
        rss: fit.rss,
        rss_one_line: points.line(0, n).2,
    })
}
