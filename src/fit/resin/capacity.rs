//! What a charge can take up, drawn from what the fleet, the district and its
//! own readings say.

use super::charge::ChargeLooks;
use super::shared::ResinDraw;
use crate::stats::random::Rng;
use crate::stats::wide;

/// Points of the grid of `ln` capacity.
const GRID: usize = 64;

/// So many draws of the `ln` capacity of a charge under one draw of the shared
/// numbers, ascending: one from each of as many equally likely strata.
pub fn draw_capacities(
    charge: &ChargeLooks,
    draw: &ResinDraw,
    each: usize,
    rng: &mut Rng,
    out: &mut Vec<f64>,
) {
    let s = &draw.shared;
    let alone = [(0.0, 1.0)];
    // What the district adds: nodes with weights, or spread like the charges.
    let (nodes, own_sd) = match draw.additions(charge.district.as_ref()) {
        Some(nodes) => (nodes, s.capacity_sd),
        None => (&alone[..], s.capacity_sd.hypot(s.district_sd)),
    };
    let mean: f64 = nodes.iter().map(|(x, w)| x * w).sum();
    let between: f64 = nodes.iter().map(|(x, w)| (x - mean).powi(2) * w).sum();
    let (centre, spread) = (s.ln_capacity + mean, own_sd.hypot(between.sqrt()));
    // Wide below and above: a charge may long have outlived the fleet's idea of it.
    let reached = charge.load_now(s.co2_share).max(1e-6).ln();
    let low = centre - 4.0 * spread;
    let high = (centre + 4.0 * spread).max(reached + 2.0 * s.capacity_sd);
    let step = (high - low) / (GRID - 1) as f64;
    let at: [f64; GRID] = std::array::from_fn(|i| low + step * i as f64);
    let mut weights = [0.0; GRID];
    charge.add_own_log_likelihood(&at, s.co2_share, &mut weights);
    let top = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    wide::widest(Weighing {
        weights: &mut weights,
        top,
        at: &at,
        nodes,
        ln_capacity: s.ln_capacity,
        per_sd: 1.0 / own_sd,
    });
    let total: f64 = weights.iter().sum();
    let (mut cells, mut below) = (at.iter().zip(&weights), 0.0);
    let mut cell = cells.next();
    for i in 0..each {
        let goal = (i as f64 + rng.uniform()) / each as f64 * total;
        while let Some((_, weight)) = cell
            && below + weight < goal
        {
            below += weight;
            cell = cells.next();
        }
        // Each grid point stands for the cell around it.
        out.push(cell.map_or(high, |(u, w)| u + step * ((goal - below) / w - 0.5)));
    }
}

/// Turns logarithms of likelihoods into weights.
struct Weighing<'a> {
    weights: &'a mut [f64; GRID],
    /// The highest of them.
    top: f64,
    at: &'a [f64; GRID],
    /// What is believed before the charge was read: a mixture over what the
    /// district adds.
    nodes: &'a [(f64, f64)],
    ln_capacity: f64,
    per_sd: f64,
}

impl wide::Loops for Weighing<'_> {
    type Output = ();

    #[inline(always)]
    fn run(self) {
        let mut belief = [0.0; GRID];
        for &(addition, weight) in self.nodes {
            let mean = self.ln_capacity + addition;
            for (b, u) in belief.iter_mut().zip(self.at) {
                let z = (u - mean) * self.per_sd;
                *b += weight * wide::exp(-0.5 * z * z);
            }
        }
        for (w, b) in self.weights.iter_mut().zip(&belief) {
            *w = b * wide::exp(*w - self.top);
        }
    }
}
