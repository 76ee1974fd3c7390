//! The numbers that all elements of a fleet share, and how surely they are known.

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use nalgebra::{Cholesky, DVector};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::Arc;

use super::abreast::{SharedAbreast, lanes_of, summarise};
use super::course::Scale;
use super::forecast::DRAWS_EACH;
use super::looks::ElementLooks;
use super::typical::TypicalLife;
use crate::fit::SharedNumber;
use crate::stats::Stop;
use crate::stats::drift::Drifting;
use crate::stats::drift::abreast::{LANES, Lanes, lanes};
use crate::stats::optimise;
use crate::stats::random::{Rng, mirrored_normals};
use crate::stats::wide;

/// The shared numbers of the membrane model, on their natural scales.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Mean and standard deviation of a new element's `ln` salt passage.
    pub ln_start: f64,
    pub start_sd: f64,
    /// Mean and standard deviation of the `ln` rate, per 1000 L at 200 mg/L.
    pub ln_rate: f64,
    pub rate_sd: f64,
    /// Standard deviation of the districts' own additions to the `ln` rate:
    /// alkalinity and sources that hardness does not tell.
    pub district_sd: f64,
    /// Power of hardness in the exposure, ≥ 0, and the wear that even the
    /// softest water brings, as a share of that at 200 mg/L.
    pub hardness_power: f64,
    pub floor: f64,
    /// Variance of the path's wander per 1000 L at 200 mg/L.
    pub wander: f64,
    /// Factor on the readings' own standard deviation.
    pub noise: f64,
    /// Temperature coefficient beyond the one already applied, per °C.
    pub theta: f64,
    /// Extra exposure of a litre made behind overdue pre-filters, ≥ 0.
    pub late: f64,
    /// Share of the temperature coefficient that warm water owes to a higher
    /// recovery, per °C, ≥ 0: seen over the seasons, not at usual recovery.
    pub recovery: f64,
    /// How growth quickens with what has built up: the rate of `ln` salt
    /// passage is `1 + curvature·x` times the new element's at `x` above it.
    pub curvature: f64,
}

/// Growth quickens by some 15 % for every unit of `ln` salt passage (judgement:
/// membranes are described as flat at first). Not learnt: within a fleet it is
/// mixed up with wander and water, and a free value forecast worse.
const CURVATURE: f64 = 0.15;
/// One unknown of the search: its name, prior and unit. The table is the whole
/// prior knowledge of the membrane model.
struct Unknown {
    name: &'static str,
    unit: &'static str,
    mean: f64,
    sd: f64,
    /// Whether the natural value is the exponential of the searched one.
    logarithm: bool,
}

/// Priors. New elements pass 1-4 % and reach 10 % after 40,000-120,000 L in
/// hard water (common practice, no source); spreads are judgement.
const UNKNOWNS: [Unknown; 12] = [
    Unknown {
        name: "salt passage of a new membrane",
        unit: "fraction",
        mean: -3.69,
        sd: 0.35,
        logarithm: true,
    },
    Unknown {
        name: "spread of new membranes (ln)",
        unit: "",
        mean: -1.2,
        sd: 0.4,
        logarithm: true,
    },
    Unknown {
        name: "growth per 1000 L at 200 mg/L",
        unit: "per 1000 L",
        mean: -4.42,
        sd: 0.5,
        logarithm: true,
    },
    Unknown {
        name: "spread of growth between membranes (ln)",
        unit: "",
        mean: -1.05,
        sd: 0.4,
        logarithm: true,
    },
    Unknown {
        name: "power of hardness",
        unit: "",
        mean: 0.8,
        sd: 0.3,
        logarithm: false,
    },
    Unknown {
        name: "wander of the path",
        unit: "variance per 1000 L",
        mean: -7.4,
        sd: 1.0,
        logarithm: true,
    },
    Unknown {
        name: "scale of reading noise",
        unit: "",
        mean: 0.0,
        sd: 0.4,
        logarithm: true,
    },
    Unknown {
        name: "temperature coefficient beyond 1 %",
        unit: "per °C",
        mean: 0.0,
        sd: 0.01,
        logarithm: false,
    },
    Unknown {
        name: LATE_WEAR,
        unit: "",
        mean: 0.3,
        sd: 0.3,
        logarithm: false,
    },
    Unknown {
        name: "wear in the softest water",
        unit: "share of that at 200 mg/L",
        mean: 0.15,
        sd: 0.12,
        logarithm: false,
    },
    Unknown {
        name: "spread of growth between districts (ln)",
        unit: "",
        mean: -1.7,
        sd: 0.4,
        logarithm: true,
    },
    // A fixed reject valve: 3.7 % more permeate per °C, recovery 0.33, gives
    // 1.1 % (derived); nothing where recovery is held.
    Unknown {
        name: "share of it through recovery",
        unit: "per °C",
        mean: 0.005,
        sd: 0.004,
        logarithm: false,
    },
];

