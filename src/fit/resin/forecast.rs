//! How many litres the charge in use can still polish, with the membrane's own
//! decline ahead of it.

use jiff::civil::Date;

use super::charge::{BREAKTHROUGH_WIDTH, ChargeLooks};
use super::shared::{ResinDraw, ResinFit};
use crate::fit::horizon::{HORIZON_DAYS, day_span, span_of, span_of_sorted};
use crate::fit::usage::Usage;
use crate::fit::{Band, DayDraws, ResinForecast};
use crate::stats::random::Rng;
use crate::water;

/// Draws for each draw of the shared numbers.
const DRAWS_EACH: usize = 50;

/// What will enter the resin: the present value, and how it grows, one for
/// each of equally likely futures.
#[derive(Debug, Clone)]
pub struct PermeateAhead {
    pub ppm_now: f64,
    /// The membrane lets through no more than what is fed.
    pub feed_ppm: f64,
    /// Growth of `ln` permeate per litre; empty means it stays.
    pub growth_per_litre: Vec<f64>,
}

/// One charge's future under one draw.
struct Future<'a> {
    charge: &'a ChargeLooks,
    permeate: &'a PermeateAhead,
    growth: f64,
    capacity: f64,
    share: f64,
    load_now: f64,
    co2: f64,
}

impl Future<'_> {
    fn permeate_at(&self, litres: f64) -> f64 {
        (self.permeate.ppm_now * (self.growth * litres).min(20.0).exp())
            .min(self.permeate.feed_ppm.max(self.permeate.ppm_now))
    }

    fn load_at(&self, litres: f64) -> f64 {
        let now = self.permeate.ppm_now;
        let end = self.permeate_at(litres);
        // Exact for growth without a ceiling; with one, its mean.
        let ppm_litres = if self.growth * litres > 1e-6 && end < self.permeate.feed_ppm {
            (end - now) / self.growth
        } else {
            0.5 * (now + end) * litres
        };
        self.load_now
            + (water::KAPPA_MEQ_PER_PPM * ppm_litres + self.share * self.co2 * litres)
                / self.charge.resin_litres
    }

    fn product_at(&self, litres: f64) -> f64 {
        let z = (self.load_at(litres) / self.capacity - 1.0) / BREAKTHROUGH_WIDTH;
        self.permeate_at(litres) / (1.0 + (-z).exp())
    }

    /// Litres until product water reaches the limit; infinite if not before `most`.
    fn litres_to(&self, limit_ppm: f64, most: f64) -> f64 {
        if self.product_at(0.0) >= limit_ppm {
            return 0.0;
        }
        if self.product_at(most) < limit_ppm {
            return f64::INFINITY;
        }
        // Product water only climbs: halve the bracket.
        let (mut low, mut high) = (0.0, most);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if self.product_at(middle) < limit_ppm {
                low = middle
            } else {
                high = middle
            }
        }
        high
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
        seed_name,
    } = *running;
    let mut rng = Rng::for_part(6, seed_name);
    let most = usage.litres_per_day() * HORIZON_DAYS * 1.5;
    let mut litres = Vec::with_capacity(fit.draws.len() * DRAWS_EACH);
    let mut days = Vec::with_capacity(litres.capacity());
    let mut products: Vec<Vec<f64>> = vec![Vec::new(); PATH_STEPS + 1];
    let ahead_days = 180.0;
    let mut count = 0;
    for draw in &fit.draws {
        for _ in 0..DRAWS_EACH {
            let future = Future {
                charge,
                permeate,
                growth: pick(&permeate.growth_per_litre, count),
                capacity: draw_capacity(charge, draw, &mut rng).exp(),
                share: draw.shared.co2_share,
                load_now: charge.load_now(draw.shared.co2_share),
                co2: water::co2_prior_median_mmol_l(charge.hardness_mg_l_caco3),
            };
            count += 1;
            let rate = usage.litres_per_day() * usage.factor(rng.normal(), rng.normal(), 0.3);
            let left = match &charge.crossing {
                Some(crossing) => {
                    let (a, b) = crossing.between;
                    let day = |d: Date| f64::from((d - as_of).get_days());
                    days.push(day(a) + rng.uniform() * (day(b) - day(a)));
                    0.0
                }
                None => {
                    let left = future.litres_to(limit_ppm, most);
                    let when = left / rate;
                    days.push(if when > HORIZON_DAYS {
                        f64::INFINITY
                    } else {
                        when
                    });
                    if when > HORIZON_DAYS {
                        f64::INFINITY
                    } else {
                        left
                    }
                }
            };
            litres.push(left);
            for (i, values) in products.iter_mut().enumerate() {
                let at = rate * ahead_days * i as f64 / PATH_STEPS as f64;
                // Today's reading is the floor: the curve's foot lies below the plateau.
                values.push(
                    future
                        .product_at(at)
                        .max(charge.product_ppm.unwrap_or(0.0).min(limit_ppm)),
                );
            }
        }
    }
    litres.sort_by(f64::total_cmp);
    days.sort_by(f64::total_cmp);
    let path = products
        .into_iter()
        .enumerate()
        .filter_map(|(i, values)| {
            let day = ahead_days * i as f64 / PATH_STEPS as f64;
            let span = span_of(values.into_iter());
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
    }
}

const PATH_STEPS: usize = 24;

fn pick(values: &[f64], index: usize) -> f64 {
    // A stride coprime to the usual counts mixes the futures of membrane and resin.
    values
        .get(index.wrapping_mul(7919) % values.len().max(1))
        .copied()
        .unwrap_or(0.0)
}

/// Sorted lives, in litres, of the next charge (`charge` is fresh): infinite where the limit is
/// not reached within ten years at that use.
pub fn new_charge_lives(
    fit: &ResinFit,
    charge: &ChargeLooks,
    permeate: &PermeateAhead,
    litres_per_day: f64,
    limit_ppm: f64,
    seed_name: &str,
) -> Vec<f64> {
    let mut rng = Rng::for_part(7, seed_name);
    let mut lives = Vec::with_capacity(fit.draws.len() * DRAWS_EACH);
    for draw in &fit.draws {
        for _ in 0..DRAWS_EACH {
            let own = draw.shared.ln_capacity
                + draw.district(charge.district.as_ref(), &mut rng)
                + draw.shared.capacity_sd * rng.normal();
            let future = Future {
                charge,
                permeate,
                growth: pick(&permeate.growth_per_litre, lives.len()),
                capacity: own.exp(),
                share: draw.shared.co2_share,
                load_now: 0.0,
                co2: water::co2_prior_median_mmol_l(charge.hardness_mg_l_caco3),
            };
            lives.push(future.litres_to(limit_ppm, litres_per_day * HORIZON_DAYS));
        }
    }
    lives.sort_by(f64::total_cmp);
    lives
}
