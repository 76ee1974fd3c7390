//! The numbers that all charges of a fleet share, and each district's own.

use std::collections::BTreeMap;
use std::sync::Arc;

use nalgebra::{Cholesky, DVector};
use rayon::prelude::*;

use super::charge::{ChargeLooks, Taught};
use super::follow::Chance;
use super::forecast::DRAWS_EACH;
use crate::fit::SharedNumber;
use crate::stats::optimise;
use crate::stats::random::Rng;

/// The shared numbers of the resin model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResinShared {
    /// Mean and spread of the logarithm of the capacity, meq per litre of resin.
    pub ln_capacity: f64,
    pub capacity_sd: f64,
    /// Spread of the districts' own additions: unseen carbon dioxide differs
    /// from place to place.
    pub district_sd: f64,
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
const BETWEEN: Unknown = Unknown {
    name: "spread of capacity between districts (ln)",
    unit: "",
    mean: -1.7,
    sd: 0.5,
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
/// Nodes of a district's addition, in its standard deviations.
const NODES: usize = 11;
const NODE_STEP: f64 = 0.5;
const DRAWS: usize = 12;

impl ResinShared {
    fn from_search(x: &[f64]) -> ResinShared {
        let at = |i: usize| x.get(i).copied().unwrap_or(f64::NAN);
        ResinShared {
            ln_capacity: at(0),
            capacity_sd: at(1).exp().max(0.05),
            co2_share: at(2).max(0.0),
            district_sd: at(3).exp(),
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
    /// Mean of the district's addition to `ln` capacity.
    pub fn district_mean(&self, name: Option<&Arc<str>>) -> f64 {
        name.and_then(|n| self.districts.get(n))
            .map_or(0.0, |grid| grid.iter().map(|(x, w)| x * w).sum())
    }

    /// What the district adds to `ln` capacity, with weights; `None` where
    /// nothing tells.
    pub fn additions(&self, name: Option<&Arc<str>>) -> Option<&[(f64, f64)]> {
        name.and_then(|n| self.districts.get(n)).map(Vec::as_slice)
    }
}

/// The fitted resin model.
#[derive(Debug, Clone)]
pub struct ResinFit {
    /// Equally likely; not empty.
    pub draws: Vec<ResinDraw>,
    /// Most probable capacity, meq per litre of resin, and share of carbon dioxide.
    pub usual_capacity: f64,
    pub usual_share: f64,
    pub explained: Vec<SharedNumber>,
    pub remark: Option<String>,
    /// What comes to every charge.
    pub chance: Chance,
}

/// Most charges that the search looks at: the shared numbers are then known far
/// better than any district's own.
const MOST_CHARGES: usize = 2_000;

/// Finds the shared numbers from all charges of the fleet (possibly none).
pub fn fit_shared<'a>(
    charges: impl IntoIterator<Item = &'a ChargeLooks>,
    limit_ppm: f64,
) -> ResinFit {
    let unknowns = [
        CAPACITY,
        SPREAD,
        if limit_ppm <= PLATEAU_PPM {
            SHARE_WITHIN
        } else {
            SHARE_ABOVE
        },
        BETWEEN,
    ];
    let taught: Vec<&ChargeLooks> = charges.into_iter().filter(|c| c.teaches()).collect();
    // Evenly spaced in the fleet's order, so that the choice is the same each time.
    let every = taught.len().div_ceil(MOST_CHARGES).max(1);
    let chosen = by_district(taught.iter().copied().step_by(every));
    let by_district = by_district(taught.iter().copied());
    let cost = |x: &[f64]| -> f64 {
        let s = ResinShared::from_search(x);
        let prior: f64 = x
            .iter()
            .zip(&unknowns)
            .map(|(x, u)| 0.5 * ((x - u.mean) / u.sd).powi(2))
            .sum();
        prior - chosen.values().map(|c| pooled(&s, c)).sum::<f64>()
    };
    let costs = |all: &[Vec<f64>]| -> Vec<f64> { all.par_iter().map(|x| cost(x)).collect() };
    let start: Vec<f64> = unknowns.iter().map(|u| u.mean).collect();
    let scale: Vec<f64> = unknowns.iter().map(|u| 0.5 * u.sd).collect();
    let prior_sd: Vec<f64> = unknowns.iter().map(|u| u.sd).collect();
    let found = optimise::bfgs(costs, &start, &scale, 60);
    let step: Vec<f64> = prior_sd.iter().map(|s| 0.05 * s).collect();
    let factor = Cholesky::new(optimise::hessian(costs, &found.point, found.value, &step));
    let remark = factor.is_none().then(|| {
        "How surely the resin's shared numbers are known could not be worked out; the spread of common practice is used.".to_owned()
    });
    let sd: Vec<f64> = factor.as_ref().map_or_else(
        || prior_sd.clone(),
        |f| f.inverse().diagonal().iter().map(|v| v.sqrt()).collect(),
    );
    let mut rng = Rng::for_part(5, "resin shared numbers");
    let drawn: Vec<ResinShared> = (0..DRAWS / 2)
        .flat_map(|_| {
            let z = DVector::from_iterator(4, (0..4).map(|_| rng.normal()));
            let away = factor
                .as_ref()
                .and_then(|f| f.l().transpose().solve_upper_triangular(&z))
                .unwrap_or_else(|| {
                    DVector::from_iterator(4, z.iter().zip(&prior_sd).map(|(z, s)| z * s))
                });
            [1.0, -1.0].map(|sign| {
                let x: Vec<f64> = found
                    .point
                    .iter()
                    .zip(away.iter())
                    .map(|(c, a)| c + sign * a)
                    .collect();
                ResinShared::from_search(&x)
            })
        })
        .collect();
    let draws: Vec<ResinDraw> = drawn
        .into_par_iter()
        .map(|shared| ResinDraw {
            shared,
            districts: districts(&by_district, &shared),
        })
        .collect();
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
    let best = ResinShared::from_search(&found.point);
    ResinFit {
        chance: Chance::new(draws.len(), DRAWS_EACH),
        draws,
        usual_capacity: best.ln_capacity.exp(),
        usual_share: best.co2_share,
        explained,
        remark,
    }
}

/// Evidence by district; that of none shares what it does not know.
type ByDistrict = BTreeMap<Option<Arc<str>>, Taught>;

fn by_district<'a>(charges: impl Iterator<Item = &'a ChargeLooks>) -> ByDistrict {
    let mut by_district = ByDistrict::new();
    for charge in charges {
        match by_district.get_mut(&charge.district) {
            Some(taught) => taught.add(charge),
            None => by_district
                .entry(charge.district.clone())
                .or_default()
                .add(charge),
        }
    }
    by_district
}

fn node(i: usize) -> f64 {
    NODE_STEP * (i as f64 - (NODES / 2) as f64)
}

/// Log prior plus log-likelihood of a district's charges at each node.
fn logs(s: &ResinShared, charges: &Taught) -> [f64; NODES] {
    let means = std::array::from_fn(|i| s.ln_capacity + node(i) * s.district_sd);
    let mut logs: [f64; NODES] = charges.log_likelihoods(means, s.capacity_sd, s.co2_share);
    for (i, log) in logs.iter_mut().enumerate() {
        *log -= 0.5 * node(i) * node(i);
    }
    logs
}

/// `ln` evidence of a district's charges, whatever the district adds.
fn pooled(s: &ResinShared, charges: &Taught) -> f64 {
    let logs = logs(s, charges);
    let prior: f64 = (0..NODES).map(|i| (-0.5 * node(i) * node(i)).exp()).sum();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    top + (logs.iter().map(|l| (l - top).exp()).sum::<f64>() / prior).ln()
}

/// Each district's addition to `ln` capacity: weights of the nodes, given its charges.
fn districts(by_district: &ByDistrict, s: &ResinShared) -> Districts {
    by_district
        .iter()
        .filter_map(|(name, charges)| {
            let name = name.clone()?;
            let logs = logs(s, charges);
            let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let total: f64 = logs.iter().map(|l| (l - top).exp()).sum();
            let weights = logs
                .iter()
                .enumerate()
                .map(|(i, l)| (node(i) * s.district_sd, (l - top).exp() / total))
                .collect();
            Some((name, weights))
        })
        .collect()
}
