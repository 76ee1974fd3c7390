//! The day an element reaches the limit, by simulation over everything unsure: the law,
//! the shared numbers, the element's own parameters, the wander ahead, the van's use.

use std::sync::Arc;

use crate::calendar::{Date, DateExt};

use super::element::{Design, Posterior, Prior, Smoother};
use super::fleet::{JUMP_SPREAD, Numbers, VanEffect};
use super::law::{BEFORE, Law, PACE, PARAMETERS, Parameters, START, TOP};
use super::observations::{ElementObservations, USUAL_C};
use super::shared::{Outlook, SharedFit};
use super::trajectory::{Motion, Scale, Trajectory};
use super::usual;
use crate::fit::horizon::{HORIZON_DAYS, Spreading, day_span, middle_of, sort, span_of};
use crate::fit::usage::{Usage, UseAhead};
use crate::fit::{Assumptions, Band, DayDraws, Explained, MembraneForecast};
use crate::lives::ElementLife;
use crate::stats::dense::{Factor, dot};
use crate::stats::random::Rng;
use crate::stats::special::normal_quantile;
use crate::water::THETA_MEAN_PER_C;

/// Draws for each outlook. They are spread evenly over what is unsure, so that few serve.
pub const DRAWS_EACH: usize = 10;
/// Draws of a new element for each outlook, where it is asked for once and not for
/// every van.
const NEW_EACH: usize = 30;
/// Of all draws, every so many lend their path to the page.
const SHOWN_EVERY: usize = 4;
/// Standard normal numbers that a draw is made from.
const UNSURE: usize = 9;
/// Beyond this many times the horizon's litres nobody looks.
const FAR: f64 = 4.0;

/// One draw of what an element is and will do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ElementDraw {
    /// `ln` salt passage now, and its growth per litre now.
    pub ln_now: f64,
    pub growth_per_litre: f64,
    /// What a degree does to `ln` permeate over the seasons, and at usual recovery.
    pub per_c: f64,
    per_c_at_recovery: f64,
    /// Litres from now until the limit; negative or 0 if it is past, infinite if never.
    pub litres_to_limit: f64,
    /// Days from the as-of day until the limit; negative if past, infinite if never.
    pub days_to_limit: f64,
    /// Litres a day from now on.
    pub litres_per_day: f64,
    /// Its life over that of a usual element of the fleet in the same water under the
    /// same law; litres behind late pre-filters count as they wear.
    pub life_over_usual: f64,
    /// Its future, and how much further its litres lie apart than the path has them: the
    /// fleet's own past says how much wider than the model they do.
    path: Path,
    jump: Jump,
    stretch: f64,
}

impl ElementDraw {
    /// `ln` salt passage at 25 °C after so many litres; `wandered`: what a Wiener process
    /// along the litres has done by then.
    pub fn ln_passage(&self, litres: f64, smoother: f64) -> f64 {
        let path = &self.path;
        let sway = (path.process_variance * path.per_litre).sqrt() * smoother;
        let jumped = if litres * self.stretch > self.jump.litres {
            self.jump.ln
        } else {
            0.0
        };
        (path.after(litres * self.stretch) + sway + jumped).min(0.0)
    }

    /// Its law, and `ln` of its pace under it.
    pub(super) fn ln_pace(&self) -> (Law, f64) {
        let pace = self.path.parameters.get(PACE).copied();
        (self.path.law, pace.unwrap_or(f64::NAN))
    }

    /// `ln` of salt passage at the usual tap in the middle of the year over that at 25 °C.
    pub fn ln_cold(&self) -> f64 {
        -self.per_c_at_recovery * (25.0 - USUAL_C)
    }
}

/// The future of a draw: `ln s = law(exposure) + away`, the exposure counted from new.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Path {
    law: Law,
    parameters: Parameters,
    /// Exposure on record now, and of one litre ahead.
    exposure: f64,
    per_litre: f64,
    /// What it has wandered, with what only the level at 25 °C hangs on.
    away: f64,
    /// Variance of the wander per unit of exposure.
    process_variance: f64,
}

impl Path {
    /// `ln` salt passage after so many litres, wander ahead left out.
    fn after(&self, litres: f64) -> f64 {
        let exposure = self.exposure + self.per_litre * litres;
        (self.law.ln_passage(&self.parameters, exposure) + self.away).min(0.0)
    }

