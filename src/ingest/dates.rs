//! Dates and times as people write them, before anyone decides the order of
//! day and month.

use jiff::civil::{Date, ISOWeekDate, Time, Weekday};
use jiff::tz::{Offset, TimeZone};

use super::text::plain;

/// In which order a file writes day, month and year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DateOrder {
    DayFirst,
    MonthFirst,
    YearFirst,
}

impl DateOrder {
    /// `day first`, as said to people.
    pub fn told(self) -> &'static str {
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
        let sound = |date: Option<Date>| {
            date.filter(|d| *d <= today && i32::from(d.year()) + 15 >= i32::from(today.year()))
        };
        let kept = Candidates {
            day_first: sound(self.day_first),
            month_first: sound(self.month_first),
            year_first: sound(self.year_first),
            two_digit_year: true,
        };
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
    Offset(Offset),
    Named(TimeZone, Option<Offset>),
}

/// Why a cell is no date; said behind `taken_at is "…", `.
pub(super) type NoDate = &'static str;

const NOT: NoDate = "not a date";
const NO_SUCH_DAY: NoDate = "a day that the calendar does not have";
const NO_SUCH_TIME: NoDate = "a time that the clock does not have";

/// Reads a cell. The caller has made sure that it is not empty.
pub(super) fn written(cell: &str) -> Result<Written, NoDate> {
    let cell = plain(cell);
    if let Some(written) = machine_local(cell) {
        return written;
    }
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
            Err(NOT)
        };
    }
    written_ascii(cell)
}

