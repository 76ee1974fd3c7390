//! Lives without a formula: Kaplan–Meier, Nelson–Aalen, log-rank.

use super::error::{StatsError, check_length};
use super::special::{chi_squared_cdf, normal_quantile};
use super::survival::{Life, Outcome};

/// The estimates just after one age at which lives ended or stopped being watched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LifePoint {
    pub age: f64,
    /// Lives under observation just before.
    pub at_risk: f64,
    /// Ends seen at this age.
    pub ends: f64,
    /// Kaplan–Meier estimate of the share that lasts longer.
    pub survival: f64,
    /// Greenwood's standard error of it; 0 once nothing is left.
    pub se: f64,
    /// Limits on the logarithmic scale (as R's default); NaN once nothing is left.
    pub low: f64,
    pub high: f64,
    /// Nelson–Aalen cumulative hazard and its variance (Aalen's Σd/n²).
    pub hazard: f64,
    pub hazard_variance: f64,
}

/// A life table: one point for every age seen, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct LifeTable {
    pub points: Vec<LifePoint>,
}

/// (age, whether it ended, entry, weight) of lives seen exactly or running.
fn observed(lives: &[Life]) -> Result<Vec<(f64, bool, f64, f64)>, StatsError> {
    let mut out = Vec::with_capacity(lives.len());
    for life in lives {
        life.check()?;
        let (age, ended) = match life.outcome {
            Outcome::Exact(age) => (age, true),
            Outcome::Running(age) => (age, false),
            Outcome::EndedBy(age) | Outcome::Between(age, _) => {
                let allowed = "seen exactly or still running";
                return Err(StatsError::OutOfRange {
                    what: "life in a life table",
                    value: age,
                    allowed,
                });
            }
        };
        out.push((age, ended, life.entry, life.weight));
    }
    out.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    Ok(out)
}

/// Kaplan–Meier and Nelson–Aalen estimates with limits at `confidence`.
///
/// A life counts at ages above its entry and up to its own. Weights count lives.
///
/// # Errors
/// A life that contradicts itself, or whose end is only known within limits.
///
/// # Source
/// Kaplan & Meier 1958, JASA 53:457; Aalen 1978; limits as R's `survfit` by default.
pub fn life_table(lives: &[Life], confidence: f64) -> Result<LifeTable, StatsError> {
    let seen = observed(lives)?;
    let mut entries: Vec<(f64, f64)> = seen.iter().map(|l| (l.2, l.3)).collect();
    entries.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let mut waiting = entries.iter().peekable();
    let reach = normal_quantile(0.5 + 0.5 * confidence);
    let (mut entered, mut left) = (0.0, 0.0);
    let (mut survival, mut greenwood, mut hazard, mut hazard_variance) = (1.0, 0.0_f64, 0.0, 0.0);
    let mut points = Vec::new();
    for group in seen.chunk_by(|a, b| a.0 == b.0) {
        let Some(&(age, ..)) = group.first() else {
            continue;
        };
        while let Some((_, weight)) = waiting.next_if(|(entry, _)| *entry < age) {
            entered += weight;
        }
        let at_risk: f64 = entered - left;
        let ends: f64 = group.iter().filter(|l| l.1).map(|l| l.3).sum();
        if ends > 0.0 && at_risk > 0.0 {
            survival *= 1.0 - ends / at_risk;
            greenwood += ends / (at_risk * (at_risk - ends));
            hazard += ends / at_risk;
            hazard_variance += ends / (at_risk * at_risk);
        }
        let factor = (reach * greenwood.sqrt()).exp();
        let (se, low, high) = if survival > 0.0 {
            (
                survival * greenwood.sqrt(),
                survival / factor,
                (survival * factor).min(1.0),
            )
        } else {
            (0.0, f64::NAN, f64::NAN)
        };
        points.push(LifePoint {
            age,
            at_risk,
            ends,
            survival,
            se,
            low,
            high,
            hazard,
            hazard_variance,
        });
        left += group.iter().map(|l| l.3).sum::<f64>();
    }
    Ok(LifeTable { points })
}

/// Rounding in a product of survival shares.
const SHARE_ROUNDING: f64 = 1e-12;