    /// Litres until `ln_passage`; infinite for never.
    fn litres_to(&self, ln_passage: f64) -> f64 {
        let at = self
            .law
            .exposure_at(&self.parameters, ln_passage - self.away);
        (at - self.exposure) / self.per_litre
    }
}

impl Path {
    /// Litres until `ln_passage` with what chance does on the way: wander, and seals that
    /// give; infinite beyond `most`. And the first of the latter. `z`: standard normal.
    fn litres_drawn(
        &self,
        numbers: &Numbers,
        ln_passage: f64,
        most: f64,
        z: f64,
        rng: &mut Rng,
    ) -> (f64, Jump) {
        const MOST_JUMPS: usize = 40;
        let straight = self.litres_to(ln_passage).min(most).max(0.0);
        // What it wanders on the way, as if the limit lay that much nearer or further.
        let sway = (self.process_variance * self.per_litre * straight).sqrt() * z;
        let mut path = Path {
            away: self.away + sway,
            ..*self
        };
        let per_litre = (numbers.jumps_ahead() * self.per_litre).max(1e-12);
        let mut jump = rng.exponential() / per_litre;
        let mut litres = path.litres_to(ln_passage);
        let mut first = Jump::NONE;
        for _ in 0..MOST_JUMPS {
            if jump >= litres || jump >= most {
                break;
            }
            let spread = JUMP_SPREAD * rng.normal() - 0.5 * JUMP_SPREAD * JUMP_SPREAD;
            let ln = numbers.jump_size * spread.exp();
            path.away += ln;
            if first == Jump::NONE {
                first = Jump { litres: jump, ln };
            }
            litres = path.litres_to(ln_passage).max(jump);
            jump += rng.exponential() / per_litre;
        }
        let litres = if litres > most {
            f64::INFINITY
        } else {
            litres.max(0.02 * straight).max(1.0)
        };
        (litres, first)
    }
}

/// A seal that gives so many litres ahead, and what it adds to `ln` salt passage.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Jump {
    litres: f64,
    ln: f64,
}

impl Jump {
    const NONE: Jump = Jump {
        litres: f64::INFINITY,
        ln: 0.0,
    };
}

/// Equally likely draws for one element, with what the page needs of its past.
#[derive(Debug, Clone)]
pub struct ElementDraws {
    pub draws: Vec<ElementDraw>,
    /// `ln` salt passage at the cells and at the end, of every fourth draw.
    paths: Vec<Vec<f64>>,
    dates: Vec<Date>,
}

/// One element in use, and what its future hangs on.
pub struct InUse<'a> {
    pub life: &'a ElementLife,
    pub observations: &'a ElementObservations,
    pub base_hardness: f64,
    pub usage: &'a Usage,
    pub ln_limit: f64,
    /// The van's other elements.
    pub others: &'a [ElementObservations],
    /// What is otherwise from now on.
    pub ahead: Assumptions,
    /// Where the records end and the future begins.
    pub as_of: Date,
    /// Seeds the draws: keeps vans independent of each other's presence.
    pub seed_name: &'a str,
}

impl InUse<'_> {
    /// Exposure of a future litre.
    pub fn per_litre(&self, numbers: &Numbers) -> f64 {
        let of = |hardness: f64| numbers.exposure_per_litre(hardness);
        let ahead = self.ahead.hardness;
        let harder = ahead.map_or(1.0, |(now, then)| of(then) / of(now));
        let usual =
            self.observations
                .exposure_per_future_litre(numbers.late, of, self.base_hardness);
        (harder * usual).max(1e-9)
    }
}

/// An element under one law, ready to be drawn from.
struct ElementUnderLaw<'a> {
    numbers: &'a Numbers,
    design: Design,
    usual: Drawn,
    /// Nothing where it is next to certain that it is no weak one.
    weak: Option<Drawn>,
    p_weak: f64,
    /// What this law makes of the readings, `ln`.
    ln_evidence: f64,
    per_litre: f64,
    /// Exposure that a usual element of this water lasts.
    usual_exposure: f64,
    per_c: f64,
    per_c_at_recovery: f64,
    /// How unsure the level at 25 °C is whatever the readings.
    level_sd: f64,
    /// How likely a jump is the meters'.
    p_meter_jumped: f64,
}

