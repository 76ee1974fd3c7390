//! Instants to days of the fleet's time zone.

use jiff::Timestamp;
use jiff::civil::{Date, date};
use jiff::tz::TimeZone;

use crate::store::records::{Instant, When};

pub(crate) const MICROS_PER_DAY: i64 = 86_400_000_000;

/// Microseconds by which local time is ahead, from `since` up to `until`.
#[derive(Debug, Clone, Copy)]
struct Offset {
    since: i64,
    until: i64,
    ahead: i64,
}

impl Offset {
    fn holds_at(&self, at: Instant) -> bool {
        at.0 >= self.since && at.0 < self.until
    }
}

/// Finds the local day of an instant. Rows come in order, so the offset from
/// universal time and the day before are remembered: a look-up in the time
/// zone costs far more than a comparison.
#[derive(Debug, Clone)]
pub(crate) struct Days {
    time_zone: TimeZone,
    offset: Offset,
    /// All that were looked up.
    known: Vec<Offset>,
    /// Day number since 1970-01-01 of the last day found, and that day.
    number: i64,
    date: Date,
}

impl Days {
    pub(crate) fn new(time_zone: &TimeZone) -> Days {
        Days {
            time_zone: time_zone.clone(),
            offset: Offset {
                since: 0,
                until: 0,
                ahead: 0,
            },
            known: Vec::new(),
            number: 0,
            date: date(1970, 1, 1),
        }
    }

    /// The local day on which `at` falls.
    pub(crate) fn date(&mut self, at: Instant) -> Date {
        if !self.offset.holds_at(at) {
            let known = self.known.iter().find(|offset| offset.holds_at(at));
            self.offset = match known {
                Some(known) => *known,
                None => self.look_up(at),
            };
        }
        let local = at.0.saturating_add(self.offset.ahead);
        let number = local.div_euclid(MICROS_PER_DAY);
        // Mostly it is one of the next few days, which are soon counted off.
        let ahead = number - self.number;
        if (1..=7).contains(&ahead) {
            for _ in 0..ahead {
                self.date = self.date.tomorrow().unwrap_or(self.date);
            }
        } else if ahead != 0 {
            self.date = days_after(date(1970, 1, 1), number);
        }
        self.number = number;
        self.date
    }

    /// Finds the offset at an instant and how long it holds.
    fn look_up(&mut self, at: Instant) -> Offset {
        let edge = if at.0 < 0 {
            Timestamp::MIN
        } else {
            Timestamp::MAX
        };
        let timestamp = Timestamp::from_microsecond(at.0).unwrap_or(edge);
        let offset = Offset {
            since: at.0,
            until: self
                .time_zone
                .following(timestamp)
                .next()
                .map_or(i64::MAX, |change| change.timestamp().as_microsecond()),
            ahead: i64::from(self.time_zone.to_offset(timestamp).seconds()) * 1_000_000,
        };
        self.known.push(offset);
        offset
    }

    /// The first instant of a local day.
    pub(crate) fn start(&self, date: Date) -> Instant {
        let midnight = days_between(jiff::civil::date(1970, 1, 1), date) * MICROS_PER_DAY;
        // Where the offset is known and does not change about then.
        let known = self.known.iter().find(|offset| {
            let start = midnight - offset.ahead;
            start - MICROS_PER_DAY >= offset.since && start + MICROS_PER_DAY < offset.until
        });
        if let Some(offset) = known {
            return Instant(midnight - offset.ahead);
        }
        // Only the very edge of the calendar has no such instant.
        date.to_zoned_datetime(self.time_zone.clone())
            .map_or(Instant(i64::MIN), |zoned| {
                Instant(zoned.timestamp().as_microsecond())
            })
    }

    /// The first instant after a local day.
    pub(crate) fn end(&self, date: Date) -> Instant {
        date.tomorrow()
            .map_or(Instant(i64::MAX), |next| self.start(next))
    }

    /// The local day of a service.
    pub(crate) fn day(&mut self, when: When) -> Date {
        match when {
            When::Day(date) => date,
            When::At(at) => self.date(at),
        }
    }
}

/// Whole days from `earlier` to `later`; negative the other way round.
pub(crate) fn days_between(earlier: Date, later: Date) -> i64 {
    later.duration_since(earlier).as_hours() / 24
}

/// `days` after `date` (before it, if negative), stopping at the calendar's edge.
pub(crate) fn days_after(date: Date, days: i64) -> Date {
    date.saturating_add(jiff::SignedDuration::from_hours(days.saturating_mul(24)))
}

/// The Monday of the week of `date`.
pub(crate) fn monday_of(date: Date) -> Date {
    days_after(date, -i64::from(date.weekday().to_monday_zero_offset()))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_fill_just_before_midnight_in_summer_belongs_to_the_local_day() {
        let mut days = Days::new(&TimeZone::get("Europe/London").unwrap());
        // 22:59:59Z and 23:00:00Z are 23:59:59 and midnight in summer time.
        let late: Timestamp = "2026-07-01T22:59:59Z".parse().unwrap();
        let next: Timestamp = "2026-07-01T23:00:00Z".parse().unwrap();
        assert_eq!(days.date(Instant(late.as_microsecond())), date(2026, 7, 1));
        assert_eq!(days.date(Instant(next.as_microsecond())), date(2026, 7, 2));
        assert_eq!(days.end(date(2026, 7, 1)), Instant(next.as_microsecond()));
    }

    #[test]
    fn weeks_begin_on_monday() {
        assert_eq!(monday_of(date(2026, 11, 25)), date(2026, 11, 23));
        assert_eq!(monday_of(date(2026, 11, 23)), date(2026, 11, 23));
        assert_eq!(monday_of(date(2026, 11, 29)), date(2026, 11, 23));
        assert_eq!(days_between(date(2026, 1, 1), date(2026, 11, 25)), 328);
    }
}
