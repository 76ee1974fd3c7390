//! The day an element reaches the limit, by simulation over everything unsure:
//! shared numbers, its own rate and level, the wander ahead, the van's use.

use std::sync::Arc;

use jiff::civil::Date;

use super::abreast::Summarising;
use super::course::{Course, Motion, Scale};
use super::kin::Kin;
use super::looks::{ElementLooks, USUAL_C};
use super::shared::{Shared, SharedDraw, SharedFit};
use super::watch::watch;
use crate::fit::horizon::{HORIZON_DAYS, Spreading, day_span, middle_of, sort, span_of};
use crate::fit::usage::{Usage, UseAhead};
use crate::fit::{Ahead, Band, DayDraws, Explained, MembraneForecast, Span};
use crate::lives::ElementLife;
use crate::stats::drift::abreast::LANES;
use crate::stats::drift::{self, DriftSummary, Drifting, RatePosterior};
use crate::stats::random::{Rng, inverse_gaussian};
use crate::stats::special::normal_quantile;
use crate::stats::wide;
use crate::water::THETA_MEAN_PER_C;

/// Draws for each draw of the shared numbers. They are spread evenly over what is
/// unsure, so that few serve.
pub const DRAWS_EACH: usize = 20;
/// Draws of a new element for each draw of the shared numbers, where it is asked
/// for once and not for every van.
const NEW_EACH: usize = 50;
/// Of these, every so many lend their path to the page; a divisor of the number
/// of draws of the shared numbers.
const SHOWN_EVERY: usize = 4;

/// How one draw of an element goes on, on the scale on which it grows evenly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growth {
    /// Now.
    pub level: f64,
    pub rate_per_litre: f64,
    /// Variance of its wander per future litre.
    pub wander_per_litre: f64,
    scale: Scale,
    /// What a degree does to `ln` permeate over the seasons, and at usual recovery.
    per_c: f64,
    per_c_at_recovery: f64,
}

impl Growth {
    /// `ln` salt passage at 25 °C at a level.
    pub fn ln_passage(&self, level: f64) -> f64 {
        self.scale.unbend(level)
    }

    /// What a degree does to `ln` permeate over the seasons.
    pub fn per_c(&self) -> f64 {
        self.per_c
    }

    /// `ln` of salt passage at the usual tap in the middle of the year over that at 25 °C.
    pub fn ln_cold(&self) -> f64 {
        -self.per_c_at_recovery * (25.0 - USUAL_C)
    }
}

/// Two probes, each good to 2 % (common practice, no source), and a scale that
/// bends with concentration, as an error of `ln` salt passage that stays.
const PROBES_SD: f64 = 0.05;

/// One draw of what an element is and will do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ElementDraw {
    /// `ln` salt passage now, and its growth per litre now.
    pub ln_now: f64,
    pub growth_per_litre: f64,
    pub growth: Growth,
    /// Litres from now until the limit; negative or 0 if it is past.
    pub litres_to_limit: f64,
    /// Days from the as-of day until the limit; negative if past, infinite if never.
    pub days_to_limit: f64,
    /// Litres a day from now on.
    pub litres_per_day: f64,
}

/// Equally likely draws for one element, with what the page needs of its past.
#[derive(Debug, Clone)]
pub struct ElementDraws {
    pub draws: Vec<ElementDraw>,
    /// At the readings and at the end, a path for every fourth draw.
    paths: Vec<Path>,
}

/// Levels that a draw went through, and their scale.
#[derive(Debug, Clone)]
struct Path {
    levels: Vec<f64>,
    scale: Scale,
}

/// Everything about one element under one draw of the shared numbers.
struct UnderShared {
    /// How the scale is stretched near the present level.
    stretch: f64,
    drifting: Drifting,
    summary: DriftSummary,
    rate: RatePosterior,
    since_last: f64,
    per_litre: f64,
}

fn under(draw: &SharedDraw, summary: DriftSummary, element: &InUse<'_>) -> UnderShared {
    let (looks, kin) = (element.looks, element.kin);
    let shared = &draw.shared;
    let (addition, unsure) = draw.district(looks.district.as_ref());
    let harder = element.ahead.hardness.map_or(1.0, |(now, then)| {
        shared.exposure_per_litre(then) / shared.exposure_per_litre(now)
    });
    let near = shared.unbend(summary.level_0 + summary.level_rate * shared.ln_rate.exp());
    UnderShared {
        stretch: shared.bend(near).1,
        drifting: shared.drifting(looks.start_known),
        summary,
        rate: drift::rate_posterior(
            &summary,
            shared.ln_rate + addition + kin.shift,
            (shared.rate_sd * kin.variance.sqrt()).hypot(unsure),
        ),
        since_last: looks.exposure_since_last(shared),
        per_litre: (harder * looks.exposure_per_future_litre(shared, element.base_hardness))
            .max(1e-9),
    }
}

