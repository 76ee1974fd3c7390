//! The date at the start of a cell, in numbers or in words.

use crate::calendar::{Date, Month, Weekday};

use super::dates::{Candidates, NoDate, WrittenDate, digits, letters, small};

fn day_of(year: i16, month: i16, day: i16) -> Option<Date> {
    Date::from_ymd_opt(
        i32::from(year),
        u32::try_from(month).ok()?,
        u32::try_from(day).ok()?,
    )
}

/// The date at the start of a cell and what follows; `None` where the cell
/// starts with a time of day.
pub(super) fn date(cell: &str) -> Result<Option<(WrittenDate, &str)>, NoDate> {
    let (first, rest) = digits(cell);
    match (first.len(), rest.bytes().next()) {
        (0, _) => in_words(cell).map(Some),
        (8, None | Some(b'T' | b't' | b' ')) => {
            let number: i32 = first.parse().map_err(|_| NoDate::Not)?;
            let part = |n: i32| i16::try_from(n).map_err(|_| NoDate::Not);
            let day = day_of(
                part(number / 10_000)?,
                part(number / 100 % 100)?,
                part(number % 100)?,
            );
            day.map(|d| Some((WrittenDate::Sure(d), rest)))
                .ok_or(NoDate::NoSuchDay)
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
        _ => Err(NoDate::Not),
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
        let number = month(word).ok_or(NoDate::Not)?;
        return third(year, number, sep, after);
    } else {
        small(second)
    };
    if second.len() == 3 && sep == b'-' && !rest.starts_with('-') {
        let day = u32::try_from(month_number)
            .ok()
            .and_then(|day| Date::from_yo_opt(i32::from(year), day))
            .ok_or(NoDate::NoSuchDay)?;
        return Ok((WrittenDate::Sure(day), rest));
    }
    if rest.is_empty() {
        return Err(NoDate::Month);
    }
    third(year, month_number, sep, rest)
}

/// The day behind a year and a month.
fn third(year: i16, month: i16, sep: u8, rest: &str) -> Result<(WrittenDate, &str), NoDate> {
    let rest = rest.strip_prefix(char::from(sep)).ok_or(NoDate::Not)?;
    let (day, rest) = digits(rest);
    if !(1..=2).contains(&day.len()) || !ends_date(rest) {
        return Err(NoDate::Not);
    }
    let day = day_of(year, month, small(day)).ok_or(NoDate::NoSuchDay)?;
    Ok((WrittenDate::Sure(day), rest))
}

fn week_date(year: i16, rest: &str) -> Result<(WrittenDate, &str), NoDate> {
    let (week, rest) = digits(rest);
    let (day, rest) = digits(rest.strip_prefix('-').ok_or(NoDate::Week)?);
    let number = |text: &str| text.parse::<u8>().map_err(|_| NoDate::Not);
    let weekday = number(day)?
        .checked_sub(1)
        .and_then(|day| Weekday::try_from(day).ok())
        .ok_or(NoDate::NoSuchDay)?;
    let date = Date::from_isoywd_opt(i32::from(year), u32::from(number(week)?), weekday)
        .ok_or(NoDate::NoSuchDay)?;
    Ok((WrittenDate::Sure(date), rest))
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
    let after = after.strip_prefix(sep).ok_or(NoDate::Not)?;
    let (third, rest) = digits(after);
    if !ends_date(rest) || second.len() > 2 {
        return Err(NoDate::Not);
    }
    let (a, b, c) = (small(first), small(second), small(third));
    let (year, two_digit_year) = match third.len() {
        4 => (c, false),
        2 => (2000 + c, true),
        _ => return Err(NoDate::Not),
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
        .ok_or(NoDate::NoSuchDay)
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
    let month = month(word).ok_or(NoDate::Not)?;
    let (year, rest) = year_behind(rest)?;
    let day = day_of(year, month, day).ok_or(NoDate::NoSuchDay)?;
    Ok((WrittenDate::Sure(day), rest))
}

/// The year behind a month's name or a day.
fn year_behind(rest: &str) -> Result<(i16, &str), NoDate> {
    let (year, after) = digits(rest.trim_start_matches(['-', '/', ' ', '.', ',', '\'']));
    match year.len() {
        4 => Ok((small(year), after)),
        2 if ends_date(after) => Ok((2000 + small(year), after)),
        0 => Err(NoDate::NoYear),
        _ => Err(NoDate::Not),
    }
}

/// `Sat 31 Oct 2026`, `October 31, 2026`.
fn in_words(cell: &str) -> Result<(WrittenDate, &str), NoDate> {
    let (word, rest) = letters(cell);
    if is_weekday(word) {
        let rest = rest.trim_start_matches(['.', ',', ' ']);
        return date(rest)?.ok_or(NoDate::Not);
    }
    let month = month(word).ok_or(NoDate::Not)?;
    let (day, rest) = digits(rest.trim_start_matches(['.', ',', ' ', '-']));
    if !(1..=2).contains(&day.len()) {
        return Err(NoDate::Not);
    }
    let rest = ["st", "nd", "rd", "th"]
        .iter()
        .find_map(|s| rest.strip_prefix(s))
        .unwrap_or(rest);
    let (year, rest) = year_behind(rest)?;
    let day = day_of(year, month, small(day)).ok_or(NoDate::NoSuchDay)?;
    Ok((WrittenDate::Sure(day), rest))
}

/// The month that a word names, in full or by its first three letters.
pub(super) fn month(word: &str) -> Option<i16> {
    let word = match word.eq_ignore_ascii_case("sept") {
        true => "sep",
        false => word,
    };
    let month: Month = word.parse().ok()?;
    i16::try_from(month.number_from_month()).ok()
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
