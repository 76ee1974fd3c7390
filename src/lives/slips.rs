//! Meters that stand out from the van's own readings by a factor with a name:
//! conductivity written as ppm, a decimal point lost, another scale.

use super::median::median;
use super::observations::Observation;
use super::remarks::{Remarks, Repeated};

/// Looks on either side with which one is compared.
const BESIDE: usize = 4;
/// Fewer say too little about what is usual.
const BESIDE_AT_LEAST: usize = 3;
/// Where the tap itself wanders further than this from its median, as on a
/// supply with two sources, a factor says nothing.
const TAP_STEADY_WITHIN: f64 = 0.15;
/// What whole ppm still tell to a few per cent.
const READABLE_PPM: f64 = 5.0;

/// µS/cm on the 0.5 scale: twice the ppm.
const CONDUCTIVITY: (f64, f64) = (1.85, 2.15);
/// The 0.7 scale against the 0.5 scale, or the other way round.
const SCALES: [(f64, f64); 2] = [(NEAREST, 1.47), (1.0 / 1.47, 1.0 / NEAREST)];
/// No named factor is nearer to 1 than this one and its inverse.
const NEAREST: f64 = 1.33;
const DECIMALS: [(f64, f64); 2] = [(8.5, 11.8), (1.0 / 11.8, 1.0 / 8.5)];
/// What the other meters may move meanwhile.
const OTHERS: (f64, f64) = (0.65, 1.55);

/// Leaves out what cannot be a reading of this van, and remarks on the rest.
///
/// `looks`: one van's, oldest first.
pub(crate) fn leave_out(observations: &mut [Observation], remarks: &mut Remarks) {
    let slips: Vec<(usize, Slip)> = (0..observations.len())
        .filter_map(|i| Some((i, slip(observations, i)?)))
        .collect();
    for (i, slip) in slips {
        let Some(observation) = observations.get_mut(i) else {
            continue;
        };
        match slip {
            Slip::Conductivity => {
                (
                    observation.feed_ppm,
                    observation.permeate_ppm,
                    observation.product_ppm,
                ) = (None, None, None);
                remarks.count(Repeated::LooksLikeConductivity, observation.date);
            }
            Slip::Decimal => {
                observation.feed_ppm = None;
                remarks.count(Repeated::TapTenTimesOff, observation.date);
            }
            Slip::Scale => remarks.count(Repeated::OtherScale, observation.date),
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Slip {
    Conductivity,
    Decimal,
    Scale,
}

fn slip(observations: &[Observation], i: usize) -> Option<Slip> {
    let observation = observations
        .get(i)
        .filter(|observation| observation.at_base)?;
    let from = i.saturating_sub(BESIDE);
    let beside = observations.get(from..(i + BESIDE + 1).min(observations.len()))?;
    let beside = beside
        .iter()
        .enumerate()
        .filter(|(n, other)| from + n != i && other.at_base)
        .map(|(_, other)| other);
    if is_alike(
        observation.feed_ppm?,
        beside.clone().filter_map(|l| l.feed_ppm),
    ) {
        return None;
    }
    let beside: Vec<&Observation> = beside.collect();
    let usual = |of: fn(&Observation) -> Option<f64>| {
        let mut values: Vec<f64> = beside.iter().filter_map(|other| of(other)).collect();
        (values.len() >= BESIDE_AT_LEAST)
            .then(|| median(&mut values))
            .flatten()
    };
    let tap = usual(|observation| observation.feed_ppm).filter(|tap| *tap >= READABLE_PPM)?;
    let tap_ratio = observation.feed_ppm? / tap;
    // The tap has to be off by a factor with a name, whatever else.
    let mut named = std::iter::once(&CONDUCTIVITY)
        .chain(&DECIMALS)
        .chain(&SCALES);
    if !named.any(|range| is_within(tap_ratio, *range)) {
        return None;
    }
    let steady = beside
        .iter()
        .filter_map(|other| other.feed_ppm)
        .all(|ppm| (ppm - tap).abs() <= TAP_STEADY_WITHIN * tap);
    if !steady {
        return None;
    }
    let readable = |of: fn(&Observation) -> Option<f64>| {
        let usual = usual(of).filter(|usual| *usual >= READABLE_PPM)?;
        Some(of(observation)? / usual)
    };
    let others: Vec<f64> = [readable(|l| l.permeate_ppm), readable(|l| l.product_ppm)]
        .into_iter()
        .flatten()
        .collect();
    let all_within = |range: (f64, f64)| {
        !others.is_empty() && others.iter().all(|ratio| is_within(*ratio, range))
    };
    if is_within(tap_ratio, CONDUCTIVITY) && all_within(CONDUCTIVITY) {
        return Some(Slip::Conductivity);
    }
    if DECIMALS.iter().any(|d| is_within(tap_ratio, *d)) && all_within(OTHERS) {
        return Some(Slip::Decimal);
    }
    SCALES
        .iter()
        .any(|scale| is_within(tap_ratio, *scale) && all_within(*scale))
        .then_some(Slip::Scale)
}

/// Whether a tap reads so much like each of those beside it that it is off from
/// what is usual by none of the factors: the usual one lies between them.
fn is_alike(ppm: f64, mut beside: impl Iterator<Item = f64>) -> bool {
    beside.all(|other| {
        let ratio = ppm / other;
        1.0 / NEAREST < ratio && ratio < NEAREST
    })
}

fn is_within(ratio: f64, (low, high): (f64, f64)) -> bool {
    (low..=high).contains(&ratio)
}
