//! One van's readings explained: water that moves, a membrane that ages, and breaks in
//! the tap's meter, in the water of this one tap, or in what comes through.

use std::f64::consts::TAU;

use crate::calendar::{Date, DateExt};
use nalgebra::DVector;

use super::evidence::{Explanation, Solved};
use super::pattern::{LITRES, Pattern};
use super::pressure::{self, PressureLoss};
use super::taps::Others;
use super::{METER_BREAKS, METER_SIZE_SD, PRESSURE_BREAKS};
use crate::lives::{Item, PassagePoint, ROUNDING_PPM, VanLives, in_whole_ppm};
use crate::stats::robust::{mad_sd, median_in_place};

/// Breaks of each kind a year of a van that are looked for (judgement: those of the water
/// and of the membrane more often than they happen, as what is found is weighed again by
/// what the fleet shows). What outlasts a membrane is the meter after it, or the pressure.
const WATER_BREAKS: f64 = 0.05;
/// Where no neighbour tells the water's own movement.
const WATER_BREAKS_ALONE: f64 = 0.5;
const PASSAGE_BREAKS: f64 = 0.08;
const STANDING_BREAKS: f64 = METER_BREAKS + PRESSURE_BREAKS;
/// Variances of their sizes, ln.
const METER_SIZE: f64 = METER_SIZE_SD * METER_SIZE_SD;
const WATER_SIZE: f64 = 0.06;
/// Of the water of one tap beside its neighbours': taps of a district stay closer.
const WATER_SIZE_BESIDE: f64 = 0.0144;
const PASSAGE_SIZE: f64 = 0.16;
/// Days over which a break may come about, 0: at once, and the share of each.
const RAMPS: [(f64, f64); 3] = [(0.0, 0.6), (90.0, 0.2), (180.0, 0.2)];
/// Breaks looked for one after the other, and places tried for those that take their time.
const MOST_BREAKS: usize = 5;
/// One in what comes through that is less likely is left out.
const LEAST_EXISTS: f64 = 0.2;
const MOST_PLACES: usize = 24;
/// Readings that must stand on either side.
const BESIDE: usize = 2;
/// Standard deviations beyond which a reading counts less.
const WINSOR: f64 = 2.5;
/// Least scatter of a tap and of salt passage, ln.
const TAP_SD: f64 = 0.025;
const PASSAGE_SD: f64 = 0.04;
/// What the water of one tap wanders where no neighbour tells, ln.
const ALONE_SD: f64 = 0.06;
/// Readings are thinned beyond.
const MOST_READINGS: usize = 160;
/// Newest membranes that are looked at together.
const MOST_ELEMENTS: usize = 4;
pub(super) const DAYS_A_YEAR: f64 = 365.25;

const EPOCH: Date = crate::calendar::date(1970, 1, 1);

/// Days since 1970.
pub(super) fn days(date: Date) -> i32 {
    date.days_since(EPOCH)
}

/// The day so many days after the first of 1970.
pub(super) fn date_of(days: i32) -> Date {
    EPOCH.plus_days(i64::from(days))
}

/// A van's readings at its base since it is based there, oldest first, with the number of
/// the membrane.
pub(super) fn since_moved(van: &VanLives) -> Vec<(usize, &PassagePoint)> {
    let elements = van.elements.iter().enumerate();
    let all: Vec<(usize, &PassagePoint)> = elements
        .flat_map(|(n, e)| e.points.iter().map(move |p| (n, p)))
        .collect();
    // Readings stop to compare where the base moves or a probe is worked on.
    let is_move = |a: &PassagePoint, b: &PassagePoint| {
        a.regime != b.regime && !probe_days(van).any(|d| a.date < d && d <= b.date)
    };
    let pairs = all.iter().zip(all.iter().skip(1));
    let moved = pairs
        .enumerate()
        .rfind(|(_, (a, b))| is_move(a.1, b.1))
        .map_or(0, |(i, _)| i + 1);
    all.into_iter()
        .skip(moved)
        .filter(|(_, p)| p.at_base && p.feed_ppm > 0.0 && p.salt_passage > 0.0)
        .collect()
}

/// Cosine and sine of the day in the year.
pub(super) fn seasons(day: f64) -> [f64; 2] {
    let year = TAU * day / DAYS_A_YEAR;
    [year.cos(), year.sin()]
}

