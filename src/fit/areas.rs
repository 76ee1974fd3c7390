//! What the next new membrane or charge will do, by district and by hardness.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::horizon::{HORIZON_DAYS, middle_of, span_of_sorted};
use super::membrane::{self, SharedFit};
use super::resin::{self, PermeateAhead, PermeateDraw, ResinFit};
use super::van::{Charted, Plant, VanForecast};
use super::{AreaFit, Assumptions, Band, ResinUse, Span, Trajectory};
use crate::settings::Settings;

/// A new membrane's salt passage half-way through its life, for a district in
/// which none can be told (common practice, no source).
const TYPICAL_PASSAGE: f64 = 0.04;
/// Tap ppm per mg/L of hardness where no tap was read: the inverse of the
/// usual ratio.
const PPM_PER_HARDNESS: f64 = 1.0 / crate::water::HARDNESS_PER_PPM_MEDIAN;

/// Courses of a new membrane for each draw of the shared numbers: enough that
/// the chance of the draw hides no difference between two plans.
const COURSES_EACH: usize = 30;

/// A van based in a district, forecast.
#[derive(Debug, Clone, Copy)]
pub struct Based<'a> {
    pub forecast: &'a VanForecast,
    pub ahead: Assumptions,
    /// Its number among the vans.
    pub number: usize,
}

impl<'a> Based<'a> {
    /// The vans of each district; those without one are left out.
    pub fn by_district(
        vans: impl Iterator<Item = Based<'a>>,
    ) -> BTreeMap<Arc<str>, Vec<Based<'a>>> {
        let mut by_district: BTreeMap<Arc<str>, Vec<Based<'a>>> = BTreeMap::new();
        for based in vans {
            if let Some(name) = &based.plant().district {
                by_district.entry(name.clone()).or_default().push(based);
            }
        }
        by_district
    }

    fn plant(&self) -> &Plant {
        &self.forecast.plant
    }
}

/// A district's name, its vans, and what enters the resin of the middle one.
type District<'a> = (Arc<str>, Vec<Based<'a>>, Option<PermeateAhead>);

/// One entry per district with a van based in it.
pub fn areas(
    districts: Vec<District<'_>>,
    fitted: (&SharedFit, &ResinFit),
    settings: &Settings,
) -> Vec<AreaFit> {
    districts
        .into_par_iter()
        .map(|district| area(district, fitted, settings))
        .collect()
}

fn area(
    (district, vans, permeate): District<'_>,
    (membrane_fit, resin_fit): (&SharedFit, &ResinFit),
    settings: &Settings,
) -> AreaFit {
    let hardness = middle_of(vans.iter().filter_map(|b| b.plant().hardness_mg_l_caco3));
    let week = middle_of(vans.iter().map(|b| b.forecast.usage.litres_per_week));
    let with_membrane = with_membrane(&vans);
    let membranes = middle_of(
        vans.iter()
            .filter(|b| b.plant().membranes > 0)
            .map(|b| f64::from(b.plant().membranes)),
    )
    .unwrap_or(1.0);
    let vessel = middle_of(
        vans.iter()
            .map(|b| b.plant().resin_litres)
            .filter(|litres| *litres > 0.0),
    );
    // A membrane may wear as in harder water than what the tap gives.
    let wearing = middle_of(vans.iter().filter_map(|b| {
        let tap = b.plant().hardness_mg_l_caco3;
        b.ahead.hardness.map(|h| h.1).or(tap)
    }));
    let passing = middle_of(
        vans.iter()
            .filter(|b| b.plant().membranes > 0)
            .map(|b| b.ahead.ln_passage),
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
    let typical = typical_permeate(&vans, hardness, &next_membranes, permeate);
    let next_charges = match (hardness, vessel, typical, week) {
        (Some(h), Some(litres), Some(permeate), Some(week)) => resin::new_charge_lives(
            resin_fit,
            &resin::ChargeObservations::fresh(litres, Some(district.clone()), h),
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
        shared_draws: membrane_fit.outlooks.len().max(1),
        resin_use: resin_use(resin_fit, &district),
        membranes,
        district,
    }
}

/// What water takes from resin in a district.
fn resin_use(fit: &ResinFit, district: &Arc<str>) -> ResinUse {
    let n = fit.draws.len().max(1) as f64;
    let ln = fit.draws.iter().map(|d| d.ln_capacity(Some(district)));
    ResinUse {
        capacity_meq_per_litre: (ln.sum::<f64>() / n).exp(),
        co2_share: fit.draws.iter().map(|d| d.reading.co2_share).sum::<f64>() / n,
    }
}

/// Feed of the vans whose resin gets water of the district's usual kind.
fn feeds<'v, 'a>(vans: &'v [Based<'a>]) -> impl Iterator<Item = (f64, &'v Based<'a>)> {
    let with_membrane = with_membrane(vans);
    vans.iter()
        .filter(move |b| (b.plant().membranes > 0) == with_membrane)
        .filter_map(|b| Some((b.forecast.entering?.feed_ppm, b)))
}

fn with_membrane(vans: &[Based<'_>]) -> bool {
    vans.iter().any(|b| b.plant().membranes > 0)
}

/// The van that is fed the district's median water.
pub fn middle_van<'a>(vans: &[Based<'a>]) -> Option<Based<'a>> {
    let middle = middle_of(feeds(vans).map(|(feed, _)| feed))?;
    let found = feeds(vans).find(|(feed, _)| *feed == middle);
    found.map(|(_, based)| *based)
}

