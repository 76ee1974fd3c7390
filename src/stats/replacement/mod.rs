//! When replacing is cheapest.
//!
//! # Source
//! Barlow & Proschan 1965, Mathematical Theory of Reliability, chapter 4.2 (age
//! replacement, running cost); Barlow & Hunter 1960, Oper. Res. 8:90 (minimal repair).

mod life_curve;
mod paths;

use super::error::StatsError;
use super::optimise::{minimise_between, root_between};
use super::quadrature::integrate;
pub use life_curve::{AnyLife, LifeCurve, LogNormalLife, WeibullLife};
pub use paths::{CheapestAge, PathCosts};

/// Replacement at a fixed age, or on failure if that comes first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AgeReplacement {
    pub cost_planned: f64,
    pub cost_failure: f64,
}

/// The cheapest policy found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Policy {
    /// Age at replacement; `None` where it never pays before failure.
    pub interval: Option<f64>,
    /// Long-run cost per unit of age under the policy.
    pub cost_rate: f64,
}

/// Saving, as a share, below which early replacement is not worth the name.
const WORTH_IT: f64 = 1e-9;
/// Ages tried before the best is refined.
const GRID: usize = 400;

fn positive(what: &'static str, value: f64) -> Result<(), StatsError> {
    if value > 0.0 && value.is_finite() {
        Ok(())
    } else {
        Err(StatsError::OutOfRange {
            what,
            value,
            allowed: "finite and above 0",
        })
    }
}

impl AgeReplacement {
    /// Long-run cost per unit of age when replacing at `age`.
    pub fn cost_rate_at(&self, life: &impl LifeCurve, age: f64) -> f64 {
        let lasting = life.survival(age);
        (self.cost_planned * lasting + self.cost_failure * (1.0 - lasting)) / life.mean_until(age)
    }

    /// Long-run cost per unit of age when every life is run to failure.
    pub fn cost_rate_run_to_failure(&self, life: &impl LifeCurve) -> f64 {
        self.cost_failure / life.mean()
    }

    /// The cheapest age.
    ///
    /// # Errors
    /// A cost that is not positive, a life without a positive finite mean.
    pub fn cheapest(&self, life: &impl LifeCurve) -> Result<Policy, StatsError> {
        positive("cost of a planned replacement", self.cost_planned)?;
        positive("cost of a failure", self.cost_failure)?;
        positive("mean life", life.mean())?;
        let to_failure = self.cost_rate_run_to_failure(life);
        let never = Policy {
            interval: None,
            cost_rate: to_failure,
        };
        if self.cost_failure <= self.cost_planned {
            return Ok(never);
        }
        let cost = |age: f64| self.cost_rate_at(life, age);
        let (low, high) = life.span();
        let age_at = |i: usize| low * (high / low).powf(i as f64 / (GRID - 1) as f64);
        let best = (0..GRID)
            .min_by(|a, b| cost(age_at(*a)).total_cmp(&cost(age_at(*b))))
            .unwrap_or(0);
        let (left, right) = (
            age_at(best.saturating_sub(1)),
            age_at((best + 1).min(GRID - 1)),
        );
        let age = self.refined(life, left, right);
        let cost_rate = cost(age);
        if cost_rate >= to_failure * (1.0 - WORTH_IT) {
            return Ok(never);
        }
        Ok(Policy {
            interval: Some(age),
            cost_rate,
        })
    }

    /// Solves the first-order condition where the hazard is known, as the cost
    /// itself is too flat to place its minimum exactly.
    fn refined(&self, life: &impl LifeCurve, left: f64, right: f64) -> f64 {
        let goal = self.cost_planned / (self.cost_failure - self.cost_planned);
        let excess = |age: f64| {
            let hazard = life.hazard(age).unwrap_or(f64::NAN);
            hazard * life.mean_until(age) - (1.0 - life.survival(age)) - goal
        };
        root_between(excess, left, right).unwrap_or_else(|_| {
            minimise_between(|age| self.cost_rate_at(life, age), left, right).at
        })
    }
}

/// The age at which an item with rising running cost is best replaced: where the
/// running cost equals the average cost of the whole cycle.
///
/// `rate(age)` is the running cost per unit of age, not falling; `longest` ends
/// the search. The interval is `None` where running on until `longest` stays
/// cheaper; the cost rate is then the average up to there.
///
/// # Errors
/// A replacement cost or `longest` that is not positive; a rate that is not finite.
pub fn rising_running_cost(
    replacement_cost: f64,
    rate: impl Fn(f64) -> f64,
    longest: f64,
) -> Result<Policy, StatsError> {
    positive("cost of a replacement", replacement_cost)?;
    positive("longest age", longest)?;
    let spent = |age: f64| integrate(&rate, 0.0, age, 1e-13).value;
    let average = |age: f64| (replacement_cost + spent(age)) / age;
    // marginal minus average, times age: rises from −cost through 0
    let excess = |age: f64| age * rate(age) - spent(age) - replacement_cost;
    let end = excess(longest);
    if !end.is_finite() {
        return Err(StatsError::NotFinite {
            what: "running cost",
            index: 0,
        });
    }
    if end <= 0.0 {
        return Ok(Policy {
            interval: None,
            cost_rate: average(longest),
        });
    }
    let age = root_between(excess, 1e-12 * longest, longest)?;
    Ok(Policy {
        interval: Some(age),
        cost_rate: average(age),
    })
}

/// Periodic replacement with minimal repair between: failures come at the rate of
/// a Weibull life and each is put right without renewing the item.
///
/// # Errors
/// A cost, scale or shape that is not positive.
pub fn minimal_repair(
    cost_planned: f64,
    cost_repair: f64,
    life: &WeibullLife,
) -> Result<Policy, StatsError> {
    positive("cost of a planned replacement", cost_planned)?;
    positive("cost of a repair", cost_repair)?;
    positive("scale", life.scale)?;
    positive("shape", life.shape)?;
    let (scale, shape) = (life.scale, life.shape);
    if shape <= 1.0 {
        // failures do not become more frequent; replacing only adds its cost
        let cost_rate = if shape == 1.0 {
            cost_repair / scale
        } else {
            0.0
        };
        return Ok(Policy {
            interval: None,
            cost_rate,
        });
    }
    let age = scale * (cost_planned / (cost_repair * (shape - 1.0))).powf(1.0 / shape);
    let cost_rate = (cost_planned + cost_repair * (age / scale).powf(shape)) / age;
    Ok(Policy {
        interval: Some(age),
        cost_rate,
    })
}

#[cfg(test)]
mod tests;
