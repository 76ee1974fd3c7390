//! The fleet's time zone, with the day last looked at remembered: rows of one
//! day mostly stand together.

use std::cell::Cell;

use crate::calendar::{ClockChange, Date, DateExt, DateTime, FixedOffset, TimeZone};

#[derive(Debug)]
pub(super) struct LocalDays {
    zone: TimeZone,
    /// A day without a change of clocks, and its offset.
    day: Cell<Option<(Date, FixedOffset)>>,
}

impl LocalDays {
    pub fn new(zone: TimeZone) -> LocalDays {
        LocalDays {
            zone,
            day: Cell::new(None),
        }
    }

    /// The instant of a local time in microseconds since 1970; `None` out of range.
    pub fn instant(&self, local: DateTime) -> Option<(i64, Option<ClockChange>)> {
        if let Some(offset) = self.offset_on(local.date()) {
            return Some((offset.micros(local)?, None));
        }
        self.zone.micros(local)
    }

    /// The local day of an instant; `None` out of range.
    pub fn date_of(&self, micros: i64) -> Option<Date> {
        if let Some((day, offset)) = self.day.get()
            && offset.local(micros)?.date() == day
        {
            return Some(day);
        }
        Some(self.zone.local(micros)?.date())
    }

    /// The offset that holds all through a day; `None` where it changes.
    pub fn offset_on(&self, date: Date) -> Option<FixedOffset> {
        if let Some((day, offset)) = self.day.get()
            && day == date
        {
            return Some(offset);
        }
        let steady = |local: DateTime| match self.zone.micros(local)? {
            (micros, None) => Some(self.zone.offset_at(micros)),
            (_, Some(_)) => None,
        };
        let morning = steady(date.at(0, 0, 0))?;
        let evening = steady(date.at(23, 59, 59))?;
        if morning != evening {
            return None;
        }
        self.day.set(Some((date, morning)));
        Some(morning)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::date;

    #[test]
    fn remembering_a_day_changes_no_instant() {
        let zone = TimeZone::LONDON;
        let days = LocalDays::new(zone);
        for day in 20..=31 {
            for hour in 0..24 {
                for month in [3, 10] {
                    let local = date(2026, month, day).at(hour, 30, 0);
                    let (micros, change) = days.instant(local).unwrap();
                    assert_eq!(Some((micros, change)), zone.micros(local));
                    assert_eq!(days.date_of(micros), zone.local(micros).map(|at| at.date()));
                }
            }
        }
    }
}
