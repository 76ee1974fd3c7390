//! Which cause explains what the records show: each cause says what ought to be
//! seen beside salt passage, and what is seen is weighed by Bayes' rule.

use super::Facts;
use crate::advise::Suspect;

/// What could be behind an alarm; two of them share the word `membrane`, two `probe`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Story {
    /// Scale or fouling faster than it should be.
    Creeping,
    /// A seal, an O-ring, frost.
    Seal,
    /// Chlorine behind late pre-filters, or a blocked one.
    Late,
    /// The tap's probe reads low.
    TapProbe,
    /// The probe after the membrane reads high.
    PermeateProbe,
    /// Another tap, another pressure, other water.
    Feed,
}

const STORIES: [Story; 6] = [
    Story::Creeping,
    Story::Seal,
    Story::Late,
    Story::TapProbe,
    Story::PermeateProbe,
    Story::Feed,
];

impl Story {
    fn suspect(self) -> Suspect {
        match self {
            Story::Creeping | Story::Seal => Suspect::Membrane,
            Story::Late => Suspect::Prefilter,
            Story::TapProbe | Story::PermeateProbe => Suspect::Probe,
            Story::Feed => Suspect::Feed,
        }
    }

    /// How common it is before anything is looked at, a year of a van (judgement;
    /// chlorine takes long to harm, so that little lateness explains nothing).
    fn prior(self, facts: &Facts) -> f64 {
        let creeps = if facts.stepped { 0.1 } else { 1.0 };
        let steps = if facts.stepped { 1.0 } else { 0.1 };
        match self {
            Story::Creeping => 0.06 * creeps,
            Story::Seal => 0.03 * steps,
            Story::Late => 0.08 * creeps * ((facts.late_share - 0.05) / 0.45).clamp(0.01, 1.0),
            Story::TapProbe => 0.02 * creeps + 0.003 * steps,
            Story::PermeateProbe => 0.01 * creeps + 0.003 * steps,
            Story::Feed => {
                if facts.moved {
                    0.05
                } else {
                    0.01
                }
            }
        }
    }

    /// Mean and spread of a fact under this story; `rise`: ln rise of salt passage.
    fn expects(self, fact: Fact, rise: f64) -> (f64, f64) {
        match (fact, self) {
            // Every probe is good to some per cent, every tap wanders.
            (Fact::TapBeside, Story::TapProbe) => (-0.8 * rise, 0.05 + 0.4 * rise),
            (Fact::TapBeside, _) => (0.0, 0.06),
            (Fact::TapRise, Story::TapProbe) => (-0.8 * rise, 0.06 + 0.4 * rise),
            (Fact::TapRise, _) => (0.0, 0.07),
            (Fact::TapRiseAlone, Story::TapProbe) => (-0.8 * rise, 0.10 + 0.4 * rise),
            (Fact::TapRiseAlone, Story::Feed) => (0.0, 0.5),
            (Fact::TapRiseAlone, _) => (0.0, 0.13),
            (Fact::AllTaps, Story::Feed) => (0.0, 0.25),
            (Fact::AllTaps, _) => (0.0, 0.10),
            // Scale narrows, chlorine opens, a leak lets by, a probe does nothing.
            (Fact::Flow, Story::Creeping) => (-0.25 * rise, 0.05 + 0.15 * rise),
            (Fact::Flow, Story::Seal) => (0.02, 0.06),
            (Fact::Flow, Story::Late) => (0.0, 0.08 + 0.3 * rise),
            (Fact::Flow, Story::TapProbe | Story::PermeateProbe) => (-0.03, 0.05),
            (Fact::Flow, Story::Feed) => (-0.2 * rise, 0.15),
            // More salt through the membrane wears resin faster, by its share in the load.
            (Fact::Resin, Story::TapProbe | Story::PermeateProbe) => (0.0, 0.3),
            (Fact::Resin, _) => (-0.4 * rise, 0.3),
            (Fact::Neighbours, Story::Feed) => (0.8 * rise, 0.1 + 0.3 * rise),
            (Fact::Neighbours, _) => (0.0, 0.08),
        }
    }

