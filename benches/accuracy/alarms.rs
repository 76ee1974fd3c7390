//! Alarms month by month through the lives of elements, beside the truth.
//!
//! Failing: a true life below 60 % of what is typical for its water, or a
//! leak; healthy: above 80 %; in between is counted neither way.

use std::collections::BTreeMap;

use litrewise::inside::advise::{self, AlarmKind, AlarmLevel, Assessment, Suspect};
use litrewise::inside::calendar::{Date, DateExt};
use litrewise::inside::demo::{TrueElement, TrueVan};
use litrewise::inside::{fit, lives};

use crate::fleet::ProvingFleet;

const EVERY_DAYS: i64 = 30;
const FIRST_DAY: i64 = 60;
/// The tool's element is the true one if it was fitted this near.
const SAME_DAYS: i32 = 30;
/// Of a failing element's decline, chlorine behind late pre-filters did this share.
const BY_CHLORINE: f64 = 0.35;
/// A probe that is this far off is wrong, ln of salt passage.
const PROBE_WRONG: f64 = 0.15;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    Failing,
    Leak,
    Between,
    Healthy,
    /// Was there before the records and cannot be placed.
    Unplaced,
}

/// What is really to be blamed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Blame {
    Membrane,
    Prefilter,
    Probe,
    Feed,
    Nothing,
}

#[derive(Debug, Clone)]
pub struct Raised {
    pub since: Date,
    pub suspect: Suspect,
    pub kind: AlarmKind,
}

/// One element through its life in the van.
#[derive(Debug, Clone)]
pub struct Story {
    pub seed: u64,
    pub van: String,
    pub class: Class,
    pub blame: Blame,
    pub fitted_on: Option<Date>,
    pub limit_on: Option<Date>,
    pub leaks_from: Option<Date>,
    /// Salt passage after the leak began over before.
    pub leak_ratio: f64,
    /// Third reading after the leak, if a look came after it while the element was in the van.
    pub third_reading: Option<Date>,
    /// Last day in the van within the records, and the last look before it.
    pub until: Date,
    pub last_look: Date,
    pub years: f64,
    /// Years until the limit, after which an alarm is no false one.
    pub share: f64,
    pub readings_a_month: f64,
    pub raised: Option<Raised>,
    /// First time a product reading of 10 ppm came after the limit.
    pub product_told_on: Option<Date>,
    /// Share of failing and of healthy lives that the bound sees, by look.
    pub bound: Vec<(Date, f64, f64)>,
    /// Changes of the alarm's state between looks beyond one rise.
    pub flickers: usize,
}

struct Typical<'a> {
    proving: &'a ProvingFleet,
    /// Salt passage of new elements, the middle.
    new_passage: f64,
}

impl Typical<'_> {
    fn litres(&self, truth: &TrueVan, membranes: u32) -> Option<f64> {
        let found = &self.proving.simulated.districts;
        let district = found.iter().find(|d| d.postcode == truth.district)?;
        Some(
            district.membrane_life_litres? * f64::from(membranes.max(1))
                / f64::from(district.membranes.max(1)),
        )
    }
}

fn day_number(proving: &ProvingFleet, date: Date) -> i64 {
    i64::from(date.days_since(proving.simulated.first_day))
}

fn litres_between(truth: &TrueVan, from: i64, to: i64) -> f64 {
    let all = truth.litres_by_day.len();
    let from = (from.max(0) as usize).min(all);
    let to = (to.max(0) as usize).clamp(from, all);
    truth
        .litres_by_day
        .get(from..to)
        .map_or(0.0, |d| d.iter().sum())
}

/// A life over what is typical, and how much of it a later part stands for.
fn share(
    typical: &Typical<'_>,
    truth: &TrueVan,
    element: &TrueElement,
    membranes: u32,
) -> Option<f64> {
    let proving = typical.proving;
    let from = element.fitted_on.map_or(0, |d| day_number(proving, d));
    let to = element
        .limit_on
        .map_or(i64::MAX, |d| day_number(proving, d));
    let lived = litres_between(truth, from, to);
    let of = match element.fitted_on {
        Some(_) => 1.0,
        None => {
            let first = element.passages.first()?.1;
            (0.1 / first).ln() / (0.1 / typical.new_passage).ln()
        }
    };
    // Of an old element too little is left to tell.
    (of > 0.35).then_some(lived / (typical.litres(truth, membranes)? * of))
}

