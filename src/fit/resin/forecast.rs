//! How many litres the charge in use can still polish, with the membrane's own
//! decline ahead of it.

use jiff::civil::Date;

use super::charge::{BREAKTHROUGH_WIDTH, ChargeLooks};
use super::entering::{Course, PermeateAhead};
use super::shared::{ResinDraw, ResinFit};
use crate::fit::horizon::{HORIZON_DAYS, day_span, span_of, span_of_sorted};
use crate::fit::usage::{Season, Usage};
use crate::fit::{Band, DayDraws, Explained, ResinForecast};
use crate::stats::random::Rng;
use crate::water;

/// Draws for each draw of the shared numbers.
const DRAWS_EACH: usize = 50;

/// Steps of a week or so on which the page draws, then ever longer ones.
const PATH_STEPS: usize = 24;
const PATH_DAYS: f64 = 180.0;
const LONGER_BY: f64 = 0.04;
/// From day to day pressure and tap swing by some per cent about the course
/// that is followed in steps of a week: the limit is reached on a bad day,
/// before the middle of it is there.
const DAILY_SWING: f64 = 0.03;

/// One charge's future under one draw.
struct Future<'a> {
    charge: &'a ChargeLooks,
    capacity: f64,
    share: f64,
    /// Hardness of the water ahead, mg/L CaCO3.
    hardness: f64,
}

/// Litres that a van makes from today on.
struct Rate<'a> {
    litres_per_day: f64,
    season: &'a Season,
    /// Today.
    day_of_year: f64,
}

impl Rate<'_> {
    /// Litres in the `days` after day number `from`.
    fn litres(&self, from: f64, days: f64) -> f64 {
        self.litres_per_day * self.season.usual_days(self.day_of_year + from, days)
    }
}

/// Litres and days until the limit; infinite if not within the horizon.
struct Left {
    litres: f64,
    days: f64,
}

impl Future<'_> {
    fn product_ppm(&self, load: f64, permeate_ppm: f64) -> f64 {
        let z = (load / self.capacity - 1.0) / BREAKTHROUGH_WIDTH;
        permeate_ppm / (1.0 + (-z).exp())
    }

    /// Follows the charge until product water reaches the limit. `products`
    /// gets the product water of every step that the page draws.
    fn follow(
        &self,
        mut course: Course<'_>,
        rate: &Rate<'_>,
        limit_ppm: f64,
        rng: &mut Rng,
        products: &mut [Vec<f64>],
    ) -> Left {
        let limit_ppm = limit_ppm * (1.0 - DAILY_SWING);
        let mut load = self.charge.load_now(self.share);
        let co2 = self.share * water::co2_prior_median_mmol_l(self.hardness);
        let mut permeate = course.ppm();
        let mut product = self.product_ppm(load, permeate);
        let (mut day, mut step) = (0.0, 0);
        let mut left = Left {
            litres: f64::INFINITY,
            days: f64::INFINITY,
        };
        if product >= limit_ppm {
            left = Left {
                litres: 0.0,
                days: 0.0,
            };
        }
        loop {
            if let Some(values) = products.get_mut(step) {
                values.push(product);
            }
            let drawn = step + 1 >= products.len();
            if drawn && left.days.is_finite() || day >= HORIZON_DAYS {
                return left;
            }
            let days = if step < PATH_STEPS {
                PATH_DAYS / PATH_STEPS as f64
            } else {
                LONGER_BY * day
            };
            let litres = rate.litres(day, days);
            course.advance(days, litres, rng);
            let (permeate_before, product_before) = (permeate, product);
            permeate = course.ppm();
            load += (water::KAPPA_MEQ_PER_PPM * 0.5 * (permeate + permeate_before) + co2) * litres
                / self.charge.resin_litres;
            product = self.product_ppm(load, permeate);
            if left.days.is_infinite() && product >= limit_ppm {
                let share = (limit_ppm - product_before) / (product - product_before).max(1e-9);
                let days = day + share.clamp(0.0, 1.0) * days;
                if days <= HORIZON_DAYS {
                    left = Left {
                        litres: rate.litres(0.0, days),
                        days,
                    };
                }
            }
            day += days;
            step += 1;
        }
    }
}

/// A draw of the `ln` capacity of this charge: the fleet's spread and the
/// charge's own evidence, on a grid.
fn draw_capacity(charge: &ChargeLooks, draw: &ResinDraw, rng: &mut Rng) -> f64 {
    const GRID: usize = 41;
    let s = &draw.shared;
    let centre = s.ln_capacity + draw.district(charge.district.as_ref(), rng);
    // Wide below and above: a charge may long have outlived the fleet's idea of it.
    let reached = charge.load_now(s.co2_share).max(1e-6).ln();
    let low = centre - 4.0 * s.capacity_sd;
    let high = (centre + 4.0 * s.capacity_sd).max(reached + 2.0 * s.capacity_sd);
    let step = (high - low) / (GRID - 1) as f64;
    let logs: Vec<f64> = (0..GRID)
        .map(|i| {
            let u = low + step * i as f64;
            let z = (u - centre) / s.capacity_sd;
            -0.5 * z * z + charge.own_log_likelihood(u, s.co2_share)
        })
        .collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = logs.iter().map(|l| (l - top).exp()).sum();
    let mut left = rng.uniform() * total;
    for (i, l) in logs.iter().enumerate() {
        left -= (l - top).exp();
        if left <= 0.0 {
            return low + step * (i as f64 + rng.uniform() - 0.5);
        }
    }
    high
}

