//! Lives without a formula: the product-limit estimate.

use super::error::StatsError;

/// One life, or several alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    /// Age at its end, or at which it was last seen running.
    pub age: f64,
    /// Whether its end was seen.
    pub ended: bool,
    /// How many lives this stands for.
    pub weight: f64,
}

impl Life {
    /// Ended at `age` if `ended`, else still running then.
    pub fn to(age: f64, ended: bool) -> Self {
        Life {
            age,
            ended,
            weight: 1.0,
        }
    }

    /// Standing for `count` lives.
    pub fn times(self, count: f64) -> Self {
        Life {
            weight: count,
            ..self
        }
    }
}

/// The estimate just after one age at which lives ended or stopped being watched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LifePoint {
    pub age: f64,
    /// Lives under observation just before.
    pub at_risk: f64,
    /// Ends seen at this age.
    pub ends: f64,
    /// Estimated share that lasts longer.
    pub survival: f64,
}

/// A life table: one point for every age seen, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeTable {
    pub points: Vec<LifePoint>,
}

/// The share of lives that lasts longer than each age, ends not seen allowed for.
///
/// # Errors
/// An age that is not a number above 0.
///
/// # Source
/// Kaplan & Meier 1958, JASA 53:457.
pub fn life_table(lives: &[Life]) -> Result<LifeTable, StatsError> {
    if let Some(life) = lives.iter().find(|l| !l.age.is_finite() || l.age <= 0.0) {
        return Err(StatsError::OutOfRange {
            what: "age at the end of a life",
            value: life.age,
            allowed: "finite and above 0",
        });
    }
    let mut lives = lives.to_vec();
    lives.sort_by(|a, b| a.age.total_cmp(&b.age));
    let mut at_risk: f64 = lives.iter().map(|l| l.weight).sum();
    let mut survival = 1.0;
    let mut points = Vec::new();
    for alike in lives.chunk_by(|a, b| a.age == b.age) {
        let ends: f64 = alike.iter().filter(|l| l.ended).map(|l| l.weight).sum();
        if ends > 0.0 {
            survival *= 1.0 - ends / at_risk;
        }
        points.push(LifePoint {
            age: alike[0].age,
            at_risk,
            ends,
            survival,
        });
        at_risk -= alike.iter().map(|l| l.weight).sum::<f64>();
    }
    Ok(LifeTable { points })
}

impl LifeTable {
    /// The share that lasts longer than `age`.
    pub fn survival_at(&self, age: f64) -> f64 {
        let after = self.points.partition_point(|p| p.age <= age);
        after
            .checked_sub(1)
            .and_then(|i| self.points.get(i))
            .map_or(1.0, |p| p.survival)
    }
}

#[cfg(test)]
mod tests;
