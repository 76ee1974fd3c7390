//! Changes along a series: of level, of slope, and charts that watch for them.

mod chart;
mod lines;
mod run_length;

use super::error::{StatsError, check_finite};
pub use chart::{Cusum, CusumState, Ewma, EwmaState, IndividualsChart, individuals_chart};
pub use lines::{JoinedLines, SeparateLines, joined_lines, separate_lines};
pub use run_length::{cusum_limit, cusum_run_length};

/// A series cut into stretches of constant mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Segmentation {
    /// Index of the first value of every segment but the first.
    pub starts: Vec<usize>,
    /// Mean of each segment, one more than `starts`.
    pub means: Vec<f64>,
    /// Residual sum of squares.
    pub rss: f64,
    /// Schwarz's criterion, counting a mean a segment, a position a break and the variance.
    pub bic: f64,
}

/// Running sums from which the spread of any stretch follows.
struct Sums {
    centre: f64,
    sum: Vec<f64>,
    squares: Vec<f64>,
}

impl Sums {
    fn new(y: &[f64]) -> Self {
        let centre = y.iter().sum::<f64>() / y.len() as f64;
        let running = |power: i32| {
            let mut total = 0.0;
            let sums = y.iter().map(|v| {
                total += (v - centre).powi(power);
                total
            });
            std::iter::once(0.0).chain(sums).collect::<Vec<f64>>()
        };
        Sums {
            centre,
            sum: running(1),
            squares: running(2),
        }
    }

    fn mean(&self, from: usize, to: usize) -> f64 {
        self.centre + (self.sum[to] - self.sum[from]) / (to - from) as f64
    }

    /// Sum of squares about the mean of the values `from`..`to`.
    fn rss(&self, from: usize, to: usize) -> f64 {
        let sum = self.sum[to] - self.sum[from];
        (self.squares[to] - self.squares[from] - sum * sum / (to - from) as f64).max(0.0)
    }
}

/// The least-squares segmentations with 0 to `most_breaks` breaks, each segment
/// at least `shortest` values long. Fewer come back where the series is too short.
///
/// Exact, by dynamic programming: time grows with the square of the length, so
/// it is meant for some thousand values at most.
///
/// # Errors
/// Fewer values than `shortest`, or `shortest` 0; a value that is not finite.
///
/// # Source
/// Bai & Perron 2003, J. Appl. Econom. 18:1; criterion as R's `strucchange`.
pub fn segment_means(
    y: &[f64],
    most_breaks: usize,
    shortest: usize,
) -> Result<Vec<Segmentation>, StatsError> {
    check_finite("series", y)?;
    let n = y.len();
    if shortest == 0 || n < shortest {
        return Err(StatsError::TooFew {
            what: "values in the series",
            needed: shortest.max(1),
            found: n,
        });
    }
    let sums = Sums::new(y);
    // best[end]: least sum of squares of the first `end` values with so many
    // segments; from[k][end]: where the last of them starts
    let mut best: Vec<f64> = (0..=n)
        .map(|end| {
            if end >= shortest {
                sums.rss(0, end)
            } else {
                f64::INFINITY
            }
        })
        .collect();
    let mut from: Vec<Vec<usize>> = Vec::new();
    let mut out = vec![segmentation(&sums, &from, n, best[n])];
    for breaks in 1..=most_breaks {
        if n < (breaks + 1) * shortest {
            break;
        }
        let mut next = vec![f64::INFINITY; n + 1];
        let mut starts = vec![0; n + 1];
        for end in (breaks + 1) * shortest..=n {
            for start in breaks * shortest..=end - shortest {
                let value = best[start] + sums.rss(start, end);
                if value < next[end] {
                    (next[end], starts[end]) = (value, start);
                }
            }
        }
        best = next;
        from.push(starts);
        out.push(segmentation(&sums, &from, n, best[n]));
    }
    Ok(out)
}

fn segmentation(sums: &Sums, from: &[Vec<usize>], n: usize, rss: f64) -> Segmentation {
    let mut starts = Vec::with_capacity(from.len());
    let mut end = n;
    for level in from.iter().rev() {
        end = level[end];
        starts.push(end);
    }
    starts.reverse();
    let edges: Vec<usize> = std::iter::once(0)
        .chain(starts.iter().copied())
        .chain(std::iter::once(n))
        .collect();
    let means = edges.windows(2).map(|w| sums.mean(w[0], w[1])).collect();
    let nf = n as f64;
    let parameters = 2.0 * (starts.len() + 1) as f64;
    let bic = nf * ((2.0 * std::f64::consts::PI * rss / nf).ln() + 1.0) + nf.ln() * parameters;
    Segmentation {
        starts,
        means,
        rss,
        bic,
    }
}

/// F statistic of the best single break against none (Andrews 1993, sup F).
///
/// # Errors
/// As [`segment_means`], or fewer than 2·`shortest` or 3 values.
pub fn sup_f(y: &[f64], shortest: usize) -> Result<f64, StatsError> {
    let fits = segment_means(y, 1, shortest)?;
    match fits.as_slice() {
        [none, one] if y.len() > 2 => Ok((none.rss - one.rss) / (one.rss / (y.len() - 2) as f64)),
        _ => Err(StatsError::TooFew {
            what: "values in the series",
            needed: (2 * shortest).max(3),
            found: y.len(),
        }),
    }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) use tests::NILE;
