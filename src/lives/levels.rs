//! The series in which recoveries are looked for.

use super::changes::{Change, SAME_EVENT_DAYS};
use super::days::days_between;
use super::entering::Track;
use super::observations::Observation;
use super::passage::passages;
use super::recovery::{Level, ProductLevel};
use super::usage::PermeateVolume;

/// Salt passage for finding recoveries, of comparable looks.
///
/// `recorded`: the recorded changes, oldest first.
pub(crate) fn passage_levels(
    observations: &[Observation],
    regimes: &[u32],
    recorded: &[Change],
) -> Vec<Level> {
    let is_comparable = comparable(observations);
    observations
        .iter()
        .zip(passages(observations))
        .zip(regimes)
        .enumerate()
        .filter(|(_, ((observation, _), _))| is_comparable(observation))
        .filter_map(|(n, ((observation, passage), regime))| {
            let passage = passage?;
            Some(Level {
                observation: n,
                ln_salt_passage: passage.salt_passage.ln(),
                sd_ln: passage.sd_ln,
                permeate_ppm: observation.permeate_ppm?,
                regime: *regime,
                recorded: recorded.partition_point(|change| is_well_before(change, observation)),
            })
        })
        .collect()
}

/// Product readings with the litres up to each, of comparable looks.
pub(crate) fn product_levels(
    observations: &[Observation],
    made: &[PermeateVolume],
    entering: &Track,
    regimes: &[u32],
) -> Vec<ProductLevel> {
    let is_comparable = comparable(observations);
    let mut fills = made.iter().peekable();
    let mut entering = entering.walk();
    let mut litres = 0.0;
    let mut levels = Vec::new();
    for (n, (observation, regime)) in observations.iter().zip(regimes).enumerate() {
        while let Some(fill) = fills.next_if(|fill: &&PermeateVolume| fill.at <= observation.at) {
            litres += fill.litres;
        }
        if let Some(product_ppm) = observation
            .product_ppm
            .filter(|_| is_comparable(observation))
        {
            levels.push(ProductLevel {
                observation: n,
                product_ppm,
                permeate_ppm: entering.at(observation.at),
                litres,
                regime: *regime,
            });
        }
    }
    levels
}

/// Looks at the base alone, where most are: pressure at another tap moves salt
/// passage as much as a new membrane does, and softer water leaves less in
/// product water, as new resin does.
fn comparable(observations: &[Observation]) -> impl Fn(&Observation) -> bool {
    let at_base = observations
        .iter()
        .filter(|observation| observation.at_base)
        .count();
    let base_only = at_base * 5 >= observations.len() * 3;
    move |observation| observation.at_base || !base_only
}

/// A recorded change further back than one that may be the same event.
fn is_well_before(change: &Change, observation: &Observation) -> bool {
    days_between(change.date, observation.date) > SAME_EVENT_DAYS
}