impl Shared {
    fn from_search(x: &[f64]) -> Shared {
        let at = |i: usize| x.get(i).copied().unwrap_or(f64::NAN);
        Shared {
            ln_start: at(0),
            start_sd: at(1).exp(),
            ln_rate: at(2),
            rate_sd: at(3).exp(),
            hardness_power: at(4).max(0.0),
            wander: at(5).exp(),
            noise: at(6).exp(),
            theta: at(7),
            late: at(8).max(0.0),
            floor: at(9).max(0.0),
            district_sd: at(10).exp(),
            recovery: at(11).max(0.0),
            curvature: CURVATURE,
        }
    }

    /// How an element's path starts and wanders under these numbers. An
    /// element of unknown age has already climbed by an unknown amount.
    pub fn drifting(&self, start_known: bool) -> Drifting {
        const CLIMBED: f64 = 0.5;
        const CLIMBED_SD: f64 = 0.6;
        let variance = self.start_sd * self.start_sd;
        let (ln_start, variance) = if start_known {
            (self.ln_start, variance)
        } else {
            (self.ln_start + CLIMBED, variance + CLIMBED_SD * CLIMBED_SD)
        };
        let (start_mean, stretch) = self.bend(ln_start);
        Drifting {
            start_mean,
            start_variance: variance * stretch * stretch,
            wander: self.wander,
        }
    }

    /// Spread of the `ln` rate over elements of all districts.
    pub fn total_rate_sd(&self) -> f64 {
        self.rate_sd.hypot(self.district_sd)
    }

    /// The same by which elements are judged: litres behind late pre-filters
    /// ought to wear as others do.
    pub fn without_lateness(&self) -> Shared {
        Shared { late: 0.0, ..*self }
    }

    /// The scale on which salt passage grows evenly.
    pub fn scale(&self) -> Scale {
        Scale {
            curvature: self.curvature,
        }
    }

    /// As [`Scale::bend`].
    pub fn bend(&self, ln_passage: f64) -> (f64, f64) {
        self.scale().bend(ln_passage)
    }

    /// The way back from [`Shared::bend`].
    pub fn unbend(&self, level: f64) -> f64 {
        self.scale().unbend(level)
    }

    /// Exposure of one litre of water of that hardness, in 1000 L at 200 mg/L.
    pub fn exposure_per_litre(&self, hardness_mg_l_caco3: f64) -> f64 {
        let scaling = (hardness_mg_l_caco3.max(1.0) / 200.0).powf(self.hardness_power);
        (self.floor + scaling) / (self.floor + 1.0) / 1000.0
    }
}

/// Shared numbers with what each district adds to the `ln` rate under them.
#[derive(Debug, Clone)]
pub struct SharedDraw {
    pub shared: Shared,
    districts: BTreeMap<Arc<str>, Vec<(f64, f64)>>,
}

impl SharedDraw {
    /// For each of the sets, in their order.
    fn all(sets: &[Shared], by_district: &Districts<'_>) -> Vec<SharedDraw> {
        let sides: Vec<SideBySide> = sets.chunks(LANES).map(SideBySide::of).collect();
        let named = || by_district.iter().filter(|(name, _)| name.is_some());
        let tasks: Vec<(&SideBySide, &Vec<&ElementLooks>)> = sides
            .iter()
            .flat_map(|side| named().map(move |(_, of)| (side, of)))
            .collect();
        let logs: Vec<[Lanes; NODES]> = tasks
            .par_iter()
            .map(|(side, elements)| side.logs(elements))
            .collect();
        let mut draws: Vec<SharedDraw> = sets
            .iter()
            .map(|&shared| SharedDraw {
                shared,
                districts: BTreeMap::new(),
            })
            .collect();
        let of_sides = logs.chunks(named().count().max(1));
        for (draws, of_side) in draws.chunks_mut(LANES).zip(of_sides) {
            for ((name, _), logs) in named().zip(of_side) {
                for (lane, draw) in draws.iter_mut().enumerate() {
                    let logs = logs.map(|l| l.get(lane).copied().unwrap_or(f64::NAN));
                    let adds = posterior(&draw.shared, &logs);
                    draw.districts.extend(name.clone().map(|n| (n, adds)));
                }
            }
        }
        draws
    }