/// What draws of the parameters are made from.
struct Drawn {
    mean: Parameters,
    /// Factor of their covariance, in [`ORDER`].
    factor: Option<Factor>,
    /// What it has wandered, by what the law leaves over: jumps included, and without
    /// those that may be the meters'.
    smoother: Smoother,
    steady: Option<Smoother>,
}

/// The pace first: it matters most, and its draws are spread most evenly.
const ORDER: [usize; PARAMETERS] = [PACE, TOP, START, BEFORE];

impl Drawn {
    fn of(design: &Design, (prior, posterior): &(Prior, Posterior)) -> Drawn {
        let mut covariance = vec![0.0; PARAMETERS * PARAMETERS];
        for (i, &a) in ORDER.iter().enumerate() {
            for (j, &b) in ORDER.iter().enumerate() {
                if let Some(value) = covariance.get_mut(i * PARAMETERS + j) {
                    *value = posterior.covariance[a][b];
                    if i == j {
                        *value = value.max(0.0) + 1e-10 + 1e-6 * prior.variance[a];
                    }
                }
            }
        }
        Drawn {
            mean: posterior.mean,
            factor: Factor::of(&covariance, PARAMETERS),
            smoother: design.smoother(&posterior.own, true),
            steady: (!design.jumps.is_empty()).then(|| design.smoother(&posterior.own, false)),
        }
    }

    fn parameters(&self, z: &[f64; PARAMETERS]) -> Parameters {
        let mut p = self.mean;
        if let Some(factor) = &self.factor {
            for (&k, away) in ORDER.iter().zip(factor.colour(z)) {
                p[k] += away;
            }
        }
        p
    }
}

impl<'a> ElementUnderLaw<'a> {
    /// `usual`: exposure that a usual element lasts where districts add nothing.
    fn of(numbers: &'a Numbers, usual: f64, element: &InUse<'_>) -> ElementUnderLaw<'a> {
        let observations = element.observations;
        let mut design = numbers.design_of(observations);
        let n = design.len();
        let van_effect = if element.others.is_empty() {
            VanEffect::NONE
        } else {
            numbers.van_effect(element.others.iter())
        };
        let both = numbers.both(&observations.whose(), van_effect, &mut design, n, true);
        let (theta, theta_sd) = numbers.theta_at_recovery(observations.through_recovery);
        let per_litre = element.per_litre(numbers);
        let district = numbers.district(observations.district.as_ref()).0;
        // What is usual is told by the others: in a small fleet an element is a good part
        // of the mean that it is held against.
        let (prior, posterior) = &both.usual;
        let own = posterior.own_of(prior, PACE).map_or(0.0, |own| {
            let counted = (1.0 - both.p_weak) / (numbers.variance[PACE] + own.variance);
            let others = (1.0 / numbers.mean_variance[PACE] - counted).max(counted);
            (counted * own.shift / others).clamp(-0.5, 0.5)
        });
        // What would outlast the horizon is not asked for more than that.
        let horizon = HORIZON_DAYS * element.usage.litres_per_day() * per_litre;
        ElementUnderLaw {
            usual_exposure: (usual * (own - district).exp()).min(horizon).max(1e-9),
            usual: Drawn::of(&design, &both.usual),
            weak: (both.p_weak > 0.002).then(|| Drawn::of(&design, &both.weak)),
            p_weak: both.p_weak,
            ln_evidence: both.ln_evidence(numbers.weak_share),
            per_litre,
            per_c: THETA_MEAN_PER_C + numbers.theta,
            per_c_at_recovery: THETA_MEAN_PER_C + theta,
            level_sd: (theta_sd * (25.0 - USUAL_C)).hypot(observations.meter_doubt.sqrt()),
            // Where the meters themselves were weighed, what jumps beside is the membrane's.
            p_meter_jumped: if observations.meter_doubt > 0.0 {
                0.0
            } else {
                numbers.p_meter_jumped()
            },
            design,
            numbers,
        }
    }
}

