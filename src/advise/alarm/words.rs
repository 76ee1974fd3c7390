//! An alarm in words that a window cleaner understands.

use super::{Alarm, AlarmKind, Facts};
use crate::advise::{Suspect, in_words};
use crate::fit::Watched;

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
pub fn finding(alarm: &Alarm, watched: &Watched) -> String {
    let since = in_words(alarm.since);
    match (alarm.kind, watched.step) {
        (AlarmKind::Step, Some(step)) => format!(
            "what comes through rose to {} what it was, at once, around {}",
            times(step.ratio),
            in_words(step.date)
        ),
        (AlarmKind::Step, None) => format!("what comes through rose at once before {since}"),
        (AlarmKind::Fast, _) => {
            let pace = watched.pace;
            if pace >= 1.15 {
                format!(
                    "it declines {} as fast as membranes usually do in this water (seen since {since})",
                    times(pace)
                )
            } else {
                format!(
                    "it will not last 60 % of what membranes usually last in this water (seen since {since})"
                )
            }
        }
    }
}

/// The two or three facts behind a cause, most telling first.
pub fn facts_for(suspect: Suspect, facts: &Facts, finding: &str) -> Vec<String> {
    let mut out = Vec::new();
    let direction = |ln: f64| if ln > 0.0 { "higher" } else { "lower" };
    let flow = facts.flow_rise.map(|f| {
        if f.abs() < 0.05 {
            "the flow at equal temperature is the same".to_owned()
        } else if f > 0.0 {
            format!("the flow at equal temperature is {} up", percent(f))
        } else {
            format!("the flow at equal temperature is {} down", percent(f))
        }
    });
    match suspect {
        Suspect::Membrane => {
            out.push(finding.to_owned());
            out.extend(flow);
            if facts.tap_beside_neighbours.is_some_and(|t| t.abs() < 0.08) {
                out.push("its tap reads like those of the other vans around".to_owned());
            }
            if facts.late_share < 0.05 && facts.prefilter_days.is_some() {
                out.push("the pre-filters were changed in time".to_owned());
            }
        }
        Suspect::Prefilter => {
            out.push(format!(
                "{:.0} % of its litres were made behind overdue pre-filters",
                100.0 * facts.late_share
            ));
            if let Some((rise, error)) = facts.late_rise.filter(|(r, e)| r > e) {
                out.push(format!(
                    "what comes through rose by {} more in that time than before (give or take {})",
                    percent(rise),
                    percent(error)
                ));
            }
            if let Some(days) = facts.prefilter_days {
                out.push(format!("the present ones have been in for {days} days"));
            }
            out.extend(flow);
        }
        Suspect::Probe => {
            if let Some(tap) = facts.tap_beside_neighbours.filter(|t| t.abs() > 0.08) {
                out.push(format!(
                    "its tap reads {} {} than on the other vans around",
                    percent(tap),
                    direction(tap)
                ));
            }
            if let Some(rise) = facts.tap_rise.filter(|t| t.abs() > 0.08) {
                out.push(format!(
                    "its tap reads {} {} than it did{}",
                    percent(rise),
                    direction(rise),
                    if facts.neighbours_known {
                        ", and the neighbours' did not follow"
                    } else {
                        ""
                    }
                ));
            }
            out.extend(flow);
            if facts.resin_litres_rise.is_some_and(|r| r > -0.1) {
                out.push("the resin lasts as long as before".to_owned());
            }
            if facts.probe_remarks > 0 {
                out.push("its readings of late held figures that cannot be".to_owned());
            }
        }
        Suspect::Feed => {
            if let Some(rise) = facts.neighbours_rise.filter(|r| *r > 0.08) {
                out.push(format!(
                    "what comes through rose by {} on the other vans around too",
                    percent(rise)
                ));
            }
            if let Some(all) = facts.all_taps_rise.filter(|a| a.abs() > 0.08) {
                out.push(format!(
                    "all taps around read {} {} than they did",
                    percent(all),
                    direction(all)
                ));
            }
            if facts.moved {
                out.push("the van moved, or a probe was worked on, in that time".to_owned());
            }
        }
    }
    if out.is_empty() {
        out.push(finding.to_owned());
    }
    out.truncate(3);
    out
}

/// The cheapest check to do first.
pub fn check_first(suspect: Suspect, stepped: bool) -> &'static str {
    match (suspect, stepped) {
        (Suspect::Membrane, true) => {
            "Read tap and membrane water again after five minutes of flow; if it stays, release the pressure, open the housing and look at O-rings and seal."
        }
        (Suspect::Membrane, false) => {
            "Read tap and membrane water with a second meter after five minutes of flow, and measure pure and waste in a bucket for a minute: more than half pure means the waste valve is too tight."
        }
        (Suspect::Prefilter, _) => {
            "Change the pre-filters (or write down when it was done), then test the water behind them with a chlorine strip."
        }
        (Suspect::Probe, _) => {
            "Put both probes into one cup of tap water: they must read the same within 5 %. If not, clean or calibrate them and write down the service."
        }
        (Suspect::Feed, _) => {
            "Read the pressure at the tap and the tap water with a second meter, and ask the supplier whether the source changed."
        }
    }
}