/// One element in use, and what its future hangs on.
pub struct InUse<'a> {
    pub life: &'a ElementLife,
    pub looks: &'a ElementLooks,
    pub base_hardness: f64,
    pub usage: &'a Usage,
    pub ln_limit: f64,
    /// What the van's other elements tell.
    pub kin: Kin,
    /// What is otherwise from now on.
    pub ahead: Ahead,
    /// Where the records end and the future begins.
    pub as_of: Date,
    /// Seeds the draws: keeps vans independent of each other's presence.
    pub seed_name: &'a str,
}

/// Draws an element's present and future.
pub fn draws_of(fit: &SharedFit, element: &InUse<'_>) -> ElementDraws {
    let mut rng = Rng::for_part(2, element.seed_name);
    let mut out = ElementDraws {
        draws: Vec::with_capacity(fit.draws.len() * DRAWS_EACH),
        paths: Vec::new(),
    };
    let (mut seen, mut looks, mut path) = (Vec::new(), Vec::new(), Vec::new());
    let mut paths = drift::Paths::default();
    let sides = fit.draws_abreast.iter().zip(fit.draws.chunks(LANES));
    for (side, (shared, draws)) in sides.enumerate() {
        let summaries = wide::widest(Summarising {
            element: element.looks,
            shared,
            room: &mut seen,
        });
        for (lane, draw) in draws.iter().enumerate() {
            looks.clear();
            looks.extend(seen.iter().map(|look| look.lane(lane)));
            let u = under(draw, summaries.lane(lane), element);
            paths.lay(&looks, &u.drifting, u.since_last);
            let number = side * LANES + lane;
            draws_under(
                (number, draw, &u, &paths),
                element,
                &mut rng,
                &mut path,
                &mut out,
            );
        }
    }
    widen(&mut out.draws);
    out
}

/// One standard normal draw from each of as many equally likely strata, in an
/// order that mixes them with other strata.
fn strata(rng: &mut Rng) -> [f64; DRAWS_EACH] {
    let order = rng.shuffled(std::array::from_fn::<usize, DRAWS_EACH, _>(|i| i));
    order.map(|i| normal_quantile((i as f64 + rng.uniform()) / DRAWS_EACH as f64))
}

/// The draws under one draw of the shared numbers, and its number.
fn draws_under(
    (number, draw, u, paths): (usize, &SharedDraw, &UnderShared, &drift::Paths),
    element: &InUse<'_>,
    rng: &mut Rng,
    path: &mut Vec<f64>,
    out: &mut ElementDraws,
) {
    let shared = &draw.shared;
    let limit = shared.bend(element.ln_limit).0;
    let shares: [f64; DRAWS_EACH] =
        std::array::from_fn(|i| (i as f64 + rng.uniform()) / DRAWS_EACH as f64);
    let ln_rates = u.rate.ln_quantiles(shares.into_iter());
    let (levels, uses) = (strata(rng), strata(rng));
    let (litres, later) = (strata(rng), strata(rng));
    let each = levels
        .into_iter()
        .zip(uses)
        .zip(litres.into_iter().zip(later));
    for (i, (ln_rate, ((z_level, z_use), chance))) in ln_rates.zip(each).enumerate() {
        let rate = ln_rate.exp();
        let (mean, variance) = u.summary.level_after(rate, u.since_last, u.drifting.wander);
        // What both probes are off for good no reading of them tells.
        let off = PROBES_SD * u.stretch;
        let level = mean + (variance.max(0.0) + off * off).sqrt() * z_level;
        let level = otherwise(level, shared, element.ahead.ln_passage);
        let ln_now = shared.unbend(level);
        let passed = level >= limit;
        // Others under each draw, so that every stratum is shown as often.
        let shown = (i + number).is_multiple_of(SHOWN_EVERY);
        if passed || shown {
            paths.draw(rate, level, rng, path);
            if shown {
                out.paths.push(Path {
                    levels: path.clone(),
                    scale: shared.scale(),
                });
            }
        }
        let mut draw = ElementDraw {
            ln_now,
            growth_per_litre: rate * u.per_litre / shared.bend(ln_now).1,
            growth: Growth {
                level,
                rate_per_litre: rate * u.per_litre,
                wander_per_litre: u.drifting.wander * u.per_litre,
                scale: shared.scale(),
                per_c: THETA_MEAN_PER_C + shared.theta,
                per_c_at_recovery: THETA_MEAN_PER_C + shared.theta - shared.recovery,
            },
            litres_to_limit: 0.0,
            days_to_limit: 0.0,
            litres_per_day: element.usage.litres_per_day() * element.usage.factor(z_use, 0.0, 0.0),
        };
        if passed {
            draw.days_to_limit = past_crossing(element, path, limit);
        } else {
            ahead(&mut draw, limit - level, element, (chance, rng.uniform()));
        }
        out.draws.push(draw);
    }
}