/// What enters the resin of the district's median van behind new membranes at any age
/// at which a charge may begin, whatever the present ones are like. `permeate`: what
/// enters that van's resin, for its tap.
fn typical_permeate(
    vans: &[Based<'_>],
    hardness: Option<f64>,
    next_membranes: &[Trajectory],
    permeate: Option<PermeateAhead>,
) -> Option<PermeateAhead> {
    let feed = middle_of(feeds(vans).map(|(feed, _)| feed))
        .or_else(|| hardness.map(|h| h * PPM_PER_HARDNESS))?;
    if !with_membrane(vans) {
        return Some(permeate.unwrap_or_else(|| PermeateAhead::steady(feed, feed)));
    }
    if next_membranes.is_empty() {
        return Some(PermeateAhead::steady(TYPICAL_PASSAGE * feed, feed));
    }
    let tap = permeate.unwrap_or_else(|| PermeateAhead::steady(TYPICAL_PASSAGE * feed, feed));
    let draws: Vec<PermeateDraw> = next_membranes
        .iter()
        .enumerate()
        .map(|(n, trajectory)| {
            let usual = tap.draw(n % tap.draws.len().max(1));
            let scale = feed.ln() + usual.ln_cold;
            let age = course_age(n) * trajectory.litres_to_limit.min(LONGEST_CYCLE_LITRES);
            PermeateDraw {
                ln_ppm: std::array::from_fn(|knot| {
                    let litres = age + resin::knot_litres(knot);
                    scale + trajectory.salt_passage(litres).max(1e-6).ln()
                }),
                ..usual
            }
        })
        .collect();
    let middle = middle_of(draws.iter().map(|d| d.ln_ppm[0].exp()));
    Some(PermeateAhead {
        ppm_now: middle.unwrap_or(TYPICAL_PASSAGE * feed),
        feed_ppm: feed,
        strength_now: 0.0,
        draws,
        ..tap
    })
}

/// Litres after which a membrane that never reaches its limit is taken to be changed
/// all the same (common practice, no source: after some ten years of a usual van).
const LONGEST_CYCLE_LITRES: f64 = 500_000.0;

/// Share of its life at which a charge begins behind the n-th membrane: spread evenly,
/// by the golden section, so that any run of them covers all ages.
fn course_age(n: usize) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    ((n as f64 + 0.5) * GOLDEN).fract()
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
pub fn resin_by_hardness(vans: &[Charted], fit: &ResinFit, settings: &Settings) -> Vec<Band<f64>> {
    let vessels = vans.iter().filter_map(|v| v.resin_litres);
    let Some(vessel) = middle_of(vessels.filter(|l| *l > 0.0)) else {
        return Vec::new();
    };
    let passage = middle_of(vans.iter().filter_map(|v| Some(v.ln_now?.exp())));
    let passage = passage.unwrap_or(TYPICAL_PASSAGE);
    let per_day = middle_of(vans.iter().filter_map(|v| v.litres_per_day)).unwrap_or(150.0);
    hardness_axis()
        .filter_map(|h| {
            let feed_ppm = h * PPM_PER_HARDNESS;
            let permeate = PermeateAhead::steady(passage * feed_ppm, feed_ppm);
            let mut lives = resin::new_charge_lives(
                fit,
                &resin::ChargeObservations::fresh(vessel, None, h),
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
