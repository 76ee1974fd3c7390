//! One van: its looks for the fleet step, and its forecasts after it.

use std::sync::{Arc, LazyLock};

use crate::calendar::{Date, DateExt};

use super::horizon::middle_of;
use super::membrane::{self, ElementDraws, ElementObservations, SharedFit};
use super::meters::{VanMeters, VanTaps};
use super::resin::{self, ChargeObservations, PermeateAhead, PermeateDraw, ResinFit};
use super::short;
use super::usage::{Season, Usage, usage_of};
use super::{
    Assumptions, CannotTell, LifeDot, MembraneForecast, Part, PartOutcome, ResinForecast, VanFit,
};
use crate::lives::{ElementLife, End, ValveSeen, VanLives, WeekLitres};
use crate::settings::Settings;
use crate::stats::random::Rng;

/// Hardness where nothing in the fleet tells: the middle of what is common.
const ASSUMED_HARDNESS: f64 = 150.0;

/// What one van gives to the fleet step.
#[derive(Debug, Clone)]
pub struct VanObservations {
    pub usage: Usage,
    pub hardness: Option<f64>,
    pub meters: Arc<VanMeters>,
    /// What a degree does to `ln` salt passage through recovery, and how surely.
    pub through_recovery: (f64, f64),
    /// Share of the van's litres made behind overdue pre-filters.
    pub late_share: f64,
    /// As `VanLives::elements`.
    pub elements: Vec<ElementObservations>,
}

/// What the fleet step asks of a van, and what is kept at hand of one whose lives
/// are laid down.
#[derive(Debug, Clone)]
pub struct Glance {
    pub van: Arc<str>,
    pub weeks: Vec<WeekLitres>,
    /// Whether the fleet may learn from its elements' readings.
    pub is_usable_for_fit: Vec<bool>,
    /// As `VanLives::charges`.
    pub charges: Vec<ChargeObservations>,
    /// What its elements are called.
    pub parts: Vec<Option<Arc<str>>>,
    /// What its tap reads, for those of its district.
    pub taps: Option<VanTaps>,
    /// Whether others learn from its meters.
    pub is_heard: bool,
    pub valve: Option<ValveSeen>,
}

impl Glance {
    pub fn of(van: &VanLives, settings: &Settings) -> Glance {
        let charges = van.charges.iter();
        let is_usable_for_fit: Vec<bool> = van
            .elements
            .iter()
            .map(membrane::is_usable_for_fit)
            .collect();
        // Probes that show anything tell nobody what the tap reads, or how often things break.
        let is_heard = is_usable_for_fit.is_empty() || is_usable_for_fit.contains(&true);
        Glance {
            van: van.van.clone(),
            weeks: van.weeks.clone(),
            is_usable_for_fit,
            charges: charges
                .map(|c| resin::looks_of(c, settings.limits.product_ppm))
                .collect(),
            parts: van.elements.iter().map(|e| e.part.clone()).collect(),
            taps: VanTaps::of(van).filter(|_| is_heard),
            is_heard,
            valve: van.valve,
        }
    }
}

/// What is known of one van besides its lives.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    pub observations: &'a VanObservations,
    /// Of each charge.
    pub charges: &'a [ChargeObservations],
}

impl VanObservations {
    /// `meters`: what its meters are off by; `through_recovery`: what a degree does to
    /// `ln` salt passage through recovery.
    pub fn of(
        van: &VanLives,
        (fleet_week, season): (Option<f64>, &Season),
        (meters, through_recovery): (Arc<VanMeters>, (f64, f64)),
        as_of: Date,
    ) -> VanObservations {
        let usage = usage_of(van, fleet_week, season);
        let hardness = van.hardness.map(|h| h.mg_l_caco3);
        let mut elements: Vec<ElementObservations> = van
            .elements
            .iter()
            .map(|e| {
                let van_conditions =
                    van_conditions(van, hardness, &usage, (&meters, through_recovery));
                membrane::looks_of(e, &van_conditions, as_of)
            })
            .collect();
        // A little water that was not late, so that one late fill is no habit.
        let (late, all) = elements.iter().fold((0.0, 10_000.0), |(l, a), e| {
            (l + e.late_litres(), a + e.litres_made())
        });
        let late_share = late / all;
        for element in &mut elements {
            element.expect_lateness(late_share);
        }
        VanObservations {
            usage,
            hardness,
            meters,
            through_recovery,
            late_share,
            elements,
        }
    }
}