/// The charge in use, and what its future hangs on.
pub struct Running<'a> {
    pub charge: &'a ChargeLooks,
    pub permeate: &'a PermeateAhead,
    pub usage: &'a Usage,
    pub limit_ppm: f64,
    /// Where the records end and the future begins.
    pub as_of: Date,
    pub changed_on: Option<Date>,
    /// Hardness of the water from now on, mg/L CaCO3.
    pub hardness_ahead: f64,
    /// Seeds the draws: keeps vans independent of each other's presence.
    pub seed_name: &'a str,
}

/// Forecasts the charge in use.
pub fn forecast(fit: &ResinFit, running: &Running<'_>) -> ResinForecast {
    let Running {
        charge,
        permeate,
        usage,
        limit_ppm,
        as_of,
        changed_on,
        hardness_ahead,
        seed_name,
    } = *running;
    let mut rng = Rng::for_part(6, seed_name);
    let mut litres = Vec::with_capacity(fit.draws.len() * DRAWS_EACH);
    let mut days = Vec::with_capacity(litres.capacity());
    let mut products: Vec<Vec<f64>> = vec![Vec::new(); PATH_STEPS + 1];
    let (mut capacities, mut loads) = (Vec::new(), Vec::new());
    let day_of_year = f64::from(as_of.day_of_year());
    for draw in &fit.draws {
        for _ in 0..DRAWS_EACH {
            let future = Future {
                charge,
                capacity: draw_capacity(charge, draw, &mut rng).exp(),
                share: draw.shared.co2_share,
                hardness: hardness_ahead,
            };
            capacities.push(future.capacity);
            loads.push(charge.load_now(future.share));
            let rate = usage.litres_per_day() * usage.factor(rng.normal(), rng.normal(), 0.3);
            let course = permeate.course(litres.len(), day_of_year);
            let rate = Rate {
                litres_per_day: rate,
                season: &usage.season,
                day_of_year,
            };
            let left = future.follow(course, &rate, limit_ppm, &mut rng, &mut products);
            match &charge.crossing {
                Some(crossing) => {
                    let (a, b) = crossing.between;
                    let day = |d: Date| f64::from((d - as_of).get_days());
                    days.push(day(a) + rng.uniform() * (day(b) - day(a)));
                    litres.push(0.0);
                }
                None => {
                    days.push(left.days);
                    litres.push(left.litres);
                }
            }
        }
    }
    // Today's reading is the floor: the curve's foot lies below the plateau.
    let floor = charge.product_ppm.unwrap_or(0.0).min(limit_ppm);
    litres.sort_by(f64::total_cmp);
    days.sort_by(f64::total_cmp);
    let path = products
        .into_iter()
        .enumerate()
        .filter_map(|(i, values)| {
            let day = PATH_DAYS * i as f64 / PATH_STEPS as f64;
            let span = span_of(values.into_iter().map(|v| v.max(floor)));
            let x = as_of.checked_add(jiff::Span::new().days(day as i64)).ok()?;
            Some(Band {
                x,
                p10: span.p10?,
                p50: span.p50?,
                p90: span.p90?,
            })
        })
        .collect();
    ResinForecast {
        litres_left: span_of_sorted(&litres),
        limit_on: day_span(&days, as_of, changed_on),
        limit_draws: DayDraws(days),
        path,
        litres_per_week: usage.litres_per_week,
        permeate_ppm: permeate.ppm_now,
        explained: [
            Some(Explained::known(
                "readings after the resin",
                "",
                charge.readings as f64,
            )),
            Some(Explained::known("resin", "L", charge.resin_litres)),
            Some(Explained::known("litres treated", "L", charge.litres)),
            Some(Explained::known(
                "water entering the resin now",
                "ppm",
                permeate.ppm_now,
            )),
            Explained::of(
                "taken up so far",
                "meq per L of resin",
                loads.into_iter(),
                None,
            ),
            Explained::of(
                "can take up to the limit",
                "meq per L of resin",
                capacities.into_iter(),
                Some(fit.usual_capacity),
            ),
            Some(Explained::known(
                "share of carbon dioxide that counts",
                "",
                fit.usual_share,
            )),
            Some(Explained::known(
                "litres a week from now on",
                "L",
                usage.litres_per_week,
            )),
        ]
        .into_iter()
        .flatten()
        .collect(),
    }
}

/// Lives, in litres, of the next charge (`charge` is fresh), in the order of the shared draws:
/// infinite where the limit is not reached within ten years at that use.
pub fn new_charge_lives(
    fit: &ResinFit,
    charge: &ChargeLooks,
    permeate: &PermeateAhead,
    litres_per_day: f64,
    limit_ppm: f64,
    seed_name: &str,
) -> Vec<f64> {
    let day_of_year = 105.0;
    let rate = Rate {
        litres_per_day,
        season: &Season::EVEN,
        day_of_year,
    };
    let mut rng = Rng::for_part(7, seed_name);
    let mut lives = Vec::with_capacity(fit.draws.len() * DRAWS_EACH);
    for draw in &fit.draws {
        for _ in 0..DRAWS_EACH {
            let own = draw.shared.ln_capacity
                + draw.district(charge.district.as_ref(), &mut rng)
                + draw.shared.capacity_sd * rng.normal();
            let future = Future {
                charge,
                capacity: own.exp(),
                share: draw.shared.co2_share,
                hardness: charge.hardness_mg_l_caco3,
            };
            let course = permeate.course(lives.len(), day_of_year);
            let left = future.follow(course, &rate, limit_ppm, &mut rng, &mut []);
            lives.push(left.litres);
        }
    }
    lives
}
