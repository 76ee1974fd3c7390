//! One van's readings explained: water that moves, a membrane that ages, and breaks in
//! the tap's meter, in the water of this one tap, or in what comes through.

use std::f64::consts::TAU;

use crate::calendar::{Date, DateExt};
use nalgebra::DVector;

use super::evidence::{Explanation, Solved};
use super::taps::Others;
use crate::lives::{End, Item, PassagePoint, VanLives};
use crate::stats::robust::{mad_sd, median_in_place};

/// Breaks of each kind a year of a van that are looked for (judgement: more often than
/// they happen, as what is found is weighed again by what the fleet shows).
const METER_BREAKS: f64 = 0.04;
const WATER_BREAKS: f64 = 0.05;
/// Where no neighbour tells the water's own movement.
const WATER_BREAKS_ALONE: f64 = 0.5;
const PASSAGE_BREAKS: f64 = 0.08;
/// Variances of their sizes, ln.
const METER_SIZE: f64 = 0.16;
const WATER_SIZE: f64 = 0.06;
const PASSAGE_SIZE: f64 = 0.16;
/// Days over which a break may come about, 0: at once, and the share of each.
const RAMPS: [(f64, f64); 3] = [(0.0, 0.6), (90.0, 0.2), (180.0, 0.2)];
/// Breaks looked for one after the other, and places tried for those that take their time.
const MOST_BREAKS: usize = 4;
const MOST_PLACES: usize = 24;
/// Readings that must stand on either side.
const BESIDE: usize = 2;
/// Readings that hang together tell less than so many that do not.
const TOGETHER: f64 = 1.2;
/// Standard deviations beyond which a reading counts less.
const WINSOR: f64 = 2.5;
/// Least scatter of a tap and of salt passage, ln.
const TAP_SD: f64 = 0.025;
const PASSAGE_SD: f64 = 0.04;
/// What the water of one tap wanders where no neighbour tells, ln.
const ALONE_SD: f64 = 0.06;
/// Standard deviation of rounding to whole ppm.
const ROUNDING_PPM: f64 = 0.29;
/// Readings are thinned beyond.
const MOST_READINGS: usize = 160;
/// Litres of a membrane in which its ageing is measured, and its usual rise in so many, ln.
const LITRES: f64 = 30_000.0;
const USUAL_RISE: f64 = 0.4;
const DAYS_A_YEAR: f64 = 365.25;

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
    /// What comes through, with the tap unmoved: the membrane, its pressure, or the
    /// meter after it.
    Passage,
}

const KINDS: [BreakKind; 3] = [BreakKind::TapMeter, BreakKind::Water, BreakKind::Passage];

/// A lasting change that readings show.
#[derive(Debug, Clone, PartialEq)]
pub struct Break {
    pub kind: BreakKind,
    /// Days since 1970 on which it begins, and over which it comes about.
    pub day: f64,
    pub ramp_days: f64,
    /// `ln` of the tap's reading after over before; of salt passage for [`BreakKind::Passage`].
    pub size: f64,
    pub sd: f64,
    /// Probability that there is a break there at all, and that it is of this kind if so.
    pub exists: f64,
    pub of_kind: f64,
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
    /// Day of the last work on a probe.
    pub probe_day: Option<f64>,
    /// What product water read first on each of the newest two fillings of resin, ppm, and
    /// what entered.
    pub fresh_ppm: Vec<(f64, f64)>,
}

impl VanEvidence {
    /// Expected steps up in salt passage.
    pub(super) fn steps_up(&self) -> f64 {
        let up = self
            .breaks
            .iter()
            .filter(|b| b.kind == BreakKind::Passage && b.ramp_days == 0.0 && b.size > 0.2);
        up.map(|b| b.exists * b.of_kind).sum()
    }
}

/// The rows of an explanation: taps first, then salt passage of the membrane in use.
struct Rows {
    day: Vec<f64>,
    /// How many are taps.
    taps: usize,
    is_compared: bool,
}

