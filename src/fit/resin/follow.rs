//! Following many equally likely futures of a charge, step by step, until
//! product water reaches the limit.

// Lanes are counted: arrays of that length side by side.
#![allow(clippy::needless_range_loop)]

use super::capacity::Drawn;
use super::charge::ChargeObservations;
use super::curve;
use super::entering::{PermeateAhead, PermeateDraw, USUAL_C, knot_at};
use crate::fit::horizon::HORIZON_DAYS;
use crate::fit::usage::Season;
use crate::lives::TapSeason;
use crate::stats::random::{Rng, mirrored_normals};
use crate::stats::wide;
use crate::water;

/// Steps of a week or so on which the page draws, then ever longer ones.
pub const PATH_STEPS: usize = 24;
pub const PATH_DAYS: f64 = 180.0;
const LONGER_BY: f64 = 0.04;
/// From day to day pressure and tap swing by some per cent about the course
/// that is followed in steps of a week: the limit is reached on a bad day,
/// before the middle of it is there.
const DAILY_SWING: f64 = 0.03;
/// Days after which a tap's strength is forgotten: sources are mixed anew in
/// some weeks (judgement).
const STRENGTH_MEMORY_DAYS: f64 = 45.0;
/// Futures that are followed side by side.
const ABREAST: usize = 16;

/// One step of time.
#[derive(Debug, Clone, Copy)]
struct Step {
    /// When it begins, days from today.
    day: f64,
    days: f64,
    /// What is left of a tap's strength at its end.
    keep: f64,
}

fn steps() -> impl Iterator<Item = Step> {
    let mut day = 0.0;
    let mut n = 0;
    std::iter::from_fn(move || {
        if day >= HORIZON_DAYS {
            return None;
        }
        let days = if n < PATH_STEPS {
            PATH_DAYS / PATH_STEPS as f64
        } else {
            LONGER_BY * day
        };
        let step = Step {
            day,
            days,
            keep: (-days / STRENGTH_MEMORY_DAYS).exp(),
        };
        day += days;
        n += 1;
        Some(step)
    })
}

/// The chance in all futures, the same for every charge, so that two of them differ
/// by what they are: standard normal draws for each step, for the tap's wander.
#[derive(Debug, Clone)]
pub struct Chance {
    futures: usize,
    /// By step, then future.
    tap: Vec<f64>,
}

impl Chance {
    /// For so many futures under each draw of the shared numbers.
    pub fn new(shared_draws: usize, each: usize) -> Chance {
        let mut rng = Rng::for_part(6, "what comes to resin");
        let mut tap = Vec::new();
        for _ in steps() {
            tap.extend(mirrored_normals(&mut rng, shared_draws, each));
        }
        Chance {
            futures: shared_draws * each,
            tap,
        }
    }

    /// Of a step, for the futures from `first` on.
    #[inline(always)]
    fn at(&self, step: usize, first: usize) -> &[f64] {
        let from = step * self.futures + first;
        self.tap
            .get(from..(from + ABREAST).min(self.tap.len()))
            .unwrap_or(&[])
    }
}

/// What is drawn of one future.
#[derive(Debug, Clone, Copy)]
pub struct Future {
    pub drawn: Drawn,
    /// Share of carbon dioxide that counts.
    pub share: f64,
    pub litres_per_day: f64,
}

/// A charge and what its futures have in common.
pub struct ChargeAhead<'a> {
    pub charge: &'a ChargeObservations,
    /// Hardness of the water ahead, mg/L CaCO3.
    pub hardness: f64,
    pub permeate: &'a PermeateAhead,
    pub season: &'a Season,
    /// Today.
    pub day_of_year: f64,
    pub limit_ppm: f64,
    pub chance: &'a Chance,
    /// Which draw of the permeate each future meets: of one order all are equally
    /// likely, so that strata of membrane and resin are mixed.
    pub order: Vec<usize>,
}

/// When the limit is reached; infinite if not within the horizon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    pub litres: f64,
    pub days: f64,
}