    /// Mean and spread of what a district adds to the `ln` rate.
    pub fn district(&self, name: Option<&Arc<str>>) -> (f64, f64) {
        match name.and_then(|n| self.districts.get(n)) {
            Some(grid) => {
                let mean: f64 = grid.iter().map(|(x, w)| x * w).sum();
                let variance: f64 = grid.iter().map(|(x, w)| (x - mean).powi(2) * w).sum();
                // The grid's own width must not be taken for knowledge.
                let cell = NODE_STEP * self.shared.district_sd;
                (mean, variance.max(cell * cell / 12.0).sqrt())
            }
            None => (0.0, self.shared.district_sd),
        }
    }
}

/// The fitted shared numbers.
#[derive(Debug, Clone)]
pub struct SharedFit {
    pub best: SharedDraw,
    /// Share of the variance of `ln` rates that elements of one van have in common.
    pub van_share: f64,
    /// What districts add to the typical life.
    pub typical: BTreeMap<Arc<str>, TypicalLife>,
    /// Equally likely shared numbers, `best`'s uncertainty included; not empty.
    pub draws: Vec<SharedDraw>,
    /// The draws side by side, in their order.
    pub draws_abreast: Vec<SharedAbreast>,
    /// The draws and then the best, without lateness, side by side.
    pub watched_abreast: Vec<SharedAbreast>,
    /// The best alone, and the best without lateness.
    pub best_abreast: SharedAbreast,
    /// What chance does to each draw of an element on its way ahead, the same for
    /// every element: standard normal, spread evenly.
    pub sways: Vec<f64>,
    pub explained: Vec<SharedNumber>,
    /// What did not go as it should.
    pub remark: Option<String>,
}

/// Name of the extra wear among the shared numbers.
const LATE_WEAR: &str = "extra wear behind overdue pre-filters";

impl SharedFit {
    /// The extra wear of litres made behind overdue pre-filters.
    pub fn late_wear(&self) -> SharedNumber {
        let found = self.explained.iter().find(|s| s.name == LATE_WEAR);
        found.cloned().unwrap_or(SharedNumber {
            name: LATE_WEAR,
            value: 0.0,
            sd: f64::INFINITY,
            prior: 0.0,
            prior_sd: f64::INFINITY,
            unit: "",
        })
    }
}

/// Most elements that the search looks at: the shared numbers are then known
/// far better than any element's own.
const MOST_ELEMENTS: usize = 240;
/// Draws of the shared numbers, in pairs mirrored about the best.
const DRAWS: usize = 12;

impl SharedFit {
    fn of(best: Shared, draws: Vec<Shared>, by_district: &Districts<'_>) -> SharedFit {
        let watched: Vec<Shared> = draws
            .iter()
            .chain([&best])
            .map(Shared::without_lateness)
            .collect();
        let abreast = |sets: &[Shared]| sets.chunks(LANES).map(SharedAbreast::of).collect();
        let all: Vec<Shared> = draws.iter().chain([&best]).copied().collect();
        let mut all = SharedDraw::all(&all, by_district);
        let best_draw = all.pop();
        SharedFit {
            best: best_draw.unwrap_or(SharedDraw {
                shared: best,
                districts: BTreeMap::new(),
            }),
            van_share: 0.0,
            typical: BTreeMap::new(),
            draws_abreast: abreast(&draws),
            watched_abreast: abreast(&watched),
            best_abreast: SharedAbreast::of(&[best, best.without_lateness()]),
            sways: mirrored_normals(&mut Rng::for_part(3, "path ahead"), all.len(), DRAWS_EACH),
            draws: all,
            explained: Vec::new(),
            remark: None,
        }
    }
}

/// The elements that the shared numbers are learnt from, of all that teach: evenly
/// spaced in the fleet's order, so that the choice is the same each time.
pub fn chosen<T>(taught: Vec<T>) -> Vec<T> {
    let every = taught.len().div_ceil(MOST_ELEMENTS).max(1);
    taught.into_iter().step_by(every).collect()
}