/// Weighs one van's readings; `others`: what the other vans of its district read.
pub fn explain(van: &VanLives, others: Option<&Others>) -> VanEvidence {
    let mut points = since_moved(van);
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
    let in_use = van.elements.last().filter(|e| e.end == End::InUse);
    let last_element = van.elements.len().saturating_sub(1);
    let (Some(first), Some(newest)) = (points.first(), points.last()) else {
        return VanEvidence {
            fresh_ppm,
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
    let passages: Vec<(&PassagePoint, f64)> = points
        .iter()
        .filter(|(n, _)| *n == last_element && in_use.is_some())
        .map(|(_, p)| (*p, f64::from(days(p.date))))
        .collect();
    let mut out = VanEvidence {
        newest: Some(newest_day),
        passage_years: passages
            .first()
            .map_or(0.0, |(_, day)| (newest_day - day) / DAYS_A_YEAR),
        probe_day: probe_days(van)
            .map(|d| f64::from(days(d)))
            .filter(|d| *d <= newest_day)
            .last(),
        fresh_ppm,
        ..VanEvidence::default()
    };
    let rows = Rows {
        day: taps
            .iter()
            .map(|t| t.0)
            .chain(passages.iter().map(|p| p.1))
            .collect(),
        taps: taps.len(),
        is_compared: others.is_some(),
    };
    let mut explained = without_breaks(&rows, &taps, &passages, first_day);
    let services: Vec<f64> = probe_days(van)
        .map(|d| f64::from(days(d)))
        .filter(|d| first_day < *d && *d <= newest_day)
        .collect();
    let worked_on = explained.wide();
    const MOST_SERVICES: usize = 3;
    const SERVICE_SIZE: f64 = 0.02;
    let newest_services = services.len().saturating_sub(MOST_SERVICES);
    for day in services.iter().skip(newest_services) {
        for kind in [BreakKind::TapMeter, BreakKind::Passage] {
            explained.add_column(rows.column(kind, *day, 0.0), SERVICE_SIZE);
        }
    }
    let of_breaks = explained.wide();
    let Some(mut solved) = explained.solve() else {
        return out;
    };
    while out.breaks.len() < MOST_BREAKS {
        let Some(found) = rows.look(&solved, &explained) else {
            break;
        };
        if found.exists <= 0.5 {
            out.pending = found.exists * found.meter;
            break;
        }
        let column = rows.column(found.kind, found.day, found.ramp_days);
        explained.add_column(column, size_of(found.kind));
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
            beside: Beside::default(),
        });
    }
    let wide = explained.wide();
    for (n, found) in out.breaks.iter_mut().enumerate() {
        let mut shares = DVector::zeros(wide);
        if let Some(share) = shares.get_mut(of_breaks + n) {
            *share = found.share_on(newest_day);
        }
        let (mean, variance) = solved.sum(&shares);
        (found.size, found.sd) = (mean, variance.sqrt());
        if found.kind == BreakKind::Passage {
            found.beside = beside(van, &passages, found);
        }
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

fn size_of(kind: BreakKind) -> f64 {
    match kind {
        BreakKind::TapMeter => METER_SIZE,
        BreakKind::Water => WATER_SIZE,
        BreakKind::Passage => PASSAGE_SIZE,
    }
}

/// What readings tell where nothing breaks: a tap that follows its district, and a
/// membrane that ages.
fn without_breaks(
    rows: &Rows,
    taps: &[(f64, f64, f64)],
    passages: &[(&PassagePoint, f64)],
    first_day: f64,
) -> Explanation {
    let ln_taps: Vec<f64> = taps.iter().map(|t| t.1).collect();
    let made = |p: &PassagePoint, day: f64| {
        let litres: f64 = p.litres_by_level.iter().sum();
        let assumed = 150.0 * (day - first_day);
        (if litres > 0.0 { litres } else { assumed }) / LITRES
    };
    let ages: Vec<f64> = passages.iter().map(|(p, day)| made(p, *day)).collect();
    let ln_passages: Vec<f64> = passages
        .iter()
        .zip(&ages)
        .map(|((p, _), age)| p.salt_passage.ln() - USUAL_RISE * age)
        .collect();
    let tap_spares: Vec<f64> = taps.iter().map(|t| t.2).collect();
    let whole = passages.iter().all(|(p, _)| p.permeate_ppm.fract() == 0.0);
    let passage_spares: Vec<f64> = passages
        .iter()
        .map(|(p, _)| match whole {
            true => 2.0 * (ROUNDING_PPM / p.permeate_ppm.max(0.5)).powi(2),
            false => 0.0,
        })
        .collect();
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
    let passage = |of: &dyn Fn(f64, f64) -> f64| -> Vec<f64> {
        (0..n)
            .map(|i| {
                let age = i.checked_sub(rows.taps).and_then(|i| ages.get(i));
                age.zip(rows.day.get(i)).map_or(0.0, |(a, d)| of(*a, *d))
            })
            .collect()
    };
    let year = |day: f64| TAU * day / DAYS_A_YEAR;
    // Of a tap: level, drift a year, seasons. The others have the district's in them.
    let drift: f64 = if rows.is_compared { 0.03 } else { 0.1 };
    let season: f64 = if rows.is_compared { 0.03 } else { 0.06 };
    let level = |of: &[f64]| median_in_place(&mut of.to_vec()).unwrap_or(0.0);
    let (tap_level, passage_level) = (level(&ln_taps), level(&ln_passages));
    explained.add_column(tap(&|_| 1.0), 1.0 + tap_level * tap_level * 4.0);
    explained.add_column(tap(&|d| (d - first_day) / DAYS_A_YEAR), drift * drift);
    explained.add_column(tap(&|d| year(d).cos()), season * season);
    explained.add_column(tap(&|d| year(d).sin()), season * season);
    // Of a membrane: level, rise, bend, a first rise that levels off, seasons.
    explained.add_column(
        passage(&|_, _| 1.0),
        4.0 * passage_level * passage_level + 1.0,
    );
    explained.add_column(passage(&|a, _| a), 0.64);
    explained.add_column(passage(&|a, _| a * a), 0.0225);
    explained.add_column(passage(&|a, _| (1.0 + a / 0.5).ln()), 0.09);
    explained.add_column(passage(&|_, d| year(d).cos()), 0.0036);
    explained.add_column(passage(&|_, d| year(d).sin()), 0.0036);
    explained
}

/// Inverse variances of readings in order, from their scatter about their neighbours.
fn weights(
    values: &[f64],
    spare: &[f64],
    least_sd: f64,
    with: impl Fn(f64, f64) -> f64,
) -> Vec<f64> {
    let apart: Vec<f64> = values
        .iter()
        .enumerate()
        .map(|(i, y)| {
            let around = i.saturating_sub(3)..(i + 4).min(values.len());
            let mut others: Vec<f64> = around
                .filter(|j| *j != i)
                .filter_map(|j| values.get(j).copied())
                .collect();
            y - median_in_place(&mut others).unwrap_or(*y)
        })
        .collect();
    let sd = mad_sd(&apart).unwrap_or(0.0).clamp(least_sd, 0.3);
    apart
        .iter()
        .zip(spare)
        .map(|(apart, spare)| {
            let variance = with(sd * sd, *spare);
            let far = (apart.abs() / variance.sqrt() / WINSOR).max(1.0);
            1.0 / (TOGETHER * variance * far * far)
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
}

impl Rows {
    fn column(&self, kind: BreakKind, begins: f64, ramp_days: f64) -> Vec<f64> {
        let (tap, passage) = match kind {
            BreakKind::TapMeter => (1.0, -1.0),
            BreakKind::Water => (1.0, 0.0),
            BreakKind::Passage => (0.0, 1.0),
        };
        let rows = self.day.iter().enumerate();
        rows.map(|(i, day)| {
            let side = if i < self.taps { tap } else { passage };
            side * share(*day, begins, ramp_days)
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

    fn look(&self, solved: &Solved, explained: &Explanation) -> Option<Found> {
        let water = match self.is_compared {
            true => WATER_BREAKS,
            false => WATER_BREAKS_ALONE,
        };
        let rates = [METER_BREAKS, water, PASSAGE_BREAKS];
        let places = self.places();
        let every = (places.len() / MOST_PLACES).max(1);
        let mut tried: Vec<(f64, usize, f64, f64)> = Vec::new();
        let groups = [(0, self.taps), (self.taps, self.day.len())];
        // Of breaks at once, what all readings after a place gather.
        let mut after = groups.map(|(_, to)| (to, solved.nothing()));
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
            let [taps, passages] = enough;
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
                let [tap, passage] = if at_once {
                    after.clone().map(|(_, gathered)| gathered)
                } else {
                    groups.map(|(from, to)| gather(from, to))
                };
                let places = if at_once { 1.0 } else { every as f64 };
                let prior = (years * places * ramp_share).ln();
                for (n, kind) in KINDS.iter().enumerate() {
                    let gathered = match kind {
                        BreakKind::TapMeter if taps => tap.plus(&passage, -1.0),
                        BreakKind::Water if taps => tap.clone(),
                        BreakKind::Passage if passages => passage.clone(),
                        _ => continue,
                    };
                    let rate = rates.get(n).copied().unwrap_or(0.0);
                    let ln = solved.ln_likelier(&gathered, size_of(*kind)) + prior + rate.ln();
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
        Some(Found {
            kind: KINDS.get(best.1).copied()?,
            day: best.2,
            ramp_days: best.3,
            exists: if odds.is_finite() {
                odds / (1.0 + odds)
            } else {
                1.0
            },
            of_kind: of(Some(best.1)) / all,
            meter: of(Some(0)) / all,
        })
    }
}

/// What else changed across a break in what comes through.
fn beside(van: &VanLives, passages: &[(&PassagePoint, f64)], found: &Break) -> Beside {
    const AT_EACH_END: usize = 8;
    let middle = found.day + 0.5 * found.ramp_days;
    let rise = |of: fn(&PassagePoint) -> Option<f64>| {
        let side = |is_after: bool| -> Option<f64> {
            let mut values: Vec<f64> = passages
                .iter()
                .filter(|(_, day)| (*day >= middle) == is_after)
                .filter_map(|(p, _)| of(p).filter(|v| *v > 0.0))
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
    let before = passages.iter().rfind(|(_, day)| *day < found.day);
    let late = before.zip(passages.last()).map_or(0.0, |(a, b)| {
        let litres = |p: &PassagePoint| p.litres_by_level.iter().sum::<f64>();
        let made = litres(b.0) - litres(a.0);
        if made > 0.0 {
            ((b.0.late_litres - a.0.late_litres) / made).clamp(0.0, 1.0)
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
