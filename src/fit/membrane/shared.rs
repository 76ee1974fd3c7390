//! The numbers that all elements of a fleet share, and how surely they are known.

use nalgebra::{Cholesky, DVector};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::Arc;

use super::course::Scale;
use super::looks::ElementLooks;
use super::typical::TypicalLife;
use crate::fit::SharedNumber;
use crate::stats::Stop;
use crate::stats::drift::{self, Drifting};
use crate::stats::optimise;
use crate::stats::random::Rng;

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
    fn of(shared: Shared, by_district: &Districts<'_>) -> SharedDraw {
        let districts = by_district
            .iter()
            .filter_map(|(name, elements)| {
                Some((name.clone()?, district_posterior(&shared, elements)))
            })
            .collect();
        SharedDraw { shared, districts }
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

/// Finds the shared numbers from all elements of the fleet (possibly none).
pub fn fit_shared(elements: &[ElementLooks]) -> SharedFit {
    let taught: Vec<&ElementLooks> = elements.iter().filter(|e| e.teaches()).collect();
    // Evenly spaced in the fleet's order, so that the choice is the same each time.
    let every = taught.len().div_ceil(MOST_ELEMENTS).max(1);
    let chosen: Vec<&ElementLooks> = taught.into_iter().step_by(every).collect();
    let mut by_district: Districts<'_> = BTreeMap::new();
    for element in chosen.iter().copied() {
        by_district
            .entry(element.district.clone())
            .or_default()
            .push(element);
    }
    let costs = |all: &[Vec<f64>]| -> Vec<f64> {
        all.iter()
            .map(|x| prior_cost(x) + data_cost(x, &by_district))
            .collect()
    };
    let drawn = |list: Vec<Shared>| -> Vec<SharedDraw> {
        list.into_par_iter()
            .map(|s| SharedDraw::of(s, &by_district))
            .collect()
    };
    let prior: Vec<f64> = UNKNOWNS.iter().map(|u| u.mean).collect();
    let scale: Vec<f64> = UNKNOWNS.iter().map(|u| 0.5 * u.sd).collect();
    if chosen.is_empty() {
        let sd: Vec<f64> = UNKNOWNS.iter().map(|u| u.sd).collect();
        return SharedFit {
            best: SharedDraw::of(Shared::from_search(&prior), &by_district),
            van_share: 0.0,
            typical: BTreeMap::new(),
            draws: drawn(spread(&prior, |z| {
                z.iter().zip(&sd).map(|(z, s)| z * s).collect()
            })),
            explained: explain(&prior, &sd),
            remark: None,
        };
    }
    let found = optimise::bfgs(costs, &prior, &scale, 60);
    let step: Vec<f64> = UNKNOWNS.iter().map(|u| 0.05 * u.sd).collect();
    let curvature = optimise::hessian(costs, &found.point, found.value, &step);
    match Cholesky::new(curvature) {
        Some(factor) => {
            let covariance = factor.inverse();
            let sd: Vec<f64> = covariance.diagonal().iter().map(|v| v.sqrt()).collect();
            let lower = factor.l();
            let draws = spread(&found.point, |z| {
                // Solving Lᵀx = z gives draws with covariance (LLᵀ)⁻¹.
                let z = DVector::from_column_slice(z);
                let x = lower.transpose().solve_upper_triangular(&z);
                x.map_or_else(
                    || vec![0.0; UNKNOWNS.len()],
                    |x| x.iter().copied().collect(),
                )
            });
            let remark = (found.stop == Stop::IterationLimit).then(|| {
                "The search for the membranes' shared numbers used up its steps; the best found is used.".to_owned()
            });
            SharedFit {
                best: SharedDraw::of(Shared::from_search(&found.point), &by_district),
                van_share: 0.0,
                typical: BTreeMap::new(),
                draws: drawn(draws),
                explained: explain(&found.point, &sd),
                remark,
            }
        }
        None => {
            let sd: Vec<f64> = UNKNOWNS.iter().map(|u| u.sd).collect();
            SharedFit {
                best: SharedDraw::of(Shared::from_search(&found.point), &by_district),
                van_share: 0.0,
            typical: BTreeMap::new(),
                draws: drawn(spread(&found.point, |z| z.iter().zip(&sd).map(|(z, s)| 0.5 * z * s).collect())),
                explained: explain(&found.point, &sd),
                remark: Some("How surely the membranes' shared numbers are known could not be worked out; half the spread of common practice is used.".to_owned()),
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

/// `ln` evidence of an element's readings for each node of its district.
fn evidence(shared: &Shared, element: &ElementLooks) -> [f64; NODES] {
    let (looks, stretched) = element.looks(shared);
    let summary = drift::summarise(&looks, &shared.drifting(element.start_known));
    let curve = drift::rate_likelihood(&summary, shared.ln_rate, shared.total_rate_sd());
    std::array::from_fn(|i| {
        let mean = shared.ln_rate + node(i) * shared.district_sd;
        curve.ln_evidence(mean, shared.rate_sd) + stretched
    })
}

/// Weights of the nodes of a district, given its elements; they sum to 1.
fn district_posterior(shared: &Shared, elements: &[&ElementLooks]) -> Vec<(f64, f64)> {
    let mut logs: [f64; NODES] = std::array::from_fn(|i| -0.5 * node(i) * node(i));
    for element in elements {
        for (sum, e) in logs.iter_mut().zip(evidence(shared, element)) {
            *sum += e;
        }
    }
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    logs.iter()
        .enumerate()
        .map(|(i, l)| (node(i) * shared.district_sd, (l - top).exp() / total))
        .collect()
}

fn data_cost(x: &[f64], districts: &Districts<'_>) -> f64 {
    let shared = Shared::from_search(x);
    let prior: [f64; NODES] = std::array::from_fn(|i| -0.5 * node(i) * node(i));
    let prior_total: f64 = prior.iter().map(|p| p.exp()).sum();
    let mut cost = 0.0;
    for (name, elements) in districts {
        // Collected in order before summing: the sum must not depend on threads.
        let parts: Vec<[f64; NODES]> = elements
            .par_iter()
            .with_min_len(16)
            .map(|e| evidence(&shared, e))
            .collect();
        let pooled = |sums: &[f64; NODES]| {
            let top = sums.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            top + (sums.iter().map(|l| (l - top).exp()).sum::<f64>() / prior_total).ln()
        };
        let with = |start: [f64; NODES], part: &[f64; NODES]| {
            let mut sums = start;
            for (s, p) in sums.iter_mut().zip(part) {
                *s += p;
            }
            sums
        };
        if name.is_some() {
            cost -= pooled(&parts.iter().fold(prior, with));
        } else {
            cost -= parts.iter().map(|p| pooled(&with(prior, p))).sum::<f64>();
        }
    }
    cost
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
