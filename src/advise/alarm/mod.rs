//! Whether a membrane is failing early: the alarm and its moment, and what is
//! to blame.

mod cause;
mod facts;
mod words;

use jiff::civil::Date;

use crate::fit::{Watched, WatchedLook};

pub use cause::causes;
pub use facts::{Beside, Facts, FleetTaps, Peers, VanTaps, rise_of_late};
pub use words::{check_first, facts_for, finding};

/// How the permitted false alarms are shared between a life too short and a step.
const SHARE_FAST: f64 = 0.6;
const SHARE_STEP: f64 = 0.4;
/// Evidence of `1/α` is passed by a share `α` of healthy elements at most; as it
/// comes in whole readings it overshoots, and this share of it keeps the rate
/// (found on simulated fleets, seeds 1-8 of the accuracy bench).
const OVERSHOOT: f64 = 0.7;
/// Readings and days before a creeping decline can alarm at all: what was read in
/// the first weeks may belong to the element before.
const LEAST_READINGS: usize = 3;
/// An element of unknown age quickens with what has built up before the records:
/// its pace alone tells less (judgement).
const UNKNOWN_AGE: f64 = 3.0;
const LEAST_DAYS: i32 = 30;
/// A pending alarm asks for this share of the evidence of a raised one.
const PENDING: f64 = 0.1;
/// A raised alarm falls only when the evidence has turned round: a healthy life
/// has become likelier than not, and for a step this share of what raised it is left.
const FALLS_HEALTHY: f64 = 0.5;
const FALLS_STEP: f64 = 0.02;

/// What raised an alarm first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmKind {
    /// Declines too fast for its water.
    Fast,
    /// Has stepped up.
    Step,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmLevel {
    Pending,
    Raised,
}

/// An alarm as it stands at the newest reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alarm {
    pub level: AlarmLevel,
    pub kind: AlarmKind,
    /// The reading at which it was first raised, or became pending.
    pub since: Date,
}

/// The evidence at which alarms rise, for a stated rate of false ones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    /// Times likelier to be failing than healthy.
    fast: f64,
    /// Days, see [`WatchedLook::step_evidence_days`].
    step_days: f64,
}

impl Thresholds {
    /// `per_van_year`: false alarms allowed in a healthy year of one van.
    /// `typical_years`: what a typical element lives on this van.
    pub fn new(per_van_year: f64, typical_years: f64, age_known: bool) -> Thresholds {
        let alpha = SHARE_FAST * per_van_year * typical_years.clamp(0.5, 10.0);
        let age = if age_known { 1.0 } else { UNKNOWN_AGE };
        Thresholds {
            fast: age * (OVERSHOOT / alpha).max(5.0),
            step_days: 365.25 / (SHARE_STEP * per_van_year),
        }
    }

    fn kind(&self, look: &WatchedLook, old_enough: bool, share: f64) -> Option<AlarmKind> {
        if look.step_evidence_days >= share * self.step_days {
            Some(AlarmKind::Step)
        } else if old_enough && look.fast_evidence >= share * self.fast {
            Some(AlarmKind::Fast)
        } else {
            None
        }
    }
}

/// The alarm after all readings of an element fitted, or first seen, on `begin`:
/// once raised it stays until the evidence has turned round.
pub fn alarm(watched: &Watched, begin: Date, thresholds: &Thresholds) -> Option<Alarm> {
    let mut now: Option<Alarm> = None;
    for (n, look) in watched.looks.iter().enumerate() {
        let old_enough = n + 1 >= LEAST_READINGS && (look.date - begin).get_days() >= LEAST_DAYS;
        let raised = thresholds.kind(look, old_enough, 1.0);
        let pending = thresholds.kind(look, old_enough, PENDING);
        let rise = |kind, level| {
            Some(Alarm {
                level,
                kind,
                since: look.date,
            })
        };
        now = match (now, raised, pending) {
            (Some(alarm), _, _) if alarm.level == AlarmLevel::Raised => {
                let stands = look.p_healthy < FALLS_HEALTHY
                    || look.step_evidence_days >= FALLS_STEP * thresholds.step_days;
                stands.then_some(alarm)
            }
            (_, Some(kind), _) => rise(kind, AlarmLevel::Raised),
            (Some(alarm), None, Some(_)) => Some(alarm),
            (_, None, Some(kind)) => rise(kind, AlarmLevel::Pending),
            (_, None, None) => None,
        };
    }
    now
}

#[cfg(test)]
mod tests;