/// Finds the shared numbers from all elements of the fleet (possibly none).
pub fn fit_shared<'a>(elements: impl IntoIterator<Item = &'a ElementLooks>) -> SharedFit {
    let taught = elements.into_iter().filter(|e| e.teaches()).collect();
    let chosen: Vec<&ElementLooks> = chosen(taught);
    let mut by_district: Districts<'_> = BTreeMap::new();
    for element in chosen.iter().copied() {
        by_district
            .entry(element.district.clone())
            .or_default()
            .push(element);
    }
    let costs = |all: &[Vec<f64>]| -> Vec<f64> {
        let data = data_costs(all, &by_district);
        all.iter()
            .zip(data)
            .map(|(x, data)| prior_cost(x) + data)
            .collect()
    };
    let prior: Vec<f64> = UNKNOWNS.iter().map(|u| u.mean).collect();
    let prior_sd: Vec<f64> = UNKNOWNS.iter().map(|u| u.sd).collect();
    let of = |best: &[f64], draws: Vec<Shared>| {
        SharedFit::of(Shared::from_search(best), draws, &by_district)
    };
    if chosen.is_empty() {
        let draws = spread(&prior, |z| {
            z.iter().zip(&prior_sd).map(|(z, s)| z * s).collect()
        });
        return SharedFit {
            explained: explain(&prior, &prior_sd),
            ..of(&prior, draws)
        };
    }
    let scale: Vec<f64> = prior_sd.iter().map(|s| 0.5 * s).collect();
    let found = optimise::bfgs(costs, &prior, &scale, 60);
    let step: Vec<f64> = prior_sd.iter().map(|s| 0.05 * s).collect();
    let curvature = optimise::hessian(costs, &found.point, found.value, &step);
    match Cholesky::new(curvature) {
        Some(factor) => {
            let covariance = factor.inverse();
            let sd: Vec<f64> = covariance.diagonal().iter().map(|v| v.sqrt()).collect();
            let upper = factor.l().transpose();
            let draws = spread(&found.point, |z| {
                // Solving Lᵀx = z gives draws with covariance (LLᵀ)⁻¹.
                let x = upper.solve_upper_triangular(&DVector::from_column_slice(z));
                x.map_or_else(
                    || vec![0.0; UNKNOWNS.len()],
                    |x| x.iter().copied().collect(),
                )
            });
            let remark = (found.stop == Stop::IterationLimit).then(|| {
                "The search for the membranes' shared numbers used up its steps; the best found is used.".to_owned()
            });
            SharedFit {
                explained: explain(&found.point, &sd),
                remark,
                ..of(&found.point, draws)
            }
        }
        None => {
            let draws = spread(&found.point, |z| {
                z.iter().zip(&prior_sd).map(|(z, s)| 0.5 * z * s).collect()
            });
            SharedFit {
                explained: explain(&found.point, &prior_sd),
                remark: Some("How surely the membranes' shared numbers are known could not be worked out; half the spread of common practice is used.".to_owned()),
                ..of(&found.point, draws)
            }
        }
    }
}

fn prior_cost(x: &[f64]) -> f64 {
    x.iter()
        .zip(&UNKNOWNS)
        .map(|(x, u)| 0.5 * ((x - u.mean) / u.sd).powi(2))
        .sum()
}

/// Elements by district; those of no known district stand alone.
type Districts<'a> = BTreeMap<Option<Arc<str>>, Vec<&'a ElementLooks>>;

/// Nodes of a district's addition to the `ln` rate, in its standard deviations.
const NODES: usize = 11;
const NODE_STEP: f64 = 0.5;

fn node(i: usize) -> f64 {
    NODE_STEP * (i as f64 - (NODES / 2) as f64)
}

/// Points of the grid of log rates over which evidence is summed, so many of them
/// taken together.
const GRID: usize = 96;
const TOGETHER: usize = 8;

/// Sets of shared numbers side by side, with what the evidence of every element
/// needs of them: the likelihood of the rate is laid out on a grid over all that
/// priors of any district reach.
struct SideBySide {
    shared: SharedAbreast,
    rates: Vec<Lanes>,
    /// Density of each rate at each node, times the grid's step: by rates taken
    /// together, then node.
    density: Vec<[[Lanes; TOGETHER]; NODES]>,
}

