//! How membranes decline and how long resin lasts, learnt from the fleet's lives.
//!
//! The per-van step turns lives into looks; the fleet step finds the shared
//! numbers; then each van is forecast on its own. Nothing depends on the
//! number of threads.

mod areas;
mod horizon;
mod membrane;
mod resin;
#[cfg(test)]
mod tests;
mod types;
mod usage;
mod van;

use rayon::prelude::*;

use crate::lives::{End, FleetLives, VanLives};
use crate::settings::Settings;

pub use horizon::{HORIZON_DAYS, middle_of, span_of};
pub use types::*;
use usage::{Season, fleet_litres_per_week};
use van::VanLooks;

/// What the whole fleet teaches of membranes.
struct Learnt<'a> {
    all: Vec<&'a VanLives>,
    looks: Vec<VanLooks>,
    membrane: membrane::SharedFit,
}

fn learn_membranes<'a>(lives: &'a FleetLives, settings: &Settings) -> Learnt<'a> {
    let all: Vec<&VanLives> = lives.vans.iter().chain(&lives.retired).collect();
    let season = Season::of(all.iter().copied());
    let fleet_week = fleet_litres_per_week(all.iter().copied(), &season);
    let mut looks: Vec<VanLooks> = all
        .par_iter()
        .map(|v| VanLooks::of(v, fleet_week, &season, &settings.limits, lives.until))
        .collect();
    let mut membrane = membrane::fit_shared(looks.iter().flat_map(|l| &l.elements));
    looks.par_iter_mut().for_each(|l| {
        let each = l.elements.iter().map(|e| membrane::told(&membrane, e));
        l.told = each.collect();
    });
    let vans = looks.iter().map(|l| (&l.elements[..], &l.told[..]));
    membrane.van_share = membrane::van_share(&membrane, vans);
    let elements = looks
        .iter()
        .flat_map(|l| l.elements.iter().zip(l.told.iter().map(Option::as_ref)));
    membrane.typical =
        membrane::typical_lives(&membrane, elements, settings.limits.salt_passage.ln());
    Learnt {
        all,
        looks,
        membrane,
    }
}

/// What it teaches of resin.
fn learn_resin(looks: &[VanLooks], settings: &Settings) -> resin::ResinFit {
    let charges = looks.iter().flat_map(|l| &l.charges);
    resin::fit_shared(charges, settings.limits.product_ppm)
}

/// What became of every element and charge on record.
pub fn outcomes(lives: &FleetLives, settings: &Settings) -> Vec<PartOutcome> {
    let learnt = learn_membranes(lives, settings);
    learnt
        .all
        .par_iter()
        .zip(learnt.looks.par_iter())
        .flat_map_iter(|(v, l)| van::outcomes(v, l, &learnt.membrane, settings))
        .collect()
}

/// What watching each van's membrane has shown, for the vans in service, in
/// their order: what [`fit`] gives of it, without its forecasts.
pub fn watched(lives: &FleetLives, settings: &Settings) -> Vec<Result<Watched, CannotTell>> {
    let learnt = learn_membranes(lives, settings);
    lives
        .vans
        .par_iter()
        .zip(learnt.looks.par_iter())
        .map(|(v, l)| van::watched(v, l, &learnt.membrane, settings, lives.until))
        .collect()
}

/// Fits the fleet and forecasts every van in service.
pub fn fit(lives: &FleetLives, settings: &Settings) -> FleetFit {
    fit_ahead(lives, lives, &[], settings)
}

