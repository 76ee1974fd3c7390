//! A resin charge's state, suggested day and reason.

use super::membrane::cannot_tell;
use super::plan::bottle::{self, Round};
use super::plan::resin::wait;
use super::prices::DecisionPrices;
use super::{
    ResinAssessment, State, Suggested, add_days, in_words, lead_end, litres_in_words, round_to,
    rounded, state_by_date,
};
use crate::calendar::DateExt;
use crate::fit::{AreaFit, CannotTell, ResinForecast, Span, VanFit};
use crate::lives::{ChargeLife, End, Frame, Start, VanLives};
use crate::settings::Settings;

pub fn assess(
    van: &VanLives,
    fit: &VanFit,
    area: Option<&AreaFit>,
    frame: Frame,
    prices: &DecisionPrices,
    settings: &Settings,
    suggested: Option<&Suggested>,
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
        best_bottle: None,
        early: Vec::new(),
    };
    let (life, forecast) = match (life, &fit.resin) {
        (Some(life), Ok(forecast)) => (life, forecast),
        (_, Err(CannotTell::NotFitted)) => return empty("This van has no DI resin.".to_owned()),
        (_, Err(CannotTell::NoSaltPassage)) => {
            return empty(
                "No forecast: membrane TDS, which enters the resin, was never read.".to_owned(),
            );
        }
        (_, Err(why)) => return empty(cannot_tell(why)),
        (None, Ok(_)) => return empty("No DI resin is in use on this van.".to_owned()),
    };
    let p50 = forecast.limit_on.p50;
    let most = p50.map(|d| f64::from(d.days_since(frame.until)));
    let (mut early, mut replace_on) = (Vec::new(), p50);
    if let Some(most) = most.filter(|m| *m > 0.0) {
        let (waiting_days, list) = wait(life.resin_litres, forecast, area, most, prices);
        replace_on = Some(add_days(frame.until, waiting_days));
        early = list;
    }
    let state = state_by_date(replace_on, frame.as_of, settings).unwrap_or_else(|| {
        let soon = forecast
            .limit_on
            .p10
            .is_some_and(|d| d <= lead_end(frame.as_of, settings));
        if soon { State::Watch } else { State::OnCourse }
    });
    ResinAssessment {
        litres_left: forecast.litres_left.map(shown),
        limit_on: forecast.limit_on,
        replace_on,
        state,
        reason: reason(life, forecast, settings),
        best_bottle: best_bottle(van, forecast, area, suggested, prices),
        early,
        ..empty(String::new())
    }
}

fn best_bottle(
    van: &VanLives,
    forecast: &ResinForecast,
    area: Option<&AreaFit>,
    suggested: Option<&Suggested>,
    prices: &DecisionPrices,
) -> Option<bottle::Bottle> {
    // What a district's litre of resin treats, it treats behind a membrane.
    let (area, suggested) = area.zip(suggested).filter(|_| van.membranes > 0)?;
    let round = Round {
        litres_per_day: forecast.litres_per_week / 7.0,
        litres_per_litre: suggested.resin_litres.or(area.resin_life_litres.p50)?
            / area.resin_litres?,
        prefilter_days: suggested.prefilter_days?,
        vessel_litres: van.resin_litres,
    };
    bottle::best(&round, prices)
}

/// Litres left, no finer than they are written.
fn shown(litres: f64) -> f64 {
    round_to(litres, 10.0)
}

fn reason(life: &ChargeLife, forecast: &ResinForecast, settings: &Settings) -> String {
    let limit = settings.limits.product_ppm;
    let start = match life.start {
        Start::Inferred => " No record of the change; it is worked out from the readings.",
        Start::BeforeRecords => " No record of when it was changed.",
        Start::Recorded => "",
    };
    let newest = life.points.last();
    let reached = || life.points.iter().find(|p| p.product_ppm >= limit);
    // as it is shown, so that no page says that 0 L are left
    let span = forecast.litres_left.map(shown);
    let what = match (span.p50, newest) {
        (Some(left), Some(newest)) if left <= 0.0 => match reached() {
            Some(read) => format!(
                "Product TDS read {:.0} ppm on {}: the limit of {limit:.0} ppm is reached. Change it before the next job.",
                read.product_ppm,
                in_words(read.date)
            ),
            None => format!(
                "Product TDS read {:.0} ppm on {}; with the water made since, the limit of {limit:.0} ppm is probably reached, going by earlier refills.",
                newest.product_ppm,
                in_words(newest.date)
            ),
        },
        (Some(left), None) if left <= 0.0 => format!(
            "Product TDS has probably reached its limit of {limit:.0} ppm, going by earlier refills. Test it before the next job."
        ),
        (Some(left), _) => {
            let width = match (span.p10, span.p90) {
                (Some(low), Some(high)) => high - low,
                (Some(low), None) => 2.0 * (left - low),
                _ => 1000.0,
            };
            let litres = |l: f64| litres_in_words(rounded(l, width));
            let span = match (span.p10, span.p90) {
                (Some(a), Some(b)) => {
                    format!(", likely between {} and {}", litres(a), litres(b))
                }
                (Some(a), None) => format!(", likely more than {}", litres(a)),
                _ => String::new(),
            };
            format!("About {} left in this resin{span}.", litres(left))
        }
        (None, _) if forecast.permeate_ppm < limit => format!(
            "Membrane TDS ({:.0} ppm) is below the limit of {limit:.0} ppm, and earlier refills let no more through, so even spent resin is likely to keep within it.",
            forecast.permeate_ppm
        ),
        (None, _) => format!("The limit of {limit:.0} ppm is not in sight at this use."),
    };
    format!("{what}{start}")
}