/// Draws an element's present and future.
pub fn draws_of(fit: &SharedFit, element: &InUse<'_>) -> ElementDraws {
    let mut rng = Rng::for_part(2, element.seed_name);
    let under: Vec<ElementUnderLaw<'_>> = fit
        .laws
        .weighed
        .iter()
        .enumerate()
        .map(|(n, (numbers, _))| {
            let usual = fit.usual_exposures.get(n).copied();
            ElementUnderLaw::of(numbers, usual.unwrap_or(f64::INFINITY), element)
        })
        .collect();
    let count = fit.outlooks.len() * DRAWS_EACH;
    let mut out = ElementDraws {
        draws: Vec::with_capacity(count),
        paths: Vec::new(),
        dates: element
            .observations
            .cells()
            .iter()
            .map(|c| c.date)
            .collect(),
    };
    let mut from = 0;
    for (under, n) in under.iter().zip(shares_of(fit, &under, count)) {
        let mut normals = || -> Vec<f64> {
            let order: Vec<usize> = rng.shuffled((0..n).collect());
            order
                .into_iter()
                .map(|i| normal_quantile((i as f64 + rng.uniform()) / n as f64))
                .collect()
        };
        let columns: [Vec<f64>; UNSURE] = std::array::from_fn(|_| normals());
        let (weak, meter) = (spread_evenly(&mut rng, n), spread_evenly(&mut rng, n));
        for i in 0..n {
            let chance = Chance {
                z: std::array::from_fn(|k| columns[k].get(i).copied().unwrap_or(0.0)),
                weak: weak.get(i).is_some_and(|share| *share < under.p_weak),
                meter: meter
                    .get(i)
                    .is_some_and(|share| *share < under.p_meter_jumped),
                shown: (from + i).is_multiple_of(SHOWN_EVERY),
            };
            draw(under, &chance, element, &mut rng, &mut out);
        }
        from += n;
    }
    widen(&mut out.draws, fit.laws.wider);
    out
}

