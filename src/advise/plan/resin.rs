//! When a resin charge is best changed.

use super::membrane::early;
use super::{Early, even_ages, life_costs};
use crate::advise::prices::DecisionPrices;
use crate::fit::{AreaFit, HORIZON_DAYS, ResinForecast};

/// Share of a lost round that a charge past its limit costs: the meter tells
/// within days, before the whole round is spoilt (judgement).
pub const NOTICED_IN_TIME: f64 = 0.25;

const STEPS: usize = 160;

/// Days that the charge should still stay, at most `most`, and what less costs.
pub fn wait(
    resin_litres: f64,
    forecast: &ResinForecast,
    area: Option<&AreaFit>,
    most: f64,
    prices: &DecisionPrices,
) -> (f64, Vec<Early>) {
    let per_day = forecast.litres_per_week / 7.0;
    let extra = NOTICED_IN_TIME * prices.lost_day;
    let rate = area
        .filter(|_| per_day > 0.0)
        .and_then(|a| next_one(a, resin_litres, prices).map(|rate| rate * per_day));
    let ages = even_ages(most, STEPS);
    let draws = forecast.limit_draws.0.iter().copied();
    match rate.zip(life_costs(draws, &ages, 0.0, extra)) {
        Some((rate, costs)) => {
            let days = costs.cheapest_wait(rate);
            let excess = costs.excess_over(rate);
            let lowest = excess.iter().copied().fold(0.0, f64::min);
            let curve = std::iter::once((0.0, 0.0)).chain(ages.into_iter().zip(excess));
            let curve: Vec<(f64, f64)> = curve.collect();
            (days, early(curve.into_iter(), days, lowest))
        }
        None => (most, Vec::new()),
    }
}

/// Long-run cost per litre of water of charges of that size here, at their best.
fn next_one(area: &AreaFit, resin_litres: f64, prices: &DecisionPrices) -> Option<f64> {
    let size = resin_litres / area.resin_litres.filter(|l| *l > 0.0)?;
    let lives: Vec<f64> = area.resin_life_draws.iter().map(|l| l * size).collect();
    let most = lives.iter().rev().copied().find(|l| l.is_finite())?;
    let per_day = area.litres_per_week.unwrap_or(0.0) / 7.0;
    let most = most.min(per_day * HORIZON_DAYS);
    let costs = life_costs(
        lives.into_iter(),
        &even_ages(most, STEPS),
        prices.resin_per_litre * resin_litres + prices.labour,
        NOTICED_IN_TIME * prices.lost_day,
    )?;
    costs.cheapest().ok().map(|c| c.cost_rate)
}
