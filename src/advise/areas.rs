//! Suggested intervals for a district, beside the rule of thumb.

use super::plan::ResinBurn;
use super::plan::district::{District, Policy};
use super::prefilter::chlorine_days;
use super::prices::DecisionPrices;
use super::{AreaAssessment, CostPer1000Litres, Suggested, round_to};
use crate::fit::{AreaFit, HORIZON_DAYS, Plant, Span, middle_of};
use crate::settings::Settings;

/// One district's lives, suggestions and what they are worth; `vans`: those based there.
pub fn assess(
    area: &AreaFit,
    vans: &[&Plant],
    prices: &DecisionPrices,
    settings: &Settings,
) -> AreaAssessment {
    let per_day = area.litres_per_week.unwrap_or(0.0) / 7.0;
    let recovery = middle_of(vans.iter().filter_map(|v| v.recovery));
    let feed_ppm = middle_of(vans.iter().filter_map(|v| v.feed_ppm));
    let district = District {
        area,
        prices,
        burn: ResinBurn::of(
            prices,
            area.resin_litres.unwrap_or(0.0),
            feed_ppm,
            area.hardness_mg_l_caco3,
            area.resin_use,
        ),
        recovery: recovery.unwrap_or(settings.running.recovery),
        litres_per_day: per_day,
    };
    let horizon = per_day * HORIZON_DAYS;
    let membrane_life = middle_of(area.membrane_life_draws.iter().copied())
        .map(|l| l.min(horizon))
        .filter(|l| *l > 0.0);
    let membrane = membrane_life.and_then(|most| district.cheapest_membrane(most));
    let resin = middle_of(area.resin_life_draws.iter().copied())
        .filter(|l| l.is_finite() && *l > 0.0)
        .and_then(|most| district.cheapest_resin(most));
    let prefilter_days = (per_day > 0.0).then(|| {
        settings
            .running
            .prefilter_days
            .min(chlorine_days(&settings.running, recovery, per_day))
            .floor()
    });
    let cheapest = Policy {
        membrane_litres: membrane,
        resin_litres: resin,
        prefilter_days,
    };
    let rule = Policy {
        membrane_litres: membrane
            .map(|_| settings.usual_interval.membrane_months * 30.4375 * per_day),
        resin_litres: None,
        prefilter_days: prefilter_days.map(|_| 7.0 * settings.usual_interval.prefilter_weeks),
    };
    // Where intervals of its own save nothing over the usual ones, those stand.
    let usual_membrane = rule
        .membrane_litres
        .filter(|l| membrane_life.is_some_and(|most| *l <= most));
    let saving = district.saving(&cheapest, &rule);
    let (ours, saving) = if saving.is_none_or(|s| s.0 >= 0.0) {
        (cheapest, saving)
    } else {
        let ours = district.cheapest_of(
            &cheapest,
            &[membrane, usual_membrane.or(membrane)],
            &[resin, None],
        );
        (ours, district.saving(&ours, &rule))
    };
    let (membrane, resin) = (ours.membrane_litres, ours.resin_litres);
    let with_money = prices.own && per_day > 0.0;
    let saving = saving.filter(|_| with_money);
    let per_1000 = |policy: &Policy| {
        with_money
            .then(|| district.per_1000(policy, &ours))
            .flatten()
            .map(rounded)
    };
    let vessel = area.resin_litres.filter(|l| *l > 0.0);
    AreaAssessment {
        postcode: area.district.to_string(),
        hardness_mg_l_caco3: area.hardness_mg_l_caco3.map(|h| round_to(h, 0.1)),
        vans: area.vans,
        litres_per_week: area.litres_per_week.map(|l| round_to(l, 10.0)),
        membrane_life_litres: area.membrane_life_litres.map(|l| round_to(l, 100.0)),
        membrane_life_days: area.membrane_life_days.map(f64::round),
        resin_life_litres: area.resin_life_litres.map(|l| round_to(l, 10.0)),
        suggested: Suggested {
            membrane_days: membrane
                .map(|l| l / per_day)
                .filter(|days| *days < HORIZON_DAYS * 0.99)
                .map(f64::round),
            resin_litres: resin.map(|l| round_to(l, 10.0)),
            prefilter_days,
        },
        saving_per_van_year: saving.map(|s| round_to(s.0, 0.01)),
        saving_span: saving.map_or_else(Span::unknown, |s| s.1.map(|x| round_to(x, 0.01))),
        cost_per_1000_litres: per_1000(&ours),
        rule_cost_per_1000_litres: per_1000(&rule),
        litres_per_litre_of_resin: vessel.map_or_else(Span::unknown, |v| {
            area.resin_life_litres.map(|l| round_to(l / v, 1.0))
        }),
    }
}

fn rounded(cost: CostPer1000Litres) -> CostPer1000Litres {
    let cents = |x: f64| round_to(x, 0.01);
    CostPer1000Litres {
        membrane: cents(cost.membrane),
        resin: cents(cost.resin),
        prefilters: cents(cost.prefilters),
        lost_rounds: cents(cost.lost_rounds),
        water: cost.water.map(cents),
        total: cents(cost.total),
    }
}
