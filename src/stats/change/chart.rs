//! Control charts: cumulative sums, moving averages, individual values.

use crate::stats::error::{StatsError, check_finite};

/// A tabular two-sided CUSUM (Page 1954), in the units of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cusum {
    pub target: f64,
    /// Allowance: half the shift to be found.
    pub allowance: f64,
    /// Decision limit.
    pub limit: f64,
    state: CusumState,
}

/// The two sums after a value.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CusumState {
    pub high: f64,
    pub low: f64,
    /// The sum above its limit, if one is: a rise or a fall of the mean.
    pub rise: bool,
    pub fall: bool,
}

impl Cusum {
    /// Both sums at zero.
    pub fn new(target: f64, allowance: f64, limit: f64) -> Self {
        Cusum {
            target,
            allowance,
            limit,
            state: CusumState::default(),
        }
    }

    /// Takes the next value. A value that is not a number leaves the sums as they are.
    pub fn push(&mut self, value: f64) -> CusumState {
        if !value.is_nan() {
            let off = value - self.target;
            let high = (self.state.high + off - self.allowance).max(0.0);
            let low = (self.state.low - off - self.allowance).max(0.0);
            self.state = CusumState {
                high,
                low,
                rise: high > self.limit,
                fall: low > self.limit,
            };
        }
        self.state
    }

    pub fn state(&self) -> CusumState {
        self.state
    }
}

/// An exponentially weighted moving average (Roberts 1959) with control limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ewma {
    pub target: f64,
    /// Standard deviation of a single value.
    pub sd: f64,
    /// Weight of the newest value, in 0..=1.
    pub lambda: f64,
    /// Half-width of the limits in standard deviations of the average; usually 3.
    pub width: f64,
    count: i32,
    average: f64,
}

/// The average after a value, with its limits at that point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EwmaState {
    pub average: f64,
    pub low: f64,
    pub high: f64,
    pub alarm: bool,
}

impl Ewma {
    /// Starts at the target.
    ///
    /// # Errors
    /// A weight outside 0..=1 (0 excluded), a negative deviation or width.
    pub fn new(target: f64, sd: f64, lambda: f64, width: f64) -> Result<Self, StatsError> {
        let refuse = |what, value, allowed| {
            Err(StatsError::OutOfRange {
                what,
                value,
                allowed,
            })
        };
        if !(lambda > 0.0 && lambda <= 1.0) {
            return refuse("weight of the newest value", lambda, "above 0, at most 1");
        }
        if sd.is_nan() || sd < 0.0 || width.is_nan() || width < 0.0 {
            return refuse("standard deviation or width", sd.min(width), "0 or more");
        }
        Ok(Ewma {
            target,
            sd,
            lambda,
            width,
            count: 0,
            average: target,
        })
    }

    /// Half-width of the limits once many values have been taken.
    pub fn settled_reach(&self) -> f64 {
        self.width * self.sd * (self.lambda / (2.0 - self.lambda)).sqrt()
    }

    /// Takes the next value.
    pub fn push(&mut self, value: f64) -> EwmaState {
        self.count = self.count.saturating_add(1);
        self.average += self.lambda * (value - self.average);
        let settled = 1.0 - (1.0 - self.lambda).powi(self.count.saturating_mul(2));
        let reach = self.settled_reach() * settled.sqrt();
        EwmaState {
            average: self.average,
            low: self.target - reach,
            high: self.target + reach,
            alarm: (self.average - self.target).abs() > reach,
        }
    }
}

/// Limits of a chart of individual values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IndividualsChart {
    pub mean: f64,
    /// Mean absolute difference of neighbours.
    pub moving_range: f64,
    pub low: f64,
    pub high: f64,
}

/// Mean range of two normal values in standard deviations (2/√π), as rounded in the tables.
const MEAN_RANGE_OF_TWO: f64 = 1.128;

/// Mean ± 3 standard deviations, these from the differences of neighbours.
///
/// # Errors
/// Fewer than two values, or one that is not finite.
///
/// # Source
/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
pub fn individuals_chart(values: &[f64]) -> Result<IndividualsChart, StatsError> {
    check_finite("values", values)?;
    if values.len() < 2 {
        return Err(StatsError::TooFew {
            what: "values",
            needed: 2,
            found: values.len(),
        });
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let ranges: f64 = values
        .iter()
        .zip(values.iter().skip(1))
        .map(|(a, b)| (b - a).abs())
        .sum();
    let moving_range = ranges / (values.len() - 1) as f64;
    let reach = 3.0 * moving_range / MEAN_RANGE_OF_TWO;
    Ok(IndividualsChart {
        mean,
        moving_range,
        low: mean - reach,
        high: mean + reach,
    })
}
