//! What one charge says about its capacity.

use std::sync::Arc;

use crate::calendar::Date;

use super::curve::{ALL, CURVES, PLATEAU_PPM};
use super::grid::{Grid, POINTS, STEP, Values};
use crate::fit::horizon::middle_of;
use crate::lives::{ChargeLife, End, ProductPoint};
use crate::stats::wide;
use crate::water;

/// Readings of a charge that are looked at: the last low one and those after it.
const MOST_SEEN: usize = 6;
/// Product below this, and below this share of what enters, has not begun to rise.
const LOW_PPM: f64 = 2.0;
const LOW_SHARE: f64 = 0.15;
/// Scatter of a reading about the curve: meters and whole ppm, and what curves,
/// meters' gains and the way between two permeate readings leave open (judgement).
const READING_PPM: f64 = 0.5;
const READING_SHARE: f64 = 0.12;
/// Density of a reading that has nothing to do with the charge.
const STRAY: f64 = 3e-4;
/// Spent resin is seen where what enters reads this share of the limit at least: crews
/// change at half of it or above.
const IN_SIGHT: f64 = 0.5;
/// A reading at the limit counts as its end where a later one is above this share
/// of it.
const HELD_SHARE: f64 = 0.7;

/// When product water was first seen at the limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// Days of the readings between which it happened.
    pub between: (Date, Date),
    pub litres: (f64, f64),
}

/// A day's reading of product water, with what the charge had taken up.
#[derive(Debug, Clone, Copy, PartialEq)]
struct ProductReading {
    product_ppm: f64,
    permeate_ppm: f64,
    ppm_litres: f64,
    litres: f64,
}

/// One charge in the form that the fit reads.
#[derive(Debug, Clone)]
pub struct ChargeObservations {
    pub resin_litres: f64,
    pub district: Option<Arc<str>>,
    pub hardness_mg_l_caco3: f64,
    pub crossing: Option<Crossing>,
    /// Uptake at the end of the record.
    pub litres: f64,
    pub ppm_litres: f64,
    /// Newest reading of product water, ppm, its day, and the litres since.
    pub product_ppm: Option<f64>,
    pub litres_since_reading: f64,
    /// What enters the resin now, ppm.
    pub permeate_ppm: Option<f64>,
    pub readings: usize,
    /// Whether all that it has taken up is known.
    counted: bool,
    /// Whether it was changed, and whoever changed it could see what it let through.
    changed_in_sight: bool,
    seen: Vec<ProductReading>,
}

fn newest_median(
    points: &[ProductPoint],
    value: impl Fn(&ProductPoint) -> Option<f64>,
) -> Option<f64> {
    middle_of(points.iter().rev().filter_map(value).take(3))
}

/// Reads a charge: whether it reached the limit, or how far it got.
pub fn looks_of(life: &ChargeLife, limit_ppm: f64) -> ChargeObservations {
    let points = &life.points;
    let days = by_day(points);
    let was_changed = matches!(life.end, End::Replaced(_));
    let crossing = first_lasting(&days, limit_ppm, was_changed).and_then(|i| {
        let after = days.get(i)?;
        let before = i.checked_sub(1).and_then(|b| days.get(b));
        Some(Crossing {
            between: (
                before.map_or(life.changed_on.unwrap_or(life.seen_from), |b| b.date),
                after.date,
            ),
            litres: (before.map_or(0.0, |b| b.litres), after.litres),
        })
    });
    let litres = life.litres_treated.unwrap_or(0.0);
    let permeate_ppm = newest_median(points, |p| p.permeate_ppm);
    ChargeObservations {
        resin_litres: life.resin_litres.max(0.1),
        district: life.district.clone(),
        hardness_mg_l_caco3: life.hardness_mg_l_caco3,
        crossing,
        litres,
        ppm_litres: life.ppm_litres,
        product_ppm: days.last().map(|p| p.product_ppm),
        litres_since_reading: days.last().map_or(litres, |p| (litres - p.litres).max(0.0)),
        permeate_ppm,
        readings: points.len(),
        counted: life.litres_treated.is_some() && life.changed_on.is_some(),
        changed_in_sight: life.end != End::InUse
            && permeate_ppm.is_some_and(|ppm| ppm >= IN_SIGHT * limit_ppm),
        seen: telling(&days),
    }
}