/// The fast way through `2026-10-31T08:15` and `2026-10-31T08:15:00`.
fn machine_local(cell: &str) -> Option<Result<Written, NoDate>> {
    let b = cell.as_bytes();
    if !matches!(b.len(), 16 | 19) || b.get(10) != Some(&b'T') {
        return None;
    }
    let two = |at: usize| -> Option<i8> {
        let (tens, ones) = (
            b.get(at)?.wrapping_sub(b'0'),
            b.get(at + 1)?.wrapping_sub(b'0'),
        );
        (tens < 10 && ones < 10).then_some((tens * 10 + ones) as i8)
    };
    let marks = b.get(4) == Some(&b'-') && b.get(7) == Some(&b'-') && b.get(13) == Some(&b':');
    if !marks || (b.len() == 19 && b.get(16) != Some(&b':')) {
        return None;
    }
    let year = i16::from(two(0)?) * 100 + i16::from(two(2)?);
    let (month, day, hour, minute) = (two(5)?, two(8)?, two(11)?, two(14)?);
    let second = if b.len() == 19 { two(17)? } else { 0 };
    if hour > 23 || second > 59 {
        return None;
    }
    let Ok(date) = Date::new(year, month, day) else {
        return Some(Err(NO_SUCH_DAY));
    };
    let Ok(time) = Time::new(hour, minute, second, 0) else {
        return Some(Err(NO_SUCH_TIME));
    };
    Some(Ok(Written {
        date: WrittenDate::Sure(date),
        time: Some(WrittenTime {
            time,
            days_on: 0,
            leap: false,
        }),
        zone: Zone::Local,
        machine: true,
    }))
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
            Err(NOT)
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
fn digits(text: &str) -> (&str, &str) {
    let end = text.bytes().take_while(u8::is_ascii_digit).count();
    text.split_at_checked(end).unwrap_or((text, ""))
}

/// Letters at the start, and the rest.
fn letters(text: &str) -> (&str, &str) {
    let end = text.bytes().take_while(u8::is_ascii_alphabetic).count();
    text.split_at_checked(end).unwrap_or((text, ""))
}

fn small(text: &str) -> i16 {
    text.parse().unwrap_or(i16::MAX)
}

fn day_of(year: i16, month: i16, day: i16) -> Option<Date> {
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
}

/// The date at the start of a cell; `None` where it starts with a time of day.
fn date(cell: &str) -> Result<Option<(WrittenDate, &str)>, NoDate> {
    let (first, rest) = digits(cell);
    match (first.len(), rest.bytes().next()) {
        (0, _) => in_words(cell).map(Some),
        (8, None | Some(b'T' | b't' | b' ')) => {
            let number: i32 = first.parse().map_err(|_| NOT)?;
            let part = |n: i32| i16::try_from(n).map_err(|_| NOT);
            let day = day_of(
                part(number / 10_000)?,
                part(number / 100 % 100)?,
                part(number % 100)?,
            );
            day.map(|d| Some((WrittenDate::Sure(d), rest)))
                .ok_or(NO_SUCH_DAY)
        }
        (4, Some(sep @ (b'-' | b'/' | b'.' | b' '))) => {
            year_first(small(first), sep, rest).map(Some)
        }
        (1 | 2, Some(b':')) => Ok(None),
        (1 | 2, Some(b'h' | b'a' | b'p' | b'A' | b'P')) if !is_month(rest) => Ok(None),
        // 8.15 is a time of day, 8.15.2026 a date
        (1 | 2, Some(b'.')) if !digits(rest.get(1..).unwrap_or("")).1.starts_with('.') => Ok(None),
        (1 | 2, Some(sep @ (b'-' | b'/' | b'.'))) => numbers(first, sep, rest).map(Some),
        (1 | 2, Some(_)) => day_then_month(small(first), rest).map(Some),
        _ => Err(NOT),
    }
}

fn is_month(rest: &str) -> bool {
    month(letters(rest).0).is_some()
}

/// `2026-10-31`, `2026/10/31`, `2026-304`, `2026-W44-6`, `2026-Oct-31`.
fn year_first(year: i16, sep: u8, rest: &str) -> Result<(WrittenDate, &str), NoDate> {
    let rest = rest.get(1..).unwrap_or("");
    if sep == b'-' && rest.starts_with(['W', 'w']) {
        return week_date(year, rest.get(1..).unwrap_or(""));
    }
    let (second, rest) = digits(rest);
    let month_number = if second.is_empty() {
        let (word, after) = letters(rest);
        let number = month(word).ok_or(NOT)?;
        return third(year, number, sep, after);
    } else {
        small(second)
    };
    if second.len() == 3 && sep == b'-' && !rest.starts_with('-') {
        let first = day_of(year, 1, 1).ok_or(NO_SUCH_DAY)?;
        let day = first
            .with()
            .day_of_year(month_number)
            .build()
            .map_err(|_| NO_SUCH_DAY)?;
        return Ok((WrittenDate::Sure(day), rest));
    }
    if rest.is_empty() {
        return Err("a month, not a day");
    }
    third(year, month_number, sep, rest)
}

/// The day behind a year and a month.
fn third(year: i16, month: i16, sep: u8, rest: &str) -> Result<(WrittenDate, &str), NoDate> {
    let rest = rest.strip_prefix(char::from(sep)).ok_or(NOT)?;
    let (day, rest) = digits(rest);
    if !(1..=2).contains(&day.len()) || !ends_date(rest) {
        return Err(NOT);
    }
    let day = day_of(year, month, small(day)).ok_or(NO_SUCH_DAY)?;
    Ok((WrittenDate::Sure(day), rest))
}

fn week_date(year: i16, rest: &str) -> Result<(WrittenDate, &str), NoDate> {
    let (week, rest) = digits(rest);
    let (day, rest) = digits(rest.strip_prefix('-').ok_or("a week, not a day")?);
    let number = |text: &str| text.parse::<i8>().map_err(|_| NOT);
    let weekday = Weekday::from_monday_one_offset(number(day)?).map_err(|_| NO_SUCH_DAY)?;
    let date = ISOWeekDate::new(year, number(week)?, weekday).map_err(|_| NO_SUCH_DAY)?;
    Ok((WrittenDate::Sure(date.date()), rest))
}

fn ends_date(rest: &str) -> bool {
    rest.is_empty() || rest.starts_with(['T', 't', ' ', ','])
}

/// `31/10/2026`, `03-04-26`, `31.10.2026`, `31-Oct-2026`.
fn numbers<'t>(first: &str, sep: u8, rest: &'t str) -> Result<(WrittenDate, &'t str), NoDate> {
    let rest = rest.get(1..).unwrap_or("");
    let sep = char::from(sep);
    let (second, after) = digits(rest);
    if second.is_empty() {
        return day_then_month(small(first), rest);
    }
    let after = after.strip_prefix(sep).ok_or(NOT)?;
    let (third, rest) = digits(after);
    if !ends_date(rest) || second.len() > 2 {
        return Err(NOT);
    }
    let (a, b, c) = (small(first), small(second), small(third));
    let (year, two_digit_year) = match third.len() {
        4 => (c, false),
        2 => (2000 + c, true),
        _ => return Err(NOT),
    };
    let candidates = Candidates {
        day_first: day_of(year, b, a),
        month_first: day_of(year, a, b),
        year_first: if two_digit_year && first.len() == 2 {
            day_of(2000 + a, b, c)
        } else {
            None
        },
        two_digit_year,
    };
    let any = candidates
        .day_first
        .or(candidates.month_first)
        .or(candidates.year_first);
    any.map(|_| (WrittenDate::Numbers(candidates), rest))
        .ok_or(NO_SUCH_DAY)
}