/// The level where salt passage is otherwise by so much, ln.
fn otherwise(level: f64, shared: &Shared, ln_passage: f64) -> f64 {
    if ln_passage == 0.0 {
        return level;
    }
    shared.bend(shared.unbend(level) + ln_passage).0
}

/// How much wider than the model's own the spans of days are drawn, on the log
/// scale about their middle: what the model leaves out (drifting probes, new
/// rounds, seals). Set on simulated fleets, seeds 1-12 of the accuracy bench.
const WIDENED: f64 = 1.04;

/// Spreads the days and litres ahead about their median.
fn widen(draws: &mut [ElementDraw]) {
    let days = Spreading::about_middle(draws.iter().map(|d| d.days_to_limit), WIDENED);
    let litres = Spreading::about_middle(draws.iter().map(|d| d.litres_to_limit), WIDENED);
    for draw in draws {
        draw.days_to_limit = days.of(draw.days_to_limit);
        draw.litres_to_limit = litres.of(draw.litres_to_limit);
        if draw.days_to_limit > HORIZON_DAYS {
            draw.days_to_limit = f64::INFINITY;
        }
    }
}

/// Fills in when the limit is reached that is still `distance` away, given two
/// standard normal draws, of the litres and of the later use, and a uniform one.
fn ahead(
    draw: &mut ElementDraw,
    distance: f64,
    element: &InUse<'_>,
    ((z_litres, z_later), share): ((f64, f64), f64),
) {
    let usage = element.usage;
    let mean = distance / draw.growth.rate_per_litre;
    let shape = distance * distance / draw.growth.wander_per_litre.max(1e-18);
    draw.litres_to_limit = inverse_gaussian(mean, shape, z_litres, share);
    let years = draw.litres_to_limit / draw.litres_per_day / 365.25;
    draw.litres_per_day *= usage.factor(0.0, z_later, years);
    let days = usage.season.days_for(
        f64::from(element.as_of.day_of_year()),
        draw.litres_to_limit / draw.litres_per_day,
    );
    draw.days_to_limit = if days > HORIZON_DAYS {
        f64::INFINITY
    } else {
        days
    };
}

/// Days from the as-of day back to the first time the drawn path was at the
/// limit; never before the element was fitted.
fn past_crossing(element: &InUse<'_>, path: &[f64], limit: f64) -> f64 {
    let begin = element.life.fitted_on.unwrap_or(element.life.seen_from);
    let day = |date: Date| f64::from((date - element.as_of).get_days());
    let dates = element
        .looks
        .dates()
        .iter()
        .map(|&d| day(d))
        .chain(std::iter::once(0.0));
    let (mut before_day, mut before_level) = (day(begin), f64::NAN);
    for (at, &level) in dates.zip(path) {
        if level >= limit {
            let share = (limit - before_level) / (level - before_level);
            // The first reading may already be above: then it is as late as that.
            let share = if share.is_finite() {
                share.clamp(0.0, 1.0)
            } else {
                1.0
            };
            return (before_day + share * (at - before_day))
                .max(day(begin))
                .min(0.0);
        }
        (before_day, before_level) = (at, level);
    }
    0.0
}

