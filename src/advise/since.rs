//! What changed between two assessments of one fleet, a month apart: states
//! that turned, dates that left the span they were given, and what the work
//! done in between did to the water.

use std::collections::{BTreeMap, BTreeSet};

use crate::calendar::{Date, DateExt};

use super::{Assessment, Item, ListedJob, ServiceMark, Span, State, VanAssessment, last_list};

/// The later assessment held against the earlier one.
#[derive(Debug, Clone, PartialEq)]
pub struct Since {
    pub from: Date,
    pub to: Date,
    /// Parts whose state turned, in order of van.
    pub turned: Vec<Turn>,
    /// Parts in use at both looks whose limit is now foreseen outside the span
    /// that was given for it.
    pub moved: Vec<Moved>,
    pub joined: Vec<String>,
    pub left: Vec<String>,
    /// Work done after `from` and up to `to`, in order of van and day.
    pub work: Vec<Work>,
    pub cost: MonthCost,
    /// What became of the earlier look's work list.
    pub list: Vec<ListedJob>,
}

/// A part whose state is not what it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Turn {
    pub van: String,
    pub item: Item,
    pub was: State,
    pub now: State,
}

/// A limit foreseen for another time than was likely before; `None` is beyond
/// ten years.
#[derive(Debug, Clone, PartialEq)]
pub struct Moved {
    pub van: String,
    pub item: Item,
    pub was: Span<Date>,
    pub now: Span<Date>,
}

/// One job and what the readings say of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Work {
    pub van: String,
    pub item: Item,
    pub on: Date,
    /// Not recorded: the readings say so.
    pub inferred: bool,
    pub effect: Effect,
    /// Litres of water that the resin taken out had likely still left at least;
    /// `None` where that is little, or not known.
    pub given_up: Option<f64>,
}

/// What the work did to the water: salt passage (fraction) for membranes and
/// flushes, product TDS (ppm) for resin. `before` is the last reading before it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Effect {
    Helped {
        before: f64,
        after: f64,
    },
    NoBetter {
        before: f64,
        after: f64,
    },
    /// It was good before, so that little could be gained.
    WasGood {
        before: f64,
        after: f64,
    },
    NotReadBefore,
    NotReadSince,
    /// No reading shows what this work does.
    CannotBeSeen,
}

/// What the recorded costs of a calendar month add up to, in the fleet's own
/// currency; every service belongs to one month.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthCost {
    /// First and last day counted.
    pub from: Date,
    pub to: Date,
    /// `None` where no work of the month has a cost.
    pub month: Option<f64>,
    /// Recorded work of the month without a cost.
    pub without_cost: usize,
    /// Mean of the twelve calendar months before; `None` unless the records reach back
    /// so far and some of them have costs.
    pub usual: Option<f64>,
    /// Recorded work of those twelve months, and how much of it has no cost.
    pub usual_work: usize,
    pub usual_without_cost: usize,
}

/// A reading is compared with those of so many days before and after the work.
const NEAR_DAYS: i32 = 60;
/// So many readings after it are compared, by their middle: the first one may
/// still be of water that stood.
const COMPARED: usize = 3;
/// One step of most meters, ppm: a smaller difference is none.
const STEP_PPM: f64 = 1.0;
/// A reading of salt passage and the middle of three differ by this much by
/// chance alone about once in ten times (reading noise of 6 to 12 %, judgement).
const CHANCE: f64 = 0.15;
/// Litres left in resin below which nobody would have waited.
const LITTLE_LEFT: f64 = 500.0;

/// Holds `now` against `before`, an assessment as of an earlier day.
pub fn since(before: &Assessment, now: &Assessment) -> Since {
    let earlier: BTreeMap<&str, &VanAssessment> =
        before.vans.iter().map(|v| (v.van.as_str(), v)).collect();
    let still: BTreeSet<&str> = now.vans.iter().map(|v| v.van.as_str()).collect();
    let (from, to) = (before.as_of, now.as_of);
    let mut out = Since {
        from,
        to,
        turned: Vec::new(),
        moved: Vec::new(),
        joined: Vec::new(),
        left: before
            .vans
            .iter()
            .filter(|b| !still.contains(b.van.as_str()))
            .map(|b| b.van.clone())
            .collect(),
        work: Vec::new(),
        cost: cost(now),
        list: last_list(before, now),
    };
    for van in &now.vans {
        let was = earlier.get(van.van.as_str()).copied();
        match was {
            Some(was) => compare(was, van, &mut out),
            None => out.joined.push(van.van.clone()),
        }
        let limits = now.limits;
        let done = van.series.services.iter();
        for mark in done.filter(|s| s.date > from && s.date <= to) {
            out.work.push(Work {
                van: van.van.clone(),
                item: mark.item,
                on: mark.date,
                inferred: mark.inferred,
                effect: effect(van, was, mark, limits.product_ppm),
                given_up: given_up(van, was, mark),
            });
        }
    }
    out
}