/// How many of the draws each law gets: by its weight in the fleet, and by what it makes
/// of this element's own readings.
fn shares_of(fit: &SharedFit, under: &[ElementUnderLaw<'_>], count: usize) -> Vec<usize> {
    /// An element's readings told of the law in the fleet's past too: half of it is new.
    const OWN: f64 = 0.5;
    let evidence = || under.iter().map(|u| u.ln_evidence);
    let top = evidence().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = fit
        .laws
        .weighed
        .iter()
        .zip(evidence())
        .map(|((_, weight), ln)| weight * (OWN * (ln - top)).exp())
        .collect();
    let total: f64 = weights.iter().sum();
    let (mut below, mut given) = (0.0, 0);
    weights
        .iter()
        .map(|w| {
            below += w / total;
            let upto = (below * count as f64).round() as usize;
            let own = upto.min(count) - given;
            given += own;
            own
        })
        .collect()
}

/// What chance decides of one draw.
struct Chance {
    /// Standard normal.
    z: [f64; UNSURE],
    /// Whether the element is a weak one, and whether what jumped were the meters.
    weak: bool,
    meter: bool,
    /// Whether its past is shown.
    shown: bool,
}

/// A share in each of as many equally likely strata, in an order that mixes them.
fn spread_evenly(rng: &mut Rng, n: usize) -> Vec<f64> {
    let order: Vec<usize> = rng.shuffled((0..n).collect());
    order
        .into_iter()
        .map(|i| (i as f64 + rng.uniform()) / n as f64)
        .collect()
}

/// One draw.
fn draw(
    under: &ElementUnderLaw<'_>,
    chance: &Chance,
    element: &InUse<'_>,
    rng: &mut Rng,
    out: &mut ElementDraws,
) {
    let [a, b, c, d, z_wander, z_level, z_use, z_ahead, z_later] = chance.z;
    let shown = chance.shown;
    let weak = under.weak.as_ref().filter(|_| chance.weak);
    let drawn = weak.unwrap_or(&under.usual);
    let steady = drawn.steady.as_ref().filter(|_| chance.meter);
    let smoother = steady.unwrap_or(&drawn.smoother);
    let law = under.numbers.law;
    let design = &under.design;
    let parameters = drawn.parameters(&[a, b, c, d]);
    let rest: Vec<f64> = design
        .y
        .iter()
        .zip(&design.exposure)
        .map(|(y, e)| y - law.ln_passage(&parameters, *e))
        .collect();
    let level = under.level_sd * z_level + element.ahead.ln_passage;
    let away = dot(&smoother.end, &rest) + smoother.end_sd * z_wander + level;
    let usage = element.usage;
    let path = Path {
        law,
        parameters,
        exposure: design.end,
        per_litre: under.per_litre,
        away,
        process_variance: under.numbers.process_variance,
    };
    let ln_now = path.after(0.0);
    let passed = ln_now >= element.ln_limit;
    let past = (passed || shown).then(|| {
        let at_cells = design.exposure.iter().zip(&smoother.cells);
        let mut levels: Vec<f64> = at_cells
            .map(|(e, weights)| law.ln_passage(&parameters, *e) + dot(weights, &rest) + level)
            .collect();
        levels.push(ln_now);
        levels
    });
    let litres_per_day = usage.litres_per_day() * usage.factor(z_use, 0.0, 0.0);
    let mut draw = ElementDraw {
        ln_now,
        growth_per_litre: 0.0,
        per_c: under.per_c,
        per_c_at_recovery: under.per_c_at_recovery,
        litres_to_limit: 0.0,
        days_to_limit: 0.0,
        litres_per_day,
        life_over_usual: under.usual_exposure,
        path,
        jump: Jump::NONE,
        stretch: 1.0,
    };
    if passed {
        let levels = past.as_deref().unwrap_or(&[]);
        draw.days_to_limit = past_crossing(element, levels, element.ln_limit);
    } else {
        ahead(&mut draw, under.numbers, element, (z_ahead, z_later), rng);
    }
    let soon = (litres_per_day * 60.0).max(100.0);
    draw.growth_per_litre = (path.after(soon) - ln_now).max(0.0) / soon;
    if let Some(levels) = past.filter(|_| shown) {
        out.paths.push(levels);
    }
    out.draws.push(draw);
}

/// Spreads the days and litres ahead about their median: outcomes of the fleet's own
/// past lay so much wider than the model said.
fn widen(draws: &mut [ElementDraw], wider: f64) {
    let days = Spreading::about_middle(draws.iter().map(|d| d.days_to_limit), wider);
    let litres = Spreading::about_middle(draws.iter().map(|d| d.litres_to_limit), wider);
    for draw in draws {
        draw.days_to_limit = days.of(draw.days_to_limit);
        let wider = litres.of(draw.litres_to_limit);
        if wider > 0.0 && wider.is_finite() {
            draw.stretch = draw.litres_to_limit / wider;
        }
        draw.litres_to_limit = wider;
        if draw.days_to_limit > HORIZON_DAYS {
            draw.days_to_limit = f64::INFINITY;
        }
        // Until now it is the usual life that stands there.
        draw.life_over_usual = draw.exposure_lived() / draw.life_over_usual;
    }
}

impl ElementDraw {
    /// Exposure from new until the limit.
    fn exposure_lived(&self) -> f64 {
        let ahead = if self.days_to_limit < 0.0 {
            self.days_to_limit * self.litres_per_day
        } else {
            self.litres_to_limit
        };
        let path = &self.path;
        let before = path.parameters.get(BEFORE).copied().unwrap_or(f64::NAN);
        (path.exposure + before.exp() + path.per_litre * ahead).max(0.0)
    }
}

/// Exposure that a usual element lasts under each law that counts, in the middle over
/// elements that are not weak, what chance does on the way included; infinite for never.
pub fn usual_exposures(fit: &SharedFit, ln_limit: f64) -> Vec<f64> {
    /// Draws of each law.
    const EACH: usize = 300;
    let mut rng = Rng::for_part(6, "usual lives");
    let new = NewElement {
        district: None,
        hardness: 200.0,
        membranes: 1.0,
        ln_limit,
        litres_per_day: 150.0,
        ln_passage: 0.0,
        seed_name: "",
    };
    let laws = fit.laws.weighed.iter();
    laws.map(|(numbers, _)| {
        let mut numbers = numbers.clone();
        numbers.weak_share = 0.0;
        let per_litre = numbers.exposure_per_litre(new.hardness);
        let lives = (0..EACH).map(|_| {
            let trajectory = new_course(&numbers, &new, (0.0, 0.0), &mut rng);
            trajectory.litres_to_limit * per_litre
        });
        middle_of(lives).unwrap_or(f64::INFINITY)
    })
    .collect()
}

/// Fills in when the limit is reached that is still ahead, given two standard normal
/// draws, of the wander and of the later use.
fn ahead(
    draw: &mut ElementDraw,
    numbers: &Numbers,
    element: &InUse<'_>,
    (z, z_use): (f64, f64),
    rng: &mut Rng,
) {
    let usage = element.usage;
    let most = FAR * HORIZON_DAYS * draw.litres_per_day.max(1.0);
    (draw.litres_to_limit, draw.jump) =
        draw.path
            .litres_drawn(numbers, element.ln_limit, most, z, rng);
    let years = draw.litres_to_limit / draw.litres_per_day / 365.25;
    draw.litres_per_day *= usage.factor(0.0, z_use, years);
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
    let day = |date: Date| f64::from(date.days_since(element.as_of));
    let dates = element
        .observations
        .cells()
        .iter()
        .map(|c| day(c.date))
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
        observations,
        usage,
        as_of,
        ..
    } = *element;
    let mut days: Vec<f64> = draws.draws.iter().map(|d| d.days_to_limit).collect();
    sort(&mut days);
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let median_of =
        |f: fn(&ElementDraw) -> f64| middle_of(draws.draws.iter().map(f)).unwrap_or(f64::NAN);
    let growth_per_litre = median_of(|d| d.growth_per_litre);
    MembraneForecast {
        salt_passage: span_of(draws.draws.iter().map(|d| d.ln_now.exp())),
        limit_on: day_span(&days, as_of, Some(begin)),
        path: path_over_time(draws, fit, element, &days),
        limit_draws: DayDraws(days),
        readings: observations.len(),
        litres_per_week: usage.litres_per_week,
        ln_now: median_of(|d| d.ln_now),
        growth_per_litre,
        explained: explain(draws, fit, element),
        compared: usual::compared(fit, element, draws),
        short: Vec::new(),
        trajectories: trajectories(draws, element),
        use_ahead: UseAhead::of(usage, as_of),
    }
}