impl SideBySide {
    /// At most [`LANES`] sets.
    fn of(sets: &[Shared]) -> SideBySide {
        let (rates, density) = wide::widest(LayingOut {
            ln_rate: lanes_of(sets, |s| s.ln_rate),
            rate_sd: lanes_of(sets, |s| s.rate_sd),
            district_sd: lanes_of(sets, |s| s.district_sd),
            total_rate_sd: lanes_of(sets, Shared::total_rate_sd),
        });
        SideBySide {
            shared: SharedAbreast::of(sets),
            rates,
            density,
        }
    }

    /// Log prior plus log evidence of a district's elements at each node.
    fn logs(&self, elements: &[&ElementLooks]) -> [Lanes; NODES] {
        wide::widest(DistrictLogs {
            side: self,
            elements,
        })
    }
}

/// What the grids of rates and densities are laid out from.
struct LayingOut {
    ln_rate: Lanes,
    rate_sd: Lanes,
    district_sd: Lanes,
    total_rate_sd: Lanes,
}

impl wide::Loops for LayingOut {
    type Output = (Vec<Lanes>, Vec<[[Lanes; TOGETHER]; NODES]>);

    #[inline(always)]
    fn run(self) -> Self::Output {
        const REACH: f64 = 4.5;
        let LayingOut {
            ln_rate: middle,
            rate_sd,
            district_sd,
            total_rate_sd,
        } = self;
        let step = lanes!(l => 2.0 * REACH * total_rate_sd[l] / (GRID - 1) as f64);
        let low = lanes!(l => middle[l] - REACH * total_rate_sd[l]);
        let whole = lanes!(l => rate_sd[l] * (2.0 * std::f64::consts::PI).sqrt());
        let means: [Lanes; NODES] =
            std::array::from_fn(|n| lanes!(l => middle[l] + node(n) * district_sd[l]));
        let mut rates = Vec::with_capacity(GRID);
        let mut density = vec![[[[0.0; LANES]; TOGETHER]; NODES]; GRID / TOGETHER];
        for (group, of_group) in density.iter_mut().enumerate() {
            for i in 0..TOGETHER {
                let at = (group * TOGETHER + i) as f64;
                let ln_rate = lanes!(l => low[l] + step[l] * at);
                rates.push(lanes!(l => wide::exp(ln_rate[l])));
                for (of_node, mean) in of_group.iter_mut().zip(&means) {
                    let mean = *mean;
                    let z = lanes!(l => (ln_rate[l] - mean[l]) / rate_sd[l]);
                    of_node[i] = lanes!(l => wide::exp(-0.5 * z[l] * z[l]) * step[l] / whole[l]);
                }
            }
        }
        (rates, density)
    }
}

struct DistrictLogs<'a> {
    side: &'a SideBySide,
    elements: &'a [&'a ElementLooks],
}

impl wide::Loops for DistrictLogs<'_> {
    type Output = [Lanes; NODES];

    #[inline(always)]
    fn run(self) -> [Lanes; NODES] {
        let side = self.side;
        let mut room = Vec::new();
        let mut relative = vec![[0.0; LANES]; GRID];
        let mut logs: [Lanes; NODES] = std::array::from_fn(|n| [-0.5 * node(n) * node(n); LANES]);
        for element in self.elements {
            let (summary, stretched) = summarise(element, &side.shared, &mut room);
            let at_rest = summary.ln_at_rest();
            let (linear, information) = (summary.linear, summary.information);
            let mut top = [f64::NEG_INFINITY; LANES];
            for (log, rate) in relative.iter_mut().zip(&side.rates) {
                let r = *rate;
                let new = lanes!(l => r[l] * (linear[l] - 0.5 * r[l] * information[l]));
                let was = top;
                top = lanes!(l => if new[l] > was[l] { new[l] } else { was[l] });
                *log = new;
            }
            let mut sums = [[0.0; LANES]; NODES];
            let (together, _) = relative.as_chunks::<TOGETHER>();
            for (logs, density) in together.iter().zip(&side.density) {
                let mut likelihood = [[0.0; LANES]; TOGETHER];
                for (likelihood, log) in likelihood.iter_mut().zip(logs) {
                    let log = *log;
                    *likelihood = lanes!(l => wide::exp(log[l] - top[l]));
                }
                for (sum, density) in sums.iter_mut().zip(density) {
                    let was = *sum;
                    *sum = lanes!(l => {
                        let mut sum = was[l];
                        for (likelihood, density) in likelihood.iter().zip(density) {
                            sum += likelihood[l] * density[l];
                        }
                        sum
                    });
                }
            }
            let rest = lanes!(l => at_rest[l] + top[l] + stretched[l]);
            for (log, sum) in logs.iter_mut().zip(&sums) {
                let (was, sum) = (*log, *sum);
                let sum = lanes!(l => if sum[l] > 1e-300 { sum[l] } else { 1e-300 });
                *log = lanes!(l => was[l] + rest[l] + wide::ln(sum[l]));
            }
        }
        logs
    }
}

