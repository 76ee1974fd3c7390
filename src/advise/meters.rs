//! What is thought of a van's meters, in words, and whether a membrane's date rests on one
//! that has to be looked at first.

use crate::calendar::Date;

use super::{MeterAssessment, round_to};
use crate::fit::{Meter, Probe, VanMeters, Why};

/// A meter that is as likely off as right is looked at before anything is bought.
pub const DOUBTED: f64 = 0.5;

/// All meters of a van.
pub fn assess(meters: &VanMeters) -> Vec<MeterAssessment> {
    let of = |meter: &Meter| MeterAssessment {
        probe: meter.probe,
        off_by: meter.off_by.map(|x| round_to(x, 0.01)),
        doubt: round_to(meter.doubt, 0.01),
        since: meter.since,
        why: why(meter, percent),
    };
    meters.meters.iter().map(of).collect()
}

/// The meter to be looked at before the membrane is changed: one that misleads about it as
/// likely as not, or one without whose doubt it `would_wait`.
pub fn to_check(meters: &VanMeters, would_wait: impl Fn() -> bool) -> Option<&Meter> {
    /// A lesser doubt keeps nobody from changing a membrane that is due.
    const SOME_DOUBT: f64 = 0.2;
    let doubt = meters.doubt_of_passage();
    let wanted = doubt >= DOUBTED || doubt >= SOME_DOUBT && would_wait();
    let of_passage = meters.meters.iter().filter(|m| m.probe != Probe::Product);
    of_passage
        .max_by(|a, b| a.doubt.total_cmp(&b.doubt))
        .filter(|_| wanted)
}

/// `its tap TDS meter (22 % low) reads ...`; by how much it is off only where that
/// is more likely than not.
pub fn sentence(meter: &Meter, its: &str) -> String {
    // by how much it is off is said once: the jump alone is another estimate of the same
    let (off, why) = match meter.doubt >= DOUBTED {
        true => (format!(" ({})", off(meter)), why(meter, side)),
        false => (String::new(), why(meter, percent)),
    };
    format!("{its} {}{off} {why}", name(meter.probe))
}

/// Where a meter sits, as people say it.
pub fn name(probe: Probe) -> &'static str {
    match probe {
        Probe::Feed => "tap TDS meter",
        Probe::Permeate => "membrane TDS meter",
        Probe::Product => "product TDS meter",
    }
}

/// `22 % low`, `about right`.
pub fn off(meter: &Meter) -> String {
    let off = meter.off_by.p50.map_or(0.0, |x| 100.0 * (x - 1.0));
    if off.abs() < 1.5 {
        "about right".to_owned()
    } else {
        let side = if off > 0.0 { "high" } else { "low" };
        format!("{:.0} % {side}", off.abs())
    }
}

/// What to do about it, the cheapest first.
pub const HOW: &str = "Put the van's TDS meter and a second one in one cup of tap water: they must read \
     the same within 5 %. If not, a standard solution or a third meter tells which one is off: clean or \
     calibrate that one, and write down the job. Then let the tap run for a minute and test it again.";

fn side(ln: f64) -> String {
    if ln > 0.0 { "higher" } else { "lower" }.to_owned()
}

fn percent(ln: f64) -> String {
    format!("{:.0} % {}", 100.0 * ln.exp_m1().abs(), side(ln))
}

/// `than before April 2026`.
fn than_before(date: Option<Date>) -> String {
    date.map_or("than it did".to_owned(), |d| {
        format!("than before {}", d.format("%B %Y"))
    })
}

fn why(meter: &Meter, compared: fn(f64) -> String) -> String {
    let vans = |n: usize| match n {
        1 => "the other van at its base".to_owned(),
        _ => format!("the other {n} vans at its base"),
    };
    match meter.why {
        Why::Nothing => "nothing in the readings speaks against it".to_owned(),
        Why::Beside { off, others } => format!("reads {} than {}", compared(off), vans(others)),
        Why::Jumped { by, others } => {
            let beside = match others {
                0 => String::new(),
                n => format!(", nor did {}", vans(n)),
            };
            format!(
                "reads {} {}; membrane TDS did not follow{beside}",
                compared(by),
                than_before(meter.since)
            )
        }
        Why::Passage { by } => format!(
            "reads {} {} on the same tap water; the membrane could do that, but flow, \
             pressure and resin do not confirm it",
            compared(by),
            than_before(meter.since)
        ),
        Why::Fresh { ppm } => {
            format!("reads {ppm:.0} ppm on fresh resin, which gives 0 to 1")
        }
    }
}
