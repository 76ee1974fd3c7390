//! The day a membrane is best replaced.

use jiff::civil::Date;

use crate::advise::add_days;
use crate::advise::cheapest::{Costs, cheapest_age, cheapest_wait};
use crate::advise::prices::DecisionPrices;
use crate::fit::{AreaFit, HORIZON_DAYS, MembraneForecast};
use crate::lives::VanLives;
use crate::settings::Settings;
use crate::water;

/// The cheapest day, never after the middle estimate of the limit.
pub fn replace_on(
    van: &VanLives,
    forecast: &MembraneForecast,
    area: Option<&AreaFit>,
    until: Date,
    prices: &DecisionPrices,
    settings: &Settings,
) -> Option<Date> {
    let p50 = forecast.limit_on.p50;
    let most = p50.map_or(HORIZON_DAYS, |d| f64::from((d - until).get_days()));
    if most <= 0.0 {
        return p50;
    }
    let litres_per_day = forecast.litres_per_week / 7.0;
    let running = |days: f64| {
        let passage = (forecast.ln_now + forecast.growth_per_litre * litres_per_day * days).exp();
        resin_cost_per_litre(van.feed_ppm, passage, prices) * litres_per_day
    };
    let costs = Costs {
        planned: prices.membrane * f64::from(van.membranes.max(1)) + prices.labour,
        unplanned_extra: prices.lost_round,
        running: &running,
    };
    // A new one here: the district's own lives, else this one's distribution.
    let new_rate = area
        .filter(|a| !a.membrane_life_draws.is_empty() && litres_per_day > 0.0)
        .and_then(|a| {
            let days: Vec<f64> = a
                .membrane_life_draws
                .iter()
                .map(|l| l / litres_per_day)
                .collect();
            let median = days
                .get(days.len() / 2)
                .copied()
                .unwrap_or(HORIZON_DAYS)
                .min(HORIZON_DAYS);
            let new_running = |d: f64| {
                resin_cost_per_litre(van.feed_ppm, new_passage(d, median, settings), prices)
                    * litres_per_day
            };
            let costs = Costs {
                planned: costs.planned,
                unplanned_extra: costs.unplanned_extra,
                running: &new_running,
            };
            cheapest_age(&days, 1.5 * median, &costs)
        })
        .map(|c| c.cost_rate);
    let wait = match new_rate {
        Some(rate) => cheapest_wait(&forecast.limit_draws.0, most, rate, &costs),
        None => most,
    };
    // At the horizon without a limit in sight nothing is suggested.
    (p50.is_some() || wait < 0.999 * most).then(|| add_days(until, wait))
}

/// Salt passage of a median new membrane at an age: from 2.5 % to the limit.
fn new_passage(days: f64, median_life: f64, settings: &Settings) -> f64 {
    const NEW: f64 = 0.025;
    let share = (days / median_life).min(1.5);
    NEW * (settings.limits.salt_passage / NEW).max(1.0).powf(share)
}

/// What the membrane lets through burns resin: money per litre of water.
fn resin_cost_per_litre(feed_ppm: Option<f64>, passage: f64, prices: &DecisionPrices) -> f64 {
    let meq_per_litre = water::KAPPA_MEQ_PER_PPM * feed_ppm.unwrap_or(0.0) * passage;
    prices.resin_per_litre * meq_per_litre / (1000.0 * water::CAPACITY_MEDIAN_EQ_L)
}
