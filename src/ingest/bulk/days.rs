//! Days as numbers, with the offset that holds all through each.

use crate::calendar::{Date, DateExt, Datelike};

use super::super::local_days::LocalDays;

/// The first day that is looked up: earlier ones are no records of ours.
const FIRST_YEAR: u16 = 2000;
const FIRST_DAY: i64 = 10_957;
const DAY_SECONDS: i64 = 86_400;

const UNKNOWN: i32 = i32::MAX;
const CHANGES: i32 = i32::MAX - 1;

/// The days up to today in the fleet's time zone.
pub(super) struct Days {
    zone: LocalDays,
    /// Since 2000-01-01: the offset from UTC, seconds.
    offsets: Vec<i32>,
}

/// A day written as numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Day {
    pub year: u16,
    pub month: u8,
    pub day: u8,
    /// Since 1970.
    pub number: i64,
}

impl Day {
    /// `None` where the calendar has no such day, or it lies before all records.
    pub fn new(year: u16, month: u8, day: u8) -> Option<Day> {
        let is_leap =
            year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400));
        let days = match month {
            2 => 28 + u8::from(is_leap),
            4 | 6 | 9 | 11 => 30,
            1..=12 => 31,
            _ => return None,
        };
        if year < FIRST_YEAR || day == 0 || day > days {
            return None;
        }
        // counted from 1 March, so that the leap day comes last
        let (y, m) = match month > 2 {
            true => (i64::from(year), i64::from(month) - 3),
            false => (i64::from(year) - 1, i64::from(month) + 9),
        };
        let in_year = (153 * m + 2) / 5 + i64::from(day) - 1;
        let number = 365 * y + y / 4 - y / 100 + y / 400 + in_year - 719_468;
        Some(Day {
            year,
            month,
            day,
            number,
        })
    }

    fn date(self) -> Option<Date> {
        let (year, month, day) = (self.year, self.month, self.day);
        Date::from_ymd_opt(i32::from(year), u32::from(month), u32::from(day))
    }
}

impl Days {
    pub fn new(zone: LocalDays, today: Date) -> Days {
        let last = u16::try_from(today.year()).ok().and_then(|year| {
            let (month, day) = (u8::try_from(today.month()), u8::try_from(today.day()));
            Day::new(year, month.ok()?, day.ok()?)
        });
        let days = last.map_or(0, |last| last.number - FIRST_DAY + 1);
        Days {
            zone,
            offsets: vec![UNKNOWN; usize::try_from(days).unwrap_or(0)],
        }
    }

    /// Whether the day is not after today.
    pub fn has(&self, day: Day) -> bool {
        let index = usize::try_from(day.number - FIRST_DAY);
        index.is_ok_and(|index| index < self.offsets.len())
    }

    /// The instant, in seconds since 1970, at which the local day begins; `None`
    /// after today, and where the clocks change on that day.
    pub fn midnight(&mut self, day: Day) -> Option<i64> {
        let index = usize::try_from(day.number - FIRST_DAY).ok()?;
        let offset = self.offsets.get_mut(index)?;
        if *offset == UNKNOWN {
            let steady = day.date().and_then(|date| self.zone.offset_on(date));
            *offset = steady.map_or(CHANGES, |offset| offset.seconds());
        }
        (*offset != CHANGES).then(|| day.number * DAY_SECONDS - i64::from(*offset))
    }

    /// The instant of a local time on a day on which the clocks change; `None`
    /// where it happens twice or never.
    pub fn amid_change(&self, day: Day, seconds: i64) -> Option<i64> {
        self.has(day).then_some(())?;
        let part = |n: i64| u32::try_from(n).ok();
        let (hour, minute) = (part(seconds / 3_600)?, part(seconds / 60 % 60)?);
        let local = day.date()?.at(hour, minute, part(seconds % 60)?);
        match self.zone.instant(local)? {
            (micros, None) => Some(micros.div_euclid(1_000_000)),
            (_, Some(_)) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::{TimeZone, date};

    #[test]
    fn days_and_their_instants_are_those_of_the_calendar() {
        let zone = TimeZone::LONDON;
        let today = date(2030, 6, 15);
        let mut days = Days::new(LocalDays::new(zone), today);
        let mut on = date(2000, 1, 1);
        while on <= today {
            let numbers = (on.year() as u16, on.month() as u8, on.day() as u8);
            let day = Day::new(numbers.0, numbers.1, numbers.2).unwrap();
            for hour in [0, 1, 2, 12, 23] {
                let local = on.at(hour, 30, 0);
                let (micros, change) = zone.micros(local).unwrap();
                let expected = change.is_none().then_some(micros / 1_000_000);
                let seconds = i64::from(hour) * 3_600 + 1_800;
                let found = match days.midnight(day) {
                    Some(midnight) => Some(midnight + seconds),
                    None => days.amid_change(day, seconds),
                };
                assert_eq!(found, expected, "{local}");
            }
            on = on.plus_days(1);
        }
        assert_eq!(days.midnight(Day::new(2030, 6, 16).unwrap()), None);
        assert!(!days.has(Day::new(2030, 6, 16).unwrap()));
        for (year, month, day) in [(1999, 12, 31), (2026, 2, 29), (2026, 13, 1), (2026, 4, 31)] {
            assert_eq!(Day::new(year, month, day), None);
        }
        assert!(Day::new(2028, 2, 29).is_some());
    }
}