/// ` October 2026`, `-Oct-26`, `st Oct 2026` behind a day.
fn day_then_month(day: i16, rest: &str) -> Result<(WrittenDate, &str), NoDate> {
    let rest = ["st", "nd", "rd", "th"]
        .iter()
        .find_map(|s| rest.strip_prefix(s))
        .unwrap_or(rest);
    let rest = rest
        .trim_start()
        .strip_prefix("of ")
        .unwrap_or(rest.trim_start());
    let (word, rest) = letters(rest);
    let month = month(word).ok_or(NOT)?;
    let (year, rest) = year_behind(rest)?;
    let day = day_of(year, month, day).ok_or(NO_SUCH_DAY)?;
    Ok((WrittenDate::Sure(day), rest))
}

/// The year behind a month's name or a day.
fn year_behind(rest: &str) -> Result<(i16, &str), NoDate> {
    let (year, after) = digits(rest.trim_start_matches(['-', '/', ' ', '.', ',', '\'']));
    match year.len() {
        4 => Ok((small(year), after)),
        2 if ends_date(after) => Ok((2000 + small(year), after)),
        0 => Err("a date without a year"),
        _ => Err(NOT),
    }
}

/// `Sat 31 Oct 2026`, `October 31, 2026`.
fn in_words(cell: &str) -> Result<(WrittenDate, &str), NoDate> {
    let (word, rest) = letters(cell);
    if is_weekday(word) {
        let rest = rest.trim_start_matches(['.', ',', ' ']);
        return date(rest)?.ok_or(NOT);
    }
    let month = month(word).ok_or(NOT)?;
    let (day, rest) = digits(rest.trim_start_matches(['.', ',', ' ', '-']));
    if !(1..=2).contains(&day.len()) {
        return Err(NOT);
    }
    let rest = ["st", "nd", "rd", "th"]
        .iter()
        .find_map(|s| rest.strip_prefix(s))
        .unwrap_or(rest);
    let (year, rest) = year_behind(rest)?;
    let day = day_of(year, month, small(day)).ok_or(NO_SUCH_DAY)?;
    Ok((WrittenDate::Sure(day), rest))
}

const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

fn month(word: &str) -> Option<i16> {
    let word = word.to_ascii_lowercase();
    let index = MONTHS.iter().position(|m| {
        *m == word
            || (word.len() == 3 && m.starts_with(&word))
            || (word == "sept" && *m == "september")
    })?;
    i16::try_from(index + 1).ok()
}

fn is_weekday(word: &str) -> bool {
    let days = [
        "monday",
        "tuesday",
        "wednesday",
        "thursday",
        "friday",
        "saturday",
        "sunday",
    ];
    let word = word.to_ascii_lowercase();
    word.len() >= 2 && days.iter().any(|d| d.starts_with(&word))
}

/// A time of day at the start of `rest`, and what follows.
fn time(rest: &str, machine: bool) -> Result<(WrittenTime, &str), NoDate> {
    let (first, mut after) = digits(rest);
    let (hour, mut minute, mut second) = match first.len() {
        1 | 2 => (small(first), None, 0),
        4 | 6 => {
            let at = |from: usize| small(first.get(from..from + 2).unwrap_or("0"));
            (at(0), Some(at(2)), if first.len() == 6 { at(4) } else { 0 })
        }
        _ => return Err(NOT),
    };
    let mut nanos = 0;
    if minute.is_none()
        && let Some(rest) = after.strip_prefix([':', '.', 'h'])
    {
        let (text, rest) = digits(rest);
        if text.len() != 2 {
            return Err(NOT);
        }
        (minute, after) = (Some(small(text)), rest);
        if let Some(rest) = after.strip_prefix([':', '.']) {
            let (text, rest) = digits(rest);
            if text.len() != 2 {
                return Err(NOT);
            }
            (second, after) = (small(text), rest);
        }
    }
    if let Some(rest) = after.strip_prefix(['.', ',']) {
        let (text, rest) = digits(rest);
        if text.is_empty() {
            return Err(NOT);
        }
        let text = text.get(..9).unwrap_or(text);
        nanos = format!("{text:0<9}").parse().map_err(|_| NOT)?;
        after = rest;
    }
    let (hour, after) = half_day(hour, after)?;
    if minute.is_none() && !machine && hour.1.is_none() {
        return Err(NOT);
    }
    let clock = clock(hour.0, minute.unwrap_or(0), second, nanos)?;
    Ok((clock, after))
}

