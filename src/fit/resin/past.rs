//! How much wider charges ended than was said of them, from the fleet's own past: each
//! charge that was seen to end is foretold by all others.

use rayon::prelude::*;

use super::grid::{Beyond, Grid, POINTS, Values, add, logs, spread, unlogged};
use super::shared::{ResinDraw, ResinFit, VanCharges, of_van};
use crate::stats::special::{normal_cdf, normal_quantile};

/// Charges whose ends are worth believing that widths are right.
const WORTH: f64 = 25.0;
/// Every so many of the shared draws is asked: they differ little here.
const DRAWS_EVERY: usize = 3;
/// A charge's end is known where its own readings leave its `ln` capacity so little open.
const KNOWN_SD: f64 = 0.2;

/// How much wider ends lay than was said, drawn towards 1 while few were seen; never
/// narrower, as what enters from now on is not held against anything here.
pub fn wider(fit: &ResinFit, vans: &[VanCharges<'_>]) -> f64 {
    let draws: Vec<&ResinDraw> = fit.draws.iter().step_by(DRAWS_EVERY).collect();
    let squares: Vec<f64> = vans
        .par_iter()
        .flat_map_iter(|van| {
            let each: Vec<Vec<Option<f64>>> =
                draws.iter().map(|draw| below(fit, draw, *van)).collect();
            let charges = each.first().map_or(0, Vec::len);
            (0..charges).filter_map(move |c| {
                let of = each.iter().filter_map(|draw| *draw.get(c)?);
                let (n, sum) = of.fold((0.0, 0.0), |(n, sum), u| (n + 1.0, sum + u));
                let below = (n > 0.0).then(|| (sum / n).clamp(1e-6, 1.0 - 1e-6))?;
                Some(normal_quantile(below).powi(2).min(9.0))
            })
        })
        .collect();
    let (sum, n) = (squares.iter().sum::<f64>(), squares.len() as f64);
    ((WORTH + sum) / (WORTH + n)).sqrt().clamp(1.0, 2.0)
}

/// Of each charge of a van that was seen to end, the probability that was given to less,
/// by its district's other vans and the van's other charges.
fn below(fit: &ResinFit, draw: &ResinDraw, van: VanCharges<'_>) -> Vec<Option<f64>> {
    let (reading, spreads) = (&draw.reading, draw.spreads);
    let tables: Vec<Values> = van
        .teaching()
        .map(|c| reading.of_charge(c, &fit.shares))
        .collect();
    let district = fit.without(draw, van, &of_van(tables.iter(), spreads.charges));
    let down = |logs: &Values, sd: f64| spread(&unlogged(logs).0, sd, Beyond::Nothing);
    let of_district = logs(&down(&district, spreads.vans));
    let others = |c: usize| {
        let rest = tables.iter().enumerate().filter(move |(i, _)| *i != c);
        rest.map(|(_, table)| table)
    };
    van.teaching()
        .zip(&tables)
        .enumerate()
        .map(|(c, (charge, table))| {
            let spent = charge.load_when_spent(reading.co2_share).is_some();
            let (mean, sd) = moments(reading.grid, table);
            if !spent || sd > KNOWN_SD {
                return None;
            }
            let mut belief = of_district;
            add(&mut belief, &of_van(others(c), spreads.charges));
            let belief = down(&belief, spreads.charges);
            let total: f64 = belief.iter().sum();
            let less = |i: usize| normal_cdf((mean - reading.grid.at(i)) / sd.max(1e-3));
            let below: f64 = (0..POINTS).map(|i| belief[i] * less(i)).sum();
            Some(below / total)
        })
        .collect()
}

fn moments(grid: Grid, values: &Values) -> (f64, f64) {
    let total: f64 = values.iter().sum();
    let mean = (0..POINTS).map(|i| values[i] * grid.at(i)).sum::<f64>() / total;
    let square = |i: usize| values[i] * (grid.at(i) - mean).powi(2);
    let variance = (0..POINTS).map(square).sum::<f64>() / total;
    (mean, variance.sqrt())
}
