//! What the next new membrane or charge will do, by district and by hardness.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::horizon::{HORIZON_DAYS, middle_of, span_of_sorted};
use super::membrane::{self, SharedFit};
use super::resin::{self, PermeateAhead, ResinFit};
use super::van::{Entering, VanForecast};
use super::{Ahead, AreaFit, Band, ResinUse, Span};
use crate::lives::{FleetLives, VanLives};
use crate::settings::Settings;

/// A new membrane's salt passage half-way through its life, for a district in
/// which none can be told (common practice, no source).
const TYPICAL_PASSAGE: f64 = 0.04;
/// Tap ppm per mg/L of hardness where no tap was read: the inverse of the
/// usual ratio.
const PPM_PER_HARDNESS: f64 = 1.0 / crate::water::HARDNESS_PER_PPM_MEDIAN;

/// Courses of a new membrane for each draw of the shared numbers: enough that
/// the chance of the draw hides no difference between two plans.
const COURSES_EACH: usize = 60;

/// A van based in a district: its lives, its forecast, what is otherwise, and its
/// number among the vans.
type Based<'a> = (&'a VanLives, &'a VanForecast, Ahead, usize);

/// One entry per district with a van based in it, in order of name. `permeate`
/// gives what enters the resin of a van by its number.
pub fn areas(
    lives: &FleetLives,
    forecasts: &[VanForecast],
    ahead: &[Ahead],
    (membrane_fit, resin_fit): (&SharedFit, &ResinFit),
    permeate: &(dyn Fn(usize) -> Option<PermeateAhead> + Sync),
    settings: &Settings,
) -> Vec<AreaFit> {
    let mut by_district: BTreeMap<Arc<str>, Vec<Based<'_>>> = BTreeMap::new();
    for (i, (van, forecast)) in lives.vans.iter().zip(forecasts).enumerate() {
        if let Some(name) = &van.district {
            by_district.entry(name.clone()).or_default().push((
                van,
                forecast,
                ahead.get(i).copied().unwrap_or_default(),
                i,
            ));
        }
    }
    by_district
        .into_par_iter()
        .map(|(name, vans)| {
            let learnt = (membrane_fit, resin_fit);
            area(name, &vans, learnt, permeate, settings)
        })
        .collect()
}