/// What a van lends to the readings of its elements.
pub(super) fn van_conditions<'a>(
    van: &'a VanLives,
    hardness: Option<f64>,
    usage: &Usage,
    (meters, through_recovery): (&'a VanMeters, (f64, f64)),
) -> membrane::VanConditions<'a> {
    membrane::VanConditions {
        district: van.district.as_ref(),
        membranes: van.membranes,
        hardness_mg_l_caco3: hardness.unwrap_or(ASSUMED_HARDNESS),
        assumed_litres_per_day: usage.litres_per_day(),
        meters,
        through_recovery,
    }
}

/// What a van's plant is, and where.
#[derive(Debug, Clone)]
pub struct Plant {
    /// District of the base, and the hardness there.
    pub district: Option<Arc<str>>,
    pub hardness_mg_l_caco3: Option<f64>,
    pub membranes: u32,
    pub resin_litres: f64,
    pub recovery: Option<f64>,
    pub feed_ppm: Option<f64>,
}

impl Plant {
    pub fn of(van: &VanLives) -> Plant {
        Plant {
            district: van.district.clone(),
            hardness_mg_l_caco3: van.hardness.map(|h| h.mg_l_caco3),
            membranes: van.membranes,
            resin_litres: van.resin_litres,
            recovery: van.recovery,
            feed_ppm: van.feed_ppm,
        }
    }
}

/// A van's forecasts, with what the fleet's charts and areas take from them.
#[derive(Debug, Clone)]
pub struct VanForecast {
    pub fit: VanFit,
    pub plant: Plant,
    pub usage: Usage,
    /// Litres from now until the membrane's limit, median; negative if past.
    pub litres_to_limit_p50: Option<f64>,
    /// What enters the resin.
    pub entering: Option<Entering>,
}

/// What the fleet's charts show of one van.
#[derive(Debug, Clone, Default)]
pub struct Charted {
    membrane: Option<LifeDot>,
    resin: Vec<LifeDot>,
    /// Of a van in service: resin aboard, and use.
    pub resin_litres: Option<f64>,
    pub litres_per_day: Option<f64>,
    /// `ln` salt passage now.
    pub ln_now: Option<f64>,
}

impl Charted {
    /// `hardness`: at its base; `forecast`: of a van in service.
    pub fn of(
        van: &VanLives,
        charges: &[ChargeObservations],
        forecast: Option<&VanForecast>,
    ) -> Charted {
        let membrane = forecast.and_then(|f| f.fit.membrane.as_ref().ok());
        Charted {
            membrane: forecast.and_then(|f| membrane_dot(van, f)),
            resin: resin_dots(van, charges, forecast),
            resin_litres: forecast.map(|_| van.resin_litres),
            litres_per_day: forecast.map(|f| f.usage.litres_per_day()),
            ln_now: membrane.map(|m| m.ln_now),
        }
    }

    pub fn membrane_dots(all: &[Charted]) -> Vec<LifeDot> {
        all.iter().filter_map(|van| van.membrane.clone()).collect()
    }

    pub fn resin_dots(all: &[Charted]) -> Vec<LifeDot> {
        all.iter().flat_map(|van| &van.resin).cloned().collect()
    }
}

/// Life of the element in use, forecast, as a dot on the chart.
fn membrane_dot(van: &VanLives, forecast: &VanForecast) -> Option<LifeDot> {
    let membrane = forecast.fit.membrane.as_ref().ok()?;
    let life = van.elements.last().filter(|e| e.fitted_on.is_some())?;
    let made = life.litres_made?;
    let hardness = litre_weighted_hardness(&life.hardness_levels, &life.litres_by_level)
        .or(van.hardness.map(|h| h.mg_l_caco3))?;
    let ahead = forecast
        .litres_to_limit_p50
        .filter(|_| membrane.limit_on.p50.is_some())?;
    Some(LifeDot {
        van: van.van.clone(),
        hardness_mg_l_caco3: hardness,
        litres: (made + ahead).max(0.0),
        seen: ahead <= 0.0,
    })
}

