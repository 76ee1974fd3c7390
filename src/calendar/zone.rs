//! Time zones: local time to instants and back, with the hours that happen twice
//! or never when clocks change.

use chrono::{DateTime as Zoned, MappedLocalTime, Offset, TimeDelta, TimeZone as _, Utc};
use chrono_tz::Tz;

use super::{DateTime, FIRST_DAY, LAST_DAY};

/// Seconds by which a local time is ahead of universal time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FixedOffset(i32);

impl FixedOffset {
    pub const UTC: FixedOffset = FixedOffset(0);
    /// The widest that a written offset may be: ISO 8601 has hours up to 23.
    const WIDEST: i32 = 86_400;

    /// `None` for a day or more.
    pub fn from_seconds(seconds: i32) -> Option<FixedOffset> {
        (seconds.abs() < Self::WIDEST).then_some(FixedOffset(seconds))
    }

    pub fn seconds(self) -> i32 {
        self.0
    }

    /// The instant of a local time; `None` beyond the calendar.
    pub fn micros(self, local: DateTime) -> Option<i64> {
        let shifted = local.checked_sub_signed(TimeDelta::seconds(i64::from(self.0)))?;
        Some(shifted.and_utc().timestamp_micros())
    }

    /// The local time of an instant; `None` beyond the calendar.
    pub fn local(self, micros: i64) -> Option<DateTime> {
        utc(micros)?.checked_add_signed(TimeDelta::seconds(i64::from(self.0)))
    }
}

/// What the clocks do at a local time that is not there exactly once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockChange {
    /// Clocks go back over it.
    Twice,
    /// Clocks go forward over it.
    Never,
}

/// A time zone of the IANA data base.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeZone(Tz);

impl TimeZone {
    pub const UTC: TimeZone = TimeZone(Tz::UTC);
    pub const LONDON: TimeZone = TimeZone(Tz::Europe__London);

    /// By its name, such as `Europe/London`, in any case.
    pub fn named(name: &str) -> Option<TimeZone> {
        if let Ok(zone) = name.parse() {
            return Some(TimeZone(zone));
        }
        let alike = |tz: &&Tz| tz.name().eq_ignore_ascii_case(name);
        chrono_tz::TZ_VARIANTS
            .iter()
            .find(alike)
            .copied()
            .map(TimeZone)
    }

    pub fn name(self) -> &'static str {
        self.0.name()
    }

    /// How far local time is ahead at an instant.
    pub fn offset_at(self, micros: i64) -> FixedOffset {
        let at = utc(micros).unwrap_or(if micros < 0 {
            DateTime::MIN
        } else {
            DateTime::MAX
        });
        FixedOffset(self.0.offset_from_utc_datetime(&at).fix().local_minus_utc())
    }

    /// The local time of an instant; `None` beyond the calendar.
    pub fn local(self, micros: i64) -> Option<DateTime> {
        self.offset_at(micros).local(micros)
    }

    /// The instant of a local time. Of an hour that happens twice it is the first;
    /// a time that never happens is read with the offset from before the change.
    /// `None` beyond the calendar.
    pub fn micros(self, local: DateTime) -> Option<(i64, Option<ClockChange>)> {
        match self.0.offset_from_local_datetime(&local) {
            MappedLocalTime::Single(offset) => {
                let offset = FixedOffset(offset.fix().local_minus_utc());
                Some((offset.micros(local)?, None))
            }
            MappedLocalTime::Ambiguous(first, _) => {
                let offset = FixedOffset(first.fix().local_minus_utc());
                Some((offset.micros(local)?, Some(ClockChange::Twice)))
            }
            MappedLocalTime::None => {
                let day_before = FixedOffset::UTC.micros(local)? - 86_400_000_000;
                let before = self.offset_at(day_before);
                Some((before.micros(local)?, Some(ClockChange::Never)))
            }
        }
    }
}

/// An instant in universal time; `None` beyond the calendar.
pub fn utc(micros: i64) -> Option<DateTime> {
    let at = Zoned::<Utc>::from_timestamp_micros(micros)?.naive_utc();
    (FIRST_DAY..=LAST_DAY).contains(&at.date()).then_some(at)
}

/// The instant at which this is asked.
pub fn now_micros() -> i64 {
    Utc::now().timestamp_micros()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::{DateExt, date};

    /// British Summer Time 2026: 29 March 01:00 to 25 October 01:00 UTC (Summer Time
    /// Order 2002, from memory).
    #[test]
    fn an_hour_that_happens_twice_is_the_first_and_one_that_never_does_moves_on() {
        let zone = TimeZone::LONDON;
        let twice = date(2026, 10, 25).at(1, 30, 0);
        let (at, change) = zone.micros(twice).unwrap();
        assert_eq!(change, Some(ClockChange::Twice));
        assert_eq!(utc(at), Some(date(2026, 10, 25).at(0, 30, 0)));
        let never = date(2026, 3, 29).at(1, 30, 0);
        let (at, change) = zone.micros(never).unwrap();
        assert_eq!(change, Some(ClockChange::Never));
        assert_eq!(utc(at), Some(date(2026, 3, 29).at(1, 30, 0)));
        assert_eq!(zone.local(at), Some(date(2026, 3, 29).at(2, 30, 0)));
    }

    #[test]
    fn local_times_go_there_and_back() {
        for zone in ["Europe/London", "Europe/Berlin", "UTC", "America/New_York"] {
            let zone = TimeZone::named(zone).unwrap();
            for day in [date(2026, 1, 5), date(2026, 7, 5), date(1999, 12, 31)] {
                let local = day.at(13, 7, 9);
                let (at, change) = zone.micros(local).unwrap();
                assert_eq!((zone.local(at), change), (Some(local), None));
            }
        }
        assert_eq!(TimeZone::named("Europe/Nowhere"), None);
    }
}
