//! The numbers that all elements of a fleet share, and how surely they are known.

use nalgebra::{Cholesky, DVector};
use rayon::prelude::*;

use super::looks::ElementLooks;
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
    /// Power of hardness in the exposure, ≥ 0.
    pub hardness_power: f64,
    /// Variance of the path's wander per 1000 L at 200 mg/L.
    pub wander: f64,
    /// Factor on the readings' own standard deviation.
    pub noise: f64,
    /// Temperature coefficient beyond the one already applied, per °C.
    pub theta: f64,
    /// Extra exposure of a litre made behind overdue pre-filters, ≥ 0.
    pub late: f64,
}

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
const UNKNOWNS: [Unknown; 9] = [
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
        mean: 0.7,
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
        name: "extra wear behind overdue pre-filters",
        unit: "",
        mean: 0.3,
        sd: 0.3,
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
        }
    }

    /// How an element's path starts and wanders under these numbers. An
    /// element of unknown age has already climbed by an unknown amount.
    pub fn drifting(&self, start_known: bool) -> Drifting {
        const CLIMBED: f64 = 0.5;
        const CLIMBED_SD: f64 = 0.6;
        let variance = self.start_sd * self.start_sd;
        if start_known {
            Drifting {
                start_mean: self.ln_start,
                start_variance: variance,
                wander: self.wander,
            }
        } else {
            Drifting {
                start_mean: self.ln_start + CLIMBED,
                start_variance: variance + CLIMBED_SD * CLIMBED_SD,
                wander: self.wander,
            }
        }
    }

    /// Exposure of one litre of water of that hardness, in 1000 L at 200 mg/L.
    pub fn exposure_per_litre(&self, hardness_mg_l_caco3: f64) -> f64 {
        (hardness_mg_l_caco3.max(1.0) / 200.0).powf(self.hardness_power) / 1000.0
    }
}

/// The fitted shared numbers.
#[derive(Debug, Clone)]
pub struct SharedFit {
    pub best: Shared,
    /// Equally likely shared numbers, `best`'s uncertainty included; not empty.
    pub draws: Vec<Shared>,
    pub explained: Vec<SharedNumber>,
    /// What did not go as it should.
    pub remark: Option<String>,
}

/// Most elements that the search looks at: the shared numbers are then known
/// far better than any element's own.
const MOST_ELEMENTS: usize = 240;
/// Draws of the shared numbers, in pairs mirrored about the best.
const DRAWS: usize = 12;

/// Finds the shared numbers from all elements of the fleet (possibly none).
pub fn fit_shared(elements: &[ElementLooks]) -> SharedFit {
    let taught: Vec<&ElementLooks> = elements.iter().filter(|e| !e.is_empty()).collect();
    // Evenly spaced in the fleet's order, so that the choice is the same each time.
    let every = taught.len().div_ceil(MOST_ELEMENTS).max(1);
    let chosen: Vec<&ElementLooks> = taught.into_iter().step_by(every).collect();
    let mut cost = |x: &[f64]| -> f64 { prior_cost(x) + data_cost(x, &chosen) };
    let prior: Vec<f64> = UNKNOWNS.iter().map(|u| u.mean).collect();
    let scale: Vec<f64> = UNKNOWNS.iter().map(|u| 0.5 * u.sd).collect();
    if chosen.is_empty() {
        let sd: Vec<f64> = UNKNOWNS.iter().map(|u| u.sd).collect();
        return SharedFit {
            best: Shared::from_search(&prior),
            draws: spread(&prior, |z| z.iter().zip(&sd).map(|(z, s)| z * s).collect()),
            explained: explain(&prior, &sd),
            remark: None,
        };
    }
    let found = optimise::bfgs(cost, &prior, &scale, 60);
    let step: Vec<f64> = UNKNOWNS.iter().map(|u| 0.05 * u.sd).collect();
    let curvature = optimise::hessian(&mut cost, &found.point, found.value, &step);
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
                best: Shared::from_search(&found.point),
                draws,
                explained: explain(&found.point, &sd),
                remark,
            }
        }
        None => {
            let sd: Vec<f64> = UNKNOWNS.iter().map(|u| u.sd).collect();
            SharedFit {
                best: Shared::from_search(&found.point),
                draws: spread(&found.point, |z| z.iter().zip(&sd).map(|(z, s)| 0.5 * z * s).collect()),
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

fn data_cost(x: &[f64], elements: &[&ElementLooks]) -> f64 {
    let shared = Shared::from_search(x);
    // Collected in order before summing: the sum must not depend on threads.
    let parts: Vec<f64> = elements
        .par_iter()
        .with_min_len(16)
        .map(|e| {
            let looks = e.looks(&shared);
            let summary = drift::summarise(&looks, &shared.drifting(e.start_known));
            drift::rate_posterior(&summary, shared.ln_rate, shared.rate_sd).ln_evidence
        })
        .collect();
    -parts.iter().sum::<f64>()
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
