//! States, dates, intervals and money: the finished assessment.

mod alarm;
mod areas;
mod assessment;
mod due;
mod habits;
mod membrane;
mod money;
mod plan;
mod prefilter;
mod prices;
mod records;
mod resin;
mod series;
mod sharpen;
mod since;
pub mod what_if;

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::Date;
use rayon::prelude::*;

use crate::fit::{AreaFit, FleetFit, VanFit};
use crate::lives::{FleetLives, VanLives};
use crate::settings::Settings;
use money::CostsAhead;
use plan::ahead::VanAhead;
use plan::membrane::NextOnes;
use plan::parts::{MonthOf, PartsByMonth};

pub use alarm::Alarm;
pub use assessment::*;
pub use due::{Job, jobs, stood_still};
pub use membrane::alarm_of;
pub use prices::DecisionPrices;
pub use sharpen::{BestReading, Gain, best_reading};
pub use since::{Effect, MonthCost, Moved, Since, Turn, Work, since};

/// Builds the assessment from the fleet's lives and what was fitted to them.
pub fn assess(lives: &FleetLives, fit: &FleetFit, settings: &Settings) -> Assessment {
    let prices = DecisionPrices::of(settings, lives);
    let around = membrane::Around::of(lives, fit);
    let by_district = by_district(lives);
    let areas: Vec<(AreaAssessment, NextOnes)> = fit
        .areas
        .par_iter()
        .map(|area| {
            let vans = by_district
                .get(&area.district)
                .map_or(&[][..], Vec::as_slice);
            (
                areas::assess(area, vans, &prices, settings),
                NextOnes::of(area, vans.iter().map(|van| van.membranes)),
            )
        })
        .collect();
    let here: BTreeMap<&Arc<str>, Here<'_>> = fit
        .areas
        .iter()
        .zip(&areas)
        .map(|(area, (assessed, next))| {
            (
                &area.district,
                Here {
                    area,
                    assessed,
                    next,
                },
            )
        })
        .collect();
    let month_of = MonthOf::new(lives.as_of, settings.habits.order_days);
    // Summed in shares of so many vans, whatever the number of threads: the sums
    // hang on it.
    const TOGETHER: usize = 32;
    let shares: Vec<(Vec<VanAssessment>, PartsByMonth, CostsAhead)> = lives
        .vans
        .par_chunks(TOGETHER)
        .zip(fit.vans.par_chunks(TOGETHER))
        .map(|(vans, fits)| {
            let (mut parts, mut costs) = (PartsByMonth::none(), CostsAhead::default());
            let assessed = vans.iter().zip(fits).map(|(van, van_fit)| {
                let here = van.district.as_ref().and_then(|d| here.get(d)).copied();
                let (assessed, ahead) =
                    assess_van(van, van_fit, here, &around, lives, fit, &prices, settings);
                ahead.add_parts(&month_of, &mut parts);
                costs.add_van(van, &ahead, &prices, settings);
                assessed
            });
            (assessed.collect(), parts, costs)
        })
        .collect();
    let (mut parts, mut costs) = (PartsByMonth::none(), CostsAhead::default());
    let mut vans = Vec::with_capacity(lives.vans.len());
    for (assessed, of_share, costs_of_share) in shares {
        vans.extend(assessed);
        parts.add(&of_share);
        costs.add(costs_of_share);
    }
    Assessment {
        schema: "litrewise/assessment/1",
        as_of: lives.as_of,
        limits: settings.limits,
        vans,
        areas: areas.into_iter().map(|(area, _)| area).collect(),
        rows: lives.rows,
        parts: fit.parts.iter().map(part).collect(),
        fleet: series::of_fleet(fit, settings),
        parts_to_order: if lives.vans.is_empty() {
            Vec::new()
        } else {
            plan::parts::parts_to_order(&parts, lives.as_of)
        },
        money: money::money(lives, costs, &prices, settings),
        saved_visit: prices.saved_visit(),
    }
}

fn part(part: &crate::fit::PartLife) -> PartAssessment {
    PartAssessment {
        part: part.part.to_string(),
        membranes: part.membranes,
        life_over_typical: part.life_over_typical.map(|x| round_to(x, 0.01)),
    }
}

/// What is known of the district in which a van is based.
#[derive(Clone, Copy)]
struct Here<'a> {
    area: &'a AreaFit,
    assessed: &'a AreaAssessment,
    next: &'a NextOnes,
}

/// The vans in service of each district, in order of name.
fn by_district(lives: &FleetLives) -> BTreeMap<Arc<str>, Vec<&VanLives>> {
    let mut by_district: BTreeMap<Arc<str>, Vec<&VanLives>> = BTreeMap::new();
    for van in &lives.vans {
        if let Some(district) = &van.district {
            by_district.entry(district.clone()).or_default().push(van);
        }
    }
    by_district
}

/// One van, and its coming year.
#[allow(clippy::too_many_arguments)]
fn assess_van(
    van: &VanLives,
    van_fit: &VanFit,
    here: Option<Here<'_>>,
    around: &membrane::Around,
    lives: &FleetLives,
    fit: &FleetFit,
    prices: &DecisionPrices,
    settings: &Settings,
) -> (VanAssessment, VanAhead) {
    let area = here.map(|h| h.area);
    let suggested = here.map(|h| &h.assessed.suggested);
    let district = (area, here.map(|h| h.next));
    let membrane = membrane::assess(van, van_fit, district, around, fit, prices, settings);
    let resin = resin::assess(van, van_fit, area, lives, prices, settings, suggested);
    let wear = prefilter::Wear {
        late: fit.late_wear.value,
        membrane_per_litre: here
            .and_then(|h| h.assessed.cost_per_1000_litres)
            .map(|c| c.membrane / 1000.0),
    };
    let prefilter = prefilter::assess(van, settings, lives.as_of, prices, &wear);
    let ahead = plan::ahead::Year {
        van,
        fit: van_fit,
        area: area.zip(suggested),
        membrane_on: membrane.replace_on,
        resin_on: resin.replace_on,
        prefilter: &prefilter,
        as_of: lives.as_of,
        until: lives.until,
    }
    .simulate();
    let explained = VanExplained {
        membrane: van_fit
            .membrane
            .as_ref()
            .map_or_else(|_| Vec::new(), |m| m.explained.clone()),
        resin: van_fit
            .resin
            .as_ref()
            .map_or_else(|_| Vec::new(), |r| r.explained.clone()),
    };
    let assessed = VanAssessment {
        van: van.van.to_string(),
        postcode: van.district.as_deref().map(str::to_owned),
        hardness_mg_l_caco3: van.hardness.map(|h| round_to(h.mg_l_caco3, 0.1)),
        hardness_basis: van.hardness.map(|h| h.basis),
        membrane,
        resin,
        prefilter,
        series: series::of_van(van, van_fit),
        explained,
        records: records::of_van(van, &around.taps),
        habits: habits::of_van(van, fit, lives.until, settings),
    };
    (assessed, ahead)
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