/// Turns draws into the forecast that is handed on.
pub fn forecast(draws: &ElementDraws, fit: &SharedFit, element: &InUse<'_>) -> MembraneForecast {
    let InUse {
        life,
        looks,
        usage,
        as_of,
        ..
    } = *element;
    let mut days: Vec<f64> = draws.draws.iter().map(|d| d.days_to_limit).collect();
    sort(&mut days);
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let mut past = Past::of(draws);
    let median_of =
        |f: fn(&ElementDraw) -> f64| middle_of(draws.draws.iter().map(f)).unwrap_or(f64::NAN);
    let growth_per_litre = median_of(|d| d.growth_per_litre);
    MembraneForecast {
        salt_passage: span_of(draws.draws.iter().map(|d| d.ln_now.exp())),
        limit_on: day_span(&days, as_of, Some(begin)),
        path: path_over_time((draws, &mut past), (fit, element), &days),
        limit_draws: DayDraws(days),
        readings: looks.len(),
        litres_per_week: usage.litres_per_week,
        ln_now: median_of(|d| d.ln_now),
        growth_per_litre,
        explained: explain(draws, fit, element),
        watched: watch(fit, element),
        short: Vec::new(),
        courses: courses(draws, element),
        use_ahead: UseAhead::of(usage, as_of),
    }
}

/// The draws as courses, in the order of the shared numbers' draws.
fn courses(draws: &ElementDraws, element: &InUse<'_>) -> Vec<Course> {
    draws
        .draws
        .iter()
        .map(|d| {
            let scale = d.growth.scale;
            let motion = Motion {
                level: d.growth.level,
                limit: scale.bend(element.ln_limit).0,
                rate_per_litre: d.growth.rate_per_litre,
                wander_per_litre: d.growth.wander_per_litre,
            };
            Course::new(scale, &motion, d.litres_to_limit, d.litres_per_day)
        })
        .collect()
}

/// The few numbers that a forecast hangs on.
fn explain(draws: &ElementDraws, fit: &SharedFit, element: &InUse<'_>) -> Vec<Explained> {
    let looks = element.looks;
    let usage = element.usage;
    let usual_growth = |hardness: f64| {
        let s = &fit.best.shared;
        1000.0 * s.ln_rate.exp() * s.exposure_per_litre(hardness) / looks.membranes()
    };
    let litres = looks.litres_made();
    let late = looks.late_litres();
    let now = || draws.draws.iter();
    let week = |d: &ElementDraw| 7.0 * d.litres_per_day;
    [
        Some(Explained::known("usable readings", "", looks.len() as f64)),
        Some(Explained::known("litres made", "L", litres)),
        Some(Explained::known(
            "of them behind late pre-filters",
            "L",
            late,
        )),
        Some(Explained::known(
            "hardness of the water from now on",
            "mg/L CaCO3",
            element.base_hardness,
        )),
        Explained::of(
            "salt passage now",
            "%",
            now().map(|d| 100.0 * d.ln_now.exp()),
            None,
        ),
        Explained::of(
            "growth per 1000 L now",
            "% of itself",
            now().map(|d| 100.0 * (1000.0 * d.growth_per_litre).exp_m1()),
            Some(100.0 * usual_growth(element.base_hardness).exp_m1()),
        ),
        Explained::of("litres a week from now on", "L", now().map(week), None),
        Explained::of(
            "litres to the limit",
            "L",
            now()
                .filter(|d| d.days_to_limit > 0.0)
                .map(|d| d.litres_to_limit),
            None,
        ),
        (!usage.counted).then(|| {
            Explained::known(
                "litres assumed, not counted",
                "L a week",
                usage.litres_per_week,
            )
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Bands at past readings (thinned) and on future days up to a little past the
/// likely end, at least a year ahead.
fn path_over_time(
    (draws, past): (&ElementDraws, &mut Past<'_>),
    (fit, element): (&SharedFit, &InUse<'_>),
    days: &[f64],
) -> Vec<Band<Date>> {
    let as_of = element.as_of;
    let mut bands = past.bands(element.looks.dates());
    let p90 = days
        .get(days.len() * 9 / 10)
        .copied()
        .unwrap_or(f64::INFINITY);
    let ahead_days = if p90.is_finite() {
        (1.1 * p90).clamp(180.0, 1500.0)
    } else {
        1500.0
    };
    const STEPS: usize = 24;
    let mut levels = Vec::with_capacity(draws.draws.len());
    for i in 0..=STEPS {
        let day = ahead_days * i as f64 / STEPS as f64;
        let usual_days = element
            .usage
            .season
            .usual_days(f64::from(as_of.day_of_year()), day);
        wide::widest(PassageAhead {
            draws: &draws.draws,
            sways: &fit.sways,
            usual_days,
            passage: &mut levels,
        });
        let span = span_of(levels.iter().copied());
        if let (Ok(x), Some(p10), Some(p50), Some(p90)) = (
            as_of.checked_add(jiff::Span::new().days(day as i64)),
            span.p10,
            span.p50,
            span.p90,
        ) {
            bands.push(Band { x, p10, p50, p90 });
        }
    }
    bands
}

/// Salt passage of every draw after so many usual days.
struct PassageAhead<'a> {
    draws: &'a [ElementDraw],
    /// What chance does to each.
    sways: &'a [f64],
    usual_days: f64,
    passage: &'a mut Vec<f64>,
}

impl wide::Loops for PassageAhead<'_> {
    type Output = ();

    #[inline(always)]
    fn run(self) {
        let each = self.draws.iter().zip(self.sways);
        // A plain loop into room that is there: only so are several worked out together.
        self.passage.resize(each.len(), 0.0);
        for (passage, (d, z)) in self.passage.iter_mut().zip(each) {
            let litres = d.litres_per_day * self.usual_days;
            let g = &d.growth;
            let wander = (g.wander_per_litre * litres).sqrt() * z;
            let level = g.level + g.rate_per_litre * litres + wander;
            let seen = wide::exp(g.scale.unbend_wide(level));
            *passage = if seen < 1.0 { seen } else { 1.0 };
        }
    }
}

/// Salt passage at the readings and at the end, as far as it was asked for.
struct Past<'a> {
    paths: &'a [Path],
    spans: Vec<Option<Span<f64>>>,
}

impl Past<'_> {
    fn of(draws: &ElementDraws) -> Past<'_> {
        let places = draws.paths.first().map_or(0, |p| p.levels.len());
        Past {
            paths: &draws.paths,
            spans: vec![None; places],
        }
    }

    fn span(&mut self, place: usize) -> Option<Span<f64>> {
        let known = self.spans.get_mut(place)?;
        Some(*known.get_or_insert_with(|| {
            let there = self.paths.iter().filter_map(|p| {
                let level = p.levels.get(place)?;
                Some(p.scale.unbend(*level).exp())
            });
            span_of(there)
        }))
    }

    /// Bands at some of the places.
    fn bands<X: Copy>(&mut self, at: &[X]) -> Vec<Band<X>> {
        let every = at.len().div_ceil(60).max(1);
        let some = at.iter().enumerate().step_by(every);
        some.filter_map(|(place, &x)| {
            let span = self.span(place)?;
            Some(Band {
                x,
                p10: span.p10?,
                p50: span.p50?,
                p90: span.p90?,
            })
        })
        .collect()
    }
}

/// A new element (or several that share the water), before it is fitted.
#[derive(Debug, Clone, Copy)]
pub struct NewElement<'a> {
    pub district: Option<&'a Arc<str>>,
    pub hardness: f64,
    pub membranes: f64,
    pub ln_limit: f64,
    pub litres_per_day: f64,
    /// Added to `ln` salt passage.
    pub ln_passage: f64,
    pub seed_name: &'a str,
}