/// Applies `am` and `pm`.
fn half_day(hour: i16, after: &str) -> Result<((i16, Option<bool>), &str), NoDate> {
    let trimmed = after.trim_start();
    let (word, rest) = letters(trimmed);
    let (word, rest) = match (
        word.to_ascii_lowercase().as_str(),
        rest.get(..3),
        rest.get(..2),
    ) {
        ("a" | "p", Some(".m."), _) => (word, rest.get(3..).unwrap_or("")),
        ("a" | "p", _, Some(".m")) => (word, rest.get(2..).unwrap_or("")),
        _ => (word, rest),
    };
    match word.to_ascii_lowercase().as_str() {
        "am" | "a" if (1..=12).contains(&hour) => Ok(((hour % 12, Some(false)), rest)),
        "pm" | "p" if (1..=12).contains(&hour) => Ok(((hour % 12 + 12, Some(true)), rest)),
        // 20:15 pm says the same twice
        "pm" if (13..=23).contains(&hour) => Ok(((hour, Some(true)), rest)),
        "am" | "a" | "pm" | "p" => Err(NO_SUCH_TIME),
        _ => Ok(((hour, None), after)),
    }
}

fn clock(hour: i16, minute: i16, second: i16, nanos: i32) -> Result<WrittenTime, NoDate> {
    if hour == 24 && minute == 0 && second == 0 && nanos == 0 {
        return Ok(WrittenTime {
            time: Time::midnight(),
            days_on: 1,
            leap: false,
        });
    }
    // POSIX time has no 23:59:60: the next second stands for it
    let leap = second == 60 && minute == 59;
    let second = if leap { 59 } else { second };
    let part = |n: i16| i8::try_from(n).map_err(|_| NO_SUCH_TIME);
    let nanos = if leap { 0 } else { nanos };
    let time =
        Time::new(part(hour)?, part(minute)?, part(second)?, nanos).map_err(|_| NO_SUCH_TIME)?;
    Ok(WrittenTime {
        time,
        days_on: 0,
        leap,
    })
}

/// `Z`, `+01:00`, `-0500`, `+01:00[Europe/London]`, `UTC`, or nothing.
fn zone(rest: &str) -> Result<Zone, NoDate> {
    let (offset, name) = match rest.split_once('[') {
        Some((offset, name)) => {
            let name = name
                .strip_suffix(']')
                .ok_or("a time zone that is not closed by ]")?;
            (offset, Some(name.trim_start_matches('!')))
        }
        None => (rest, None),
    };
    let offset = match offset.to_ascii_lowercase().as_str() {
        "" => None,
        "z" | "utc" | "gmt" => Some(Offset::UTC),
        _ => Some(numeric_offset(offset)?),
    };
    match (offset, name) {
        (offset, Some(name)) => TimeZone::get(name)
            .map(|zone| Zone::Named(zone, offset))
            .map_err(|_| "in a time zone that is not known"),
        (Some(offset), None) => Ok(Zone::Offset(offset)),
        (None, None) => Ok(Zone::Local),
    }
}

fn numeric_offset(text: &str) -> Result<Offset, NoDate> {
    const NOT_OFFSET: NoDate = "followed by something that is no offset from UTC";
    let (negative, rest) = match text.split_at_checked(1) {
        Some(("+", rest)) => (false, rest),
        Some(("-", rest)) => (true, rest),
        _ => return Err(NOT_OFFSET),
    };
    let (hours, after) = digits(rest);
    let (hours, minutes) = match (hours.len(), after.strip_prefix(':')) {
        (2, None) if after.is_empty() => (hours, "0"),
        (2, Some(minutes)) if minutes.len() == 2 => (hours, minutes),
        (4, None) if after.is_empty() => hours.split_at_checked(2).ok_or(NOT_OFFSET)?,
        _ => return Err(NOT_OFFSET),
    };
    let (hours, minutes) = (small(hours), small(minutes));
    if hours > 18 || minutes > 59 {
        return Err(NOT_OFFSET);
    }
    let seconds = i32::from(hours) * 3600 + i32::from(minutes) * 60;
    Offset::from_seconds(if negative { -seconds } else { seconds }).map_err(|_| NOT_OFFSET)
}
