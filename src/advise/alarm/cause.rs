//! Which cause explains an alarm.

use super::{Alarm, AlarmKind};
use crate::advise::Suspect;
use crate::fit::Behind;

/// How common other water or pressure is behind a decline that creeps (judgement).
const FEED: f64 = 0.04;
/// The same where the other vans around rose too: likelier than all else (judgement).
const ALL_ROSE_FEED: f64 = 0.6;
/// A rise on the other vans around that is no chance, ln.
const ALL_RISE: f64 = 0.15;

/// What spent pre-filters have to do with it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Late {
    /// Share of the litres made behind overdue ones.
    pub share: f64,
    /// Probability that it would last long enough with fresh ones all the time.
    pub explains: f64,
}

/// A possible cause with its probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    pub suspect: Suspect,
    pub probability: f64,
}

/// All four causes, the likeliest first; probabilities sum to 1. `behind`: the step that
/// raised it; `doubt`: that a meter misleads; `pressure_lost`: that the pressure gave way;
/// `neighbours_rise`: of salt passage on the
/// other vans around, ln.
pub fn causes(
    alarm: &Alarm,
    behind: Option<&Behind>,
    late: &Late,
    (doubt, pressure_lost): (f64, f64),
    neighbours_rise: Option<f64>,
) -> Vec<Cause> {
    let all_rose = neighbours_rise.is_some_and(|r| r > ALL_RISE);
    let [membrane, prefilter, probe, feed] = match behind.filter(|_| alarm.kind == AlarmKind::Step)
    {
        Some(b) => [b.seal + b.ageing, b.prefilter, b.permeate_probe, b.pressure],
        None => {
            let usual = if all_rose { ALL_ROSE_FEED } else { FEED };
            let feed = usual.max(pressure_lost);
            let rest = 1.0 - feed;
            [
                rest * (1.0 - late.explains),
                rest * late.explains,
                0.0,
                feed,
            ]
        }
    };
    let sum = (membrane + prefilter + probe + feed).max(1e-300);
    let probe = (probe / sum).max(doubt);
    let rest = (membrane + prefilter + feed).max(1e-300);
    let of = |suspect, weight: f64| Cause {
        suspect,
        probability: (1.0 - probe) * weight / rest,
    };
    let mut causes = vec![
        of(Suspect::Membrane, membrane),
        of(Suspect::Prefilter, prefilter),
        Cause {
            suspect: Suspect::Probe,
            probability: probe,
        },
        of(Suspect::Feed, feed),
    ];
    causes.sort_by(|a, b| {
        b.probability
            .total_cmp(&a.probability)
            .then(a.suspect.cmp(&b.suspect))
    });
    causes
}
