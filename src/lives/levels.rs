//! The series in which recoveries are looked for.

use super::changes::{Change, SAME_EVENT_DAYS};
use super::days::days_between;
use super::entering::Track;
use super::looks::Look;
use super::passage::passages;
use super::recovery::{Level, ProductLevel};
use super::usage::Made;

/// Salt passage for finding recoveries, of comparable looks.
///
/// `recorded`: the recorded changes, oldest first.
pub(crate) fn passage_levels(looks: &[Look], regimes: &[u32], recorded: &[Change]) -> Vec<Level> {
    let is_comparable = comparable(looks);
    looks
        .iter()
        .zip(passages(looks))
        .zip(regimes)
        .enumerate()
        .filter(|(_, ((look, _), _))| is_comparable(look))
        .filter_map(|(n, ((look, passage), regime))| {
            let passage = passage?;
            Some(Level {
                look: n,
                ln_salt_passage: passage.salt_passage.ln(),
                sd_ln: passage.sd_ln,
                permeate_ppm: look.permeate_ppm?,
                regime: *regime,
                recorded: recorded.partition_point(|change| is_well_before(change, look)),
            })
        })
        .collect()
}

/// Product readings with the litres up to each, of comparable looks.
pub(crate) fn product_levels(
    looks: &[Look],
    made: &[Made],
    entering: &Track,
    regimes: &[u32],
) -> Vec<ProductLevel> {
    let is_comparable = comparable(looks);
    let mut fills = made.iter().peekable();
    let mut entering = entering.walk();
    let mut litres = 0.0;
    let mut levels = Vec::new();
    for (n, (look, regime)) in looks.iter().zip(regimes).enumerate() {
        while let Some(fill) = fills.next_if(|fill: &&Made| fill.at <= look.at) {
            litres += fill.litres;
        }
        if let Some(product_ppm) = look.product_ppm.filter(|_| is_comparable(look)) {
            levels.push(ProductLevel {
                look: n,
                product_ppm,
                permeate_ppm: entering.at(look.at),
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
fn comparable(looks: &[Look]) -> impl Fn(&Look) -> bool {
    let at_base = looks.iter().filter(|look| look.at_base).count();
    let base_only = at_base * 5 >= looks.len() * 3;
    move |look| look.at_base || !base_only
}

/// A recorded change further back than one that may be the same event.
fn is_well_before(change: &Change, look: &Look) -> bool {
    days_between(change.date, look.date) > SAME_EVENT_DAYS
}
