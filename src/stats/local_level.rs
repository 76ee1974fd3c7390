//! A level that wanders, seen through noise: filter, smoother, likelihood.
//!
//! yₜ = αₜ + εₜ, αₜ₊₁ = αₜ + ηₜ, nothing known of α₁.
//!
//! # Source
//! Durbin & Koopman 2001, Time Series Analysis by State Space Methods, chapter 2.

use super::error::{StatsError, Stop, check_length};
use super::optimise::{nelder_mead, newton_polish};

/// Variances of a wandering level and of the noise on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LocalLevel {
    /// Variance of the noise of one value.
    pub var_noise: f64,
    /// Variance of the level's change over one unit of time.
    pub var_level: f64,
}

/// The level at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelEstimate {
    pub level: f64,
    pub variance: f64,
}

/// What a series says of its level.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelPath {
    /// From the values up to each time; `None` before the first value.
    pub filtered: Vec<Option<LevelEstimate>>,
    /// From all values; `None` throughout where there is none.
    pub smoothed: Vec<Option<LevelEstimate>>,
    /// Diffuse log-likelihood: all values but the first.
    pub loglik: f64,
}

/// A local level with the likeliest variances.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedLevel {
    pub model: LocalLevel,
    pub path: LevelPath,
    pub stop: Stop,
}

/// Precision-weighted mean of two estimates of one level.
fn combine(a: LevelEstimate, b: LevelEstimate) -> LevelEstimate {
    let share = if a.variance + b.variance > 0.0 {
        a.variance / (a.variance + b.variance)
    } else {
        0.5
    };
    LevelEstimate {
        level: a.level + share * (b.level - a.level),
        variance: (1.0 - share) * a.variance,
    }
}

impl LocalLevel {
    fn check(&self, y: &[Option<f64>], elapsed: &[f64]) -> Result<(), StatsError> {
        check_length("elapsed times", y.len(), elapsed.len())?;
        let refuse = |what, value, allowed| {
            Err(StatsError::OutOfRange {
                what,
                value,
                allowed,
            })
        };
        if !(self.var_noise > 0.0 && self.var_noise.is_finite()) {
            return refuse(
                "variance of the noise",
                self.var_noise,
                "finite and above 0",
            );
        }
        if !(self.var_level >= 0.0 && self.var_level.is_finite()) {
            return refuse("variance of the level", self.var_level, "finite, 0 or more");
        }
        if let Some(&value) = elapsed
            .iter()
            .skip(1)
            .find(|e| !(**e >= 0.0 && e.is_finite()))
        {
            return refuse("elapsed time", value, "finite, 0 or more");
        }
        match y.iter().position(|v| v.is_some_and(|v| !v.is_finite())) {
            Some(index) => Err(StatsError::NotFinite {
                what: "series",
                index,
            }),
            None => Ok(()),
        }
    }

    /// One pass in the order given; also the log-likelihood of all but the first value.
    fn pass<'a>(
        &self,
        looks: impl Iterator<Item = (&'a Option<f64>, f64)>,
    ) -> (Vec<Option<LevelEstimate>>, Vec<Option<LevelEstimate>>, f64) {
        let (mut before, mut after) = (Vec::new(), Vec::new());
        let mut state: Option<LevelEstimate> = None;
        let mut loglik = 0.0;
        for (y, elapsed) in looks {
            let predicted = state.map(|s| LevelEstimate {
                variance: s.variance + self.var_level * elapsed,
                ..s
            });
            before.push(predicted);
            let seen = y.map(|level| LevelEstimate {
                level,
                variance: self.var_noise,
            });
            state = match (predicted, seen) {
                (Some(p), Some(s)) => {
                    let spread = p.variance + s.variance;
                    let miss = s.level - p.level;
                    loglik -=
                        0.5 * ((2.0 * std::f64::consts::PI * spread).ln() + miss * miss / spread);
                    Some(combine(p, s))
                }
                (p, s) => p.or(s),
            };
            after.push(state);
        }
        (before, after, loglik)
    }

    /// Filter and smoother. `y` may hold gaps; `elapsed` is the time since the
    /// value before (the first is not read), all 1 for a regular series.
    ///
    /// # Errors
    /// Different lengths, values that are not finite, a negative time, a noise
    /// variance that is not positive or a negative level variance.
    pub fn path(&self, y: &[Option<f64>], elapsed: &[f64]) -> Result<LevelPath, StatsError> {
        self.check(y, elapsed)?;
        let (_, filtered, loglik) = self.pass(y.iter().zip(elapsed.iter().copied()));
        // the same from the other end: what later values alone say of each level
        let later = elapsed.iter().skip(1).copied().chain([0.0]);
        let backward: Vec<(&Option<f64>, f64)> = y.iter().zip(later).collect();
        let (mut later, ..) = self.pass(backward.into_iter().rev());
        later.reverse();
        let smoothed = filtered
            .iter()
            .zip(&later)
            .map(|pair| match pair {
                (Some(a), Some(b)) => Some(combine(*a, *b)),
                (a, b) => a.or(*b),
            })
            .collect();
        Ok(LevelPath {
            filtered,
            smoothed,
            loglik,
        })
    }

    /// The variances that make the series likeliest.
    ///
    /// # Errors
    /// As [`LocalLevel::path`]; fewer than three values, values all alike, or no optimum.
    pub fn fit(y: &[Option<f64>], elapsed: &[f64]) -> Result<FittedLevel, StatsError> {
        let what = "local level";
        LocalLevel {
            var_noise: 1.0,
            var_level: 1.0,
        }
        .check(y, elapsed)?;
        let seen: Vec<f64> = y.iter().flatten().copied().collect();
        if seen.len() < 3 {
            return Err(StatsError::TooFew {
                what: "values",
                needed: 3,
                found: seen.len(),
            });
        }
        let mean = seen.iter().sum::<f64>() / seen.len() as f64;
        let variance = seen.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / seen.len() as f64;
        if variance == 0.0 {
            return Err(StatsError::Singular { what });
        }
        // standard deviations as free parameters: their sign means nothing, so a
        // variance of 0 is an ordinary point
        let unit = variance.sqrt();
        let model = |x: &[f64]| LocalLevel {
            var_noise: (unit * x[0]).powi(2).max(1e-12 * variance),
            var_level: (unit * x[1]).powi(2),
        };
        let cost = |x: &[f64]| -2.0 * model(x).pass(y.iter().zip(elapsed.iter().copied())).2;
        let coarse = nelder_mead(cost, &[0.7, 0.3], &[0.2, 0.2], 1e-8, 2000);
        let polished = newton_polish(cost, &coarse.point, &[1e-3, 1e-3], 30)?.minimum;
        if !polished.stop.is_converged() {
            return Err(StatsError::NotConverged {
                what,
                stop: polished.stop,
            });
        }
        let model = model(&polished.point);
        Ok(FittedLevel {
            model,
            path: model.path(y, elapsed)?,
            stop: polished.stop,
        })
    }
}

#[cfg(test)]
mod tests;
