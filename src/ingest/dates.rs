//! Dates and times as people write them, before anyone decides the order of
//! day and month.

use crate::calendar::{Date, Datelike, FixedOffset, Time, TimeZone};

use super::calendar::date;
use super::clock::{time, zone};
use super::text::plain;

/// In which order a file writes day, month and year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[expect(clippy::enum_variant_names, reason = "the names that people know")]
pub enum DateOrder {
    DayFirst,
    MonthFirst,
    YearFirst,
}

impl DateOrder {
    /// `day first`, as said to people.
    pub fn label(self) -> &'static str {
        match self {
            DateOrder::DayFirst => "day first",
            DateOrder::MonthFirst => "month first",
            DateOrder::YearFirst => "year first",
        }
    }
}

/// A cell with a date, a time, or both.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Written {
    pub date: WrittenDate,
    /// `None` where only the day is known.
    pub time: Option<WrittenTime>,
    pub zone: Zone,
    /// Written with a `T`, as machines do: a midnight is meant as one.
    pub machine: bool,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum WrittenDate {
    /// Reads only one way in any file.
    Sure(Date),
    /// Numbers that are a date under some order.
    Numbers(Candidates),
    /// A spreadsheet's day number.
    Serial(f64),
    /// No date, only a time of day.
    Missing,
}

/// The dates that three numbers may be; `None` where the calendar has no such day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Candidates {
    pub day_first: Option<Date>,
    pub month_first: Option<Date>,
    /// Only where the year has two digits.
    pub year_first: Option<Date>,
    pub two_digit_year: bool,
}

impl Candidates {
    /// Only those that the records can hold, where the year has two digits;
    /// all of them where none can be.
    pub fn plausible(self, today: Date) -> Candidates {
        if !self.two_digit_year {
            return self;
        }
        let sound =
            |date: Option<Date>| date.filter(|d| *d <= today && d.year() + 15 >= today.year());
        let mut kept = Candidates {
            day_first: sound(self.day_first),
            month_first: sound(self.month_first),
            year_first: sound(self.year_first),
            two_digit_year: true,
        };
        // 19/10/26 in 2026: nobody writes the year first and means one long gone
        // where the same figures are a day of late
        let is_late = |date: Date| date.year() + 2 > today.year();
        if kept.day_first.is_some_and(is_late) && !kept.year_first.is_some_and(is_late) {
            kept.year_first = None;
        }
        let none =
            kept.day_first.is_none() && kept.month_first.is_none() && kept.year_first.is_none();
        if none {
            Candidates {
                year_first: None,
                ..self
            }
        } else {
            kept
        }
    }

    /// The date where all orders that fit agree, and the one order where only one fits.
    pub fn settled(self) -> (Option<Date>, Option<DateOrder>) {
        let found = [
            (self.day_first, DateOrder::DayFirst),
            (self.month_first, DateOrder::MonthFirst),
            (self.year_first, DateOrder::YearFirst),
        ];
        let mut fitting = found
            .into_iter()
            .filter_map(|(date, order)| Some((date?, order)));
        match (fitting.next(), fitting.next(), fitting.next()) {
            (Some((date, order)), None, _) => (Some(date), Some(order)),
            (Some((one, _)), Some((two, _)), None) if one == two => (Some(one), None),
            _ => (None, None),
        }
    }
}

/// A time of day; `24:00` and the leap second fall on the next day's start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct WrittenTime {
    pub time: Time,
    pub days_on: i8,
    /// Seconds to add: 1 for a leap second.
    pub leap: bool,
}

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Zone {
    /// None said: the fleet's own.
    Local,
    Offset(FixedOffset),
    Named(TimeZone, Option<FixedOffset>),
}

/// Why a cell is no date; said behind `taken_at is "…", `.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub(super) enum NoDate {
    #[error("not a date")]
    Not,
    #[error("a day that the calendar does not have")]
    NoSuchDay,
    #[error("a time that the clock does not have")]
    NoSuchTime,
    #[error("a month, not a day")]
    Month,
    #[error("a week, not a day")]
    Week,
    #[error("a date without a year")]
    NoYear,
    #[error("a time of day without a date")]
    NoDay,
    #[error("not a time of day")]
    NoTime,
    #[error("a bare number, not a date (a spreadsheet's day number?)")]
    BareNumber,
    #[error("where day and month cannot be told apart: say --date-order day-first or month-first")]
    DayOrMonth,
    #[error("not a date with the {}, as the file writes its dates", .0.label())]
    NotInOrder(DateOrder),
    #[error("a date out of range")]
    OutOfRange,
    #[error("a time zone that is not closed by ]")]
    OpenZone,
    #[error("in a time zone that is not known")]
    UnknownZone,
    #[error("followed by something that is no offset from UTC")]
    NoOffset,
    #[error("an offset that its time zone does not have then")]
    OffsetOfAnother,
}

/// Reads a cell. The caller has made sure that it is not empty.
pub(super) fn written(cell: &str) -> Result<Written, NoDate> {
    let cell = plain(cell);
    if !cell.is_ascii() {
        // dashes and spaces of word processors
        let ascii: String = cell
            .chars()
            .map(|c| match c {
                '\u{2010}'..='\u{2015}' | '\u{2212}' => '-',
                c if c.is_whitespace() => ' ',
                c => c,
            })
            .collect();
        return if ascii.is_ascii() {
            written_ascii(&ascii)
        } else {
            Err(NoDate::Not)
        };
    }
    written_ascii(cell)
}

fn written_ascii(cell: &str) -> Result<Written, NoDate> {
    if let Some(serial) = serial(cell) {
        return Ok(Written {
            date: WrittenDate::Serial(serial),
            time: None,
            zone: Zone::Local,
            machine: false,
        });
    }
    let (date, rest) = match date(cell)? {
        Some(found) => found,
        None => (WrittenDate::Missing, cell),
    };
    let machine = rest.starts_with(['T', 't']);
    let rest = rest
        .strip_prefix(['T', 't', ','])
        .unwrap_or(rest)
        .trim_start();
    let rest = rest.strip_prefix("at ").unwrap_or(rest);
    if rest.is_empty() {
        return if machine {
            Err(NoDate::Not)
        } else {
            Ok(Written {
                date,
                time: None,
                zone: Zone::Local,
                machine,
            })
        };
    }
    let (time, rest) = time(rest, machine)?;
    let zone = zone(rest.trim())?;
    Ok(Written {
        date,
        time: Some(time),
        zone,
        machine,
    })
}

/// A day number between 1982 and 2064, with a fraction for the time of day.
fn serial(cell: &str) -> Option<f64> {
    let (whole, _) = cell.split_once(['.', ',']).unwrap_or((cell, ""));
    if whole.len() != 5
        || !cell
            .bytes()
            .all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','))
    {
        return None;
    }
    let number: f64 = cell.replace(',', ".").parse().ok()?;
    (30_000.0..60_000.0).contains(&number).then_some(number)
}

/// Digits at the start, and the rest.
pub(super) fn digits(text: &str) -> (&str, &str) {
    let end = text.bytes().take_while(u8::is_ascii_digit).count();
    text.split_at_checked(end).unwrap_or((text, ""))
}

/// Letters at the start, and the rest.
pub(super) fn letters(text: &str) -> (&str, &str) {
    let end = text.bytes().take_while(u8::is_ascii_alphabetic).count();
    text.split_at_checked(end).unwrap_or((text, ""))
}

pub(super) fn small(text: &str) -> i16 {
    text.parse().unwrap_or(i16::MAX)
}
