//! Days, months and time zones: what the crate needs of a calendar, on `chrono`.
//!
//! Days are plain dates; an instant is microseconds since 1970 in universal time.

mod zone;

pub use chrono::{
    Datelike, Month, NaiveDate as Date, NaiveDateTime as DateTime, NaiveTime as Time, TimeDelta,
    Timelike, Weekday,
};
pub use zone::{ClockChange, FixedOffset, TimeZone, now_micros, utc};

use chrono::{Months, NaiveDate};

/// The first and the last day of the calendar: years as four digits write them.
pub const FIRST_DAY: Date = date(-9999, 1, 1);
pub const LAST_DAY: Date = date(9999, 12, 31);

/// A day that the code itself names.
///
/// # Panics
/// Where there is no such day: the arguments are literals.
#[allow(
    clippy::panic,
    reason = "only literals are given, most of them in constants"
)]
pub const fn date(year: i32, month: u32, day: u32) -> Date {
    match NaiveDate::from_ymd_opt(year, month, day) {
        Some(date) => date,
        None => panic!("no such day"),
    }
}

/// A day as ISO 8601 writes it (`2026-10-31`); `None` for any other text.
pub fn parse_date(text: &str) -> Option<Date> {
    let date = Date::parse_from_str(text, "%Y-%m-%d").ok()?;
    (text.len() == 10 && date.to_string() == text).then_some(date)
}

/// A local time as ISO 8601 writes it, with as many digits of the second as it has.
pub fn iso_time(local: DateTime) -> String {
    let whole = local.format("%Y-%m-%dT%H:%M:%S").to_string();
    match local.nanosecond() {
        0 => whole,
        nanos => format!("{whole}.{}", format!("{nanos:09}").trim_end_matches('0')),
    }
}

/// Arithmetic on days that neither fails nor leaves the calendar.
pub trait DateExt: Sized + Copy {
    /// So many days later (earlier if negative), held within the calendar.
    fn plus_days(self, days: i64) -> Self;
    /// As [`DateExt::plus_days`], or `None` beyond the calendar.
    fn checked_plus_days(self, days: i64) -> Option<Self>;
    /// So many months later (earlier if negative), on the month's last day where
    /// it has no such day; held within the calendar.
    fn plus_months(self, months: i32) -> Self;
    /// Days from `earlier` to this one, negative if it comes first.
    fn days_since(self, earlier: Self) -> i32;
    fn first_of_month(self) -> Self;
    fn last_of_month(self) -> Self;
    /// 1 on the first of January.
    fn day_of_year(self) -> i16;
    /// Minutes past midnight are whole; held within the day.
    fn at(self, hour: u32, minute: u32, second: u32) -> DateTime;
}

impl DateExt for Date {
    fn plus_days(self, days: i64) -> Self {
        let edge = if days < 0 { FIRST_DAY } else { LAST_DAY };
        self.checked_plus_days(days).unwrap_or(edge)
    }

    fn checked_plus_days(self, days: i64) -> Option<Self> {
        let day = self.checked_add_signed(TimeDelta::try_days(days)?)?;
        (FIRST_DAY..=LAST_DAY).contains(&day).then_some(day)
    }

    fn plus_months(self, months: i32) -> Self {
        let by = Months::new(months.unsigned_abs());
        if months < 0 {
            self.checked_sub_months(by).unwrap_or(FIRST_DAY)
        } else {
            self.checked_add_months(by).unwrap_or(LAST_DAY)
        }
        .clamp(FIRST_DAY, LAST_DAY)
    }

    fn days_since(self, earlier: Self) -> i32 {
        // the calendar of `chrono` spans less than 2^28 days
        self.signed_duration_since(earlier).num_days() as i32
    }

    fn first_of_month(self) -> Self {
        self.with_day(1).unwrap_or(self)
    }

    fn last_of_month(self) -> Self {
        self.first_of_month().plus_months(1).plus_days(-1)
    }

    fn day_of_year(self) -> i16 {
        self.ordinal() as i16
    }

    fn at(self, hour: u32, minute: u32, second: u32) -> DateTime {
        let last = Time::MIN.overflowing_sub_signed(TimeDelta::seconds(1)).0;
        self.and_time(Time::from_hms_opt(hour, minute, second).unwrap_or(last))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_end_on_their_last_day() {
        assert_eq!(date(2026, 1, 31).plus_months(1), date(2026, 2, 28));
        assert_eq!(date(2024, 3, 31).plus_months(-1), date(2024, 2, 29));
        assert_eq!(date(2024, 2, 10).last_of_month(), date(2024, 2, 29));
        assert_eq!(date(2026, 12, 10).last_of_month(), date(2026, 12, 31));
        assert_eq!(date(2026, 12, 10).first_of_month(), date(2026, 12, 1));
    }

    #[test]
    fn days_are_counted_over_years_and_held_at_the_edges() {
        assert_eq!(date(2026, 3, 1).days_since(date(2024, 2, 28)), 732);
        assert_eq!(date(2026, 3, 1).plus_days(-1), date(2026, 2, 28));
        assert_eq!(LAST_DAY.plus_days(1), LAST_DAY);
        assert_eq!(LAST_DAY.checked_plus_days(1), None);
        assert_eq!(FIRST_DAY.plus_months(-1), FIRST_DAY);
        assert_eq!(date(2026, 12, 31).day_of_year(), 365);
    }

    #[test]
    fn only_iso_dates_are_read() {
        assert_eq!(parse_date("2026-10-31"), Some(date(2026, 10, 31)));
        for odd in [
            "2026-10-1",
            "31/10/2026",
            "2026-02-30",
            " 2026-10-31",
            "+2026-10-31",
            "+22026-10-31",
        ] {
            assert_eq!(parse_date(odd), None, "{odd}");
        }
    }

    #[test]
    fn a_second_has_the_digits_that_it_needs() {
        let at = date(2026, 10, 31).at(8, 5, 9);
        assert_eq!(iso_time(at), "2026-10-31T08:05:09");
        let later = at + TimeDelta::milliseconds(250);
        assert_eq!(iso_time(later), "2026-10-31T08:05:09.25");
    }
}
