//! Whether a membrane is failing early: how likely that is, since when, and what is to
//! blame.
//!
//! An element fails early where it will last less than 60 % of what elements of its fleet
//! usually last in its water, or where what comes through has stepped up by 30 % or more.
//! Its forecast's own draws give the probability of the first, the breaks in its readings
//! that of the second. Alarms rise from a probability on; if those that do are spread
//! evenly between it, `q`, and 1, then `(1 - q)/2` of them are wrong and `(1 + q)/2` right,
//! so that a stated rate of false alarms in a healthy year of a van, and how many elements
//! fail, give `q`.

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
/// A raised alarm falls where failing has been less likely than this at two looks running,
/// three weeks apart.
const FALLS: f64 = 0.5;
/// What might be failing is read again soon from this probability on.
const PENDING: f64 = 0.4;
/// A step up that counts, ln.
const STEP: f64 = 0.2624;

/// What raised an alarm first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AlarmKind {
    /// Declines too fast for its water.
    Fast,
    /// Has stepped up.
    Step,
    /// The pressure gave way.
    Pressure,
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
    /// That it is failing early, or a meter shows it so.
    pub probability: f64,
}

/// The probability at which an alarm rises, for so many false ones a healthy year of a van.
pub fn threshold(false_alarms_per_van_year: f64) -> f64 {
    let for_each_right = false_alarms_per_van_year / FAILING_A_YEAR;
    ((1.0 - for_each_right) / (1.0 + for_each_right)).clamp(0.5, 0.99)
}

/// The step up in what comes through of this element that counts most, with the
/// probability that it is there and more than ageing: whether it is a meter's doing is a
/// question of its cause.
pub fn step_up(meters: &VanMeters, from: Date) -> Option<(&Break, &Behind, f64)> {
    let steps = meters.breaks.iter().filter_map(|(found, behind)| {
        let behind = behind.as_ref()?;
        let own = found.kind == BreakKind::Passage && found.began() >= from;
        let here = (own || found.kind == BreakKind::Standing) && found.size > 0.0;
        here.then_some(())?;
        // That it is as large as counts.
        let large = crate::stats::special::normal_cdf((found.size - STEP) / found.sd.max(0.02));
        let real = found.exists * found.of_kind * large;
        // Of one that began on a former membrane, what was that membrane's own is gone.
        let counts = if found.began() >= from {
            1.0 - behind.ageing
        } else {
            behind.permeate_probe + behind.pressure
        };
        let p = real * counts;
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
            let through = matches!(found.kind, BreakKind::Passage | BreakKind::Standing);
            through && found.day > s.0.day && found.size < -0.6 * s.0.size
        })
    });
    let stepped = if gone { 0.0 } else { stepped };
    let step_on = step.map(|s| s.0.began()).filter(|_| stepped > 0.0);
    // One that this membrane has known from its first day is no change to it.
    let lost = meters
        .pressure
        .filter(|p| p.since >= from && p.probability > stepped);
    let lost_from = |date: Date| {
        lost.filter(|p| p.since <= date)
            .map_or(0.0, |p| p.probability)
    };
    // What could be told after each of some readings, the newest last.
    let (mut raised, mut since, mut pending, mut quiet) = (false, None, None, 0);
    for short in &forecast.short {
        let stepped_then = step_on
            .filter(|day| *day <= short.date)
            .map_or(0.0, |_| stepped);
        let stepped_then = stepped_then.max(lost_from(short.date));
        let p = 1.0 - (1.0 - short.probability) * (1.0 - stepped_then);
        pending = if p >= PENDING {
            pending.or(Some(short.date))
        } else {
            None
        };
        quiet = if p >= FALLS { 0 } else { quiet + 1 };
        if p >= rises {
            since = since.or(Some(short.date));
            raised = true;
        } else if quiet >= 2 {
            (raised, since) = (false, None);
        }
    }
    let fast = forecast.short.last().map_or(0.0, |s| s.probability);
    let lost_now = lost.map_or(0.0, |p| p.probability);
    let probability = 1.0 - (1.0 - fast) * (1.0 - stepped.max(lost_now));
    let kind = if lost_now > fast {
        AlarmKind::Pressure
    } else if stepped > fast {
        AlarmKind::Step
    } else {
        AlarmKind::Fast
    };
    let began_on = match kind {
        AlarmKind::Pressure => lost.map(|p| p.since),
        AlarmKind::Step => step_on,
        AlarmKind::Fast => None,
    };
    raised |= probability >= rises;
    if raised {
        Some(Alarm {
            level: AlarmLevel::Raised,
            kind,
            since: began_on
                .or(since)
                .or(forecast.short.last().map(|s| s.date))?,
            probability,
        })
    } else if probability >= PENDING {
        Some(Alarm {
            level: AlarmLevel::Pending,
            kind,
            since: began_on
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