fn blame(truth: &TrueVan, element: &TrueElement, class: Class, until: Date) -> Blame {
    match class {
        Class::Leak => Blame::Membrane,
        Class::Failing if element.chlorine_share > BY_CHLORINE => Blame::Prefilter,
        Class::Failing => Blame::Membrane,
        _ => {
            let drifted = truth.probe_drifts_from.map_or(0.0, |from| {
                truth.passage_drift_per_day.abs() * f64::from(until.days_since(from).max(0))
            });
            if drifted > PROBE_WRONG {
                Blame::Probe
            } else if truth
                .moves_on
                .is_some_and(|d| d < until && element.fitted_on.is_none_or(|f| f < d))
            {
                Blame::Feed
            } else {
                Blame::Nothing
            }
        }
    }
}

impl Story {
    /// A line of the list of cases.
    pub fn line(&self) -> String {
        format!(
            "{},{},{:?},{:?},{:.3},{:?},{:?},{:?},{},{:.1},{:?}",
            self.seed,
            self.van,
            self.class,
            self.blame,
            self.share,
            self.fitted_on,
            self.limit_on,
            self.leaks_from,
            self.until,
            self.readings_a_month,
            self.raised.as_ref().map(|r| (r.since, r.suspect, r.kind))
        )
    }
}

pub fn of_fleet(proving: &ProvingFleet, particles: usize) -> Vec<Story> {
    let simulated = &proving.simulated;
    let mut new: Vec<f64> = simulated
        .truth
        .iter()
        .flat_map(|t| &t.elements)
        .filter(|e| e.fitted_on.is_some())
        .filter_map(|e| Some(e.passages.first()?.1))
        .collect();
    new.sort_by(f64::total_cmp);
    let typical = Typical {
        proving,
        new_passage: new.get(new.len() / 2).copied().unwrap_or(0.027),
    };
    let mut stories: BTreeMap<(usize, usize), Story> = BTreeMap::new();
    let mut last_level: BTreeMap<(usize, usize), bool> = BTreeMap::new();
    let days = day_number(proving, simulated.last_day);
    let mut day = FIRST_DAY;
    while day <= days {
        let as_of = simulated.first_day.plus_days(day);
        day += EVERY_DAYS;
        let cut = lives::cut(&proving.rows, as_of, &proving.settings);
        // The whole assessment, which takes longer, only where an alarm has risen.
        let mut assessed: Option<Assessment> = None;
        let fitted = fit::fit(&cut, &proving.settings);
        for (v, (lived, of_van)) in cut.vans.iter().zip(&fitted.vans).enumerate() {
            let van = &*lived.van;
            let life = lived.elements.last();
            let forecast = life.zip(of_van.membrane.as_ref().ok());
            let alarm = forecast.and_then(|(life, forecast)| {
                advise::alarm_of(life, forecast, &of_van.meters, &proving.settings)
            });
            let Some(index) = simulated.truth.iter().position(|t| t.van == van) else {
                continue;
            };
            let Some(truth) = simulated.truth.get(index) else {
                continue;
            };
            let mut numbered = truth.elements.iter().enumerate();
            let Some((n, element)) = numbered.rfind(|(_, e)| e.in_van_on(as_of)) else {
                continue;
            };
            let story = stories
                .entry((index, n))
                .or_insert_with(|| story(proving, &typical, truth, element, lived.membranes, van));
            if particles > 0
                && element.fitted_on.is_some()
                && element.limit_on.is_none_or(|d| d > as_of)
                && let Some(shares) = bound(
                    proving,
                    &typical,
                    index,
                    n,
                    truth,
                    element,
                    lived.membranes,
                    as_of,
                    particles,
                )
            {
                story.bound.push((as_of, shares.0, shares.1));
            }
            story.last_look = as_of;
            let begun = element.fitted_on.unwrap_or(simulated.first_day);
            let same = match (life.and_then(|l| l.fitted_on), element.fitted_on) {
                (Some(a), Some(b)) => a.days_since(b).abs() <= SAME_DAYS,
                (None, None) => true,
                _ => false,
            };
            let failing = same && alarm.is_some_and(|a| a.level == AlarmLevel::Raised);
            let was = last_level.insert((index, n), failing).unwrap_or(false);
            story.flickers += usize::from(was && same && alarm.is_none());
            if let (true, None, Some(alarm)) = (failing, &story.raised, alarm)
                && as_of.days_since(begun) >= 20
            {
                let assessed = assessed.get_or_insert_with(|| {
                    advise::assess_undrawn(&cut, &fitted, &proving.settings)
                });
                let suspect = assessed.vans.get(v).and_then(|van| van.membrane.suspect);
                story.raised = Some(Raised {
                    since: alarm.since,
                    suspect: suspect.unwrap_or(Suspect::Membrane),
                    kind: alarm.kind,
                });
            }
        }
    }
    stories.into_values().collect()
}

