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
    let mut weights = match behind.filter(|_| alarm.kind == AlarmKind::Step) {
        Some(b) => [b.seal + b.ageing, b.prefilter, b.permeate_probe, b.pressure],
        None => {
            let feed = if all_rose { ALL_ROSE_FEED } else { FEED };
            let rest = 1.0 - feed;
            [
                rest * (1.0 - late.explains),
                rest * late.explains,
                0.0,
                feed,
            ]
        }
    };
    // What was seen of pressure and meters themselves counts before all that follows from it.
    at_least(&mut weights, FEED_PLACE, pressure_lost);
    at_least(&mut weights, PROBE_PLACE, doubt);
    let mut causes: Vec<Cause> = ORDER
        .into_iter()
        .zip(weights)
        .map(|(suspect, probability)| Cause {
            suspect,
            probability,
        })
        .collect();
    causes.sort_by(|a, b| {
        b.probability
            .total_cmp(&a.probability)
            .then(a.suspect.cmp(&b.suspect))
    });
    causes
}

const ORDER: [Suspect; 4] = [
    Suspect::Membrane,
    Suspect::Prefilter,
    Suspect::Probe,
    Suspect::Feed,
];
const PROBE_PLACE: usize = 2;
const FEED_PLACE: usize = 3;

/// Makes weights sum to 1, the one at `place` no less than `least`.
fn at_least(weights: &mut [f64; 4], place: usize, least: f64) {
    let sum = weights.iter().sum::<f64>().max(1e-300);
    let own = (weights[place] / sum).max(least);
    let rest = (sum - weights[place]).max(1e-300);
    for (n, weight) in weights.iter_mut().enumerate() {
        *weight = if n == place {
            own
        } else {
            (1.0 - own) * *weight / rest
        };
    }
}