/// The same where the future is otherwise: learnt from `lives`, forecast for
/// `changed`, whose vans are the same in the same order with what holds from now
/// on. `ahead` belongs to those vans; where it ends nothing is otherwise.
pub fn fit_ahead(
    lives: &FleetLives,
    changed: &FleetLives,
    ahead: &[Ahead],
    settings: &Settings,
) -> FleetFit {
    let Learnt {
        all,
        looks,
        membrane: membrane_fit,
    } = learn_membranes(lives, settings);
    let resin_fit = learn_resin(&looks, settings);
    let forecasts: Vec<van::VanForecast> = changed
        .vans
        .par_iter()
        .zip(looks.par_iter())
        .enumerate()
        .map(|(i, (v, l))| {
            let otherwise = ahead.get(i).copied().unwrap_or_default();
            let learnt = (&membrane_fit, &resin_fit);
            van::forecast(v, l, learnt, otherwise, settings, lives.until)
        })
        .collect();
    let areas = areas::areas(
        changed,
        &forecasts,
        ahead,
        (&membrane_fit, &resin_fit),
        &|i| {
            let otherwise = ahead.get(i).copied().unwrap_or_default();
            let (van, looks) = (changed.vans.get(i)?, looks.get(i)?);
            van::permeate_again(van, looks, &membrane_fit, otherwise, settings, lives.until)
        },
        settings,
    );
    let remarks = membrane_fit
        .remark
        .iter()
        .chain(&resin_fit.remark)
        .cloned()
        .collect();
    FleetFit {
        areas,
        late_wear: membrane_fit.late_wear(),
        parts: parts(&all, &looks, &membrane_fit, settings),
        membrane_dots: membrane_dots(&all, &looks, &forecasts),
        resin_dots: resin_dots(&all, &looks, &forecasts),
        membrane_life_by_hardness: areas::membrane_by_hardness(&membrane_fit, settings),
        resin_life_by_hardness: areas::resin_by_hardness(&forecasts, changed, &resin_fit, settings),
        shared: membrane_fit
            .explained
            .iter()
            .chain(&resin_fit.explained)
            .cloned()
            .collect(),
        remarks,
        resin_use: ResinUse {
            capacity_meq_per_litre: resin_fit.usual_capacity,
            co2_share: resin_fit.usual_share,
        },
        vans: forecasts.into_iter().map(|f| f.fit).collect(),
    }
}

/// Lives by make or batch, where services name at least two.
fn parts(
    all: &[&VanLives],
    looks: &[VanLooks],
    fit: &membrane::SharedFit,
    settings: &Settings,
) -> Vec<PartLife> {
    let elements = all.iter().zip(looks).flat_map(|(van, l)| {
        let named = van.elements.iter().zip(&l.elements).zip(&l.told);
        named.filter_map(|((life, looks), told)| Some((life.part.as_ref()?, looks, told.as_ref())))
    });
    membrane::lives_by_part(fit, elements, settings.limits.salt_passage.ln())
}

/// Lives of elements in use, forecast, as dots on the chart.
fn membrane_dots(
    all: &[&VanLives],
    looks: &[VanLooks],
    forecasts: &[van::VanForecast],
) -> Vec<LifeDot> {
    all.iter()
        .zip(looks)
        .zip(forecasts)
        .filter_map(|((v, l), f)| {
            let forecast = f.fit.membrane.as_ref().ok()?;
            let life = v.elements.last().filter(|e| e.fitted_on.is_some())?;
            let made = life.litres_made?;
            let hardness = litre_weighted_hardness(&life.hardness_levels, &life.litres_by_level)
                .or(l.hardness)?;
            let ahead = f
                .litres_to_limit_p50
                .filter(|_| forecast.limit_on.p50.is_some())?;
            Some(LifeDot {
                van: v.van.clone(),
                hardness_mg_l_caco3: hardness,
                litres: (made + ahead).max(0.0),
                seen: ahead <= 0.0,
            })
        })
        .collect()
}

/// Charges whose limit was seen, and the running ones with a forecast.
fn resin_dots(
    all: &[&VanLives],
    looks: &[VanLooks],
    forecasts: &[van::VanForecast],
) -> Vec<LifeDot> {
    let mut dots = Vec::new();
    for (i, (v, l)) in all.iter().zip(looks).enumerate() {
        // Straight from the tap a charge lasts days: not on the same chart.
        if v.membranes == 0 {
            continue;
        }
        for (life, charge) in v.charges.iter().zip(&l.charges) {
            if life.changed_on.is_none() {
                continue;
            }
            let dot = |litres: f64, seen: bool| LifeDot {
                van: v.van.clone(),
                hardness_mg_l_caco3: life.hardness_mg_l_caco3,
                litres,
                seen,
            };
            match (&charge.crossing, life.end) {
                (Some(c), _) => dots.push(dot(0.5 * (c.litres.0 + c.litres.1), true)),
                (None, End::InUse) => {
                    let left = forecasts
                        .get(i)
                        .and_then(|f| f.fit.resin.as_ref().ok())
                        .and_then(|r| r.litres_left.p50);
                    if let (Some(left), Some(treated)) = (left, life.litres_treated) {
                        dots.push(dot(treated + left, false));
                    }
                }
                (None, End::Replaced(_)) => {}
            }
        }
    }
    dots
}

fn litre_weighted_hardness(levels: &[f64], litres: &[f64]) -> Option<f64> {
    let total: f64 = litres.iter().sum();
    (total > 0.0).then(|| levels.iter().zip(litres).map(|(h, l)| h * l).sum::<f64>() / total)
}