/// Salt passage on the first day followed after a leak began over the last before.
fn leak_ratio(proving: &ProvingFleet, element: &TrueElement) -> f64 {
    let Some(day) = element.leaks_from.map(|d| day_number(proving, d)) else {
        return f64::NAN;
    };
    let before = element.passages.iter().rfind(|p| p.0 < day);
    let after = element.passages.iter().find(|p| p.0 >= day);
    before.zip(after).map_or(f64::NAN, |(b, a)| a.1 / b.1)
}

fn story(
    proving: &ProvingFleet,
    typical: &Typical<'_>,
    truth: &TrueVan,
    element: &TrueElement,
    membranes: u32,
    van: &str,
) -> Story {
    let simulated = &proving.simulated;
    let until = element.removed_on.unwrap_or(simulated.last_day);
    let share = share(typical, truth, element, membranes);
    let class = match share {
        _ if element.leaks_from.is_some_and(|d| d <= until) => Class::Leak,
        None => Class::Unplaced,
        Some(s) if s < 0.6 => Class::Failing,
        Some(s) if s > 0.8 => Class::Healthy,
        Some(_) => Class::Between,
    };
    let begun = element.fitted_on.unwrap_or(simulated.first_day);
    let readings = |from: Date, to: Date| {
        simulated
            .readings
            .iter()
            .filter(move |r| r.van == van && r.taken_at.date() >= from && r.taken_at.date() < to)
    };
    let healthy_until = element.limit_on.map_or(until, |d| d.min(until));
    let years = f64::from(healthy_until.days_since(begun).max(0)) / 365.25;
    Story {
        seed: proving.seed,
        van: van.to_owned(),
        class,
        blame: blame(truth, element, class, until),
        fitted_on: element.fitted_on,
        limit_on: element.limit_on,
        leaks_from: element.leaks_from,
        leak_ratio: leak_ratio(proving, element),
        third_reading: element
            .leaks_from
            .and_then(|d| readings(d, until).nth(2))
            .map(|r| r.taken_at.date()),
        until,
        last_look: begun,
        years,
        share: share.unwrap_or(f64::NAN),
        readings_a_month: readings(begun, until).count() as f64
            / (f64::from(until.days_since(begun).max(1)) / 30.44),
        raised: None,
        product_told_on: element.limit_on.and_then(|limit| {
            readings(limit, simulated.last_day)
                .find(|r| r.product_ppm.is_some_and(|p| p >= 10.0))
                .map(|r| r.taken_at.date())
        }),
        bound: Vec::new(),
        flickers: 0,
    }
}

#[allow(clippy::too_many_arguments)]
fn bound(
    proving: &ProvingFleet,
    typical: &Typical<'_>,
    index: usize,
    n: usize,
    truth: &TrueVan,
    element: &TrueElement,
    membranes: u32,
    as_of: Date,
    particles: usize,
) -> Option<(f64, f64)> {
    let now = day_number(proving, as_of);
    let draws = proving
        .histories
        .get(index)?
        .element_limit(n, now, particles, proving.seed)?;
    let from = day_number(proving, element.fitted_on?);
    let usual = typical.litres(truth, membranes)?;
    let of = |test: &dyn Fn(f64) -> bool| {
        let hits = draws
            .iter()
            .filter(|d| test(litres_between(truth, from, now + d.min(1e6) as i64) / usual));
        hits.count() as f64 / draws.len() as f64
    };
    Some((of(&|s| s < 0.6), of(&|s| s > 0.8)))
}
