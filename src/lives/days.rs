//! Instants to days of the fleet's time zone.

use crate::calendar::{Date, DateExt, Datelike, FIRST_DAY, LAST_DAY, TimeZone};

use crate::store::records::{Instant, When};

pub(crate) const MICROS_PER_DAY: i64 = 86_400_000_000;

/// Finds the local day of an instant.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Days {
    time_zone: TimeZone,
}

impl Days {
    pub(crate) fn new(time_zone: TimeZone) -> Days {
        Days { time_zone }
    }

    /// The local day on which `at` falls.
    pub(crate) fn date(&self, at: Instant) -> Date {
        let edge = if at.0 < 0 { FIRST_DAY } else { LAST_DAY };
        self.time_zone
            .local(at.0)
            .map_or(edge, |local| local.date())
    }

    /// The first instant of a local day.
    pub(crate) fn start(&self, date: Date) -> Instant {
        // Only the very edge of the calendar has no such instant.
        let start = self.time_zone.micros(date.at(0, 0, 0));
        Instant(start.map_or(i64::MIN, |(micros, _)| micros))
    }

    /// The first instant after a local day.
    pub(crate) fn end(&self, date: Date) -> Instant {
        date.checked_plus_days(1)
            .map_or(Instant(i64::MAX), |next| self.start(next))
    }

    /// The local day of a service.
    pub(crate) fn day(&self, when: When) -> Date {
        match when {
            When::Day(date) => date,
            When::At(at) => self.date(at),
        }
    }
}

/// Whole days from `earlier` to `later`; negative the other way round.
pub(crate) fn days_between(earlier: Date, later: Date) -> i64 {
    i64::from(later.days_since(earlier))
}

/// `days` after `date` (before it, if negative), stopping at the calendar's edge.
pub(crate) fn days_after(date: Date, days: i64) -> Date {
    date.plus_days(days)
}

/// The Monday of the week of `date`.
pub(crate) fn monday_of(date: Date) -> Date {
    days_after(date, -i64::from(date.weekday().num_days_from_monday()))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::{FixedOffset, date};

    #[test]
    fn a_fill_just_before_midnight_in_summer_belongs_to_the_local_day() {
        let days = Days::new(TimeZone::LONDON);
        // 22:59:59Z and 23:00:00Z are 23:59:59 and midnight in summer time.
        let late = FixedOffset::UTC
            .micros(date(2026, 7, 1).at(22, 59, 59))
            .map(Instant)
            .unwrap();
        let next = Instant(late.0 + 1_000_000);
        assert_eq!(days.date(late), date(2026, 7, 1));
        assert_eq!(days.date(next), date(2026, 7, 2));
        assert_eq!(days.end(date(2026, 7, 1)), next);
    }

    #[test]
    fn weeks_begin_on_monday() {
        assert_eq!(monday_of(date(2026, 11, 25)), date(2026, 11, 23));
        assert_eq!(monday_of(date(2026, 11, 23)), date(2026, 11, 23));
        assert_eq!(monday_of(date(2026, 11, 29)), date(2026, 11, 23));
        assert_eq!(days_between(date(2026, 1, 1), date(2026, 11, 25)), 328);
    }
}