fn probe_days(van: &VanLives) -> impl Iterator<Item = Date> {
    let services = van.services.iter();
    services.filter(|s| s.item == Item::Probe).map(|s| s.date)
}

/// What breaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BreakKind {
    /// The tap's meter: its water after the membrane does not follow.
    TapMeter,
    /// The water at this tap alone: what comes after the membrane follows.
    Water,
    /// What comes through, with the tap unmoved, until the membrane is changed: the
    /// membrane, its pressure, or the meter after it.
    Passage,
    /// The same on the membranes that follow too: no membrane's doing.
    Standing,
}

const KINDS: [BreakKind; 4] = [
    BreakKind::TapMeter,
    BreakKind::Water,
    BreakKind::Passage,
    BreakKind::Standing,
];

/// A lasting change that readings show.
#[derive(Debug, Clone, PartialEq)]
pub struct Break {
    pub kind: BreakKind,
    /// Days since 1970 on which it begins, and over which it comes about.
    pub day: f64,
    pub ramp_days: f64,
    /// `ln` of the tap's reading after over before; of salt passage for
    /// [`BreakKind::Passage`] and [`BreakKind::Standing`].
    pub size: f64,
    pub sd: f64,
    /// Probability that there is a break there at all, and that it is of this kind if so.
    pub exists: f64,
    pub of_kind: f64,
    /// A later membrane shows no trace of it.
    pub is_over: bool,
    /// Of one in what comes through: probability that it outlasts its membrane, where a
    /// later one was read.
    pub lasts: f64,
    pub beside: Beside,
}

/// What else changed across a break in what comes through, `ln` of after over before.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Beside {
    pub flow: Option<f64>,
    pub bar: Option<f64>,
    /// What resin seems to take up: salt as read, until it is spent.
    pub resin: Option<f64>,
    /// Share of the litres since then made behind overdue pre-filters.
    pub late: f64,
}

impl Break {
    /// How much of it has come about on a day.
    pub(super) fn share_on(&self, day: f64) -> f64 {
        share(day, self.day, self.ramp_days)
    }

    pub fn began(&self) -> Date {
        date_of(self.day.ceil() as i32)
    }
}

fn share(day: f64, begins: f64, ramp_days: f64) -> f64 {
    if day < begins {
        0.0
    } else if ramp_days > 0.0 {
        ((day - begins) / ramp_days).min(1.0)
    } else {
        1.0
    }
}

/// How a tap stands to the others of its district, `ln`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    pub mean: f64,
    pub variance: f64,
    pub others: usize,
}

/// What one van's readings tell.
#[derive(Debug, Clone, Default)]
pub struct VanEvidence {
    /// Days since 1970 of the newest reading; `None` where there are too few.
    pub newest: Option<f64>,
    /// Years over which salt passage of the membrane in use was read.
    pub passage_years: f64,
    /// Oldest first.
    pub breaks: Vec<Break>,
    /// Probability of a break of the tap's meter beyond those.
    pub pending: f64,
    /// Of the newest readings; `None` without others.
    pub offset: Option<Offset>,
    /// How far new membranes read above what is usual in the fleet, `ln`, and the variance.
    pub new_level: Option<(f64, f64)>,
    /// Day of the last work on a probe.
    pub probe_day: Option<f64>,
    /// What product water read first on each of the newest two fillings of resin, ppm, and
    /// what entered.
    pub fresh_ppm: Vec<(f64, f64)>,
    pub pressure: Option<PressureLoss>,
}

impl VanEvidence {
    /// Expected steps up in salt passage.
    pub(super) fn steps_up(&self) -> f64 {
        let through = |b: &&Break| matches!(b.kind, BreakKind::Passage | BreakKind::Standing);
        let up = self.breaks.iter().filter(through);
        let up = up.filter(|b| b.ramp_days == 0.0 && b.size > 0.2);
        up.map(|b| b.exists * b.of_kind).sum()
    }
}

/// The rows of an explanation: taps first, then salt passage.
struct Rows {
    day: Vec<f64>,
    /// How many are taps.
    taps: usize,
    is_compared: bool,
    /// From which row to which each membrane was read, oldest first.
    elements: Vec<(usize, usize)>,
}

/// Salt passage of a membrane on a day.
struct Passage<'a> {
    point: &'a PassagePoint,
    day: f64,
    element: usize,
}