/// Charges whose limit was seen, and the running one with a forecast.
fn resin_dots(
    van: &VanLives,
    charges: &[ChargeObservations],
    forecast: Option<&VanForecast>,
) -> Vec<LifeDot> {
    // Straight from the tap a charge lasts days: not on the same chart.
    if van.membranes == 0 {
        return Vec::new();
    }
    let mut dots = Vec::new();
    for (life, charge) in van.charges.iter().zip(charges) {
        if life.changed_on.is_none() {
            continue;
        }
        let dot = |litres: f64, seen: bool| LifeDot {
            van: van.van.clone(),
            hardness_mg_l_caco3: life.hardness_mg_l_caco3,
            litres,
            seen,
        };
        match (&charge.crossing, life.end) {
            (Some(c), _) => dots.push(dot(0.5 * (c.litres.0 + c.litres.1), true)),
            (None, End::InUse) => {
                let left = forecast
                    .and_then(|f| f.fit.resin.as_ref().ok())
                    .and_then(|r| r.litres_left.p50);
                if let (Some(left), Some(treated)) = (left, life.litres_treated) {
                    dots.push(dot(treated + left, false));
                }
            }
            (None, End::Replaced(_)) => {}
        }
    }
    dots
}

fn litre_weighted_hardness(levels: &[f64], litres: &[f64]) -> Option<f64> {
    let total: f64 = litres.iter().sum();
    (total > 0.0).then(|| levels.iter().zip(litres).map(|(h, l)| h * l).sum::<f64>() / total)
}

/// What enters a van's resin, in two numbers; see [`permeate_again`] for the rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Entering {
    pub feed_ppm: f64,
    pub ppm_now: f64,
}

/// What enters a van's resin now and later, as its forecast had it.
pub fn permeate_again(
    van: &VanLives,
    known: Known<'_>,
    fit: &SharedFit,
    ahead: Assumptions,
    settings: &Settings,
    as_of: Date,
) -> Option<PermeateAhead> {
    let element = element_in_use(van, known, ahead, settings, as_of).ok();
    let draws = element.map(|element| membrane::draws_of(fit, &element));
    permeate_ahead(van, known, draws.as_ref())
}

pub fn forecast(
    van: &VanLives,
    known: Known<'_>,
    (membrane_fit, resin_fit): (&SharedFit, &ResinFit),
    ahead: Assumptions,
    settings: &Settings,
    as_of: Date,
) -> VanForecast {
    let drawn = in_use(van, known, membrane_fit, ahead, settings, as_of);
    let permeate = permeate_ahead(van, known, drawn.as_ref().ok().map(|d| &d.0));
    let entering = permeate.as_ref();
    let resin = resin_forecast(van, known, resin_fit, entering, ahead, settings, as_of);
    let litres_to_limit_p50 = drawn.as_ref().ok().and_then(|(draws, _)| {
        middle_of(draws.draws.iter().map(|d| {
            if d.days_to_limit < 0.0 {
                d.days_to_limit * d.litres_per_day
            } else {
                d.litres_to_limit
            }
        }))
    });
    let best = membrane_fit.likeliest();
    let observations = known.observations;
    VanForecast {
        plant: Plant::of(van),
        fit: VanFit {
            van: van.van.clone(),
            readings_at_25: observations
                .elements
                .iter()
                .flat_map(|e| e.readings_at_25(best))
                .collect(),
            membrane: drawn.map(|d| d.1),
            meters: observations.meters.clone(),
            resin,
        },
        usage: observations.usage,
        litres_to_limit_p50,
        entering: permeate.map(|p| Entering {
            feed_ppm: p.feed_ppm,
            ppm_now: p.ppm_now,
        }),
    }
}

/// Draws and forecast of the element in use.
fn in_use(
    van: &VanLives,
    known: Known<'_>,
    fit: &SharedFit,
    ahead: Assumptions,
    settings: &Settings,
    as_of: Date,
) -> Result<(ElementDraws, MembraneForecast), CannotTell> {
    let element = element_in_use(van, known, ahead, settings, as_of)?;
    let draws = membrane::draws_of(fit, &element);
    let mut forecast = membrane::forecast(&draws, fit, &element);
    forecast.short = short::history(van, known.observations, fit, &element, &draws);
    Ok((draws, forecast))
}

