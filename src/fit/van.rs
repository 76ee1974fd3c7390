//! One van: its looks for the fleet step, and its forecasts after it.

use jiff::civil::Date;

use super::membrane::{self, ElementDraws, ElementLooks, SharedFit};
use super::resin::{self, ChargeLooks, PermeateAhead, ResinFit};
use super::usage::{Usage, usage_of};
use super::{CannotTell, MembraneForecast, ResinForecast, VanFit};
use crate::lives::{ElementLife, End, VanLives};
use crate::settings::{Limits, Settings};

/// Hardness where nothing in the fleet tells: the middle of what is common.
const ASSUMED_HARDNESS: f64 = 150.0;

/// What one van gives to the fleet step.
#[derive(Debug, Clone)]
pub struct VanLooks {
    pub usage: Usage,
    pub hardness: Option<f64>,
    /// As `VanLives::elements` and `VanLives::charges`.
    pub elements: Vec<ElementLooks>,
    pub charges: Vec<ChargeLooks>,
}

impl VanLooks {
    pub fn of(van: &VanLives, fleet_week: Option<f64>, limits: &Limits, as_of: Date) -> VanLooks {
        let usage = usage_of(van, fleet_week);
        let hardness = van.hardness.map(|h| h.mg_l_caco3);
        let elements = van
            .elements
            .iter()
            .map(|e| {
                membrane::looks_of(
                    e,
                    hardness.unwrap_or(ASSUMED_HARDNESS),
                    usage.litres_per_day(),
                    as_of,
                )
            })
            .collect();
        let charges = van
            .charges
            .iter()
            .map(|c| resin::looks_of(c, limits.product_ppm))
            .collect();
        VanLooks {
            usage,
            hardness,
            elements,
            charges,
        }
    }
}

/// A van's forecasts, with what the fleet's charts and areas take from them.
#[derive(Debug, Clone)]
pub struct VanForecast {
    pub fit: VanFit,
    pub usage: Usage,
    /// Litres from now until the membrane's limit, median; negative if past.
    pub litres_to_limit_p50: Option<f64>,
    /// What enters the resin.
    pub permeate: Option<PermeateAhead>,
}

pub fn forecast(
    van: &VanLives,
    looks: &VanLooks,
    membrane_fit: &SharedFit,
    resin_fit: &ResinFit,
    settings: &Settings,
    as_of: Date,
) -> VanForecast {
    let drawn = in_use(van, looks, membrane_fit, settings, as_of);
    let permeate = permeate_ahead(van, looks, drawn.as_ref().ok().map(|d| &d.0));
    let resin = resin_forecast(van, looks, resin_fit, permeate.as_ref(), settings, as_of);
    let litres_to_limit_p50 = drawn.as_ref().ok().and_then(|(draws, _)| {
        let mut litres: Vec<f64> = draws
            .draws
            .iter()
            .map(|d| {
                if d.days_to_limit < 0.0 {
                    d.days_to_limit * d.litres_per_day
                } else {
                    d.litres_to_limit
                }
            })
            .collect();
        litres.sort_by(f64::total_cmp);
        litres.get(litres.len() / 2).copied()
    });
    VanForecast {
        fit: VanFit {
            van: van.van.clone(),
            membrane: drawn.map(|d| d.1),
            resin,
        },
        usage: looks.usage,
        litres_to_limit_p50,
        permeate,
    }
}

/// Draws and forecast of the element in use.
fn in_use(
    van: &VanLives,
    looks: &VanLooks,
    fit: &SharedFit,
    settings: &Settings,
    as_of: Date,
) -> Result<(ElementDraws, MembraneForecast), CannotTell> {
    if van.membranes == 0 {
        return Err(CannotTell::NotFitted);
    }
    let (life, element): (&ElementLife, &ElementLooks) = van
        .elements
        .last()
        .filter(|e| e.end == End::InUse)
        .zip(looks.elements.last())
        .ok_or(CannotTell::NoSaltPassage)?;
    // A new element without readings is forecast from the fleet; one that was
    // there before the records, and never read, cannot be.
    if element.is_empty() && life.fitted_on.is_none() {
        return Err(CannotTell::NoSaltPassage);
    }
    let element = membrane::InUse {
        life,
        looks: element,
        base_hardness: looks.hardness.unwrap_or(ASSUMED_HARDNESS),
        usage: &looks.usage,
        ln_limit: settings.limits.salt_passage.ln(),
        as_of,
        seed_name: &van.van,
    };
    let draws = membrane::draws_of(fit, &element);
    let forecast = membrane::forecast(&draws, fit, &element);
    Ok((draws, forecast))
}

/// What enters the resin now and later: read, or feed times salt passage.
fn permeate_ahead(
    van: &VanLives,
    looks: &VanLooks,
    draws: Option<&ElementDraws>,
) -> Option<PermeateAhead> {
    if van.membranes == 0 {
        let feed_ppm = van.feed_ppm?;
        return Some(PermeateAhead {
            ppm_now: feed_ppm,
            feed_ppm,
            growth_per_litre: Vec::new(),
        });
    }
    let read = van.elements.last().and_then(|e| {
        let mut newest: Vec<f64> = e
            .points
            .iter()
            .rev()
            .take(5)
            .map(|p| p.permeate_ppm)
            .collect();
        newest.sort_by(f64::total_cmp);
        newest.get(newest.len() / 2).copied()
    });
    let passage = draws.map(|d| {
        let mut ln: Vec<f64> = d.draws.iter().map(|d| d.ln_now).collect();
        ln.sort_by(f64::total_cmp);
        ln.get(ln.len() / 2).copied().unwrap_or(f64::NAN).exp()
    });
    let seen_at_resin = looks.charges.last().and_then(|c| c.permeate_ppm);
    let ppm_now = read
        .or(seen_at_resin)
        .or_else(|| Some(van.feed_ppm? * passage?))?;
    Some(PermeateAhead {
        ppm_now,
        feed_ppm: van.feed_ppm.unwrap_or(ppm_now / 0.04).max(ppm_now),
        growth_per_litre: draws.map_or_else(Vec::new, |d| {
            d.draws.iter().map(|d| d.growth_per_litre).collect()
        }),
    })
}

fn resin_forecast(
    van: &VanLives,
    looks: &VanLooks,
    fit: &ResinFit,
    permeate: Option<&PermeateAhead>,
    settings: &Settings,
    as_of: Date,
) -> Result<ResinForecast, CannotTell> {
    if van.resin_litres <= 0.0 {
        return Err(CannotTell::NotFitted);
    }
    let (life, charge) = van
        .charges
        .last()
        .filter(|c| c.end == End::InUse)
        .zip(looks.charges.last())
        .ok_or(CannotTell::NoProductReading)?;
    if life.litres_treated.is_none() {
        return Err(CannotTell::NoFillsSince(van.fills_between.map(|f| f.1)));
    }
    // Without a known start and without a reading there is nothing to go on.
    if life.changed_on.is_none() && charge.readings == 0 {
        return Err(CannotTell::NoProductReading);
    }
    let permeate = permeate.ok_or(CannotTell::NoSaltPassage)?;
    let running = resin::Running {
        charge,
        permeate,
        usage: &looks.usage,
        limit_ppm: settings.limits.product_ppm,
        as_of,
        changed_on: life.changed_on,
        seed_name: &van.van,
    };
    Ok(resin::forecast(fit, &running))
}