/// Weighs one van's readings; `others`: what the other vans of its district read;
/// `pattern`: how membranes of the fleet begin and age.
pub fn explain(van: &VanLives, others: Option<&Others>, pattern: &Pattern) -> VanEvidence {
    let mut points = since_moved(van);
    let pressure = pressure::loss(&points);
    let oldest = van.elements.len().saturating_sub(MOST_ELEMENTS);
    points.retain(|(n, _)| *n >= oldest);
    if points.len() > MOST_READINGS {
        let every = points.len().div_ceil(MOST_READINGS);
        let n = points.len();
        let mut number = 0;
        points.retain(|_| {
            number += 1;
            (n - number).is_multiple_of(every)
        });
    }
    let fresh_ppm = fresh(van);
    let (Some(first), Some(newest)) = (points.first(), points.last()) else {
        return VanEvidence {
            fresh_ppm,
            pressure,
            ..VanEvidence::default()
        };
    };
    let (first_day, newest_day) = (
        f64::from(days(first.1.date)),
        f64::from(days(newest.1.date)),
    );
    let taps: Vec<(f64, f64, f64)> = points
        .iter()
        .filter_map(|(_, p)| {
            let (day, ln) = (f64::from(days(p.date)), p.feed_ppm.ln());
            match others {
                Some(others) => {
                    let (there, variance) = others.on(day)?;
                    Some((day, ln - there, variance))
                }
                None => Some((day, ln, ALONE_SD * ALONE_SD)),
            }
        })
        .collect();
    let passages: Vec<Passage<'_>> = points
        .iter()
        .map(|(n, p)| Passage {
            point: p,
            day: f64::from(days(p.date)),
            element: *n,
        })
        .collect();
    let mut elements: Vec<(usize, usize)> = Vec::new();
    let mut reached = taps.len();
    for of_one in passages.chunk_by(|a, b| a.element == b.element) {
        elements.push((reached, reached + of_one.len()));
        reached += of_one.len();
    }
    let mut out = VanEvidence {
        newest: Some(newest_day),
        passage_years: passages
            .first()
            .map_or(0.0, |p| (newest_day - p.day) / DAYS_A_YEAR),
        probe_day: probe_days(van)
            .map(|d| f64::from(days(d)))
            .filter(|d| *d <= newest_day)
            .last(),
        fresh_ppm,
        pressure,
        ..VanEvidence::default()
    };
    let rows = Rows {
        day: taps
            .iter()
            .map(|t| t.0)
            .chain(passages.iter().map(|p| p.day))
            .collect(),
        taps: taps.len(),
        is_compared: others.is_some(),
        elements,
    };
    let (mut explained, levels) =
        without_breaks(van, &rows, &taps, &passages, (first_day, pattern));
    let services: Vec<f64> = probe_days(van)
        .map(|d| f64::from(days(d)))
        .filter(|d| first_day < *d && *d <= newest_day)
        .collect();
    let worked_on = explained.wide();
    const MOST_SERVICES: usize = 3;
    const SERVICE_SIZE: f64 = 0.02;
    let newest_services = services.len().saturating_sub(MOST_SERVICES);
    for day in services.iter().skip(newest_services) {
        for kind in [BreakKind::TapMeter, BreakKind::Standing] {
            explained.add_column(rows.column(kind, *day, 0.0), SERVICE_SIZE);
        }
    }
    let of_breaks = explained.wide();
    let Some(mut solved) = explained.solve() else {
        return out;
    };
    while out.breaks.len() < MOST_BREAKS {
        let Some(found) = rows.observation(&solved, &explained) else {
            break;
        };
        let through = matches!(found.kind, BreakKind::Passage | BreakKind::Standing);
        let likely = found.exists > 0.5;
        if !likely {
            out.pending = found.exists * found.meter;
        }
        if !likely && (found.exists < LEAST_EXISTS || !through) {
            break;
        }
        let column = rows.column(found.kind, found.day, found.ramp_days);
        explained.add_column(column, rows.size_of(found.kind));
        let Some(again) = explained.solve() else {
            break;
        };
        solved = again;
        out.breaks.push(Break {
            kind: found.kind,
            day: found.day,
            ramp_days: found.ramp_days,
            size: 0.0,
            sd: 0.0,
            exists: found.exists,
            of_kind: found.of_kind,
            is_over: found.kind == BreakKind::Passage && rows.is_over(found.day),
            lasts: found.lasts,
            beside: Beside::default(),
        });
        if !likely {
            break;
        }
    }
    size_up(&mut out.breaks, &solved, of_breaks, newest_day);
    // A tap's meter that moved may have been taken for its water and what comes through
    // moving against each other: one cause is likelier than two on one day.
    while let Some((water, passage)) = opposed(&out.breaks) {
        let found = out.breaks.remove(water.max(passage));
        explained.remove_column(of_breaks + water.max(passage));
        let Some(kept) = out.breaks.get_mut(water.min(passage)) else {
            break;
        };
        kept.kind = BreakKind::TapMeter;
        kept.exists = kept.exists.max(found.exists);
        kept.of_kind = kept.of_kind.max(found.of_kind);
        kept.is_over = false;
        let column = rows.column(kept.kind, kept.day, kept.ramp_days);
        explained.replace_column(of_breaks + water.min(passage), column, METER_SIZE);
        let Some(again) = explained.solve() else {
            break;
        };
        solved = again;
        size_up(&mut out.breaks, &solved, of_breaks, newest_day);
    }
    let wide = explained.wide();
    for found in &mut out.breaks {
        if matches!(found.kind, BreakKind::Passage | BreakKind::Standing) {
            found.beside = beside(van, &passages, found);
        }
    }
    if let Some((_, spread)) = pattern.new.filter(|_| !levels.is_empty()) {
        let n = levels.len() as f64;
        let all = levels.iter().filter_map(|c| solved.coefficients.get(*c));
        out.new_level = Some((all.sum::<f64>() / n, spread * spread / n + 0.01));
    }
    if let Some(others) = others {
        let mut shares = DVector::zeros(wide);
        let now = (newest_day - first_day) / DAYS_A_YEAR;
        let services = (worked_on..of_breaks).step_by(2).map(|i| (i, 1.0));
        let breaks = out.breaks.iter().enumerate();
        let breaks = breaks
            .filter(|(_, b)| b.kind == BreakKind::TapMeter)
            .map(|(n, b)| (of_breaks + n, b.share_on(newest_day)));
        for (i, share) in [(0, 1.0), (1, now)]
            .into_iter()
            .chain(services)
            .chain(breaks)
        {
            if let Some(place) = shares.get_mut(i) {
                *place = share;
            }
        }
        let (mean, variance) = solved.sum(&shares);
        out.offset = (rows.taps > BESIDE).then_some(Offset {
            mean,
            variance,
            others: others.vans,
        });
    }
    out.breaks.sort_by(|a, b| a.day.total_cmp(&b.day));
    out
}

