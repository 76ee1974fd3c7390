//! Suggested intervals for a district, beside the rule of thumb.

use super::cheapest::{Costs, cheapest_age, cost_rate_at};
use super::prefilter::chlorine_days;
use super::prices::DecisionPrices;
use super::resin::NOTICED_IN_TIME;
use super::{AreaAssessment, Suggested, round_to};
use crate::fit::{AreaFit, HORIZON_DAYS};
use crate::lives::FleetLives;
use crate::settings::Settings;
use crate::water;

/// One district's lives, suggestions and what they are worth.
pub fn assess(
    area: &AreaFit,
    lives: &FleetLives,
    prices: &DecisionPrices,
    settings: &Settings,
) -> AreaAssessment {
    let per_day = area.litres_per_week.unwrap_or(0.0) / 7.0;
    let vans: Vec<_> = lives
        .vans
        .iter()
        .filter(|v| v.district.as_ref() == Some(&area.district))
        .collect();
    let recovery = middle(vans.iter().filter_map(|v| v.recovery).collect());
    let feed = middle(vans.iter().filter_map(|v| v.feed_ppm).collect());
    let membranes = middle(
        vans.iter()
            .filter(|v| v.membranes > 0)
            .map(|v| f64::from(v.membranes))
            .collect(),
    );

    let days: Vec<f64> = if per_day > 0.0 {
        area.membrane_life_draws
            .iter()
            .map(|l| l / per_day)
            .collect()
    } else {
        Vec::new()
    };
    let median = days
        .get(days.len() / 2)
        .copied()
        .unwrap_or(HORIZON_DAYS)
        .min(HORIZON_DAYS);
    let running = |d: f64| {
        // A new membrane's salt passage grows evenly on the log scale to the limit.
        let start = 0.025_f64.min(settings.limits.salt_passage);
        let passage = start * (settings.limits.salt_passage / start).powf((d / median).min(1.5));
        let meq = water::KAPPA_MEQ_PER_PPM * feed.unwrap_or(0.0) * passage;
        prices.resin_per_litre * meq / (1000.0 * water::CAPACITY_MEDIAN_EQ_L) * per_day
    };
    let membrane_costs = Costs {
        planned: prices.membrane * membranes.unwrap_or(1.0) + prices.labour,
        unplanned_extra: prices.lost_round,
        running: &running,
    };
    let membrane = cheapest_age(&days, median, &membrane_costs);

    let nothing = |_: f64| 0.0;
    let resin_costs = Costs {
        planned: prices.resin_per_litre * area.resin_litres.unwrap_or(0.0) + prices.labour,
        unplanned_extra: NOTICED_IN_TIME * prices.lost_round,
        running: &nothing,
    };
    let resin_median = area
        .resin_life_draws
        .get(area.resin_life_draws.len() / 2)
        .copied()
        .filter(|l| l.is_finite());
    let resin = resin_median.and_then(|m| cheapest_age(&area.resin_life_draws, m, &resin_costs));
    let prefilter_days = (per_day > 0.0).then(|| {
        settings
            .habits
            .prefilter_days
            .min(chlorine_days(&settings.habits, recovery, per_day))
            .floor()
    });

    let saving = prices.own.then(|| {
        let rule_days = settings.rule_of_thumb.membrane_months * 30.4375;
        let membrane_saving = membrane
            .zip(cost_rate_at(&days, rule_days, &membrane_costs))
            .map(|(ours, rule)| (rule - ours.cost_rate) * 365.25);
        let resin_saving = resin
            .zip(at_the_limit(&area.resin_life_draws, &resin_costs))
            .map(|(ours, rule)| (rule - ours.cost_rate) * per_day * 365.25);
        let set = prices.prefilter + prices.labour;
        let prefilter_saving = prefilter_days.map(|d| {
            set * 365.25 * (1.0 / (7.0 * settings.rule_of_thumb.prefilter_weeks) - 1.0 / d.max(1.0))
        });
        [membrane_saving, resin_saving, prefilter_saving]
            .into_iter()
            .flatten()
            .sum::<f64>()
    });
    AreaAssessment {
        postcode: area.district.to_string(),
        hardness_mg_l_caco3: area.hardness_mg_l_caco3.map(|h| round_to(h, 0.1)),
        vans: area.vans,
        membrane_life_litres: area.membrane_life_litres.map(|l| round_to(l, 100.0)),
        membrane_life_days: area.membrane_life_days.map(f64::round),
        resin_life_litres: area.resin_life_litres.map(|l| round_to(l, 10.0)),
        suggested: Suggested {
            membrane_days: membrane
                .filter(|m| m.age < HORIZON_DAYS * 0.99)
                .map(|m| m.age.round()),
            resin_litres: resin.map(|r| round_to(r.age, 10.0)),
            prefilter_days,
        },
        saving_per_van_year: saving.map(|s| round_to(s, 0.01)),
    }
}

/// Cost per litre of running every charge to its limit.
fn at_the_limit(lives: &[f64], costs: &Costs<'_>) -> Option<f64> {
    let finite: Vec<f64> = lives.iter().copied().filter(|l| l.is_finite()).collect();
    let mean = finite.iter().sum::<f64>() / finite.len() as f64;
    (mean > 0.0).then(|| (costs.planned + costs.unplanned_extra) / mean)
}

fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}