/// What the van and its tap bring in each step, whatever the future.
struct Times {
    steps: Vec<Step>,
    /// Usual days of the van's use.
    usual_days: Vec<f64>,
    /// The tap against its middle of the year at the end of each step, °C, and at
    /// the beginning of the first.
    warmer_c: Vec<f64>,
    warmer_now_c: f64,
}

impl Times {
    fn of(season: &Season, tap: &TapSeason, day_of_year: f64) -> Times {
        let steps: Vec<Step> = steps().collect();
        Times {
            usual_days: steps
                .iter()
                .map(|s| season.usual_days(day_of_year + s.day, s.days))
                .collect(),
            warmer_c: steps
                .iter()
                .map(|s| tap.on(day_of_year + s.day + s.days) - USUAL_C)
                .collect(),
            warmer_now_c: tap.on(day_of_year) - USUAL_C,
            steps,
        }
    }
}

/// Futures side by side, a column for each quantity.
struct FutureBatch {
    /// What lets salts through, and the litres made since today.
    trajectories: [PermeateDraw; ABREAST],
    litres: [f64; ABREAST],
    per_c: [f64; ABREAST],
    strength: [f64; ABREAST],
    litres_per_day: [f64; ABREAST],
    load: [f64; ABREAST],
    per_capacity: [f64; ABREAST],
    per_width: [f64; ABREAST],
    over: [f64; ABREAST],
    co2: [f64; ABREAST],
    permeate: [f64; ABREAST],
    product: [f64; ABREAST],
    days: [f64; ABREAST],
}

impl ChargeAhead<'_> {
    /// Follows every future, in their order. `products` gets the product water of
    /// every step that the page draws, by step and future; it may be empty.
    pub fn follow(&self, futures: &[Future], products: &mut [Vec<f64>]) -> Vec<Left> {
        let times = Times::of(self.season, &self.permeate.season, self.day_of_year);
        let mut left = Vec::with_capacity(futures.len());
        for (n, part) in futures.chunks(ABREAST).enumerate() {
            let first = n * ABREAST;
            let days = wide::widest(Following {
                ahead: self,
                futures: part,
                first,
                times: &times,
                products: &mut *products,
            });
            left.extend(part.iter().zip(days).map(|(future, days)| Left {
                litres: if days.is_finite() {
                    future.litres_per_day * self.season.usual_days(self.day_of_year, days)
                } else {
                    f64::INFINITY
                },
                days,
            }));
        }
        left
    }

    fn start(&self, futures: &[Future], first: usize) -> FutureBatch {
        let zero = [0.0; ABREAST];
        let mut now = FutureBatch {
            trajectories: [self.permeate.draw(0); ABREAST],
            litres: zero,
            per_c: zero,
            strength: [self.permeate.strength_now; ABREAST],
            litres_per_day: [1.0; ABREAST],
            load: zero,
            per_capacity: [1.0; ABREAST],
            per_width: [1.0; ABREAST],
            over: [1.0; ABREAST],
            co2: zero,
            permeate: zero,
            product: zero,
            days: [f64::INFINITY; ABREAST],
        };
        let gas = water::co2_prior_median_mmol_l(self.hardness);
        for (i, future) in futures.iter().enumerate().take(ABREAST) {
            let met = self.order.get((first + i) % self.order.len().max(1));
            let draw = self.permeate.draw(met.copied().unwrap_or(0));
            now.trajectories[i] = draw;
            now.per_c[i] = draw.per_c;
            now.litres_per_day[i] = future.litres_per_day;
            now.load[i] = self.charge.load_now(future.share);
            now.per_capacity[i] = 1.0 / future.drawn.capacity;
            now.per_width[i] = 1.0 / future.drawn.width;
            now.over[i] = future.drawn.over;
            now.co2[i] = future.share * gas;
        }
        now
    }
}

/// Some futures that are followed side by side.
struct Following<'a> {
    ahead: &'a ChargeAhead<'a>,
    futures: &'a [Future],
    /// Number of the first of them.
    first: usize,
    times: &'a Times,
    products: &'a mut [Vec<f64>],
}

