//! What one charge says about its capacity.

use std::sync::Arc;

use jiff::civil::Date;

use crate::fit::horizon::middle_of;
use crate::lives::{ChargeLife, ProductPoint};
use crate::stats::wide;
use crate::water;

/// Width of the breakthrough curve as a share of the capacity: 0.04-0.10 for a
/// healthy bed (common practice, no source).
pub const BREAKTHROUGH_WIDTH: f64 = 0.07;
/// Spread of a capacity read off the foot of the breakthrough curve (judgement):
/// where two readings stand on it, and where the newest is the first.
const CREEP_SD: f64 = 0.12;
const FIRST_CREEP_SD: f64 = 0.25;

/// When product water was first seen at the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// Days of the readings between which it happened.
    pub between: (Date, Date),
    pub litres: (f64, f64),
}

/// Evidence about the capacity, in terms of (ppm·L, L) taken up.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Evidence {
    /// Not reached at this uptake: the capacity is larger.
    Beyond(Uptake),
    /// Reached between these two.
    Between(Uptake, Uptake),
    /// Read off the curve at this uptake, with that spread of its logarithm.
    About(Uptake, f64),
}

/// What a charge has taken up, corrected to the middle of the breakthrough.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Uptake {
    ppm_litres: f64,
    litres: f64,
    /// The capacity is the load divided by this.
    curve: f64,
}

/// One charge in the form that the fit reads.
#[derive(Debug, Clone)]
pub struct ChargeLooks {
    pub resin_litres: f64,
    pub district: Option<Arc<str>>,
    pub hardness_mg_l_caco3: f64,
    pub crossing: Option<Crossing>,
    evidence: Option<Evidence>,
    /// Uptake at the end of the record.
    pub litres: f64,
    pub ppm_litres: f64,
    /// Newest reading of product water, ppm.
    pub product_ppm: Option<f64>,
    /// What enters the resin now, ppm.
    pub permeate_ppm: Option<f64>,
    pub readings: usize,
}

/// Carbonic acid that leaves the resin in water of that hardness, ppm: soft
/// 1-2, medium 2-3, hard 3-4. Readings below this plus 1 say nothing of the limit.
fn plateau_ppm(hardness: f64) -> f64 {
    (1.0 + hardness / 120.0).clamp(1.0, 4.0)
}

/// Load at `c` over the load in the middle of the breakthrough, for `c0` entering.
fn curve_factor(c: f64, c0: f64) -> f64 {
    // Near the entering value the curve never gets there: held at 90 %.
    let share = (c / c0.max(1e-9)).clamp(0.02, 0.9);
    (1.0 + BREAKTHROUGH_WIDTH * (share / (1.0 - share)).ln()).max(0.5)
}

fn newest_median(
    points: &[ProductPoint],
    value: impl Fn(&ProductPoint) -> Option<f64>,
) -> Option<f64> {
    middle_of(points.iter().rev().filter_map(value).take(3))
}

/// Reads a charge: whether it reached the limit, or how far it got.
pub fn looks_of(life: &ChargeLife, limit_ppm: f64) -> ChargeLooks {
    let points = &life.points;
    let crossing_at = first_lasting(points, limit_ppm);
    let uptake = |p: &ProductPoint, c: f64| Uptake {
        ppm_litres: p.ppm_litres,
        litres: p.litres,
        curve: p.permeate_ppm.map_or(1.0, |c0| curve_factor(c, c0)),
    };
    let crossing = crossing_at.and_then(|i| {
        let after = points.get(i)?;
        let before = i.checked_sub(1).and_then(|b| points.get(b));
        Some(Crossing {
            between: (
                before.map_or(life.changed_on.unwrap_or(life.seen_from), |b| b.date),
                after.date,
            ),
            litres: (before.map_or(0.0, |b| b.litres), after.litres),
        })
    });
    let evidence = match crossing_at {
        Some(i) => points.get(i).map(|after| {
            let high = uptake(after, limit_ppm);
            let low = i.checked_sub(1).and_then(|b| points.get(b));
            let low = low.map_or(
                Uptake {
                    ppm_litres: 0.0,
                    litres: 0.0,
                    curve: high.curve,
                },
                |b| uptake(b, limit_ppm),
            );
            Evidence::Between(low, high)
        }),
        None => below(points, limit_ppm, life.hardness_mg_l_caco3, uptake),
    };
    ChargeLooks {
        resin_litres: life.resin_litres.max(0.1),
        district: life.district.clone(),
        hardness_mg_l_caco3: life.hardness_mg_l_caco3,
        crossing,
        evidence: evidence.filter(|_| life.litres_treated.is_some() && life.changed_on.is_some()),
        litres: life.litres_treated.unwrap_or(0.0),
        ppm_litres: life.ppm_litres,
        product_ppm: points.last().map(|p| p.product_ppm),
        permeate_ppm: newest_median(points, |p| p.permeate_ppm),
        readings: points.len(),
    }
}