/// How large each break has become; `first`: the column of the first.
fn size_up(breaks: &mut [Break], solved: &Solved, first: usize, newest_day: f64) {
    for (n, found) in breaks.iter_mut().enumerate() {
        let mut shares = DVector::zeros(solved.coefficients.len());
        if let Some(share) = shares.get_mut(first + n) {
            *share = found.share_on(newest_day);
        }
        let (mean, variance) = solved.sum(&shares);
        (found.size, found.sd) = (mean, variance.sqrt());
    }
}

/// A break of the water and one in what comes through, of one time and of the same size
/// the other way.
fn opposed(breaks: &[Break]) -> Option<(usize, usize)> {
    const APART_DAYS: f64 = 21.0;
    let of = |n: &usize, kind: fn(BreakKind) -> bool| breaks.get(*n).is_some_and(|b| kind(b.kind));
    let through = |k| matches!(k, BreakKind::Passage | BreakKind::Standing);
    (0..breaks.len())
        .filter(|n| of(n, |k| k == BreakKind::Water))
        .flat_map(|a| {
            let others = (0..breaks.len()).filter(move |n| of(n, through));
            others.map(move |b| (a, b))
        })
        .find(|(a, b)| {
            let (Some(a), Some(b)) = (breaks.get(*a), breaks.get(*b)) else {
                return false;
            };
            let sd = a.sd.hypot(b.sd).max(0.03);
            a.ramp_days == b.ramp_days
                && (a.day - b.day).abs() <= APART_DAYS
                && a.size * b.size < 0.0
                && (a.size + b.size).abs() < 2.0 * sd
        })
}