fn area(
    district: Arc<str>,
    vans: &[Based<'_>],
    (membrane_fit, resin_fit): (&SharedFit, &ResinFit),
    permeate: &(dyn Fn(usize) -> Option<PermeateAhead> + Sync),
    settings: &Settings,
) -> AreaFit {
    let hardness = middle_of(
        vans.iter()
            .filter_map(|(v, ..)| v.hardness.map(|h| h.mg_l_caco3)),
    );
    let week = middle_of(vans.iter().map(|(_, f, ..)| f.usage.litres_per_week));
    let with_membrane = vans.iter().any(|(v, ..)| v.membranes > 0);
    let membranes = middle_of(
        vans.iter()
            .filter(|(v, ..)| v.membranes > 0)
            .map(|(v, ..)| f64::from(v.membranes)),
    )
    .unwrap_or(1.0);
    let vessel = middle_of(
        vans.iter()
            .filter(|(v, ..)| v.resin_litres > 0.0)
            .map(|(v, ..)| v.resin_litres),
    );
    // A membrane may wear as in harder water than what the tap gives.
    let wearing = middle_of(vans.iter().filter_map(|(v, _, otherwise, _)| {
        let tap = v.hardness.map(|h| h.mg_l_caco3);
        otherwise.hardness.map(|h| h.1).or(tap)
    }));
    let passing = middle_of(
        vans.iter()
            .filter(|(v, ..)| v.membranes > 0)
            .map(|(_, _, otherwise, _)| otherwise.ln_passage),
    );
    let new = hardness
        .filter(|_| with_membrane)
        .map(|hardness| membrane::NewElement {
            district: Some(&district),
            hardness: wearing.unwrap_or(hardness),
            membranes,
            ln_limit: settings.limits.salt_passage.ln(),
            litres_per_day: week.unwrap_or(0.0) / 7.0,
            ln_passage: passing.unwrap_or(0.0),
            seed_name: &district,
        });
    let membrane = new
        .as_ref()
        .map(|n| membrane::new_element_lives(membrane_fit, n));
    let membrane = membrane.unwrap_or_default();
    let next_membranes = new
        .as_ref()
        .map(|n| membrane::new_element_courses(membrane_fit, n, COURSES_EACH))
        .unwrap_or_default();
    let typical = typical_permeate(vans, hardness, with_membrane, permeate);
    let next_charges = match (hardness, vessel, typical, week) {
        (Some(h), Some(litres), Some(permeate), Some(week)) => resin::new_charge_lives(
            resin_fit,
            &resin::ChargeLooks::fresh(litres, Some(district.clone()), h),
            &permeate,
            week / 7.0,
            settings.limits.product_ppm,
            &district,
        ),
        _ => Vec::new(),
    };
    let mut resin = next_charges.clone();
    resin.sort_by(f64::total_cmp);
    let within = |litres: f64| week.is_some_and(|w| litres <= w / 7.0 * HORIZON_DAYS);
    let capped: Vec<f64> = membrane
        .iter()
        .map(|&l| if within(l) { l } else { f64::INFINITY })
        .collect();
    let days: Vec<f64> = capped
        .iter()
        .map(|l| week.map_or(f64::INFINITY, |w| l / w * 7.0))
        .collect();
    let span = |sorted: &[f64]| {
        if sorted.is_empty() {
            Span::unknown()
        } else {
            span_of_sorted(sorted)
        }
    };
    AreaFit {
        vans: vans.len(),
        hardness_mg_l_caco3: hardness,
        litres_per_week: week,
        membrane_life_litres: span(&capped),
        membrane_life_days: span(&days),
        resin_life_litres: span(&resin),
        membrane_life_draws: membrane,
        resin_life_draws: resin,
        resin_litres: vessel,
        next_membranes,
        next_charges,
        shared_draws: membrane_fit.draws.len().max(1),
        resin_use: resin_use(resin_fit, &district),
        membranes,
        district,
    }
}

/// What water takes from resin in a district.
fn resin_use(fit: &ResinFit, district: &Arc<str>) -> ResinUse {
    let n = fit.draws.len().max(1) as f64;
    let ln = |d: &resin::ResinDraw| d.shared.ln_capacity + d.district_mean(Some(district));
    ResinUse {
        capacity_meq_per_litre: (fit.draws.iter().map(ln).sum::<f64>() / n).exp(),
        co2_share: fit.draws.iter().map(|d| d.shared.co2_share).sum::<f64>() / n,
    }
}

/// What enters the resin of the district's median van.
fn typical_permeate(
    vans: &[Based<'_>],
    hardness: Option<f64>,
    with_membrane: bool,
    permeate: &(dyn Fn(usize) -> Option<PermeateAhead> + Sync),
) -> Option<PermeateAhead> {
    let of_kind: Vec<(Entering, usize)> = vans
        .iter()
        .filter(|(v, ..)| (v.membranes > 0) == with_membrane)
        .filter_map(|(_, f, _, i)| Some((f.entering?, *i)))
        .collect();
    let feed = middle_of(of_kind.iter().map(|(e, _)| e.feed_ppm))
        .or_else(|| hardness.map(|h| h * PPM_PER_HARDNESS))?;
    let now = middle_of(of_kind.iter().map(|(e, _)| e.ppm_now)).unwrap_or(if with_membrane {
        TYPICAL_PASSAGE * feed
    } else {
        feed
    });
    let middle = of_kind.iter().find(|(e, _)| e.ppm_now == now);
    let middle = middle.and_then(|(_, i)| permeate(*i));
    Some(middle.unwrap_or_else(|| PermeateAhead::steady(now, feed)))
}

/// Hardness values at which the fleet's curves are drawn, mg/L CaCO3.
fn hardness_axis() -> impl IndexedParallelIterator<Item = f64> {
    (1..=18_u8).into_par_iter().map(|i| 20.0 * f64::from(i))
}

/// Life of a new membrane against hardness; beyond 400,000 L nothing is drawn.
pub fn membrane_by_hardness(fit: &SharedFit, settings: &Settings) -> Vec<Band<f64>> {
    hardness_axis()
        .filter_map(|h| {
            band(
                h,
                &membrane::new_element_lives(
                    fit,
                    &membrane::NewElement {
                        district: None,
                        hardness: h,
                        membranes: 1.0,
                        ln_limit: settings.limits.salt_passage.ln(),
                        litres_per_day: 0.0,
                        ln_passage: 0.0,
                        seed_name: "by hardness",
                    },
                ),
            )
        })
        .collect()
}

/// Life of the fleet's median vessel against hardness, behind the fleet's
/// median salt passage.
pub fn resin_by_hardness(
    forecasts: &[VanForecast],
    lives: &FleetLives,
    fit: &ResinFit,
    settings: &Settings,
) -> Vec<Band<f64>> {
    let Some(vessel) = middle_of(
        lives
            .vans
            .iter()
            .map(|v| v.resin_litres)
            .filter(|l| *l > 0.0),
    ) else {
        return Vec::new();
    };
    let passage = middle_of(
        forecasts
            .iter()
            .filter_map(|f| f.fit.membrane.as_ref().ok())
            .map(|m| m.ln_now.exp()),
    )
    .unwrap_or(TYPICAL_PASSAGE);
    let per_day = middle_of(forecasts.iter().map(|f| f.usage.litres_per_day())).unwrap_or(150.0);
    hardness_axis()
        .filter_map(|h| {
            let feed_ppm = h * PPM_PER_HARDNESS;
            let permeate = PermeateAhead::steady(passage * feed_ppm, feed_ppm);
            let mut lives = resin::new_charge_lives(
                fit,
                &resin::ChargeLooks::fresh(vessel, None, h),
                &permeate,
                per_day,
                settings.limits.product_ppm,
                "by hardness",
            );
            lives.sort_by(f64::total_cmp);
            band(h, &lives)
        })
        .collect()
}

fn band(x: f64, sorted: &[f64]) -> Option<Band<f64>> {
    let span = span_of_sorted(sorted);
    Some(Band {
        x,
        p10: span.p10?,
        p50: span.p50?,
        p90: span.p90?,
    })
}
