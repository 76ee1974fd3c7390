//! The series in which recoveries are looked for.

use super::entering::Track;
use super::looks::Look;
use super::passage::passages;
use super::recovery::{Level, ProductLevel};
use super::usage::Made;

/// Salt passage for finding recoveries. At the base alone where most looks are:
/// pressure at other taps moves salt passage as much as a new membrane does.
pub(crate) fn passage_levels(looks: &[Look], regimes: &[u32]) -> Vec<Level> {
    let at_base = looks.iter().filter(|look| look.at_base).count();
    let base_only = at_base * 5 >= looks.len() * 3;
    looks
        .iter()
        .zip(passages(looks))
        .zip(regimes)
        .enumerate()
        .filter(|(_, ((look, _), _))| look.at_base || !base_only)
        .filter_map(|(n, ((look, passage), regime))| {
            Some(Level {
                look: n,
                ln_salt_passage: passage?.salt_passage.ln(),
                ln_permeate_ppm: look.permeate_ppm.filter(|ppm| *ppm > 0.0)?.ln(),
                regime: *regime,
            })
        })
        .collect()
}

/// Product readings with the litres up to each.
pub(crate) fn product_levels(
    looks: &[Look],
    made: &[Made],
    entering: &Track,
    regimes: &[u32],
) -> Vec<ProductLevel> {
    let mut fills = made.iter().peekable();
    let mut litres = 0.0;
    let mut levels = Vec::new();
    for (n, (look, regime)) in looks.iter().zip(regimes).enumerate() {
        while let Some(fill) = fills.next_if(|fill: &&Made| fill.at <= look.at) {
            litres += fill.litres;
        }
        if let Some(product_ppm) = look.product_ppm {
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
