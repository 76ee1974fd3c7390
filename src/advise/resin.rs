//! A resin charge's state, suggested day and reason.

use super::cheapest::{Costs, cheapest_age, cheapest_wait};
use super::membrane::cannot_tell;
use super::prices::DecisionPrices;
use super::{ResinAssessment, State, add_days, lead_end, litres_in_words, round_to, state_by_date};
use crate::fit::{AreaFit, CannotTell, HORIZON_DAYS, ResinForecast, Span, VanFit};
use crate::lives::{ChargeLife, End, FleetLives, Start, VanLives};
use crate::settings::Settings;

/// Share of a lost round that a charge past its limit costs: the meter tells
/// within days, before the whole round is spoilt (judgement).
pub const NOTICED_IN_TIME: f64 = 0.25;

pub fn assess(
    van: &VanLives,
    fit: &VanFit,
    area: Option<&AreaFit>,
    lives: &FleetLives,
    prices: &DecisionPrices,
    settings: &Settings,
) -> ResinAssessment {
    let life = van.charges.last().filter(|c| c.end == End::InUse);
    let empty = |reason: String| ResinAssessment {
        changed_on: life.and_then(|l| l.changed_on),
        litres_treated: life
            .and_then(|l| l.litres_treated.filter(|_| l.changed_on.is_some()))
            .map(|l| round_to(l, 1.0)),
        litres_left: Span::unknown(),
        limit_on: Span::unknown(),
        replace_on: None,
        state: State::Unknown,
        reason,
    };
    let (life, forecast) = match (life, &fit.resin) {
        (Some(life), Ok(forecast)) => (life, forecast),
        (_, Err(CannotTell::NotFitted)) => return empty("This van has no resin.".to_owned()),
        (_, Err(CannotTell::NoSaltPassage)) => {
            return empty(
                "What enters the resin was never read, so its life cannot be told.".to_owned(),
            );
        }
        (_, Err(why)) => return empty(cannot_tell(why)),
        (None, Ok(_)) => return empty("No resin is in use on this van.".to_owned()),
    };
    let p50 = forecast.limit_on.p50;
    let most = p50.map(|d| f64::from((d - lives.until).get_days()));
    let replace_on = most.map(|most| {
        if most <= 0.0 {
            p50.unwrap_or(lives.until)
        } else {
            add_days(lives.until, wait(life, forecast, area, most, prices))
        }
    });
    let state = state_by_date(replace_on, lives.as_of, settings).unwrap_or_else(|| {
        let soon = forecast
            .limit_on
            .p10
            .is_some_and(|d| d <= lead_end(lives.as_of, settings));
        if soon { State::Watch } else { State::OnCourse }
    });
    ResinAssessment {
        litres_left: forecast.litres_left.map(|l| round_to(l, 10.0)),
        limit_on: forecast.limit_on,
        replace_on,
        state,
        reason: reason(life, forecast, settings),
        ..empty(String::new())
    }
}

/// Days that the charge should still stay.
fn wait(
    life: &ChargeLife,
    forecast: &ResinForecast,
    area: Option<&AreaFit>,
    most: f64,
    prices: &DecisionPrices,
) -> f64 {
    let per_day = forecast.litres_per_week / 7.0;
    let nothing = |_: f64| 0.0;
    let costs = Costs {
        planned: prices.resin_per_litre * life.resin_litres + prices.labour,
        unplanned_extra: NOTICED_IN_TIME * prices.lost_round,
        running: &nothing,
    };
    let new_rate = area
        .filter(|a| !a.resin_life_draws.is_empty() && per_day > 0.0)
        .and_then(|a| {
            let days: Vec<f64> = a.resin_life_draws.iter().map(|l| l / per_day).collect();
            let longest = days
                .iter()
                .rev()
                .copied()
                .find(|d| d.is_finite())
                .unwrap_or(HORIZON_DAYS);
            cheapest_age(&days, longest.min(HORIZON_DAYS), &costs)
        })
        .map(|c| c.cost_rate);
    match new_rate {
        Some(rate) => cheapest_wait(&forecast.limit_draws.0, most, rate, &costs),
        None => most,
    }
}

fn reason(life: &ChargeLife, forecast: &ResinForecast, settings: &Settings) -> String {
    let limit = settings.limits.product_ppm;
    let start = match life.start {
        Start::Inferred => " It looks changed without a record.",
        Start::BeforeRecords => " When it was changed is not on record.",
        Start::Recorded => "",
    };
    let newest = life.points.last().map(|p| p.product_ppm);
    let what = match (forecast.litres_left.p50, newest) {
        (Some(left), Some(ppm)) if left <= 0.0 => format!(
            "Water after the resin read {ppm:.0} ppm: the limit of {limit:.0} ppm is reached."
        ),
        (Some(left), None) if left <= 0.0 => {
            format!("The limit of {limit:.0} ppm is probably reached.")
        }
        (Some(left), _) => {
            let litres = |l: f64| litres_in_words(round_to(l, 100.0));
            let span = match (forecast.litres_left.p10, forecast.litres_left.p90) {
                (Some(a), Some(b)) => {
                    format!(", likely between {} and {}", litres(a), litres(b))
                }
                (Some(a), None) => format!(", likely more than {}", litres(a)),
                _ => String::new(),
            };
            format!("About {} left until {limit:.0} ppm{span}.", litres(left))
        }
        (None, _) if forecast.permeate_ppm < limit => format!(
            "What leaves the membrane ({:.0} ppm) is below the limit of {limit:.0} ppm, so even spent resin keeps within it.",
            forecast.permeate_ppm
        ),
        (None, _) => format!("The limit of {limit:.0} ppm is not in sight at this use."),
    };
    format!("{what}{start}")
}
