//! An element under several sets of shared numbers side by side.

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use super::course::Scale;
use super::looks::{ElementLooks, TOGETHER};
use super::shared::Shared;
use crate::stats::drift::abreast::{LANES, Lanes, Looks, Summaries, SummingUp, Taking, lanes};
use crate::stats::wide;

/// Shared numbers side by side; the last one stands in for those that are missing.
#[derive(Debug, Clone)]
pub struct SharedAbreast {
    pub wander: Lanes,
    hardness_power: Lanes,
    floor: Lanes,
    noise_variance: Lanes,
    theta: Lanes,
    late: Lanes,
    curvature: Lanes,
    /// Mean and variance of the level at first, by whether the start is known.
    starts: [(Lanes, Lanes); 2],
}

/// A number of each set.
pub fn lanes_of<T>(sets: &[T], number: impl Fn(&T) -> f64) -> Lanes {
    let at = |l: usize| sets.get(l).or(sets.last()).map_or(f64::NAN, &number);
    std::array::from_fn(at)
}

impl SharedAbreast {
    /// At most [`LANES`] sets.
    pub fn of(sets: &[Shared]) -> SharedAbreast {
        let of = |number: fn(&Shared) -> f64| lanes_of(sets, number);
        let start = |known: bool| {
            (
                lanes_of(sets, |s| s.drifting(known).start_mean),
                lanes_of(sets, |s| s.drifting(known).start_variance),
            )
        };
        SharedAbreast {
            wander: of(|s| s.wander),
            hardness_power: of(|s| s.hardness_power),
            floor: of(|s| s.floor),
            noise_variance: of(|s| s.noise * s.noise),
            theta: of(|s| s.theta),
            late: of(|s| s.late),
            curvature: of(|s| s.curvature),
            starts: [start(false), start(true)],
        }
    }

    /// Before any look.
    pub fn start(&self, known: bool) -> Summaries {
        let [unknown, of_new] = self.starts;
        let (mean, variance) = if known { of_new } else { unknown };
        Summaries::start(mean, variance)
    }

    /// As [`Shared::exposure_per_litre`], of water of that `ln` hardness over 200 mg/L.
    #[inline(always)]
    fn exposure_per_litre(&self, ln_hardness: f64) -> Lanes {
        let scaling = lanes!(l => wide::exp(self.hardness_power[l] * ln_hardness));
        lanes!(l => (self.floor[l] + scaling[l]) / ((self.floor[l] + 1.0) * 1000.0))
    }
}

impl ElementLooks {
    /// As [`ElementLooks::looks`]: puts the looks into `out`, and gives `ln` of
    /// what their scale stretches them by, summed. `taking` gets each as it is made:
    /// what waits for the look before goes on beside what the next one is made of.
    #[inline(always)]
    pub fn looks_abreast(
        &self,
        shared: &SharedAbreast,
        out: &mut Vec<Looks>,
        mut taking: impl Taking,
    ) -> Lanes {
        // What stands there from before is overwritten.
        out.resize(self.len(), Looks::NONE);
        let per_membrane = 1.0 / self.membranes();
        let groups = self
            .ln_levels()
            .chunks(TOGETHER)
            .zip(self.litres_by_levels());
        // Exposure of the first few levels comes with the rest; more are rare.
        let (mut first, mut litres_of_first) = ([[0.0; LANES]; TOGETHER], &[][..]);
        let is_more = self.ln_levels().len() > TOGETHER;
        if is_more {
            for look in out.iter_mut() {
                look.advance = [0.0; LANES];
            }
        }
        for (n, (ln_levels, litres)) in groups.enumerate() {
            let mut factors = [[0.0; LANES]; TOGETHER];
            for (factor, ln_hardness) in factors.iter_mut().zip(ln_levels) {
                let per_litre = shared.exposure_per_litre(*ln_hardness);
                *factor = lanes!(l => per_litre[l] * per_membrane);
            }
            if n == 0 {
                (first, litres_of_first) = (factors, litres);
                continue;
            }
            for (look, litres) in out.iter_mut().zip(litres) {
                for (factor, litres) in factors.iter().zip(litres) {
                    for l in 0..LANES {
                        look.advance[l] += litres * factor[l];
                    }
                }
            }
        }
        let [a, b, c, d] = first;
        let late = shared.late;
        let theta = shared.theta;
        let (curvature, noise) = (shared.curvature, shared.noise_variance);
        let per_curvature = lanes!(l => 1.0 / curvature[l]);
        let mut before = [0.0; LANES];
        let mut stretched = [0.0; LANES];
        let each = out.iter_mut().zip(self.points()).zip(litres_of_first);
        for ((look, point), litres) in each {
            // One loop for all, into memory of its own: only so are the lanes worked
            // out together.
            let exposures = if is_more { look.advance } else { [0.0; LANES] };
            let (befores, so_far) = (before, stretched);
            let mut now = Looks::NONE;
            for l in 0..LANES {
                let [of_a, of_b, of_c, of_d] = *litres;
                let exposure =
                    exposures[l] + ((of_a * a[l] + of_b * b[l]) + (of_c * c[l] + of_d * d[l]));
                let exposure = exposure * (1.0 + late[l] * point.late_share);
                let exposure = if exposure > befores[l] {
                    exposure
                } else {
                    befores[l]
                };
                let ln_passage = point.ln_passage + theta[l] * point.lever;
                let w = Scale::steepness(curvature[l], ln_passage);
                let bent = Scale::where_bent(w);
                let ln_w = wide::ln(bent);
                let stretch = 1.0 / bent;
                now.advance[l] = exposure - befores[l];
                now.y[l] = (ln_w + (w - bent) * stretch) * per_curvature[l];
                now.variance[l] = point.variance * noise[l] * stretch * stretch;
                now.jump[l] = point.jump * stretch * stretch;
                before[l] = exposure;
                stretched[l] = so_far[l] - ln_w;
            }
            *look = now;
            taking.take(look);
        }
        stretched
    }
}

/// What all looks of an element say under each set, and `ln` of what the scale
/// stretches them by. `room` is for the looks.
#[inline(always)]
pub fn summarise(
    element: &ElementLooks,
    shared: &SharedAbreast,
    room: &mut Vec<Looks>,
) -> (Summaries, Lanes) {
    let mut summaries = [shared.start(element.start_known); 2];
    let mut summing = SummingUp::new(&mut summaries, &shared.wander);
    let stretched = element.looks_abreast(shared, room, &mut summing);
    (summing.sum(), stretched)
}

/// [`summarise`], compiled for every width.
pub struct Summarising<'a> {
    pub element: &'a ElementLooks,
    pub shared: &'a SharedAbreast,
    pub room: &'a mut Vec<Looks>,
}

impl wide::Loops for Summarising<'_> {
    type Output = Summaries;

    #[inline(always)]
    fn run(self) -> Summaries {
        summarise(self.element, self.shared, self.room).0
    }
}