/// The element in use, with what its future hangs on.
fn element_in_use<'a>(
    van: &'a VanLives,
    known: Known<'a>,
    ahead: Assumptions,
    settings: &Settings,
    as_of: Date,
) -> Result<membrane::InUse<'a>, CannotTell> {
    if van.membranes == 0 {
        return Err(CannotTell::NotFitted);
    }
    let (life, element): (&ElementLife, &ElementObservations) = van
        .elements
        .last()
        .filter(|e| e.end == End::InUse)
        .zip(known.observations.elements.last())
        .ok_or(CannotTell::NoSaltPassage)?;
    // A new element without readings is forecast from the fleet; one that was
    // there before the records, and never read, cannot be.
    if element.is_empty() && life.fitted_on.is_none() {
        return Err(CannotTell::NoSaltPassage);
    }
    let others = known.observations.elements.split_last();
    Ok(membrane::InUse {
        others: others.map_or(&[], |o| o.1),
        ahead,
        ..alone(van, known.observations, life, element, settings, as_of)
    })
}

/// An element with what its future hangs on, but for what the van's others tell.
fn alone<'a>(
    van: &'a VanLives,
    observations: &'a VanObservations,
    life: &'a ElementLife,
    element: &'a ElementObservations,
    settings: &Settings,
    as_of: Date,
) -> membrane::InUse<'a> {
    membrane::InUse {
        life,
        observations: element,
        base_hardness: observations.hardness.unwrap_or(ASSUMED_HARDNESS),
        usage: &observations.usage,
        ln_limit: settings.limits.salt_passage.ln(),
        others: &[],
        ahead: Assumptions::default(),
        as_of,
        seed_name: &van.van,
    }
}

/// What became of a van's parts.
pub fn outcomes(
    van: &VanLives,
    known: Known<'_>,
    fit: &SharedFit,
    settings: &Settings,
) -> Vec<PartOutcome> {
    let mut out = Vec::new();
    for (life, element) in van.elements.iter().zip(&known.observations.elements) {
        let Some(until) = life.points.last().map(|p| p.date) else {
            continue;
        };
        let draws = membrane::draws_of(
            fit,
            &alone(van, known.observations, life, element, settings, until),
        );
        let middle = middle_of(draws.draws.iter().map(|d| d.days_to_limit)).filter(|d| *d <= 0.0);
        out.push(PartOutcome {
            van: van.van.clone(),
            part: Part::Membrane,
            began: life.fitted_on,
            seen_from: life.fitted_on.unwrap_or(life.seen_from),
            until,
            reached_on: middle.map(|d| until.plus_days(d.floor() as i64)),
        });
    }
    for (life, charge) in van.charges.iter().zip(known.charges) {
        let Some(until) = life.points.last().map(|p| p.date) else {
            continue;
        };
        let reached_on = charge.crossing.map(|c| {
            let (a, b) = c.between;
            a.plus_days(i64::from(b.days_since(a)) / 2)
        });
        out.push(PartOutcome {
            van: van.van.clone(),
            part: Part::Resin,
            began: life.changed_on,
            seen_from: life.changed_on.unwrap_or(life.seen_from),
            until,
            reached_on,
        });
    }
    out
}

/// What enters the resin now and later: the tap times what the membrane lets
/// through, else what was read there.
fn permeate_ahead(
    van: &VanLives,
    known: Known<'_>,
    draws: Option<&ElementDraws>,
) -> Option<PermeateAhead> {
    let feed = Strength::of(van);
    if van.membranes == 0 {
        let feed_ppm = van.feed_ppm?;
        return Some(PermeateAhead {
            // The tap itself may be stronger than usual.
            feed_ppm: f64::INFINITY,
            strength_now: feed.now,
            strength_sd: feed.sd,
            ..PermeateAhead::steady(feed_ppm, feed_ppm)
        });
    }
    let seen_at_resin = known.charges.last().and_then(|c| c.permeate_ppm);
    let (Some(draws), Some(feed_ppm)) = (draws, van.feed_ppm) else {
        let ppm = seen_at_resin?;
        return Some(PermeateAhead {
            strength_sd: feed.sd,
            ..PermeateAhead::steady(ppm, van.feed_ppm.unwrap_or(ppm / 0.04))
        });
    };
    let mut ahead = PermeateAhead {
        ppm_now: f64::NAN,
        feed_ppm,
        strength_now: feed.now,
        strength_sd: feed.sd,
        season: van.tap_season,
        draws: draws
            .draws
            .iter()
            .zip(WANDERS.iter())
            .map(|(draw, wander)| {
                let usual = feed_ppm.ln() + draw.ln_cold();
                PermeateDraw {
                    ln_ppm: std::array::from_fn(|knot| {
                        usual + draw.ln_passage(resin::knot_litres(knot), wander[knot])
                    }),
                    per_c: draw.per_c,
                    ln_cold: draw.ln_cold(),
                }
            })
            .collect(),
    };
    let day_of_year = van
        .last_reading_on
        .map_or(105.0, |d| f64::from(d.day_of_year()));
    ahead.ppm_now = ahead.middle_ppm(day_of_year)?;
    Some(ahead)
}