/// What readings tell where nothing breaks: a tap that follows its district, and
/// membranes that age; with the columns of how high those of known age were new.
fn without_breaks(
    van: &VanLives,
    rows: &Rows,
    taps: &[(f64, f64, f64)],
    passages: &[Passage<'_>],
    (first_day, pattern): (f64, &Pattern),
) -> (Explanation, Vec<usize>) {
    let ln_taps: Vec<f64> = taps.iter().map(|t| t.1).collect();
    let mut ages = Vec::with_capacity(passages.len());
    for of_one in passages.chunk_by(|a, b| a.element == b.element) {
        let begins = of_one.first().map_or(first_day, |p| p.day);
        ages.extend(of_one.iter().map(|p| {
            let litres: f64 = p.point.litres_by_level.iter().sum();
            let assumed = 150.0 * (p.day - begins);
            (if litres > 0.0 { litres } else { assumed }) / LITRES
        }));
    }
    let mut ln_passages: Vec<f64> = passages
        .iter()
        .zip(&ages)
        .map(|(p, age)| p.point.salt_passage.ln() - pattern.rise.0 * age)
        .collect();
    let level = |of: &[f64]| median_in_place(&mut of.to_vec()).unwrap_or(0.0);
    let tap_level = level(&ln_taps);
    let new_level = pattern.new.map_or_else(|| level(&ln_passages), |n| n.0);
    ln_passages.iter_mut().for_each(|y| *y -= new_level);
    let tap_spares: Vec<f64> = taps.iter().map(|t| t.2).collect();
    // Readings that were rounded to the same ppm one after the other were all off by about
    // as much: a crossing from 2 to 3 ppm is no jump.
    let whole = in_whole_ppm(passages.iter().map(|p| p.point));
    let alike = |a: &Passage<'_>, b: &Passage<'_>| {
        a.element == b.element && a.point.permeate_ppm == b.point.permeate_ppm
    };
    let mut passage_spares: Vec<f64> = Vec::with_capacity(passages.len());
    for run in passages.chunk_by(alike) {
        let rounding = run.first().filter(|_| whole).map_or(0.0, |p| {
            run.len() as f64 * (ROUNDING_PPM / p.point.permeate_ppm.max(0.5)).powi(2)
        });
        passage_spares.extend(run.iter().map(|_| rounding));
    }
    // What others leave open comes on top of a tap's scatter; rounding is part of it.
    let on_top = |scatter: f64, spare: f64| scatter + spare;
    let mut weight = weights(&ln_taps, &tap_spares, TAP_SD, on_top);
    weight.extend(weights(&ln_passages, &passage_spares, PASSAGE_SD, f64::max));
    let rows_of = ln_taps.iter().chain(&ln_passages).copied();
    let mut explained = Explanation::of(rows_of.collect(), weight);
    let n = rows.day.len();
    let tap = |of: &dyn Fn(f64) -> f64| -> Vec<f64> {
        (0..n)
            .map(|i| match rows.day.get(i) {
                Some(day) if i < rows.taps => of(*day),
                _ => 0.0,
            })
            .collect()
    };
    let passage = |(from, to): (usize, usize), of: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
        (0..n)
            .map(|i| {
                let age = i.checked_sub(rows.taps).and_then(|i| ages.get(i));
                let age = age.filter(|_| (from..to).contains(&i));
                age.zip(rows.day.get(i)).map_or(0.0, |(a, d)| of(*a, *d))
            })
            .collect()
    };
    // Of a tap: level, drift a year, seasons. The others have the district's in them.
    let drift: f64 = if rows.is_compared { 0.03 } else { 0.1 };
    let season: f64 = if rows.is_compared { 0.03 } else { 0.06 };
    explained.add_column(tap(&|_| 1.0), 1.0 + tap_level * tap_level * 4.0);
    explained.add_column(tap(&|d| (d - first_day) / DAYS_A_YEAR), drift * drift);
    explained.add_column(tap(&|d| seasons(d)[0]), season * season);
    explained.add_column(tap(&|d| seasons(d)[1]), season * season);
    // Of what comes through: seasons; of each membrane: level, rise, bend, a first rise
    // that levels off.
    let all = (rows.taps, n);
    explained.add_column(passage(all, &|_, d| seasons(d)[0]), 0.0036);
    explained.add_column(passage(all, &|_, d| seasons(d)[1]), 0.0036);
    let mut levels = Vec::new();
    for rows in &rows.elements {
        let first = rows.0.checked_sub(taps.len()).and_then(|i| passages.get(i));
        let known = first
            .and_then(|p| van.elements.get(p.element))
            .is_some_and(|e| e.fitted_on.is_some());
        let variance = match pattern.new {
            Some((_, spread)) if known => {
                levels.push(explained.wide());
                spread * spread
            }
            _ => 1.0,
        };
        explained.add_column(passage(*rows, &|_, _| 1.0), variance);
        explained.add_column(passage(*rows, &|a, _| a), pattern.rise.1 * pattern.rise.1);
        explained.add_column(passage(*rows, &|a, _| a * a), 0.0225);
        explained.add_column(passage(*rows, &|a, _| (1.0 + a / 0.5).ln()), 0.09);
    }
    (explained, levels)
}

