//! When parts are best changed, and what that costs.

pub mod ahead;
pub mod bottle;
mod burn;
mod cycle;
pub mod district;
pub mod membrane;
pub mod parts;
pub mod resin;

use serde::Serialize;

pub use burn::{BurnLine, ResinBurn};
pub use cycle::{Cycle, costs_of, course_costs, even_ages, life_costs};

/// What doing a job before its cheapest day costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Early {
    pub days: f64,
    pub cost: f64,
}

/// Earliest that a job is worth moving, days.
pub const MOST_EARLY_DAYS: f64 = 190.0;

/// Cost of doing it so many days early, by straight lines; infinite beyond what
/// is known. The list ascends in days.
pub fn cost_of_early(list: &[Early], days: f64) -> f64 {
    let mut before = Early {
        days: 0.0,
        cost: 0.0,
    };
    for next in list {
        if days <= next.days {
            let share = (days - before.days) / (next.days - before.days).max(1e-9);
            return before.cost + share.clamp(0.0, 1.0) * (next.cost - before.cost);
        }
        before = *next;
    }
    if days <= before.days {
        before.cost
    } else {
        f64::INFINITY
    }
}

/// What 1000 L of pure water cost in the long run, part by part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CostPer1000Litres {
    pub membrane: f64,
    pub resin: f64,
    pub prefilters: f64,
    /// What is to be expected of limits passed unplanned.
    pub lost_rounds: f64,
    /// Tap and drain; `None` where neither price is known.
    pub water: Option<f64>,
    pub total: f64,
}
