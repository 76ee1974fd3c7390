//! What the records lack: months that were never taken in, vans of which nothing
//! has come for long. Said before any forecast, because a month without rows is
//! no month without water.

use std::collections::BTreeSet;
use std::sync::Arc;

use crate::calendar::{Date, DateExt, TimeZone};

use crate::store::records::{Fleet, History};

/// What a van's records consist of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Log {
    Readings,
    Fills,
}

impl Log {
    fn word(self) -> &'static str {
        match self {
            Log::Readings => "readings",
            Log::Fills => "fills",
        }
    }
}

/// Records that are not there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Gap {
    /// A whole month of which no van has any, between months that have some:
    /// its first day.
    Month { log: Log, month: Date },
    /// A van whose last ones are far older than the fleet's.
    Van { log: Log, van: Arc<str>, last: Date },
    /// A month of which other vans have some, and this one usually does.
    VanMonth {
        log: Log,
        van: Arc<str>,
        month: Date,
    },
}

impl std::fmt::Display for Gap {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Gap::Month { log, month } => {
                let month = month.format("%B %Y");
                write!(f, "{month}: no {} from any van", log.word())
            }
            Gap::Van { log, van, last } => {
                let last = last.format("%-d %B %Y");
                write!(f, "no {} of {van} since {last}", log.word())
            }
            Gap::VanMonth { log, van, month } => {
                let month = month.format("%B %Y");
                write!(f, "{month}: no {} of {van}", log.word())
            }
        }
    }
}

/// A van that is silent for as many of its usual pauses has stopped (judgement).
const PAUSES: i32 = 4;
/// And for no fewer days than these (judgement).
const LEAST_SILENCE: i32 = 45;
/// Of its months so many must have records before one without is remarked on.
const USUAL: f64 = 0.75;

/// What is missing up to and including a day: first the months that no van has,
/// in their order, then van by van.
pub fn missing(fleet: &Fleet, as_of: Date, zone: &TimeZone) -> Vec<Gap> {
    let coverage = |history: &History| {
        let readings = history.readings.iter();
        let readings = readings.filter_map(|row| row.taken_at.date_in(zone));
        let fills = history.fills.iter();
        let fills = fills.filter_map(|row| row.started_at.date_in(zone));
        Coverage::of(
            &history.van,
            readings.filter(|day| *day <= as_of),
            fills.filter(|day| *day <= as_of),
            history.listed.last().and_then(|row| row.out_of_service_on),
        )
    };
    let vans: Vec<Coverage> = fleet.histories.iter().map(coverage).collect();
    missing_of(vans.iter())
}

/// The same from what each van's records cover, in order of name.
pub(super) fn missing_of<'a>(vans: impl Iterator<Item = &'a Coverage> + Clone) -> Vec<Gap> {
    let newest = vans.clone().filter_map(Coverage::newest).max();
    let Some(newest) = newest else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut lost: BTreeSet<(Log, Date)> = BTreeSet::new();
    for log in [Log::Readings, Log::Fills] {
        let of_fleet: BTreeSet<Date> = vans
            .clone()
            .flat_map(|van| van.of_log(log).months.iter().copied())
            .collect();
        for month in months_without(&of_fleet, newest) {
            lost.insert((log, month));
            found.push(Gap::Month { log, month });
        }
    }
    found.sort_by_key(|missing| match missing {
        Gap::Month { month, .. } => *month,
        _ => Date::MAX,
    });
    for van in vans {
        for log in [Log::Readings, Log::Fills] {
            van.tell(log, newest, &lost, &mut found);
        }
    }
    found
}

/// When a van has records of one sort.
#[derive(Debug, Clone, Default)]
struct Covered {
    /// First days of the months that have some.
    months: BTreeSet<Date>,
    last: Option<Date>,
    /// The middle of the pauses between their days.
    usual_pause: i32,
}

impl Covered {
    /// `days`: oldest first.
    fn by(days: impl Iterator<Item = Date>) -> Covered {
        let mut days: Vec<Date> = days.collect();
        days.sort_unstable();
        days.dedup();
        let pauses = days.windows(2).filter_map(|pair| match pair {
            [a, b] => Some(b.days_since(*a)),
            _ => None,
        });
        let mut pauses: Vec<i32> = pauses.collect();
        pauses.sort_unstable();
        Covered {
            months: days.iter().map(|day| day.first_of_month()).collect(),
            last: days.last().copied(),
            usual_pause: pauses.get(pauses.len() / 2).copied().unwrap_or(0),
        }
    }
}