/// What a charge below the limit says: on the curve, or not there yet.
fn below(
    points: &[ProductPoint],
    limit_ppm: f64,
    hardness: f64,
    uptake: impl Fn(&ProductPoint, f64) -> Uptake,
) -> Option<Evidence> {
    let last = points.last()?;
    // A breakthrough is quick: the newest reading counts, not a median.
    let product = last.product_ppm;
    let foot = plateau_ppm(hardness) + 1.0;
    let before = points.len().checked_sub(2).and_then(|i| points.get(i));
    let creep_sd = if before.is_some_and(|p| p.product_ppm > foot) {
        CREEP_SD
    } else {
        FIRST_CREEP_SD
    };
    match last.permeate_ppm {
        // Climbing, and there is something to climb to.
        Some(c0) if product > foot && c0 > product * 1.15 => {
            Some(Evidence::About(uptake(last, product), creep_sd))
        }
        // As high as what enters: spent some time ago.
        Some(c0) if product > foot && product >= 0.87 * c0 => {
            let half = points.iter().rev().find(|p| p.product_ppm < 0.5 * c0)?;
            Some(Evidence::Between(
                uptake(half, 0.5 * c0),
                uptake(last, 0.5 * c0),
            ))
        }
        Some(_) | None => Some(Evidence::Beyond(uptake(
            last,
            product.max(foot).min(limit_ppm),
        ))),
    }
}

/// The first reading at the limit that the next one does not take back.
fn first_lasting(points: &[ProductPoint], limit_ppm: f64) -> Option<usize> {
    points.iter().enumerate().find_map(|(i, p)| {
        let next = points.get(i + 1);
        let lasts = next.is_none_or(|n| n.product_ppm >= 0.7 * limit_ppm);
        (p.product_ppm >= limit_ppm && lasts).then_some(i)
    })
}

impl ChargeLooks {
    /// Load per litre of resin, meq/L, for an uptake when `share` of the prior
    /// carbon dioxide counts.
    pub fn load(&self, ppm_litres: f64, litres: f64, share: f64) -> f64 {
        let ions = water::KAPPA_MEQ_PER_PPM * ppm_litres;
        let gas = share * water::co2_prior_median_mmol_l(self.hardness_mg_l_caco3) * litres;
        (ions + gas) / self.resin_litres
    }

    /// Load so far.
    pub fn load_now(&self, share: f64) -> f64 {
        self.load(self.ppm_litres, self.litres, share)
    }

    /// Adds the log-likelihood of each exact capacity: the charge's own evidence
    /// with the spread of a reading rather than of the fleet. Adds nothing where
    /// the charge says nothing.
    pub fn add_own_log_likelihood(&self, ln_capacities: &[f64], share: f64, sums: &mut [f64]) {
        if let Some(evidence) = self.evidence {
            wide::widest(OwnLikelihood {
                charge: self,
                evidence,
                ln_capacities,
                share,
                sums,
            });
        }
    }

    /// Whether the charge teaches the fleet anything.
    pub fn teaches(&self) -> bool {
        self.evidence.is_some()
    }
}

/// Log-likelihood where the load is still below the capacity, the load so many
/// standard deviations above it.
#[inline(always)]
fn beyond(z: f64) -> f64 {
    wide::ln_normal_cdf(-z)
}

/// Where the capacity lies between two loads.
#[inline(always)]
fn between(low: f64, high: f64) -> f64 {
    let share = wide::normal_cdf(high) - wide::normal_cdf(low);
    wide::ln(if share > 1e-12 { share } else { 1e-12 })
}

/// Where it was read off the curve with that variance in all.
#[inline(always)]
fn about(away: f64, variance: f64) -> f64 {
    const LN_2_PI: f64 = 1.837_877_066_409_345_3;
    -0.5 * (away * away / variance + LN_2_PI + wide::ln(variance))
}

struct OwnLikelihood<'a> {
    charge: &'a ChargeLooks,
    evidence: Evidence,
    ln_capacities: &'a [f64],
    share: f64,
    sums: &'a mut [f64],
}

impl wide::Loops for OwnLikelihood<'_> {
    type Output = ();

    #[inline(always)]
    fn run(self) {
        const READING_SD: f64 = 0.06;
        let ln_load = |u: &Uptake| Load::of(self.charge, u).ln(self.share);
        let each = self.ln_capacities.iter().zip(self.sums);
        match &self.evidence {
            Evidence::Beyond(u) => {
                let load = ln_load(u);
                each.for_each(|(mean, sum)| *sum += beyond((load - mean) / READING_SD));
            }
            Evidence::Between(low, high) => {
                let (low, high) = (ln_load(low), ln_load(high));
                each.for_each(|(mean, sum)| {
                    *sum += between((low - mean) / READING_SD, (high - mean) / READING_SD);
                });
            }
            Evidence::About(u, spread) => {
                let load = ln_load(u);
                let variance = READING_SD * READING_SD + spread * spread;
                each.for_each(|(mean, sum)| *sum += about(load - mean, variance));
            }
        }
    }
}

