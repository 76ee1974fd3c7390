//! An alarm in words that a window cleaner understands.

use super::{Alarm, AlarmKind, Late};
use crate::advise::{Suspect, in_words};
use crate::fit::{Beside, Break, Compared, PressureLoss};

/// `1.4 times`, `twice`.
fn times(ratio: f64) -> String {
    if (1.95..2.05).contains(&ratio) {
        "twice".to_owned()
    } else {
        format!("{ratio:.1} times")
    }
}

/// `12 %` for a logarithm of that size, up or down.
fn percent(ln: f64) -> String {
    format!("{:.0} %", 100.0 * ln.exp_m1().abs())
}

/// What has happened, as part of a sentence that begins with the membrane.
pub fn finding(alarm: &Alarm, step: Option<&Break>, compared: &Compared) -> String {
    let since = in_words(alarm.since);
    match (alarm.kind, step) {
        (AlarmKind::Step, Some(step)) => {
            let how = if step.ramp_days > 0.0 {
                "within weeks, from"
            } else {
                "at once, around"
            };
            format!(
                "what comes through rose to {} what it was, {how} {}",
                times(step.size.exp()),
                in_words(step.began())
            )
        }
        (AlarmKind::Pressure, _) => {
            format!("the pressure before it fell and stayed down, from {since}")
        }
        (AlarmKind::Step, None) => format!("what comes through rose at once before {since}"),
        (AlarmKind::Fast, _) if compared.pace >= 1.15 => format!(
            "it declines {} as fast as membranes usually do in this water (seen since {since})",
            times(compared.pace)
        ),
        (AlarmKind::Fast, _) => format!(
            "it will not last 60 % of what membranes usually last in this water (seen since {since})"
        ),
    }
}

/// What is known beside an alarm.
#[derive(Debug, Clone, Copy, Default)]
pub struct Known<'a> {
    pub finding: &'a str,
    pub beside: Beside,
    pub late: Late,
    /// Days since the pre-filters were changed.
    pub prefilter_days: Option<i32>,
    /// What is thought of the meter that most misleads.
    pub meter: Option<&'a str>,
    pub neighbours_rise: Option<f64>,
    pub pressure: Option<PressureLoss>,
}

/// The two or three facts for and against a cause, most telling first.
pub fn facts_for(suspect: Suspect, known: &Known<'_>) -> Vec<String> {
    let mut out = Vec::new();
    let moved = |what: &str, ln: f64| {
        if ln.abs() < 0.05 {
            format!("{what} is the same")
        } else {
            let side = if ln > 0.0 { "up" } else { "down" };
            format!("{what} is {} {side}", percent(ln))
        }
    };
    let flow = known
        .beside
        .flow
        .map(|f| moved("the flow at equal temperature", f));
    let bar = known
        .beside
        .bar
        .map(|b| moved("the pressure at the tap", b));
    let resin =
        known.beside.resin.filter(|r| *r > 0.15).map(|_| {
            "the resin lasts as long as before, though more seems to come through".to_owned()
        });
    match suspect {
        Suspect::Membrane => {
            out.push(known.finding.to_owned());
            out.extend(flow);
            out.extend(bar);
            if known.late.share < 0.05 && known.prefilter_days.is_some() {
                out.push("the pre-filters were changed in time".to_owned());
            }
        }
        Suspect::Prefilter => {
            out.push(format!(
                "{:.0} % of its litres were made behind overdue pre-filters",
                100.0 * known.late.share
            ));
            if let Some(days) = known.prefilter_days {
                out.push(format!("the present ones have been in for {days} days"));
            }
            out.extend(flow);
        }
        Suspect::Probe => {
            out.extend(known.meter.map(str::to_owned));
            out.extend(resin);
            out.extend(flow);
            out.extend(bar);
        }
        Suspect::Feed => {
            if let Some(loss) = known.pressure {
                out.push(format!(
                    "the pressure fell by about {:.0} % around {} and has stayed down",
                    -100.0 * (-loss.size).exp_m1(),
                    in_words(loss.since)
                ));
            }
            if let Some(rise) = known.neighbours_rise.filter(|r| *r > 0.08) {
                out.push(format!(
                    "salt passage rose by {} on the other vans nearby too",
                    percent(rise)
                ));
            }
            out.extend(bar);
            out.extend(flow);
        }
    }
    if out.is_empty() {
        out.push(known.finding.to_owned());
    }
    out.truncate(3);
    out
}

/// The cheapest check to do first.
pub fn check_first(suspect: Suspect, stepped: bool) -> &'static str {
    match (suspect, stepped) {
        (Suspect::Membrane, true) => {
            "Test tap and membrane TDS again after five minutes of flow; if membrane TDS is still high, shut off the water, release the pressure, open the housing and look at O-rings and seal."
        }
        (Suspect::Membrane, false) => {
            "Test tap and membrane TDS with a second meter after five minutes of flow, and fill a bucket from product and one from waste, and time each: less waste than product a minute means the reject valve is closed too far."
        }
        (Suspect::Prefilter, _) => {
            "Change the pre-filters (or write down when it was done), then test the water after them with a chlorine strip."
        }
        (Suspect::Probe, _) => crate::advise::meters::HOW,
        (Suspect::Feed, _) => {
            "Read the pressure at the tap, test tap TDS with a second meter, and ask the water company whether the source changed."
        }
    }
}
