//! The fleet's time zone, with the day last looked at remembered: rows of one
//! day mostly stand together.

use std::cell::Cell;

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};

/// What the change of clocks did to a local time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ClockChange {
    /// The hour happens twice: its first occurrence is taken.
    Twice,
    /// The hour is skipped: read as if the clocks had not changed.
    Never,
}

#[derive(Debug)]
pub(super) struct LocalDays {
    zone: TimeZone,
    /// A day without a change of clocks, and its offset.
    day: Cell<Option<(Date, Offset)>>,
}

impl LocalDays {
    pub fn new(zone: TimeZone) -> LocalDays {
        LocalDays {
            zone,
            day: Cell::new(None),
        }
    }

    /// The instant of a local time; `None` out of range.
    pub fn instant(&self, local: DateTime) -> Option<(Timestamp, Option<ClockChange>)> {
        if let Some(offset) = self.offset_on(local.date()) {
            return Some((offset.to_timestamp(local).ok()?, None));
        }
        in_zone(&self.zone, local)
    }

    /// The local day of an instant.
    pub fn date_of(&self, stamp: Timestamp) -> Date {
        if let Some((day, offset)) = self.day.get() {
            let date = offset.to_datetime(stamp).date();
            if date == day {
                return day;
            }
        }
        self.zone.to_datetime(stamp).date()
    }

    /// The offset that holds all through a day; `None` where it changes.
    pub fn offset_on(&self, date: Date) -> Option<Offset> {
        if let Some((day, offset)) = self.day.get()
            && day == date
        {
            return Some(offset);
        }
        let steady = |local: DateTime| match self.zone.to_ambiguous_timestamp(local).offset() {
            AmbiguousOffset::Unambiguous { offset } => Some(offset),
            AmbiguousOffset::Gap { .. } | AmbiguousOffset::Fold { .. } => None,
        };
        let morning = steady(date.at(0, 0, 0, 0))?;
        let evening = steady(date.at(23, 59, 59, 999_999_999))?;
        if morning != evening {
            return None;
        }
        self.day.set(Some((date, morning)));
        Some(morning)
    }
}

/// The instant of a local time in any zone.
pub(super) fn in_zone(
    zone: &TimeZone,
    local: DateTime,
) -> Option<(Timestamp, Option<ClockChange>)> {
    let ambiguous = zone.to_ambiguous_timestamp(local);
    let change = match ambiguous.offset() {
        AmbiguousOffset::Unambiguous { .. } => None,
        AmbiguousOffset::Gap { .. } => Some(ClockChange::Never),
        AmbiguousOffset::Fold { .. } => Some(ClockChange::Twice),
    };
    // compatible: the first of two, and over a gap as if the clocks had not changed
    Some((ambiguous.compatible().ok()?, change))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use jiff::civil::date;

    #[test]
    fn remembering_a_day_changes_no_instant() {
        let zone = TimeZone::get("Europe/London").unwrap();
        let days = LocalDays::new(zone.clone());
        for day in 20..=31 {
            for hour in 0..24 {
                for month in [3, 10] {
                    let local = date(2026, month, day).at(hour, 30, 0, 0);
                    let (stamp, change) = days.instant(local).unwrap();
                    assert_eq!(Some((stamp, change)), in_zone(&zone, local));
                    assert_eq!(days.date_of(stamp), zone.to_datetime(stamp).date());
                }
            }
        }
    }
}