/// Sorted lives, in litres, of a new element, for one draw of its own each;
/// infinite lives do not occur, very long ones do.
pub fn new_element_lives(fit: &SharedFit, new: &NewElement<'_>) -> Vec<f64> {
    let mut lives: Vec<f64> = new_element_courses(fit, new, NEW_EACH)
        .iter()
        .map(|c| c.litres_to_limit)
        .collect();
    lives.sort_by(f64::total_cmp);
    lives
}

/// Equally likely courses of a new element, so many for each draw of the
/// shared numbers.
pub fn new_element_courses(fit: &SharedFit, new: &NewElement<'_>, each: usize) -> Vec<Course> {
    let mut rng = Rng::for_part(4, new.seed_name);
    let mut courses = Vec::with_capacity(fit.draws.len() * each);
    for draw in &fit.draws {
        let s = &draw.shared;
        let (addition, unsure) = draw.district(new.district);
        let spread = s.rate_sd.hypot(unsure);
        let per_litre = s.exposure_per_litre(new.hardness) / new.membranes;
        let limit = s.bend(new.ln_limit).0;
        for _ in 0..each {
            let start = s.ln_start + s.start_sd * rng.normal() + new.ln_passage;
            let rate = (s.ln_rate + addition + spread * rng.normal()).exp();
            let level = s.bend(start).0.min(limit - 0.01);
            let distance = limit - level;
            let litres = rng
                .inverse_gaussian(distance / rate, distance * distance / s.wander.max(1e-12))
                / per_litre;
            let motion = Motion {
                level,
                limit,
                rate_per_litre: rate * per_litre,
                wander_per_litre: s.wander * per_litre,
            };
            courses.push(Course::new(s.scale(), &motion, litres, new.litres_per_day));
        }
    }
    courses
}
