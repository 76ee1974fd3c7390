//! The numbers that all charges of a fleet share, and each district's own.

use std::collections::BTreeMap;
use std::sync::Arc;

use nalgebra::{Cholesky, DVector};

use super::charge::ChargeLooks;
use crate::fit::SharedNumber;
use crate::stats::optimise;
use crate::stats::random::Rng;

/// The shared numbers of the resin model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResinShared {
    /// Mean and spread of the logarithm of the capacity, meq per litre of resin.
    pub ln_capacity: f64,
    pub capacity_sd: f64,
    /// Share of the prior carbon dioxide that counts towards the limit, ≥ 0.
    pub co2_share: f64,
}

struct Unknown {
    name: &'static str,
    unit: &'static str,
    mean: f64,
    sd: f64,
    logarithm: bool,
}

/// Priors: 0.45 eq/L in practice (sizing rules of suppliers: 0.41-0.46 eq/L);
/// spreads are judgement.
const CAPACITY: Unknown = Unknown {
    name: "resin capacity",
    unit: "meq per litre of resin",
    mean: 6.11,
    sd: 0.35,
    logarithm: true,
};
const SPREAD: Unknown = Unknown {
    name: "spread of capacity between charges (ln)",
    unit: "",
    mean: -1.39,
    sd: 0.4,
    logarithm: true,
};
/// Where the limit lies above the plateau of carbonic acid.
const SHARE_ABOVE: Unknown = Unknown {
    name: "share of carbon dioxide that counts",
    unit: "",
    mean: 0.35,
    sd: 0.35,
    logarithm: false,
};
/// Where the limit lies within the plateau.
const SHARE_WITHIN: Unknown = Unknown {
    name: "share of carbon dioxide that counts",
    unit: "",
    mean: 1.0,
    sd: 0.3,
    logarithm: false,
};
/// The highest plateau that hard water gives, ppm.
const PLATEAU_PPM: f64 = 4.0;
/// Spread of the districts' own factors on capacity (judgement): unseen
/// carbon dioxide differs from place to place.
const DISTRICT_SD: f64 = 0.25;
const DISTRICT_GRID: usize = 13;
const DRAWS: usize = 12;

impl ResinShared {
    fn from_search(x: &[f64]) -> ResinShared {
        let at = |i: usize| x.get(i).copied().unwrap_or(f64::NAN);
        ResinShared {
            ln_capacity: at(0),
            capacity_sd: at(1).exp().max(0.05),
            co2_share: at(2).max(0.0),
        }
    }
}

/// For each district, what it may add to `ln` capacity, with weights that sum to 1.
type Districts = BTreeMap<Arc<str>, Vec<(f64, f64)>>;

/// One draw: the shared numbers, and what each district adds to `ln` capacity.
#[derive(Debug, Clone)]
pub struct ResinDraw {
    pub shared: ResinShared,
    districts: Districts,
}

impl ResinDraw {
    /// A draw of the district's addition to `ln` capacity.
    pub fn district(&self, name: Option<&Arc<str>>, rng: &mut Rng) -> f64 {
        match name.and_then(|n| self.districts.get(n)) {
            Some(grid) => {
                let mut left = rng.uniform();
                for &(value, weight) in grid {
                    left -= weight;
                    if left <= 0.0 {
                        return value;
                    }
                }
                0.0
            }
            None => DISTRICT_SD * rng.normal(),
        }
    }
}

/// The fitted resin model.
#[derive(Debug, Clone)]
pub struct ResinFit {
    /// Equally likely; not empty.
    pub draws: Vec<ResinDraw>,
    pub explained: Vec<SharedNumber>,
    pub remark: Option<String>,
}

