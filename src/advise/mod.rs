//! States, dates, intervals and money: the finished assessment.

mod alarm;
mod areas;
mod assessment;
mod cheapest;
mod habits;
mod membrane;
mod prefilter;
mod prices;
mod records;
mod resin;
mod series;
mod sharpen;
mod since;

use jiff::civil::Date;

use crate::fit::FleetFit;
use crate::lives::FleetLives;
use crate::settings::Settings;

pub use alarm::Alarm;
pub use assessment::*;
pub use membrane::alarm_of;
pub use prices::DecisionPrices;
pub use sharpen::{BestReading, Gain, best_reading};
pub use since::{Effect, MonthCost, Moved, Since, Turn, Work, since};

/// Builds the assessment from the fleet's lives and what was fitted to them.
pub fn assess(lives: &FleetLives, fit: &FleetFit, settings: &Settings) -> Assessment {
    let prices = DecisionPrices::of(settings, lives);
    let around = membrane::Around::of(lives, fit);
    let vans = lives
        .vans
        .iter()
        .zip(&fit.vans)
        .map(|(van, van_fit)| {
            let area = fit
                .areas
                .iter()
                .find(|a| Some(&a.district) == van.district.as_ref());
            let prefilter = prefilter::assess(van, settings, lives.as_of);
            VanAssessment {
                van: van.van.to_string(),
                postcode: van.district.as_deref().map(str::to_owned),
                hardness_mg_l_caco3: van.hardness.map(|h| round_to(h.mg_l_caco3, 0.1)),
                hardness_basis: van.hardness.map(|h| h.basis),
                membrane: membrane::assess(van, van_fit, area, &around, &prices, settings),
                resin: resin::assess(van, van_fit, area, lives, &prices, settings),
                prefilter,
                series: series::of_van(van, van_fit),
                explained: VanExplained {
                    membrane: van_fit
                        .membrane
                        .as_ref()
                        .map_or_else(|_| Vec::new(), |m| m.explained.clone()),
                    resin: van_fit
                        .resin
                        .as_ref()
                        .map_or_else(|_| Vec::new(), |r| r.explained.clone()),
                },
                records: records::of_van(van, &around.taps),
                habits: habits::of_van(van, fit, lives.until, settings),
            }
        })
        .collect();
    Assessment {
        schema: "litrewise/assessment/1",
        as_of: lives.as_of,
        limits: settings.limits,
        vans,
        areas: fit
            .areas
            .iter()
            .map(|a| areas::assess(a, lives, &prices, settings))
            .collect(),
        rows: lives.rows,
        parts: fit.parts.iter().map(part).collect(),
        fleet: series::of_fleet(fit, settings),
    }
}

fn part(part: &crate::fit::PartLife) -> PartAssessment {
    PartAssessment {
        part: part.part.to_string(),
        membranes: part.membranes,
        life_over_typical: part.life_over_typical.map(|x| round_to(x, 0.01)),
    }
}

/// The state that a suggested day alone gives, if any.
fn state_by_date(replace_on: Option<Date>, as_of: Date, settings: &Settings) -> Option<State> {
    let day = replace_on?;
    if day < as_of {
        Some(State::Overdue)
    } else if day <= lead_end(as_of, settings) {
        Some(State::Due)
    } else {
        None
    }
}

/// Last day within the notice that a replacement needs.
fn lead_end(as_of: Date, settings: &Settings) -> Date {
    add_days(as_of, f64::from(settings.habits.lead_days))
}

/// `date` plus whole days; the calendar's end where it would run over.
fn add_days(date: Date, days: f64) -> Date {
    date.checked_add(jiff::Span::new().days(days.clamp(-400_000.0, 400_000.0) as i64))
        .unwrap_or(date)
}

/// Rounds to a multiple of `step`: what is printed claims no more than is known.
fn round_to(value: f64, step: f64) -> f64 {
    // Dividing by the inverse keeps 0.1 steps free of binary dust.
    if step < 1.0 {
        (value * (1.0 / step).round()).round() / (1.0 / step).round()
    } else {
        (value / step).round() * step
    }
}

/// A day as people write it: `4 August 2026`.
fn in_words(date: Date) -> String {
    date.strftime("%-d %B %Y").to_string()
}

/// A forecast day, as coarse as its span: day (under 3 weeks), month (under 6
/// months), else year.
fn around(date: Date, span: &Span<Date>) -> String {
    let days = span.p10.zip(span.p90).map(|(a, b)| (b - a).get_days());
    match days {
        Some(days) if days < 21 => format!("around {}", in_words(date)),
        Some(days) if days < 183 => date.strftime("in %B %Y").to_string(),
        _ => date.strftime("in %Y").to_string(),
    }
}

/// Litres as people write them: `5,900 L`.
fn litres_in_words(litres: f64) -> String {
    let digits = format!("{litres:.0}");
    let mut out = String::with_capacity(digits.len() + 4);
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out + " L"
}