/// What a district adds to the `ln` rate, with weights that sum to 1.
fn posterior(shared: &Shared, logs: &[f64; NODES]) -> Vec<(f64, f64)> {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    logs.iter()
        .enumerate()
        .map(|(i, l)| (node(i) * shared.district_sd, (l - top).exp() / total))
        .collect()
}

/// `ln` evidence of a district, whatever it adds.
fn pooled(logs: &[Lanes; NODES]) -> Lanes {
    let prior: f64 = (0..NODES).map(|i| (-0.5 * node(i) * node(i)).exp()).sum();
    std::array::from_fn(|lane| {
        let logs = logs.map(|l| l.get(lane).copied().unwrap_or(f64::NAN));
        let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        top + (logs.iter().map(|l| (l - top).exp()).sum::<f64>() / prior).ln()
    })
}

/// What the readings say against each of the points of the search.
fn data_costs(points: &[Vec<f64>], districts: &Districts<'_>) -> Vec<f64> {
    let sets: Vec<Shared> = points.iter().map(|x| Shared::from_search(x)).collect();
    let sides: Vec<SideBySide> = sets.chunks(LANES).map(SideBySide::of).collect();
    // Those of no known district stand alone.
    let groups: Vec<&[&ElementLooks]> = districts
        .iter()
        .flat_map(|(name, elements)| match name {
            Some(_) => elements.chunks(elements.len().max(1)),
            None => elements.chunks(1),
        })
        .collect();
    let tasks: Vec<(&SideBySide, &[&ElementLooks])> = sides
        .iter()
        .flat_map(|side| groups.iter().map(move |group| (side, *group)))
        .collect();
    // Collected in order before summing: the sum must not depend on threads.
    let parts: Vec<Lanes> = tasks
        .par_iter()
        .map(|(side, group)| pooled(&side.logs(group)))
        .collect();
    parts
        .chunks(groups.len().max(1))
        .flat_map(|of_side| {
            (0..LANES).map(|lane| {
                let of_lane = of_side.iter().filter_map(|part| part.get(lane));
                -of_lane.sum::<f64>()
            })
        })
        .take(points.len())
        .collect()
}

/// Mirrored standard normal draws put through `shape` and added to `centre`.
fn spread(centre: &[f64], shape: impl Fn(&[f64]) -> Vec<f64>) -> Vec<Shared> {
    let mut rng = Rng::for_part(1, "membrane shared numbers");
    (0..DRAWS / 2)
        .flat_map(|_| {
            let z: Vec<f64> = UNKNOWNS.iter().map(|_| rng.normal()).collect();
            let away = shape(&z);
            [1.0, -1.0].map(|sign| {
                let x: Vec<f64> = centre
                    .iter()
                    .zip(&away)
                    .map(|(c, a)| c + sign * a)
                    .collect();
                Shared::from_search(&x)
            })
        })
        .collect()
}

fn explain(x: &[f64], sd: &[f64]) -> Vec<SharedNumber> {
    let natural = |u: &Unknown, v: f64| if u.logarithm { v.exp() } else { v };
    // A spread on the log scale becomes one on the natural scale at the value.
    let natural_sd = |u: &Unknown, v: f64, s: f64| if u.logarithm { v.exp() * s } else { s };
    UNKNOWNS
        .iter()
        .zip(x.iter().zip(sd))
        .map(|(u, (&x, &sd))| SharedNumber {
            name: u.name,
            value: natural(u, x),
            sd: natural_sd(u, x, sd),
            prior: natural(u, u.mean),
            prior_sd: natural_sd(u, u.mean, u.sd),
            unit: u.unit,
        })
        .collect()
}