/// Finds the shared numbers from all charges of the fleet (possibly none).
pub fn fit_shared(charges: &[ChargeLooks], limit_ppm: f64) -> ResinFit {
    let unknowns = [
        CAPACITY,
        SPREAD,
        if limit_ppm <= PLATEAU_PPM {
            SHARE_WITHIN
        } else {
            SHARE_ABOVE
        },
    ];
    let taught: Vec<&ChargeLooks> = charges.iter().filter(|c| c.teaches()).collect();
    let mut cost = |x: &[f64]| -> f64 {
        let s = ResinShared::from_search(x);
        let prior: f64 = x
            .iter()
            .zip(&unknowns)
            .map(|(x, u)| 0.5 * ((x - u.mean) / u.sd).powi(2))
            .sum();
        // Charges of one district share a factor: its spread is part of each.
        let sd = (s.capacity_sd * s.capacity_sd + DISTRICT_SD * DISTRICT_SD).sqrt();
        prior
            - taught
                .iter()
                .map(|c| c.log_likelihood(s.ln_capacity, sd, s.co2_share))
                .sum::<f64>()
    };
    let start: Vec<f64> = unknowns.iter().map(|u| u.mean).collect();
    let scale: Vec<f64> = unknowns.iter().map(|u| 0.5 * u.sd).collect();
    let prior_sd: Vec<f64> = unknowns.iter().map(|u| u.sd).collect();
    let found = optimise::bfgs(cost, &start, &scale, 60);
    let step: Vec<f64> = prior_sd.iter().map(|s| 0.05 * s).collect();
    let factor = Cholesky::new(optimise::hessian(
        &mut cost,
        &found.point,
        found.value,
        &step,
    ));
    let remark = factor.is_none().then(|| {
        "How surely the resin's shared numbers are known could not be worked out; the spread of common practice is used.".to_owned()
    });
    let sd: Vec<f64> = factor.as_ref().map_or_else(
        || prior_sd.clone(),
        |f| f.inverse().diagonal().iter().map(|v| v.sqrt()).collect(),
    );
    let mut rng = Rng::for_part(5, "resin shared numbers");
    let mut draws = Vec::with_capacity(DRAWS);
    for _ in 0..DRAWS / 2 {
        let z = DVector::from_iterator(3, (0..3).map(|_| rng.normal()));
        let away = factor
            .as_ref()
            .and_then(|f| f.l().transpose().solve_upper_triangular(&z))
            .unwrap_or_else(|| {
                DVector::from_iterator(3, z.iter().zip(&prior_sd).map(|(z, s)| z * s))
            });
        for sign in [1.0, -1.0] {
            let x: Vec<f64> = found
                .point
                .iter()
                .zip(away.iter())
                .map(|(c, a)| c + sign * a)
                .collect();
            let shared = ResinShared::from_search(&x);
            draws.push(ResinDraw {
                shared,
                districts: districts(&taught, &shared),
            });
        }
    }
    let natural = |u: &Unknown, v: f64| if u.logarithm { v.exp() } else { v };
    let natural_sd = |u: &Unknown, v: f64, s: f64| if u.logarithm { v.exp() * s } else { s };
    let explained = unknowns
        .iter()
        .zip(found.point.iter().zip(&sd))
        .map(|(u, (&x, &sd))| SharedNumber {
            name: u.name,
            value: natural(u, x),
            sd: natural_sd(u, x, sd),
            prior: natural(u, u.mean),
            prior_sd: natural_sd(u, u.mean, u.sd),
            unit: u.unit,
        })
        .collect();
    ResinFit {
        draws,
        explained,
        remark,
    }
}

/// Each district's factor on capacity: weights on a grid, given its charges.
fn districts(charges: &[&ChargeLooks], s: &ResinShared) -> Districts {
    let mut by_district: BTreeMap<Arc<str>, Vec<&ChargeLooks>> = BTreeMap::new();
    for charge in charges {
        if let Some(name) = &charge.district {
            by_district.entry(name.clone()).or_default().push(charge);
        }
    }
    by_district
        .into_iter()
        .map(|(name, charges)| {
            let middle = (DISTRICT_GRID / 2) as f64;
            let logs: Vec<(f64, f64)> = (0..DISTRICT_GRID)
                .map(|i| {
                    let value = (i as f64 - middle) * 0.5 * DISTRICT_SD;
                    let z = value / DISTRICT_SD;
                    let sum: f64 = charges
                        .iter()
                        .map(|c| {
                            c.log_likelihood(s.ln_capacity + value, s.capacity_sd, s.co2_share)
                        })
                        .sum();
                    (value, sum - 0.5 * z * z)
                })
                .collect();
            let top = logs.iter().map(|l| l.1).fold(f64::NEG_INFINITY, f64::max);
            let total: f64 = logs.iter().map(|l| (l.1 - top).exp()).sum();
            (
                name,
                logs.iter()
                    .map(|&(v, l)| (v, (l - top).exp() / total))
                    .collect(),
            )
        })
        .collect()
}
