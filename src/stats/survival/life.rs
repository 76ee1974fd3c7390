//! What is known of one life.

use crate::stats::error::StatsError;

/// How a life ended, as far as was seen. Ages are positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Outcome {
    /// Ended at this age.
    Exact(f64),
    /// Still running at this age (right-censored).
    Running(f64),
    /// Had ended by this age (left-censored).
    EndedBy(f64),
    /// Was running at the first age and had ended by the second.
    Between(f64, f64),
}

/// One life, or several alike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Life {
    pub outcome: Outcome,
    /// Age at which it came under observation: it is only known of because it
    /// lasted at least that long (left truncation). 0 for lives seen from new.
    pub entry: f64,
    /// How many lives this stands for.
    pub weight: f64,
}

impl Life {
    /// A life seen from new.
    pub fn new(outcome: Outcome) -> Self {
        Life {
            outcome,
            entry: 0.0,
            weight: 1.0,
        }
    }

    /// Ended at `age` if `ended`, else still running then.
    pub fn to(age: f64, ended: bool) -> Self {
        Life::new(if ended {
            Outcome::Exact(age)
        } else {
            Outcome::Running(age)
        })
    }

    /// Under observation only from `age` on.
    pub fn entered_at(self, age: f64) -> Self {
        Life { entry: age, ..self }
    }

    /// Standing for `count` lives.
    pub fn times(self, count: f64) -> Self {
        Life {
            weight: count,
            ..self
        }
    }

    /// Whether its end was seen, exactly or within limits.
    pub fn end_seen(&self) -> bool {
        !matches!(self.outcome, Outcome::Running(_))
    }

    /// An age near its end, to start a fit from.
    pub(super) fn middle(&self) -> f64 {
        match self.outcome {
            Outcome::Exact(t) | Outcome::Running(t) => t,
            Outcome::EndedBy(t) => 0.7 * t,
            Outcome::Between(a, b) => {
                if a > 0.0 {
                    (a * b).sqrt()
                } else {
                    0.7 * b
                }
            }
        }
    }

    pub(crate) fn check(&self) -> Result<(), StatsError> {
        let bad = |what, value, allowed| {
            Err(StatsError::OutOfRange {
                what,
                value,
                allowed,
            })
        };
        let (first, last) = match self.outcome {
            Outcome::Exact(t) | Outcome::Running(t) | Outcome::EndedBy(t) => (t, t),
            Outcome::Between(a, b) => (a, b),
        };
        let between = matches!(self.outcome, Outcome::Between(..));
        if !last.is_finite() || last <= 0.0 {
            return bad("age at the end of a life", last, "finite and above 0");
        }
        if first.is_nan() || first < 0.0 || (between && first >= last) {
            return bad(
                "age at the last look before the end",
                first,
                "0 or more, below the age at the end",
            );
        }
        // a life that had ended before it came under observation tells nothing
        let latest_entry = if matches!(self.outcome, Outcome::EndedBy(_)) {
            0.0
        } else {
            first
        };
        if self.entry.is_nan() || self.entry < 0.0 || self.entry > latest_entry {
            return bad(
                "age at entry",
                self.entry,
                "0 or more, not above the age seen running",
            );
        }
        if !self.weight.is_finite() || self.weight < 0.0 {
            return bad("weight of a life", self.weight, "0 or more");
        }
        Ok(())
    }
}
