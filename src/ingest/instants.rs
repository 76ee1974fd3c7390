//! From written dates to days and instants: the file's order of day and month,
//! the fleet's time zone, hours that happen twice or never.

use crate::calendar::{ClockChange, Date, DateExt, Time};

use super::dates::{DateOrder, NoDate, Written, WrittenDate, WrittenTime, Zone};
use super::local_days::LocalDays;
use crate::store::records::Instant;

/// What the file tells about its dates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DateHabits {
    /// `None`: nothing settles it.
    pub order: Option<DateOrder>,
    /// Whether numbers like 46326 are spreadsheet day numbers here.
    pub serials: bool,
    /// Whether midnights stand for "no time of day".
    pub midnight_is_none: bool,
    /// Two-digit years are read within the years before it.
    pub today: Date,
}

/// A cell's date and time, settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Settled {
    pub date: Date,
    /// `None` where only the day is known.
    pub at: Option<Instant>,
    /// The local hour happened twice or never.
    pub clock_change: Option<ClockChange>,
}

/// Settles which day is meant.
pub(super) fn day(date: WrittenDate, habits: &DateHabits) -> Result<Date, NoDate> {
    match date {
        WrittenDate::Sure(day) => Ok(day),
        WrittenDate::Missing => Err(NoDate::NoDay),
        WrittenDate::Serial(serial) if habits.serials => serial_day(serial).ok_or(NoDate::Not),
        WrittenDate::Serial(_) => Err(NoDate::BareNumber),
        WrittenDate::Numbers(candidates) => {
            let plausible = candidates.plausible(habits.today);
            let Some(order) = habits.order else {
                return plausible.settled().0.ok_or(NoDate::DayOrMonth);
            };
            let ordered = match order {
                DateOrder::DayFirst => candidates.day_first,
                DateOrder::MonthFirst => candidates.month_first,
                // four digits at the end are a year under any order
                DateOrder::YearFirst if !candidates.two_digit_year => plausible.settled().0,
                DateOrder::YearFirst => candidates.year_first,
            };
            ordered.ok_or(NoDate::NotInOrder(order))
        }
    }
}

/// Day 1 is 1 January 1900 and a 29 February 1900 is counted, as spreadsheets do.
fn serial_day(serial: f64) -> Option<Date> {
    const DAY_0: Date = crate::calendar::date(1899, 12, 30);
    DAY_0.checked_plus_days(serial.floor() as i64)
}

/// Settles a cell.
pub(super) fn settle(
    written: &Written,
    habits: &DateHabits,
    zone: &LocalDays,
) -> Result<Settled, NoDate> {
    let date = day(written.date, habits)?;
    let from_serial = serial_time(written.date);
    let Some(time) = written.time.or(from_serial) else {
        return Ok(Settled {
            date,
            at: None,
            clock_change: None,
        });
    };
    let midnight = time.time == Time::MIN && time.days_on == 0;
    if midnight && !written.machine && habits.midnight_is_none && written.zone == Zone::Local {
        return Ok(Settled {
            date,
            at: None,
            clock_change: None,
        });
    }
    let (micros, clock_change) = instant(date, time, &written.zone, zone)?;
    let date = zone.date_of(micros).ok_or(NoDate::OutOfRange)?;
    Ok(Settled {
        date,
        at: Some(Instant(micros)),
        clock_change,
    })
}

/// The time of day in the fraction of a day number, to the nearest second.
fn serial_time(date: WrittenDate) -> Option<WrittenTime> {
    let WrittenDate::Serial(serial) = date else {
        return None;
    };
    let seconds = (serial.fract() * 86_400.0).round() as i64;
    if seconds == 0 {
        return None;
    }
    let days_on = i8::from(seconds == 86_400);
    let time = Time::from_num_seconds_from_midnight_opt((seconds % 86_400) as u32, 0)?;
    Some(WrittenTime {
        time,
        days_on,
        leap: false,
    })
}

/// Noon of a day, where only the day is known.
pub(super) fn noon(date: Date, zone: &LocalDays) -> Option<Instant> {
    let (micros, _) = zone.instant(date.at(12, 0, 0))?;
    Some(Instant(micros))
}

fn instant(
    date: Date,
    time: WrittenTime,
    written: &Zone,
    fleet: &LocalDays,
) -> Result<(i64, Option<ClockChange>), NoDate> {
    let day = match time.days_on {
        0 => date,
        _ => date.checked_plus_days(1).ok_or(NoDate::OutOfRange)?,
    };
    let local = day.and_time(time.time);
    let (micros, change) = match written {
        Zone::Offset(offset) => (offset.micros(local).ok_or(NoDate::OutOfRange)?, None),
        Zone::Named(zone, Some(offset)) => {
            let micros = offset.micros(local).ok_or(NoDate::OutOfRange)?;
            if zone.offset_at(micros) != *offset {
                return Err(NoDate::OffsetOfAnother);
            }
            (micros, None)
        }
        Zone::Named(zone, None) => zone.micros(local).ok_or(NoDate::OutOfRange)?,
        Zone::Local => fleet.instant(local).ok_or(NoDate::OutOfRange)?,
    };
    let leap = i64::from(time.leap) * 1_000_000;
    Ok((micros + leap, change))
}

#[cfg(test)]
#[path = "instants_tests.rs"]
mod tests;
