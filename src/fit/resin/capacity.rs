//! What a charge can take up and how it will end, drawn from what the fleet, the
//! district, the van's other charges and its own readings say.

use std::collections::BTreeMap;

use super::charge::{ByCurve, ChargeObservations};
use super::curve::{ALL, CURVES};
use super::grid::{Beyond, POINTS, STEP, Values, add, spread, unlogged};
use super::shared::{ResinDraw, ResinFit, VanCharges, of_van};
use crate::stats::random::Rng;

/// A capacity (meq per litre of resin) and a way of ending.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drawn {
    pub capacity: f64,
    pub width: f64,
    pub over: f64,
}

/// Parts of the way that a charge may have gone before it was first seen.
const ALREADY_TAKEN: [f64; 5] = [0.0, 0.2, 0.4, 0.6, 0.8];

/// So many draws for a charge under each draw of what is shared, in their order: one
/// from each of as many equally likely strata. `others`: the van's earlier charges
/// and, last, this one, where it is among them.
pub fn draw_capacities(
    fit: &ResinFit,
    charge: &ChargeObservations,
    van: Option<VanCharges<'_>>,
    limit_ppm: f64,
    each: usize,
    rng: &mut Rng,
) -> Vec<Drawn> {
    let mut known: BTreeMap<u64, Known> = BTreeMap::new();
    let mut out = Vec::with_capacity(fit.draws.len() * each);
    for draw in &fit.draws {
        let key = draw.reading.co2_share.to_bits();
        let known = known
            .entry(key)
            .or_insert_with(|| Known::of(fit, draw, charge, van, limit_ppm));
        draw_under(fit, draw, known, charge, van, each, rng, &mut out);
    }
    out
}

/// What the van's charges say when a share of carbon dioxide counts.
struct Known {
    /// Of all charges that taught, this one included where it did.
    all: Vec<Values>,
    /// The same without this one.
    others: Vec<Values>,
    own: Box<ByCurve>,
}

impl Known {
    fn of(
        fit: &ResinFit,
        draw: &ResinDraw,
        charge: &ChargeObservations,
        van: Option<VanCharges<'_>>,
        limit_ppm: f64,
    ) -> Known {
        let reading = &draw.reading;
        let (mut all, mut others) = (Vec::new(), Vec::new());
        if let Some(van) = van {
            for other in van.teaching() {
                let table = reading.of_charge(other, &fit.shares);
                if !std::ptr::eq(other, charge) {
                    others.push(table);
                }
                all.push(table);
            }
        }
        let mut own = charge.likelihoods(&fit.shares, reading.grid, reading.co2_share);
        charge.not_at_limit_when_read(
            &mut own,
            &fit.shares,
            reading.grid,
            reading.co2_share,
            limit_ppm,
        );
        Known { all, others, own }
    }
}

#[allow(clippy::too_many_arguments)]
fn draw_under(
    fit: &ResinFit,
    draw: &ResinDraw,
    known: &Known,
    charge: &ChargeObservations,
    van: Option<VanCharges<'_>>,
    each: usize,
    rng: &mut Rng,
    out: &mut Vec<Drawn>,
) {
    let (grid, spreads) = (draw.reading.grid, draw.spreads);
    // From the district down to the van, and from its other charges to this one.
    let district = match van {
        Some(van) => fit.without(draw, van, &of_van(known.all.iter(), spreads.charges)),
        None => *draw.district(charge.district.as_ref()),
    };
    let down = |logs: &Values, sd: f64| spread(&unlogged(logs).0, sd, Beyond::Nothing);
    let mut belief = super::grid::logs(&down(&district, spreads.vans));
    add(&mut belief, &of_van(known.others.iter(), spreads.charges));
    let mut belief = down(&belief, spreads.charges);
    if !charge.counted() {
        belief = left_of(&belief);
    }
    let mut weights = [[0.0; POINTS]; CURVES];
    let mut total = 0.0;
    for (k, (to, own)) in weights.iter_mut().zip(known.own.iter()).enumerate() {
        let share = draw.reading.curves[k];
        for ((w, l), b) in to.iter_mut().zip(own).zip(&belief) {
            *w = share * l * b;
            total += *w;
        }
    }
    let mut cells = weights
        .iter()
        .enumerate()
        .flat_map(|(k, of)| of.iter().enumerate().map(move |(i, w)| (k, i, *w)));
    let (mut cell, mut below) = (cells.next(), 0.0);
    for n in 0..each {
        let goal = (n as f64 + rng.uniform()) / each as f64 * total;
        while let Some((_, _, weight)) = cell
            && below + weight < goal
        {
            below += weight;
            cell = cells.next();
        }
        let (k, i, weight) = cell.unwrap_or((0, POINTS / 2, 1.0));
        // Each grid point stands for the cell around it.
        let within = ((goal - below) / weight.max(1e-300)).clamp(0.0, 1.0) - 0.5;
        let curve = &ALL[k];
        out.push(Drawn {
            capacity: (grid.at(i) + STEP * within).exp(),
            width: curve.width,
            over: curve.over,
        });
    }
}

/// What is left of a capacity of which nobody knows how much was taken before.
fn left_of(belief: &Values) -> Values {
    let mut left = [0.0; POINTS];
    for taken in ALREADY_TAKEN {
        let down = (-(1.0_f64 - taken).ln() / STEP).round() as usize;
        for (to, from) in left.iter_mut().zip(belief.iter().skip(down)) {
            *to += from / ALREADY_TAKEN.len() as f64;
        }
    }
    left
}
