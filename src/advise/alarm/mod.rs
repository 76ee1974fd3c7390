//! Whether a membrane is failing early: how likely that is, since when, and what is to
//! blame.
//!
//! An element fails early where it will last less than 60 % of what is typical in its
//! district, or where what comes through has stepped up by 30 % or more. Its forecast gives
//! the probability of the first, the breaks in its readings that of the second. By Ville's
//! inequality a posterior probability passes `q` wrongly at any of its readings, however
//! often it is looked at, in at most `(1 - q)/q` cases for each true one; so a stated rate
//! of false alarms in a healthy year of a van gives the threshold.

mod cause;
mod neighbours;
mod words;

use crate::calendar::Date;

use crate::fit::{Behind, Break, BreakKind, MembraneForecast, VanMeters};

pub use cause::{Cause, Late, causes};
pub use neighbours::{Peers, rise_of_late};
pub use words::{Known, check_first, facts_for, finding};

/// Elements that turn out to fail early, a year of a van (judgement).
const FAILING_A_YEAR: f64 = 0.05;
/// A raised alarm falls where failing has become less likely than this.
const FALLS: f64 = 0.35;
/// What might be failing is read again soon from this probability on.
const PENDING: f64 = 0.4;
/// A step up that counts, ln.
const STEP: f64 = 0.2624;
/// Newest readings that must still stand above what is usual, ln: an alarm never rises on
/// the day on which readings return to usual.
const STILL_ABOVE: f64 = 0.12;

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
    /// The reading from which on it could be told.
    pub since: Date,
    /// That it is failing early, whatever the cause but a meter.
    pub probability: f64,
}

/// The probability at which an alarm rises, for so many false ones a healthy year of a van.
pub fn threshold(false_alarms_per_van_year: f64) -> f64 {
    (FAILING_A_YEAR / (FAILING_A_YEAR + false_alarms_per_van_year)).clamp(0.5, 0.99)
}

/// The step up in what comes through of this element that counts most, with the
/// probability that it is there and is no meter's doing.
pub fn step_up(meters: &VanMeters, from: Date) -> Option<(&Break, &Behind, f64)> {
    let steps = meters.breaks.iter().filter_map(|(found, behind)| {
        let behind = behind.as_ref()?;
        let here = found.kind == BreakKind::Passage && found.began() >= from && found.size > 0.0;
        here.then_some(())?;
        // That it is as large as counts.
        let large = crate::stats::special::normal_cdf((found.size - STEP) / found.sd.max(0.02));
        let real = found.exists * found.of_kind * large;
        let p = real * (1.0 - behind.permeate_probe - behind.ageing);
        Some((found, behind, p))
    });
    steps.max_by(|a, b| a.2.total_cmp(&b.2))
}

/// The alarm of an element fitted, or first seen, on `from`, after all its readings.
pub fn alarm(
    forecast: &MembraneForecast,
    meters: &VanMeters,
    from: Date,
    false_alarms_per_van_year: f64,
) -> Option<Alarm> {
    let rises = threshold(false_alarms_per_van_year);
    let step = step_up(meters, from);
    let stepped = step.map_or(0.0, |s| s.2);
    // A step that went back again is none any more.
    let gone = meters.breaks.iter().any(|(found, _)| {
        step.is_some_and(|s| {
            found.kind == BreakKind::Passage && found.day > s.0.day && found.size < -0.6 * s.0.size
        })
    });
    let stepped = if gone { 0.0 } else { stepped };
    let above = neighbours::newest_above(forecast).is_none_or(|x| x > STILL_ABOVE);
    // What could be told of its pace after each of some readings, the newest last.
    let (mut raised, mut since, mut pending) = (false, None, None);
    for short in &forecast.short {
        let p = 1.0 - (1.0 - short.probability) * (1.0 - stepped);
        if short.probability >= PENDING {
            pending = pending.or(Some(short.date));
        } else {
            pending = None;
        }
        if raised {
            raised = p >= FALLS;
        } else if p >= rises {
            raised = true;
            since = Some(short.date);
        }
        if !raised {
            since = None;
        }
    }
    let fast = forecast.short.last().map_or(0.0, |s| s.probability);
    let probability = 1.0 - (1.0 - fast) * (1.0 - stepped);
    let kind = if stepped > fast {
        AlarmKind::Step
    } else {
        AlarmKind::Fast
    };
    let step_on = step
        .filter(|_| kind == AlarmKind::Step)
        .map(|s| s.0.began());
    raised = above && (raised || probability >= rises);
    if raised {
        Some(Alarm {
            level: AlarmLevel::Raised,
            kind,
            since: step_on
                .or(since)
                .or(forecast.short.last().map(|s| s.date))?,
            probability,
        })
    } else if probability >= PENDING {
        Some(Alarm {
            level: AlarmLevel::Pending,
            kind,
            since: step_on
                .or(pending)
                .or(forecast.short.last().map(|s| s.date))?,
            probability,
        })
    } else {
        None
    }
}

#[cfg(test)]
mod tests;