fn compare(was: &VanAssessment, now: &VanAssessment, out: &mut Since) {
    let mut turn = |has: bool, item, before: State, after: State| {
        if has && before != after {
            out.turned.push(Turn {
                van: now.van.clone(),
                item,
                was: before,
                now: after,
            });
        }
    };
    let series = &now.series;
    turn(
        series.has_membrane,
        Item::Membrane,
        was.membrane.state,
        now.membrane.state,
    );
    turn(
        series.has_resin,
        Item::Resin,
        was.resin.state,
        now.resin.state,
    );
    turn(
        series.has_membrane,
        Item::Prefilter,
        was.prefilter.state,
        now.prefilter.state,
    );
    let mut shift = |same: bool, item, before: Span<Date>, after: Span<Date>| {
        if same && left_its_span(before, after) {
            out.moved.push(Moved {
                van: now.van.clone(),
                item,
                was: before,
                now: after,
            });
        }
    };
    let known = |state: State| state != State::Unknown;
    shift(
        series.has_membrane
            && was.membrane.fitted_on == now.membrane.fitted_on
            && known(was.membrane.state)
            && known(now.membrane.state),
        Item::Membrane,
        was.membrane.limit_on,
        now.membrane.limit_on,
    );
    shift(
        series.has_resin
            && was.resin.changed_on == now.resin.changed_on
            && known(was.resin.state)
            && known(now.resin.state),
        Item::Resin,
        was.resin.limit_on,
        now.resin.limit_on,
    );
}

/// Whether the middle now lies outside of what was likely; "never" lies after
/// every day.
fn left_its_span(was: Span<Date>, now: Span<Date>) -> bool {
    if was.p10.is_none() && was.p50.is_none() && was.p90.is_none() {
        return now.p90.is_some();
    }
    let middle = now.p50.unwrap_or(Date::MAX);
    was.p10.is_some_and(|low| middle < low) || was.p90.is_some_and(|high| middle > high)
}

fn effect(
    van: &VanAssessment,
    was: Option<&VanAssessment>,
    mark: &ServiceMark,
    product_limit: f64,
) -> Effect {
    match mark.item {
        Item::Membrane => new_membrane(van, was, mark.date),
        Item::Resin => {
            let (before, after) = around(&van.series.product_ppm, mark.date);
            judged(before, after, |b, a| {
                if b - a >= STEP_PPM {
                    Effect::Helped {
                        before: b,
                        after: a,
                    }
                } else if b < product_limit / 2.0 {
                    Effect::WasGood {
                        before: b,
                        after: a,
                    }
                } else {
                    Effect::NoBetter {
                        before: b,
                        after: a,
                    }
                }
            })
        }
        Item::Flush => {
            let (before, after) = around(&van.series.salt_passage, mark.date);
            judged(before, after, |b, a| {
                if a < b * (1.0 - CHANCE) {
                    Effect::Helped {
                        before: b,
                        after: a,
                    }
                } else {
                    Effect::NoBetter {
                        before: b,
                        after: a,
                    }
                }
            })
        }
        Item::Prefilter | Item::Probe | Item::Tank => Effect::CannotBeSeen,
    }
}

/// A new membrane helped where what it likely lets through lies below what the
/// old one likely did.
fn new_membrane(van: &VanAssessment, was: Option<&VanAssessment>, on: Date) -> Effect {
    let now = &van.membrane;
    let in_use = now.fitted_on.is_some_and(|d| d >= on);
    let (Some(before), Some(low)) = (
        around(&van.series.salt_passage, on).0,
        was.and_then(|w| w.membrane.salt_passage.p10),
    ) else {
        return Effect::NotReadBefore;
    };
    if !in_use || now.readings == 0 {
        return Effect::NotReadSince;
    }
    match (now.salt_passage.p50, now.salt_passage.p90) {
        (Some(after), Some(high)) if high < low => Effect::Helped { before, after },
        (Some(after), _) => Effect::NoBetter { before, after },
        _ => Effect::NotReadSince,
    }
}