impl LifeTable {
    fn first_at(&self, share: f64, curve: impl Fn(&LifePoint) -> f64) -> Option<f64> {
        let i = self
            .points
            .iter()
            .position(|p| curve(p) <= share + SHARE_ROUNDING)?;
        let here = self.points.get(i)?;
        if (curve(here) - share).abs() < SHARE_ROUNDING {
            let next = self
                .points
                .iter()
                .find(|p| curve(p) < share - SHARE_ROUNDING);
            if let Some(next) = next {
                return Some(0.5 * (here.age + next.age));
            }
        }
        Some(here.age)
    }

    /// The age by which a share `p` has ended: the first at which survival falls
    /// to 1 − p, the middle of a stretch that stands exactly there; `None` if
    /// survival never falls so far.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        self.first_at(1.0 - p, |point| point.survival)
    }

    /// Limits of [`LifeTable::quantile`], read off the limits of the curve.
    pub fn quantile_limits(&self, p: f64) -> (Option<f64>, Option<f64>) {
        (
            self.first_at(1.0 - p, |point| point.low),
            self.first_at(1.0 - p, |point| point.high),
        )
    }

    /// The share that lasts longer than `age`.
    pub fn survival_at(&self, age: f64) -> f64 {
        let after = self.points.partition_point(|p| p.age <= age);
        after
            .checked_sub(1)
            .and_then(|i| self.points.get(i))
            .map_or(1.0, |p| p.survival)
    }
}

/// Log-rank comparison of two groups.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogRank {
    /// Ends seen in the first group.
    pub observed: f64,
    /// Ends expected there if both shared one curve.
    pub expected: f64,
    pub variance: f64,
    pub chi_squared: f64,
    /// Probability of a χ² (1 degree of freedom) at least as large.
    pub p_value: f64,
}

/// Tests whether the lives with `in_first` last like the others.
///
/// # Errors
/// As [`life_table`]; different lengths; no age at which both groups are at risk.
///
/// # Source
/// Mantel 1966; Peto & Peto 1972.
pub fn log_rank(lives: &[Life], in_first: &[bool]) -> Result<LogRank, StatsError> {
    check_length("group of each life", lives.len(), in_first.len())?;
    let of = |group: bool| -> Vec<Life> {
        lives
            .iter()
            .zip(in_first)
            .filter(|(_, g)| **g == group)
            .map(|(l, _)| *l)
            .collect()
    };
    let all = life_table(lives, 0.95)?;
    let first = observed(&of(true))?;
    let mut entries: Vec<(f64, f64)> = first.iter().map(|l| (l.2, l.3)).collect();
    entries.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let (mut waiting, mut leaving) = (entries.iter().peekable(), first.iter().peekable());
    let mut present = 0.0;
    let (mut observed_ends, mut expected, mut variance) = (0.0, 0.0, 0.0);
    for point in &all.points {
        while let Some(l) = leaving.next_if(|l| l.0 < point.age) {
            present -= l.3;
        }
        while let Some((_, weight)) = waiting.next_if(|(entry, _)| *entry < point.age) {
            present += weight;
        }
        let (n, d) = (point.at_risk, point.ends);
        if d <= 0.0 || n <= 0.0 {
            continue;
        }
        let here = leaving
            .clone()
            .take_while(|l| l.0 == point.age)
            .filter(|l| l.1);
        observed_ends += here.map(|l| l.3).sum::<f64>();
        let share = present / n;
        expected += d * share;
        if n > 1.0 {
            variance += d * share * (1.0 - share) * (n - d) / (n - 1.0);
        }
    }
    if variance <= 0.0 {
        return Err(StatsError::TooFew {
            what: "ages with both groups at risk",
            needed: 1,
            found: 0,
        });
    }
    let chi_squared = (observed_ends - expected) * (observed_ends - expected) / variance;
    let p_value = 1.0 - chi_squared_cdf(1.0, chi_squared);
    Ok(LogRank {
        observed: observed_ends,
        expected,
        variance,
        chi_squared,
        p_value,
    })
}

#[cfg(test)]
mod tests;