/// The time that a van's records cover.
#[derive(Debug, Clone)]
pub(super) struct Coverage {
    van: Arc<str>,
    readings: Covered,
    fills: Covered,
    /// The day from which it was on the road no more.
    gone: Option<Date>,
}

impl Coverage {
    pub(super) fn of(
        van: &Arc<str>,
        readings: impl Iterator<Item = Date>,
        fills: impl Iterator<Item = Date>,
        gone: Option<Date>,
    ) -> Coverage {
        Coverage {
            van: van.clone(),
            readings: Covered::by(readings),
            fills: Covered::by(fills),
            gone,
        }
    }

    fn of_log(&self, log: Log) -> &Covered {
        match log {
            Log::Readings => &self.readings,
            Log::Fills => &self.fills,
        }
    }

    fn newest(&self) -> Option<Date> {
        self.readings.last.max(self.fills.last)
    }

    fn tell(&self, log: Log, newest: Date, lost: &BTreeSet<(Log, Date)>, found: &mut Vec<Gap>) {
        let covered = self.of_log(log);
        let Some(last) = covered.last else { return };
        let end = self.gone.map_or(newest, |gone| gone.min(newest));
        found.extend(
            months_without(&covered.months, last)
                .into_iter()
                .filter_map(|month| {
                    let is_told = lost.contains(&(log, month));
                    let van = self.van.clone();
                    (!is_told).then_some(Gap::VanMonth { log, van, month })
                }),
        );
        if end.days_since(last) > LEAST_SILENCE.max(PAUSES * covered.usual_pause) {
            found.push(Gap::Van {
                log,
                van: self.van.clone(),
                last,
            });
        }
    }
}

/// Months without any between the first month and the last day, where most have
/// some. `months`: the first days of those that have.
fn months_without(months: &BTreeSet<Date>, last: Date) -> Vec<Date> {
    let Some(first) = months.first() else {
        return Vec::new();
    };
    let mut all = Vec::new();
    let mut month = *first;
    while month <= last.first_of_month() {
        all.push(month);
        month = month.plus_months(1);
    }
    // the last month may only have begun
    all.pop();
    let there = all.iter().filter(|month| months.contains(*month)).count();
    if (there as f64) < USUAL * all.len() as f64 {
        return Vec::new();
    }
    all.retain(|month| !months.contains(month));
    all
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::{Datelike, date};
    use crate::store::records::{Fill, Instant, Source};

    fn van(name: &str, days: impl Iterator<Item = Date>) -> History {
        let zone = TimeZone::UTC;
        let fills = days.map(|day| Fill {
            van: name.into(),
            started_at: Instant(zone.micros(day.at(9, 0, 0)).unwrap().0),
            day_position: None,
            ended_at: None,
            postcode: None,
            litres: Some(300.0),
            meter_litres: None,
            reject_litres: None,
            source: Source::Mains,
        });
        History {
            van: name.into(),
            fills: fills.collect(),
            ..History::default()
        }
    }

    fn weekly(from: Date, weeks: i64) -> impl Iterator<Item = Date> {
        (0..weeks).map(move |n| from.plus_days(7 * n))
    }

    fn told(histories: Vec<History>) -> Vec<String> {
        let fleet = Fleet {
            histories,
            ..Fleet::default()
        };
        let found = missing(&fleet, date(2026, 10, 31), &TimeZone::UTC);
        found.iter().map(Gap::to_string).collect()
    }

    #[test]
    fn a_month_that_was_never_taken_in_is_told_once() {
        let without_april = || weekly(date(2026, 1, 2), 40).filter(|day| day.month() != 4);
        let found = told(vec![
            van("Barque", without_april()),
            van("Quill", without_april()),
        ]);
        assert_eq!(found, ["April 2026: no fills from any van"]);
    }

    #[test]
    fn a_van_that_fell_silent_and_a_month_that_it_lacks_are_told() {
        let all = || weekly(date(2026, 1, 2), 40);
        let found = told(vec![
            van("Barque", all()),
            van("Quill", all().filter(|day| day.month() != 3)),
            van("Tansy", all().filter(|day| day.month() < 6)),
        ]);
        assert_eq!(
            found,
            [
                "March 2026: no fills of Quill",
                "no fills of Tansy since 29 May 2026"
            ]
        );
    }

    #[test]
    fn a_van_that_is_filled_now_and_then_lacks_nothing() {
        let now_and_then = [date(2026, 1, 5), date(2026, 4, 2), date(2026, 9, 1)];
        assert!(told(vec![van("Quill", now_and_then.into_iter())]).is_empty());
        assert!(told(Vec::new()).is_empty());
    }
}
