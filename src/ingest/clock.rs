//! The time of day and the offset behind a date.

use crate::calendar::{FixedOffset, Time, TimeZone};

use super::dates::{NoDate, WrittenTime, Zone, digits, letters, small};

/// A time of day at the start of `rest`, and what follows.
pub(super) fn time(rest: &str, machine: bool) -> Result<(WrittenTime, &str), NoDate> {
    let (first, mut after) = digits(rest);
    let (hour, mut minute, mut second) = match first.len() {
        1 | 2 => (small(first), None, 0),
        4 | 6 => {
            let at = |from: usize| small(first.get(from..from + 2).unwrap_or("0"));
            (at(0), Some(at(2)), if first.len() == 6 { at(4) } else { 0 })
        }
        _ => return Err(NoDate::Not),
    };
    let mut nanos = 0;
    if minute.is_none()
        && let Some(rest) = after.strip_prefix([':', '.', 'h'])
    {
        let (text, rest) = digits(rest);
        if text.len() != 2 {
            return Err(NoDate::Not);
        }
        (minute, after) = (Some(small(text)), rest);
        if let Some(rest) = after.strip_prefix([':', '.']) {
            let (text, rest) = digits(rest);
            if text.len() != 2 {
                return Err(NoDate::Not);
            }
            (second, after) = (small(text), rest);
        }
    }
    if let Some(rest) = after.strip_prefix(['.', ',']) {
        let (text, rest) = digits(rest);
        if text.is_empty() {
            return Err(NoDate::Not);
        }
        let text = text.get(..9).unwrap_or(text);
        nanos = format!("{text:0<9}").parse().map_err(|_| NoDate::Not)?;
        after = rest;
    }
    let (hour, after) = half_day(hour, after)?;
    if minute.is_none() && !machine && hour.1.is_none() {
        return Err(NoDate::Not);
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
        "am" | "a" | "pm" | "p" => Err(NoDate::NoSuchTime),
        _ => Ok(((hour, None), after)),
    }
}

fn clock(hour: i16, minute: i16, second: i16, nanos: i32) -> Result<WrittenTime, NoDate> {
    if hour == 24 && minute == 0 && second == 0 && nanos == 0 {
        return Ok(WrittenTime {
            time: Time::MIN,
            days_on: 1,
            leap: false,
        });
    }
    // POSIX time has no 23:59:60: the next second stands for it
    let leap = second == 60 && minute == 59;
    let second = if leap { 59 } else { second };
    let part = |n: i16| u32::try_from(n).map_err(|_| NoDate::NoSuchTime);
    let nanos = if leap { 0 } else { nanos.unsigned_abs() };
    let time = Time::from_hms_nano_opt(part(hour)?, part(minute)?, part(second)?, nanos)
        .ok_or(NoDate::NoSuchTime)?;
    Ok(WrittenTime {
        time,
        days_on: 0,
        leap,
    })
}

/// `Z`, `+01:00`, `-0500`, `+01:00[Europe/London]`, `UTC`, `GMT+1`, or nothing.
pub(super) fn zone(rest: &str) -> Result<Zone, NoDate> {
    let (offset, name) = match rest.split_once('[') {
        Some((offset, name)) => {
            let name = name.strip_suffix(']').ok_or(NoDate::OpenZone)?;
            (offset, Some(name.trim_start_matches('!')))
        }
        None => (rest, None),
    };
    let lower = offset.to_ascii_lowercase();
    let offset = match lower.as_str() {
        "" => None,
        "z" | "utc" | "gmt" => Some(FixedOffset::UTC),
        "bst" => FixedOffset::from_seconds(3600),
        _ => match lower.strip_prefix("gmt").or(lower.strip_prefix("utc")) {
            Some(hours) => Some(hours_from_utc(hours)?),
            None => Some(numeric_offset(offset)?),
        },
    };
    match (offset, name) {
        (offset, Some(name)) => TimeZone::named(name)
            .map(|zone| Zone::Named(zone, offset))
            .ok_or(NoDate::UnknownZone),
        (Some(offset), None) => Ok(Zone::Offset(offset)),
        (None, None) => Ok(Zone::Local),
    }
}

/// `+1`, `-5`, `+01:00` behind `GMT`.
fn hours_from_utc(text: &str) -> Result<FixedOffset, NoDate> {
    let (sign, hours) = text.split_at_checked(1).unwrap_or((text, ""));
    match hours.len() {
        1 if hours.bytes().all(|b| b.is_ascii_digit()) => {
            numeric_offset(&format!("{sign}0{hours}"))
        }
        _ => numeric_offset(text),
    }
}

fn numeric_offset(text: &str) -> Result<FixedOffset, NoDate> {
    let (negative, rest) = match text.split_at_checked(1) {
        Some(("+", rest)) => (false, rest),
        Some(("-", rest)) => (true, rest),
        _ => return Err(NoDate::NoOffset),
    };
    let (hours, after) = digits(rest);
    let (hours, minutes) = match (hours.len(), after.strip_prefix(':')) {
        (2, None) if after.is_empty() => (hours, "0"),
        (2, Some(minutes)) if minutes.len() == 2 => (hours, minutes),
        (4, None) if after.is_empty() => hours.split_at_checked(2).ok_or(NoDate::NoOffset)?,
        _ => return Err(NoDate::NoOffset),
    };
    let (hours, minutes) = (small(hours), small(minutes));
    if hours > 18 || minutes > 59 {
        return Err(NoDate::NoOffset);
    }
    let seconds = i32::from(hours) * 3600 + i32::from(minutes) * 60;
    FixedOffset::from_seconds(if negative { -seconds } else { seconds }).ok_or(NoDate::NoOffset)
}