/// What an uptake loads a litre of resin with, corrected to the middle of the
/// breakthrough: ions, and all the prior carbon dioxide, meq.
#[derive(Debug, Clone, Copy)]
struct Load {
    ions: f64,
    gas: f64,
}

impl Load {
    fn of(charge: &ChargeLooks, uptake: &Uptake) -> Load {
        let whole = |share: f64| charge.load(uptake.ppm_litres, uptake.litres, share);
        Load {
            ions: whole(0.0) / uptake.curve,
            gas: (whole(1.0) - whole(0.0)) / uptake.curve,
        }
    }

    /// `ln` of it when `share` of the carbon dioxide counts.
    #[inline(always)]
    fn ln(self, share: f64) -> f64 {
        let load = self.ions + share * self.gas;
        wide::ln(if load > 1e-6 { load } else { 1e-6 })
    }
}

/// The evidence of many charges, by its kind.
#[derive(Debug, Clone, Default)]
pub struct Taught {
    beyond: Vec<Load>,
    between: Vec<(Load, Load)>,
    about: Vec<(Load, f64)>,
}

impl Taught {
    pub fn add(&mut self, charge: &ChargeLooks) {
        match &charge.evidence {
            None => {}
            Some(Evidence::Beyond(u)) => self.beyond.push(Load::of(charge, u)),
            Some(Evidence::Between(low, high)) => {
                let loads = (Load::of(charge, low), Load::of(charge, high));
                self.between.push(loads);
            }
            Some(Evidence::About(u, spread)) => self.about.push((Load::of(charge, u), *spread)),
        }
    }

    /// Log-likelihood of each mean of the logarithm of the capacity, with that
    /// spread of it, when `share` of the prior carbon dioxide counts.
    pub fn log_likelihoods<const N: usize>(
        &self,
        ln_means: [f64; N],
        ln_sd: f64,
        share: f64,
    ) -> [f64; N] {
        wide::widest(Likelihoods {
            taught: self,
            ln_means,
            ln_sd,
            share,
        })
    }
}

struct Likelihoods<'a, const N: usize> {
    taught: &'a Taught,
    ln_means: [f64; N],
    ln_sd: f64,
    share: f64,
}

impl<const N: usize> wide::Loops for Likelihoods<'_, N> {
    type Output = [f64; N];

    #[inline(always)]
    fn run(self) -> [f64; N] {
        let Likelihoods {
            taught,
            ln_means,
            ln_sd,
            share,
        } = self;
        let each = 1.0 / ln_sd;
        let mut beyonds = vec![0.0; taught.beyond.len()];
        for (to, load) in beyonds.iter_mut().zip(&taught.beyond) {
            *to = each * load.ln(share);
        }
        let mut betweens = vec![(0.0, 0.0); taught.between.len()];
        for (to, (low, high)) in betweens.iter_mut().zip(&taught.between) {
            *to = (each * low.ln(share), each * high.ln(share));
        }
        let mut abouts = vec![(0.0, 0.0); taught.about.len()];
        for (to, (load, spread)) in abouts.iter_mut().zip(&taught.about) {
            *to = (load.ln(share), ln_sd * ln_sd + spread * spread);
        }
        let mut terms = vec![0.0; beyonds.len() + betweens.len() + abouts.len()];
        let mut sums = [0.0; N];
        for (sum, mean) in sums.iter_mut().zip(ln_means) {
            let middle = each * mean;
            let (of_beyond, rest) = terms.split_at_mut(beyonds.len());
            let (of_between, of_about) = rest.split_at_mut(betweens.len());
            for (term, load) in of_beyond.iter_mut().zip(&beyonds) {
                *term = beyond(load - middle);
            }
            for (term, (low, high)) in of_between.iter_mut().zip(&betweens) {
                *term = between(low - middle, high - middle);
            }
            for (term, (load, variance)) in of_about.iter_mut().zip(&abouts) {
                *term = about(load - mean, *variance);
            }
            *sum = wide::sum(&terms);
        }
        sums
    }
}

impl ChargeLooks {
    /// A charge that has not treated anything yet.
    pub fn fresh(
        resin_litres: f64,
        district: Option<Arc<str>>,
        hardness_mg_l_caco3: f64,
    ) -> ChargeLooks {
        ChargeLooks {
            resin_litres: resin_litres.max(0.1),
            district,
            hardness_mg_l_caco3,
            crossing: None,
            evidence: None,
            litres: 0.0,
            ppm_litres: 0.0,
            product_ppm: None,
            permeate_ppm: None,
            readings: 0,
        }
    }
}