/// A point for each day: the middle of its product readings, with the uptake and
/// the permeate of the last of them.
fn by_day(points: &[ProductPoint]) -> Vec<ProductPoint> {
    points
        .chunk_by(|a, b| a.date == b.date)
        .filter_map(|day| {
            let mut point = day.last()?.clone();
            point.product_ppm = middle_of(day.iter().map(|p| p.product_ppm))?;
            Some(point)
        })
        .collect()
}

/// The first reading at the limit that a later day's holds up, or that was the
/// last before the charge was changed.
fn first_lasting(days: &[ProductPoint], limit_ppm: f64, was_changed: bool) -> Option<usize> {
    let is_held_up = |i: usize| match days.get(i + 1) {
        Some(next) => next.product_ppm >= HELD_SHARE * limit_ppm,
        None => was_changed,
    };
    (0..days.len())
        .find(|i| days.get(*i).is_some_and(|p| p.product_ppm >= limit_ppm) && is_held_up(*i))
}

/// The readings that tell where the capacity lies: the last one before the rise,
/// and some of those after it, the newest among them.
fn telling(days: &[ProductPoint]) -> Vec<ProductReading> {
    let seen: Vec<ProductReading> = days
        .iter()
        .filter_map(|p| {
            Some(ProductReading {
                product_ppm: p.product_ppm,
                permeate_ppm: p.permeate_ppm?,
                ppm_litres: p.ppm_litres,
                litres: p.litres,
            })
        })
        .collect();
    let low = |s: &ProductReading| {
        s.product_ppm <= LOW_PPM || s.product_ppm <= LOW_SHARE * s.permeate_ppm
    };
    let from = seen.iter().rposition(low).unwrap_or(0);
    let rest = seen.get(from..).unwrap_or_default();
    if rest.len() <= MOST_SEEN {
        return rest.to_vec();
    }
    let even = |i: usize| i * (rest.len() - 1) / (MOST_SEEN - 1);
    (0..MOST_SEEN)
        .filter_map(|i| rest.get(even(i)).copied())
        .collect()
}

/// Likelihood of a charge's readings at each capacity, by the way it ends.
pub type ByCurve = [Values; CURVES];

/// Product over entering, by the logarithm of load over capacity, on steps that are
/// parts of the grid's.
#[derive(Debug)]
pub struct Shares {
    by_curve: Vec<Vec<f64>>,
}

/// Steps of [`Shares`] in one of the grid.
const PARTS: usize = 4;
const LOWEST_LN: f64 = -3.0;
const HIGHEST_LN: f64 = 1.5;

impl Shares {
    pub fn new() -> Shares {
        let step = STEP / PARTS as f64;
        let count = ((HIGHEST_LN - LOWEST_LN) / step) as usize + 1;
        let of = |curve: &super::curve::Curve| {
            (0..count)
                .map(|i| curve.share((LOWEST_LN + step * i as f64).exp()))
                .collect()
        };
        Shares {
            by_curve: ALL.iter().map(of).collect(),
        }
    }

    /// For one way of ending, the share at each capacity of a grid for one load.
    fn along(&self, curve: usize, grid: Grid, ln_load: f64) -> Values {
        let shares = self.by_curve.get(curve).map_or(&[][..], Vec::as_slice);
        let step = STEP / PARTS as f64;
        let first = ((ln_load - grid.low - LOWEST_LN) / step).round() as i64;
        let last = shares.len() as i64 - 1;
        std::array::from_fn(|i| {
            let at = (first - (PARTS * i) as i64).clamp(0, last.max(0));
            shares.get(at as usize).copied().unwrap_or(0.0)
        })
    }
}

impl ChargeObservations {
    /// A charge that has not treated anything yet.
    pub fn fresh(
        resin_litres: f64,
        district: Option<Arc<str>>,
        hardness_mg_l_caco3: f64,
    ) -> ChargeObservations {
        ChargeObservations {
            resin_litres: resin_litres.max(0.1),
            district,
            hardness_mg_l_caco3,
            crossing: None,
            litres: 0.0,
            ppm_litres: 0.0,
            product_ppm: None,
            litres_since_reading: 0.0,
            permeate_ppm: None,
            readings: 0,
            counted: true,
            changed_in_sight: false,
            seen: Vec::new(),
        }
    }

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