/// Inverse variances of readings in order, from their scatter about their neighbours.
fn weights(
    values: &[f64],
    spare: &[f64],
    least_sd: f64,
    with: impl Fn(f64, f64) -> f64,
) -> Vec<f64> {
    const NEAR: usize = 3;
    let beside = |i: usize, range: std::ops::Range<usize>| {
        let others = range.filter(|j| *j != i);
        let mut others: Vec<f64> = others.filter_map(|j| values.get(j).copied()).collect();
        let y = values.get(i)?;
        (others.len() >= BESIDE).then_some(y - median_in_place(&mut others).ok()?)
    };
    let around = |i: usize| (i.saturating_sub(NEAR), (i + NEAR + 1).min(values.len()));
    let apart: Vec<f64> = (0..values.len())
        .map(|i| beside(i, around(i).0..around(i).1).unwrap_or(0.0))
        .collect();
    // One at the edge of a break stands by one of its sides, an odd one by neither.
    let odd: Vec<f64> = (0..values.len())
        .map(|i| {
            let sides = [around(i).0..i, i + 1..around(i).1];
            let sides = sides.into_iter().filter_map(|side| beside(i, side));
            let both = apart.get(i).copied().unwrap_or(0.0).abs();
            sides.fold(both, |least, side| least.min(side.abs()))
        })
        .collect();
    let sd = mad_sd(&apart).unwrap_or(0.0).clamp(least_sd, 0.3);
    odd.iter()
        .zip(spare)
        .map(|(odd, spare)| {
            let variance = with(sd * sd, *spare);
            let far = (odd / variance.sqrt() / WINSOR).max(1.0);
            1.0 / (variance * far * far)
        })
        .collect()
}

/// The most probable break of those that are tried.
struct Found {
    kind: BreakKind,
    day: f64,
    ramp_days: f64,
    exists: f64,
    of_kind: f64,
    /// Share of the tap's meter in all that was tried.
    meter: f64,
    /// Share of those that outlast the membrane in those in what comes through.
    lasts: f64,
}

impl Rows {
    /// The rows of the membrane in which a break begins.
    fn element_at(&self, begins: f64) -> (usize, usize) {
        let reached = |(_, to): &&(usize, usize)| {
            self.day.get(to - 1).is_some_and(|newest| *newest >= begins)
        };
        self.elements
            .iter()
            .find(reached)
            .copied()
            .unwrap_or((0, 0))
    }

    /// Variance of a break's size, ln.
    fn size_of(&self, kind: BreakKind) -> f64 {
        match kind {
            BreakKind::TapMeter => METER_SIZE,
            BreakKind::Water if self.is_compared => WATER_SIZE_BESIDE,
            BreakKind::Water => WATER_SIZE,
            BreakKind::Passage | BreakKind::Standing => PASSAGE_SIZE,
        }
    }

    /// Whether later membranes were read too.
    fn is_over(&self, begins: f64) -> bool {
        self.element_at(begins).1 < self.day.len()
    }

