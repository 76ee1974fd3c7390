//! What one charge says about its capacity.

use std::sync::Arc;

use jiff::civil::Date;

use crate::fit::horizon::middle_of;
use crate::lives::{ChargeLife, ProductPoint};
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

    /// Log-likelihood of a capacity with that mean and spread of its logarithm;
    /// 0 where the charge says nothing.
    pub fn log_likelihood(&self, ln_mean: f64, ln_sd: f64, share: f64) -> f64 {
        use crate::stats::special::{ln_normal_cdf, normal_cdf};
        let z = |u: &Uptake| {
            let load = self.load(u.ppm_litres, u.litres, share) / u.curve;
            (load.max(1e-6).ln() - ln_mean) / ln_sd
        };
        match &self.evidence {
            None => 0.0,
            Some(Evidence::Beyond(u)) => ln_normal_cdf(-z(u)),
            Some(Evidence::Between(low, high)) => {
                (normal_cdf(z(high)) - normal_cdf(z(low))).max(1e-12).ln()
            }
            Some(Evidence::About(u, spread)) => {
                let total = (ln_sd * ln_sd + spread * spread).sqrt();
                let z = z(u) * ln_sd / total;
                -0.5 * z * z - (total * (2.0 * std::f64::consts::PI).sqrt()).ln()
            }
        }
    }

    /// Log-likelihood of one exact capacity: the charge's own evidence with the
    /// spread of a reading rather than of the fleet.
    pub fn own_log_likelihood(&self, ln_capacity: f64, share: f64) -> f64 {
        const READING_SD: f64 = 0.06;
        self.log_likelihood(ln_capacity, READING_SD, share)
    }

    /// Whether the charge teaches the fleet anything.
    pub fn teaches(&self) -> bool {
        self.evidence.is_some()
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