    /// Whether the rise began with the lateness and grew with it.
    fn lateness(self, facts: &Facts, rise: f64) -> f64 {
        let Some((seen, error)) = facts.late_rise else {
            return 1.0;
        };
        let (mean, sd) = match self {
            Story::Late => (0.8 * rise, 0.4 * rise),
            _ => (0.0, 0.1 + 0.2 * rise),
        };
        density(seen, mean, sd.hypot(error))
    }

    /// What remarks on probes do to it.
    fn remarks_factor(self, facts: &Facts) -> f64 {
        match self {
            Story::TapProbe | Story::PermeateProbe => 4f64.powi(facts.probe_remarks.min(2) as i32),
            _ => 1.0,
        }
    }
}

/// A fact that is weighed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fact {
    TapBeside,
    TapRise,
    /// Where no neighbours tell how the tap moved.
    TapRiseAlone,
    AllTaps,
    Flow,
    Resin,
    Neighbours,
}

fn seen(facts: &Facts) -> Vec<(Fact, f64)> {
    let tap_rise = if facts.neighbours_known {
        Fact::TapRise
    } else {
        Fact::TapRiseAlone
    };
    // Both tell of the same probe: the clearer one.
    let tap = match (facts.tap_beside_neighbours, facts.tap_rise) {
        (Some(beside), Some(rise)) if beside.abs() >= rise.abs() => Some((Fact::TapBeside, beside)),
        (Some(beside), None) => Some((Fact::TapBeside, beside)),
        (_, Some(rise)) => Some((tap_rise, rise)),
        (None, None) => None,
    };
    [
        tap,
        facts.all_taps_rise.map(|x| (Fact::AllTaps, x)),
        facts.flow_rise.map(|x| (Fact::Flow, x)),
        facts.resin_litres_rise.map(|x| (Fact::Resin, x)),
        facts.neighbours_rise.map(|x| (Fact::Neighbours, x)),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A possible cause with its probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    pub suspect: Suspect,
    pub probability: f64,
}

/// Heavy-tailed density (Student's t, 4 degrees of freedom): one odd fact alone
/// must not settle a cause. Up to a constant.
fn density(x: f64, mean: f64, sd: f64) -> f64 {
    let z = (x - mean) / sd;
    (1.0 + z * z / 4.0).powf(-2.5) / sd
}

/// All four causes, the likeliest first; probabilities sum to 1.
pub fn causes(facts: &Facts) -> Vec<Cause> {
    let seen = seen(facts);
    let rise = facts.rise.max(facts.excess).clamp(0.1, 2.0);
    let weights: Vec<(Suspect, f64)> = STORIES
        .iter()
        .map(|story| {
            let likelihood: f64 = seen
                .iter()
                .map(|&(fact, value)| {
                    let (mean, sd) = story.expects(fact, rise);
                    density(value, mean, sd)
                })
                .product();
            let likelihood = likelihood * story.lateness(facts, rise);
            let weight = story.prior(facts) * story.remarks_factor(facts) * likelihood;
            (story.suspect(), weight.max(1e-300))
        })
        .collect();
    let total: f64 = weights.iter().map(|w| w.1).sum();
    let mut causes: Vec<Cause> = [
        Suspect::Membrane,
        Suspect::Prefilter,
        Suspect::Probe,
        Suspect::Feed,
    ]
    .into_iter()
    .map(|suspect| Cause {
        suspect,
        probability: weights
            .iter()
            .filter(|w| w.0 == suspect)
            .map(|w| w.1)
            .sum::<f64>()
            / total,
    })
    .collect();
    causes.sort_by(|a, b| {
        b.probability
            .total_cmp(&a.probability)
            .then(a.suspect.cmp(&b.suspect))
    });
    causes
}