    fn column(&self, kind: BreakKind, begins: f64, ramp_days: f64) -> Vec<f64> {
        let (tap, passage) = match kind {
            BreakKind::TapMeter => (1.0, -1.0),
            BreakKind::Water => (1.0, 0.0),
            BreakKind::Passage | BreakKind::Standing => (0.0, 1.0),
        };
        let end = match kind {
            BreakKind::Passage => self.element_at(begins).1,
            _ => self.day.len(),
        };
        let rows = self.day.iter().enumerate();
        rows.map(|(i, day)| {
            let side = if i < self.taps { tap } else { passage };
            if i < end || i < self.taps {
                side * share(*day, begins, ramp_days)
            } else {
                0.0
            }
        })
        .collect()
    }

    /// Between which readings a break is tried, the newest first: days half way, and years
    /// from one reading to the next.
    fn places(&self) -> Vec<(f64, f64)> {
        let mut read = self.day.clone();
        read.sort_by(f64::total_cmp);
        read.dedup();
        let between = read.iter().zip(read.iter().skip(1)).rev();
        between
            .map(|(a, b)| (0.5 * (a + b), (b - a) / DAYS_A_YEAR))
            .collect()
    }

    fn observation(&self, solved: &Solved, explained: &Explanation) -> Option<Found> {
        let water = match self.is_compared {
            true => WATER_BREAKS,
            false => WATER_BREAKS_ALONE,
        };
        let rates = [METER_BREAKS, water, PASSAGE_BREAKS, STANDING_BREAKS];
        let places = self.places();
        let every = (places.len() / MOST_PLACES).max(1);
        let mut tried: Vec<(f64, usize, f64, f64)> = Vec::new();
        let groups = [(0, self.taps), (self.taps, self.day.len())];
        // Of breaks at once, what all readings after a place gather.
        let mut after = groups.map(|(_, to)| (to, solved.nothing()));
        // Of what comes through, those of the membrane in which the place is.
        let mut within = ((0, 0), 0, solved.nothing());
        for (place, (begins, years)) in places.into_iter().enumerate() {
            let mut enough = [false; 2];
            for (((from, to), (reached, gathered)), enough) in
                groups.iter().zip(&mut after).zip(&mut enough)
            {
                while *reached > *from && self.day.get(*reached - 1).is_some_and(|d| *d >= begins) {
                    *reached -= 1;
                    solved.add(gathered, &explained.weight, *reached, 1.0);
                }
                *enough = to - *reached >= BESIDE && *reached - from >= BESIDE;
            }
            let here = self.element_at(begins);
            if here != within.0 {
                within = (here, here.1, solved.nothing());
            }
            while within.1 > here.0 && self.day.get(within.1 - 1).is_some_and(|d| *d >= begins) {
                within.1 -= 1;
                solved.add(&mut within.2, &explained.weight, within.1, 1.0);
            }
            let [taps, passages] = enough;
            let inside = here.1 - within.1 >= BESIDE && within.1 - here.0 >= BESIDE;
            let followed = here.1 < self.day.len();
            if !taps && !passages {
                continue;
            }
            for (ramp_days, ramp_share) in RAMPS {
                let at_once = ramp_days == 0.0;
                if !at_once && !place.is_multiple_of(every) {
                    continue;
                }
                let gather = |from: usize, to: usize| {
                    let mut gathered = solved.nothing();
                    for row in from..to {
                        let day = self.day.get(row).copied().unwrap_or(begins);
                        let share = share(day, begins, ramp_days);
                        solved.add(&mut gathered, &explained.weight, row, share);
                    }
                    gathered
                };
                let ([tap, passage], own) = if at_once {
                    (
                        after.clone().map(|(_, gathered)| gathered),
                        within.2.clone(),
                    )
                } else {
                    (
                        groups.map(|(from, to)| gather(from, to)),
                        gather(here.0, here.1),
                    )
                };
                let places = if at_once { 1.0 } else { every as f64 };
                let prior = (years * places * ramp_share).ln();
                for (n, kind) in KINDS.iter().enumerate() {
                    let gathered = match kind {
                        BreakKind::TapMeter if taps => tap.plus(&passage, -1.0),
                        BreakKind::Water if taps => tap.clone(),
                        BreakKind::Passage if inside => own.clone(),
                        BreakKind::Standing if inside && followed => passage.clone(),
                        _ => continue,
                    };
                    let rate = rates.get(n).copied().unwrap_or(0.0);
                    let size = self.size_of(*kind);
                    let ln = solved.ln_likelier(&gathered, size) + prior + rate.ln();
                    tried.push((ln, n, begins, ramp_days));
                }
            }
        }
        let best = tried
            .iter()
            .copied()
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|best| best.0.is_finite())?;
        let of = |kind: Option<usize>| -> f64 {
            let tried = tried.iter().filter(|t| kind.is_none_or(|k| k == t.1));
            tried.map(|t| (t.0 - best.0).exp()).sum()
        };
        let all = of(None);
        let odds = (best.0 + all.ln()).exp();
        let kind = KINDS.get(best.1).copied()?;
        let (own, standing) = (of(Some(2)), of(Some(3)));
        let through = matches!(kind, BreakKind::Passage | BreakKind::Standing);
        let of_kind = if through {
            own + standing
        } else {
            of(Some(best.1))
        };
        Some(Found {
            kind,
            lasts: standing / (own + standing).max(1e-300),
            day: best.2,
            ramp_days: best.3,
            exists: if odds.is_finite() {
                odds / (1.0 + odds)
            } else {
                1.0
            },
            of_kind: of_kind / all,
            meter: of(Some(0)) / all,
        })
    }
}