/// The draws as courses, in the order of the outlooks.
fn trajectories(draws: &ElementDraws, element: &InUse<'_>) -> Vec<Trajectory> {
    draws
        .draws
        .iter()
        .map(|d| {
            trajectory(
                &d.path,
                d.litres_to_limit,
                d.litres_per_day,
                element.ln_limit,
            )
        })
        .collect()
}

/// A course from where a path is now to the limit, on a scale that quickens or slackens
/// as the law does between the two.
fn trajectory(path: &Path, litres: f64, litres_per_day: f64, ln_limit: f64) -> Trajectory {
    let now = path.after(0.0);
    let far = if litres.is_finite() {
        litres.max(1.0)
    } else {
        HORIZON_DAYS * litres_per_day.max(1.0)
    };
    let end = if litres.is_finite() {
        ln_limit
    } else {
        path.after(far).min(ln_limit)
    };
    let middle = if litres.is_finite() {
        // Where the law itself is half-way, not this draw's wander.
        path.after(0.5 * path.litres_to(ln_limit).min(far))
    } else {
        path.after(0.5 * far)
    };
    let scale = Scale::through(now, middle, end);
    let motion = Motion {
        level: scale.link(now).0,
        limit: scale.link(ln_limit).0,
        rate_per_litre: (scale.link(end).0 - scale.link(now).0).max(1e-12) / far,
        wander_per_litre: path.process_variance * path.per_litre * scale.link(now).1.powi(2),
    };
    Trajectory::new(scale, &motion, litres, litres_per_day)
}