impl wide::Loops for Following<'_> {
    /// Days until the limit.
    type Output = [f64; ABREAST];

    #[inline(always)]
    fn run(self) -> [f64; ABREAST] {
        let Following {
            ahead,
            futures,
            first,
            times,
            products,
        } = self;
        let limit_ppm = ahead.limit_ppm * (1.0 - DAILY_SWING);
        let feed_ppm = ahead.permeate.feed_ppm;
        let per_resin = 1.0 / ahead.charge.resin_litres;
        let mut now = ahead.start(futures, first);
        for i in 0..ABREAST {
            let ln =
                now.trajectories[i].ln_ppm[0] + now.per_c[i] * times.warmer_now_c + now.strength[i];
            now.permeate[i] = smaller(wide::exp(ln), feed_ppm);
            let taken = now.load[i] * now.per_capacity[i];
            now.product[i] = now.permeate[i] * curve::share(taken, now.per_width[i], now.over[i]);
            if now.product[i] >= limit_ppm {
                now.days[i] = 0.0;
            }
        }
        let of_times = times
            .steps
            .iter()
            .zip(&times.usual_days)
            .zip(&times.warmer_c);
        for (n, ((step, &usual_days), &warmer_c)) in of_times.enumerate() {
            if let Some(values) = products.get_mut(n) {
                let seen = now.product.iter().take(futures.len());
                values.extend(seen);
            }
            let drawn = n + 1 >= products.len();
            let done = now.days.iter().take(futures.len()).all(|d| d.is_finite());
            if drawn && done {
                break;
            }
            let fresh = ahead.permeate.strength_sd * (1.0 - step.keep * step.keep).sqrt();
            let mut chance = [0.0; ABREAST];
            let of_tap = ahead.chance.at(n, first);
            chance.iter_mut().zip(of_tap).for_each(|(to, z)| *to = *z);
            advance(
                &mut now,
                &chance,
                &Moving {
                    day: step.day,
                    days: step.days,
                    usual_days,
                    warmer_c,
                    keep: step.keep,
                    fresh,
                    limit_ppm,
                    feed_ppm,
                    per_resin,
                },
            );
        }
        now.days
    }
}

/// What one step is like for all futures.
struct Moving {
    day: f64,
    days: f64,
    usual_days: f64,
    warmer_c: f64,
    keep: f64,
    fresh: f64,
    limit_ppm: f64,
    feed_ppm: f64,
    per_resin: f64,
}

#[inline(always)]
fn advance(now: &mut FutureBatch, of_tap: &[f64; ABREAST], by: &Moving) {
    let mut trajectories = [0.0; ABREAST];
    for i in 0..ABREAST {
        now.litres[i] += now.litres_per_day[i] * by.usual_days;
        trajectories[i] = knot_at(now.litres[i]);
    }
    for i in 0..ABREAST {
        trajectories[i] = now.trajectories[i].ln_ppm_at(trajectories[i]);
    }
    for i in 0..ABREAST {
        let litres = now.litres_per_day[i] * by.usual_days;
        let strength = by.keep * now.strength[i] + by.fresh * of_tap[i];
        let ln = trajectories[i] + now.per_c[i] * by.warmer_c + strength;
        let permeate = smaller(wide::exp(ln), by.feed_ppm);
        let per_litre = water::KAPPA_MEQ_PER_PPM * 0.5 * (permeate + now.permeate[i]) + now.co2[i];
        let load = now.load[i] + per_litre * litres * by.per_resin;
        let taken = load * now.per_capacity[i];
        let product = permeate * curve::share(taken, now.per_width[i], now.over[i]);
        let rise = product - now.product[i];
        let share = (by.limit_ppm - now.product[i]) / if rise > 1e-9 { rise } else { 1e-9 };
        let share = if share < 0.0 { 0.0 } else { share };
        let day = by.day + smaller(share, 1.0) * by.days;
        let reached = product >= by.limit_ppm && day <= HORIZON_DAYS;
        let first = if reached { day } else { f64::INFINITY };
        now.days[i] = smaller(now.days[i], first);
        now.strength[i] = strength;
        now.permeate[i] = permeate;
        now.load[i] = load;
        now.product[i] = product;
    }
}

#[inline(always)]
fn smaller(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}