    /// Load at the newest reading where it shows more than half of what enters.
    pub fn load_when_spent(&self, share: f64) -> Option<f64> {
        let last = self.seen.last().filter(|_| self.counted)?;
        let spent = last.product_ppm > LOW_PPM && last.product_ppm > 0.5 * last.permeate_ppm;
        spent.then(|| self.load(last.ppm_litres, last.litres, share))
    }

    /// Whether the charge teaches the fleet anything.
    pub fn is_usable_for_fit(&self) -> bool {
        self.counted && !self.seen.is_empty()
    }

    /// Whether all that it has taken up is known.
    pub fn counted(&self) -> bool {
        self.counted
    }

    /// Likelihood of its readings for each way of ending and each capacity; 1
    /// throughout where it says nothing.
    pub fn likelihoods(&self, shares: &Shares, grid: Grid, co2_share: f64) -> Box<ByCurve> {
        let mut all = Box::new([[1.0; POINTS]; CURVES]);
        for seen in &self.seen {
            let load = self.load(seen.ppm_litres, seen.litres, co2_share);
            let ln_load = load.max(1e-6).ln();
            for (n, (values, curve)) in all.iter_mut().zip(&ALL).enumerate() {
                let along = shares.along(n, grid, ln_load);
                let silent = if curve.plateau {
                    PLATEAU_PPM.min(0.75 * seen.permeate_ppm)
                } else {
                    0.0
                };
                wide::widest(Weighing {
                    values,
                    along: &along,
                    seen,
                    silent,
                });
            }
        }
        all
    }

    /// `ln` load at which it was changed, where that may have been because it was spent.
    pub fn ln_load_when_changed(&self, share: f64) -> Option<f64> {
        let load = self.load_now(share);
        (self.counted && self.changed_in_sight && load > 0.0).then(|| load.ln())
    }

    /// Takes away the capacities at which the newest reading would have been at the
    /// limit, where it was read below.
    pub fn not_at_limit_when_read(
        &self,
        all: &mut ByCurve,
        shares: &Shares,
        grid: Grid,
        co2_share: f64,
        limit_ppm: f64,
    ) {
        let Some(last) = self.seen.last().filter(|s| s.product_ppm < limit_ppm) else {
            return;
        };
        let load = self.load(last.ppm_litres, last.litres, co2_share);
        let ln_load = load.max(1e-6).ln();
        for (n, values) in all.iter_mut().enumerate() {
            let along = shares.along(n, grid, ln_load);
            for (value, share) in values.iter_mut().zip(along) {
                if last.permeate_ppm * share >= limit_ppm {
                    *value *= 1e-9;
                }
            }
        }
    }
}

/// Multiplies likelihoods with the density of one reading (Student t with 4 degrees of
/// freedom) where the curve gives such shares of what enters. Below `silent` ppm carbonic
/// acid may read anything.
struct Weighing<'a> {
    values: &'a mut Values,
    along: &'a Values,
    seen: &'a ProductReading,
    silent: f64,
}

impl wide::Loops for Weighing<'_> {
    type Output = ();

    #[inline(always)]
    fn run(self) {
        let higher = |a: f64, b: f64| if a > b { a } else { b };
        let (silent, entering) = (self.silent, self.seen.permeate_ppm);
        let product = higher(self.seen.product_ppm, silent);
        for (value, share) in self.values.iter_mut().zip(self.along) {
            let expected = entering * share;
            let unsure = if expected < silent { 0.5 * silent } else { 0.0 };
            let per_sd = 1.0 / (READING_PPM + READING_SHARE * expected + unsure);
            let z = (product - higher(expected, silent)) * per_sd;
            let r = 1.0 / (1.0 + 0.25 * z * z);
            *value *= 0.375 * r * r * r.sqrt() * per_sd + STRAY;
        }
    }
}