fn judged(
    before: Option<f64>,
    after: Option<f64>,
    judge: impl FnOnce(f64, f64) -> Effect,
) -> Effect {
    match (before, after) {
        (None, _) => Effect::NotReadBefore,
        (_, None) => Effect::NotReadSince,
        (Some(before), Some(after)) => judge(before, after),
    }
}

/// The last reading before a day and the middle of the first after it; readings
/// of the day itself may be of either.
fn around(readings: &[(Date, f64)], on: Date) -> (Option<f64>, Option<f64>) {
    let near = |d: Date| d.days_since(on).abs() <= NEAR_DAYS;
    let before = readings.iter().rev().find(|r| r.0 < on && near(r.0));
    let after = readings
        .iter()
        .filter(|r| r.0 > on && near(r.0))
        .take(COMPARED);
    (before.map(|r| r.1), middle(after.map(|r| r.1).collect()))
}

fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len().saturating_sub(1) / 2).copied()
}

/// What the resin taken out could have treated yet: what was likely left at the
/// look before at least, less the litres made since.
fn given_up(van: &VanAssessment, was: Option<&VanAssessment>, mark: &ServiceMark) -> Option<f64> {
    let was = was.filter(|_| mark.item == Item::Resin)?;
    let left = was.resin.litres_left.p10?;
    let from = was.series.weeks.last()?.monday;
    // the week in which that look's records end is taken as wholly made
    let weeks = van.series.weeks.iter();
    let made: f64 = weeks
        .filter(|w| w.monday >= from && w.monday < mark.date)
        .map(|w| w.litres)
        .sum();
    let still = left - made;
    (still >= LITTLE_LEFT).then_some(still)
}

fn cost(now: &Assessment) -> MonthCost {
    let first = now.as_of.first_of_month();
    let all = || now.vans.iter().flat_map(|v| &v.series.services);
    let recorded = || all().filter(|s| !s.inferred);
    let of_month: Vec<&ServiceMark> = recorded()
        .filter(|s| s.date >= first && s.date <= now.as_of)
        .collect();
    let costs: Vec<f64> = of_month.iter().filter_map(|s| s.cost).collect();
    let year_before = first.plus_months(-12);
    let year: Vec<&ServiceMark> = recorded()
        .filter(|s| s.date >= year_before && s.date < first)
        .collect();
    let year_costs: Vec<f64> = year.iter().filter_map(|s| s.cost).collect();
    let reaches_back = recorded().any(|s| s.date < year_before);
    let usual =
        (reaches_back && !year_costs.is_empty()).then(|| year_costs.iter().sum::<f64>() / 12.0);
    MonthCost {
        from: first,
        to: now.as_of,
        month: (!costs.is_empty()).then(|| costs.iter().sum()),
        without_cost: of_month.len() - costs.len(),
        usual,
        usual_work: year.len(),
        usual_without_cost: year.len() - year_costs.len(),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::calendar::date;

    fn days(p10: Date, p50: Date, p90: Date) -> Span<Date> {
        Span {
            p10: Some(p10),
            p50: Some(p50),
            p90: Some(p90),
        }
    }

    #[test]
    fn a_date_that_stays_within_its_span_has_not_moved() {
        let was = days(date(2027, 1, 1), date(2027, 6, 1), date(2028, 1, 1));
        let within = days(date(2027, 2, 1), date(2027, 12, 1), date(2028, 9, 1));
        let sooner = days(date(2026, 11, 1), date(2026, 12, 1), date(2027, 2, 1));
        assert!(!left_its_span(was, within));
        assert!(left_its_span(was, sooner));
        assert!(left_its_span(was, Span::unknown()));
        assert!(left_its_span(Span::unknown(), within));
        assert!(!left_its_span(Span::unknown(), Span::unknown()));
    }

    #[test]
    fn before_is_the_last_reading_before_the_day() {
        let on = date(2026, 10, 10);
        let readings = [
            (date(2026, 6, 1), 99.0),
            (date(2026, 10, 1), 8.0),
            (date(2026, 10, 5), 30.0),
            (date(2026, 10, 9), 9.0),
            (on, 50.0),
            (date(2026, 10, 12), 1.0),
            (date(2026, 10, 13), 0.0),
        ];
        assert_eq!(around(&readings, on), (Some(9.0), Some(0.0)));
        assert_eq!(around(&readings[..1], on), (None, None));
    }
}
