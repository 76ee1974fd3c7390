//! A membrane's state, suggested day and reason.

use jiff::civil::Date;

use super::cheapest::{Costs, cheapest_age, cheapest_wait};
use super::prices::DecisionPrices;
use super::suspect::{neighbours_feed_shift, suspect};
use super::{
    MembraneAssessment, State, add_days, around, in_words, lead_end, round_to, state_by_date,
};
use crate::fit::{AreaFit, CannotTell, HORIZON_DAYS, MembraneForecast, Span, VanFit};
use crate::lives::{ElementLife, End, FleetLives, Start, VanLives};
use crate::settings::Settings;
use crate::water;

/// Posterior probability of declining faster than 95 % of membranes would, at
/// which the alarm rises, and at which it is pending.
const ALARM: f64 = 0.95;
const PENDING: f64 = 0.75;
/// Readings below which the alarm of creeping decline stays silent.
const ALARM_READINGS: usize = 5;
const STEP_ALARM: f64 = 0.95;
const STEP_RATIO: f64 = 1.4;

pub fn assess(
    van: &VanLives,
    fit: &VanFit,
    area: Option<&AreaFit>,
    lives: &FleetLives,
    prices: &DecisionPrices,
    settings: &Settings,
) -> MembraneAssessment {
    let life = van.elements.last().filter(|e| e.end == End::InUse);
    let fitted_on = life.and_then(|l| l.fitted_on);
    let rule_of_thumb_on =
        fitted_on.map(|d| add_days(d, settings.rule_of_thumb.membrane_months * 30.4375));
    let empty = |reason: String| MembraneAssessment {
        fitted_on,
        litres_made: life
            .and_then(|l| l.litres_made.filter(|_| l.fitted_on.is_some()))
            .map(|l| round_to(l, 1.0)),
        salt_passage: Span::unknown(),
        limit_on: Span::unknown(),
        replace_on: None,
        state: State::Unknown,
        reason,
        suspect: None,
        rule_of_thumb_on,
        readings: life.map_or(0, |l| l.points.len()),
    };
    let (life, forecast) = match (life, &fit.membrane) {
        (Some(life), Ok(forecast)) => (life, forecast),
        (_, Err(why)) => return empty(cannot_tell(why)),
        (None, Ok(_)) => return empty("No membrane is in use on this van.".to_owned()),
    };
    let replace_on = replace_on(van, forecast, area, lives.until, prices, settings);
    let alarm = Alarm::of(forecast);
    let state = match alarm {
        Alarm::Raised => State::FailingEarly,
        Alarm::Pending | Alarm::None => state_by_date(replace_on, lives.as_of, settings)
            .unwrap_or_else(|| {
                let soon = forecast
                    .limit_on
                    .p10
                    .is_some_and(|d| d <= lead_end(lives.as_of, settings));
                if alarm == Alarm::Pending || soon {
                    State::Watch
                } else {
                    State::OnCourse
                }
            }),
    };
    let suspected = matches!(state, State::FailingEarly | State::Watch).then(|| {
        let others = lives
            .vans
            .iter()
            .filter(|v| v.district == van.district && v.van != van.van);
        suspect(van, life, forecast, neighbours_feed_shift(others))
    });
    let reason = reason(
        state,
        life,
        forecast,
        replace_on,
        suspected
            .as_ref()
            .filter(|_| alarm != Alarm::None)
            .map(|s| s.1.as_str()),
        settings,
    );
    MembraneAssessment {
        salt_passage: forecast.salt_passage.map(|s| round_to(s, 0.0001)),
        limit_on: forecast.limit_on,
        replace_on,
        state,
        reason,
        suspect: suspected.map(|s| s.0),
        ..empty(String::new())
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Alarm {
    Raised,
    Pending,
    None,
}

impl Alarm {
    fn of(forecast: &MembraneForecast) -> Alarm {
        let creeping = forecast.readings >= ALARM_READINGS;
        let stepped = forecast.step.filter(|s| s.ratio >= STEP_RATIO);
        if creeping && forecast.p_fast >= ALARM
            || stepped.is_some_and(|s| s.probability >= STEP_ALARM)
        {
            Alarm::Raised
        } else if creeping && forecast.p_fast >= PENDING || stepped.is_some() {
            Alarm::Pending
        } else {
            Alarm::None
        }
    }
}

/// The cheapest day, never after the middle estimate of the limit.
fn replace_on(
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

fn reason(
    state: State,
    life: &ElementLife,
    forecast: &MembraneForecast,
    replace_on: Option<Date>,
    fact: Option<&str>,
    settings: &Settings,
) -> String {
    let holds = forecast.salt_passage.p50.map_or(0.0, |s| 100.0 * (1.0 - s));
    let limit = 100.0 * (1.0 - settings.limits.salt_passage);
    let few = if forecast.readings < 5 {
        format!(
            " Mostly from membranes in similar water: {} reading{} so far.",
            forecast.readings,
            if forecast.readings == 1 { "" } else { "s" }
        )
    } else {
        String::new()
    };
    let start = match life.start {
        Start::Inferred => " It looks replaced without a record.",
        Start::BeforeRecords => " When it was fitted is not on record.",
        Start::Recorded => "",
    };
    let now = format!("It holds back {holds:.1} % of the salts (limit {limit:.0} %)");
    let what = match (state, forecast.limit_on.p50, replace_on) {
        (State::FailingEarly, ..) => format!(
            "{now}, and {}: look before it spots windows.",
            fact.unwrap_or("it declines too fast")
        ),
        (State::Watch, ..) => format!(
            "{now}; {}: read it again soon.",
            fact.unwrap_or("it may reach the limit soon")
        ),
        (_, Some(limit_on), _)
            if forecast.limit_on.p50.is_some()
                && forecast
                    .salt_passage
                    .p50
                    .is_some_and(|s| s >= settings.limits.salt_passage) =>
        {
            let when = around(limit_on, &forecast.limit_on);
            format!("{now}: the limit was passed {when}.")
        }
        (_, Some(_), Some(day)) => {
            let when = around(day, &forecast.limit_on);
            format!("{now}; replacing it {when} costs least.")
        }
        _ => format!("{now} and stays within the limit for years at this use."),
    };
    format!("{what}{start}{few}")
}

/// A sentence for what cannot be told.
pub fn cannot_tell(why: &CannotTell) -> String {
    match why {
        CannotTell::NotFitted => "This van has no membrane.".to_owned(),
        CannotTell::NoSaltPassage => "The tap and the water after the membrane were never read together on this membrane, so its decline cannot be told.".to_owned(),
        CannotTell::NoProductReading => "The water after the resin was never read.".to_owned(),
        CannotTell::NoFillsSince(Some(day)) => format!("No fills recorded since {}, so litres cannot be counted.", in_words(*day)),
        CannotTell::NoFillsSince(None) => "No fills are recorded, so litres cannot be counted.".to_owned(),
        CannotTell::NoHardness => "Nothing tells how hard the water is.".to_owned(),
    }
}