/// Paths of a Wiener process over the knots, one for each draw, the same for every van, so
/// that two of them differ by what they are.
static WANDERS: LazyLock<Vec<[f64; resin::KNOTS]>> = LazyLock::new(|| {
    let mut rng = Rng::for_part(8, "wander of membranes ahead");
    let path = |rng: &mut Rng| {
        let mut at = 0.0;
        let mut path = [0.0; resin::KNOTS];
        for (knot, to) in path.iter_mut().enumerate().skip(1) {
            let litres = resin::knot_litres(knot) - resin::knot_litres(knot - 1);
            at += litres.sqrt() * rng.normal();
            *to = at;
        }
        path
    };
    let half = (0..membrane::DRAWS.div_ceil(2)).map(|_| path(&mut rng));
    // Each with its opposite, so that none of them leans.
    half.flat_map(|path| [path, path.map(|z| -z)]).collect()
});

/// How a tap's strength wanders about what is usual of late, ln.
struct Strength {
    now: f64,
    sd: f64,
}

impl Strength {
    fn of(van: &VanLives) -> Strength {
        /// A meter's own scatter, and what a tap wanders where too few readings tell.
        const METER_SD: f64 = 0.03;
        const USUAL_SD: f64 = 0.08;
        const MOST_SD: f64 = 0.25;
        let usual = van.feed_ppm.unwrap_or(f64::NAN);
        let away: Vec<f64> = van
            .elements
            .iter()
            .rev()
            .flat_map(|e| e.points.iter().rev())
            .filter(|p| p.at_base && p.feed_ppm > 0.0)
            .filter(|p| van.based_since.is_none_or(|moved| p.date >= moved))
            .take(40)
            .map(|p| (p.feed_ppm / usual).ln())
            .filter(|x| x.is_finite())
            .collect();
        let n = away.len() as f64;
        // 1.48 median absolute deviations are a standard deviation of normal noise.
        let seen = 1.48 * middle_of(away.iter().map(|x| x.abs())).unwrap_or(0.0);
        let own = (seen * seen - METER_SD * METER_SD).max(0.0);
        let variance = (own * n + USUAL_SD * USUAL_SD * 6.0) / (n + 6.0);
        let newest = middle_of(away.iter().take(3).copied()).unwrap_or(0.0);
        Strength {
            now: if n >= 3.0 { 0.7 * newest } else { 0.0 },
            sd: variance.sqrt().min(MOST_SD),
        }
    }
}

fn resin_forecast(
    van: &VanLives,
    known: Known<'_>,
    fit: &ResinFit,
    permeate: Option<&PermeateAhead>,
    ahead: Assumptions,
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
        .zip(known.charges.last())
        .ok_or(CannotTell::NoProductReading)?;
    if life.litres_treated.is_none() {
        return Err(CannotTell::NoFillsSince(van.fills_between.map(|f| f.1)));
    }
    // Without a known start and without a reading there is nothing to go on.
    if life.changed_on.is_none() && charge.readings == 0 {
        return Err(CannotTell::NoProductReading);
    }
    let permeate = permeate.ok_or(CannotTell::NoSaltPassage)?;
    // What it has drunk is what it will drink, unless the van has moved since.
    let moved = van
        .based_since
        .is_some_and(|moved| life.changed_on.is_none_or(|changed| changed < moved));
    let water_ahead = known
        .observations
        .hardness
        .filter(|_| moved)
        .unwrap_or(life.hardness_mg_l_caco3);
    let running = resin::Running {
        charge,
        permeate,
        usage: &known.observations.usage,
        limit_ppm: settings.limits.product_ppm,
        as_of,
        changed_on: life.changed_on,
        hardness_ahead: ahead.hardness.map_or(water_ahead, |h| h.1),
        van: resin::VanCharges {
            van: &van.van,
            charges: known.charges,
        },
    };
    Ok(resin::forecast(fit, &running))
}