/// The few numbers that a forecast hangs on.
fn explain(draws: &ElementDraws, fit: &SharedFit, element: &InUse<'_>) -> Vec<Explained> {
    let observations = element.observations;
    let usage = element.usage;
    let litres = observations.litres_made();
    let numbers = fit.likeliest();
    // Of a usual element that has made as many litres.
    let usual_growth = {
        let usual = numbers
            .prior(&observations.whose(), VanEffect::NONE, false, false)
            .mean;
        let per_litre = element.per_litre(numbers);
        let now = per_litre * litres;
        let after = now + 1000.0 * per_litre;
        numbers.law.ln_passage(&usual, after) - numbers.law.ln_passage(&usual, now)
    };
    let late = observations.late_litres();
    let now = || draws.draws.iter();
    let week = |d: &ElementDraw| 7.0 * d.litres_per_day;
    [
        Some(Explained::known(
            "usable readings",
            "",
            observations.len() as f64,
        )),
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
            Some(100.0 * usual_growth.exp_m1()),
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

/// Bands at past readings and on future days up to a little past the likely end, at
/// least a year ahead.
fn path_over_time(
    draws: &ElementDraws,
    fit: &SharedFit,
    element: &InUse<'_>,
    days: &[f64],
) -> Vec<Band<Date>> {
    let as_of = element.as_of;
    let mut bands: Vec<Band<Date>> = draws
        .dates
        .iter()
        .enumerate()
        .filter_map(|(place, &x)| {
            let there = draws.paths.iter().filter_map(|p| p.get(place));
            band(x, there.map(|ln| ln.exp().min(1.0)))
        })
        .collect();
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
    for i in 0..=STEPS {
        let day = ahead_days * i as f64 / STEPS as f64;
        let usual_days = element
            .usage
            .season
            .usual_days(f64::from(as_of.day_of_year()), day);
        let each = draws.draws.iter().zip(&fit.sways).map(|(d, z)| {
            let litres = d.litres_per_day * usual_days;
            d.ln_passage(litres, litres.sqrt() * z).exp()
        });
        if let Some(x) = as_of.checked_plus_days(day as i64) {
            bands.extend(band(x, each));
        }
    }
    bands
}

fn band(x: Date, values: impl Iterator<Item = f64>) -> Option<Band<Date>> {
    let span = span_of(values);
    Some(Band {
        x,
        p10: span.p10?,
        p50: span.p50?,
        p90: span.p90?,
    })
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

/// Sorted lives, in litres, of a new element, for one draw of its own each; infinite
/// where it never reaches the limit.
pub fn new_element_lives(fit: &SharedFit, new: &NewElement<'_>) -> Vec<f64> {
    let mut lives: Vec<f64> = new_element_courses(fit, new, NEW_EACH)
        .iter()
        .map(|c| c.litres_to_limit)
        .collect();
    lives.sort_by(f64::total_cmp);
    lives
}

/// Equally likely courses of a new element, so many for each outlook.
pub fn new_element_courses(fit: &SharedFit, new: &NewElement<'_>, each: usize) -> Vec<Trajectory> {
    let mut rng = Rng::for_part(4, new.seed_name);
    let mut trajectories = Vec::with_capacity(fit.outlooks.len() * each);
    for outlook in &fit.outlooks {
        let Some((numbers, _)) = fit.laws.weighed.get(outlook.law) else {
            continue;
        };
        let Outlook { pace, start, .. } = *outlook;
        for _ in 0..each {
            trajectories.push(new_course(numbers, new, (pace, start), &mut rng));
        }
    }
    trajectories
}

fn new_course(
    numbers: &Numbers,
    new: &NewElement<'_>,
    (pace, start): (f64, f64),
    rng: &mut Rng,
) -> Trajectory {
    let known = super::fleet::Belonging {
        district: new.district,
        start_known: true,
    };
    let weak = rng.chance(numbers.weak_share);
    let prior = numbers.prior(&known, VanEffect::NONE, weak, false);
    let mut parameters = prior.mean;
    for (p, variance) in parameters.iter_mut().zip(prior.variance) {
        *p += variance.sqrt() * rng.normal();
    }
    parameters[PACE] += pace;
    parameters[START] = (parameters[START] + start).min(new.ln_limit - new.ln_passage - 0.01);
    let path = Path {
        law: numbers.law,
        parameters,
        exposure: 0.0,
        per_litre: numbers.exposure_per_litre(new.hardness) / new.membranes,
        away: new.ln_passage,
        process_variance: numbers.process_variance,
    };
    let most = FAR * HORIZON_DAYS * new.litres_per_day.max(150.0);
    let (litres, _) = path.litres_drawn(numbers, new.ln_limit, most, rng.normal(), rng);
    trajectory(&path, litres, new.litres_per_day, new.ln_limit)
}