/// What else changed across a break in what comes through.
fn beside(van: &VanLives, passages: &[Passage<'_>], found: &Break) -> Beside {
    const AT_EACH_END: usize = 8;
    let middle = found.day + 0.5 * found.ramp_days;
    let rise = |of: fn(&PassagePoint) -> Option<f64>| {
        let side = |is_after: bool| -> Option<f64> {
            let mut values: Vec<f64> = passages
                .iter()
                .filter(|p| (p.day >= middle) == is_after)
                .filter_map(|p| of(p.point).filter(|v| *v > 0.0))
                .collect();
            // Those nearest to the break.
            let n = values.len().min(AT_EACH_END);
            let near = if is_after { 0 } else { values.len() - n };
            let near = values.get_mut(near..near + n)?;
            (n >= BESIDE).then_some(())?;
            median_in_place(near).ok()
        };
        Some((side(true)? / side(false)?).ln())
    };
    let before = passages.iter().rfind(|p| p.day < found.day);
    let late = before.zip(passages.last()).map_or(0.0, |(a, b)| {
        let litres = |p: &PassagePoint| p.litres_by_level.iter().sum::<f64>();
        let made = litres(b.point) - litres(a.point);
        if made > 0.0 {
            ((b.point.late_litres - a.point.late_litres) / made).clamp(0.0, 1.0)
        } else {
            0.0
        }
    });
    Beside {
        flow: rise(|p| p.flow_lpm_25),
        bar: rise(|p| p.feed_bar),
        resin: resin_rise(van, middle),
        late,
    }
}

/// What resin seems to take up until its water first reads half the usual limit, by the
/// salt that was read to enter: of fillings changed after a day over those before, ln.
fn resin_rise(van: &VanLives, day: f64) -> Option<f64> {
    const SPENT_PPM: f64 = 5.0;
    let (mut after, mut before) = (Vec::new(), Vec::new());
    for charge in &van.charges {
        let Some(changed_on) = charge.changed_on.filter(|_| charge.resin_litres > 0.0) else {
            continue;
        };
        let spent = charge.points.iter().find(|p| p.product_ppm >= SPENT_PPM);
        let Some(spent) = spent.filter(|p| p.ppm_litres > 0.0) else {
            continue;
        };
        let ln = (spent.ppm_litres / charge.resin_litres).ln();
        if f64::from(days(changed_on)) >= day {
            after.push(ln);
        } else if f64::from(days(spent.date)) < day {
            before.push(ln);
        }
    }
    Some(median_in_place(&mut after).ok()? - median_in_place(&mut before).ok()?)
}

/// What product water read first on each of the newest two fillings, and what entered.
fn fresh(van: &VanLives) -> Vec<(f64, f64)> {
    const SOON_DAYS: i32 = 21;
    let newest = van.charges.len().saturating_sub(2);
    let charges = van.charges.iter().skip(newest);
    charges
        .filter_map(|c| {
            let changed_on = c.changed_on?;
            let soon = c
                .points
                .iter()
                .filter(|p| p.date > changed_on && days(p.date) - days(changed_on) <= SOON_DAYS);
            let least = soon.min_by(|a, b| a.product_ppm.total_cmp(&b.product_ppm))?;
            Some((least.product_ppm, least.permeate_ppm?))
        })
        .collect()
}
