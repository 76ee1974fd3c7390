//! Numbers as people write them.

use super::calendar::month;
use super::text::{is_ditto, is_no_value, plain};

/// What marks the decimals in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DecimalMark {
    Point,
    Comma,
    /// No number in the file tells, but commas separate its cells: whoever
    /// writes decimals with a comma lets semicolons do that.
    PointByDelimiter,
    /// Nothing tells, or the file uses both.
    Unknown,
}

/// A number with what stood around it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Number<'t> {
    pub value: f64,
    /// What stands behind the number; empty if nothing.
    pub unit: &'t str,
    pub spelled: Spelled,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Spelled {
    Exactly,
    /// `<1`: half of it stands in.
    Below,
    /// `~12`.
    About,
    /// `5-6`: the middle stands in.
    Range,
    /// `1,234` read as thousands because commas separate the file's cells.
    ByDelimiter,
}

/// Why a cell is no number; said behind `feed_ppm is "…", `.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub(super) enum NoNumber {
    #[error("{0}")]
    Not(&'static str),
    /// Fits thousands and decimals.
    #[error("which may be {0} or {1}, and nothing in the file tells")]
    BothWays(f64, f64),
}

const NOT: NoNumber = NoNumber::Not("not a number");

/// Reads a cell; `None` where it says that there is no value.
pub(super) fn number(cell: &str, mark: DecimalMark) -> Result<Option<Number<'_>>, NoNumber> {
    match read(cell, mark) {
        Err(NoNumber::BothWays(..)) if mark == DecimalMark::PointByDelimiter => {
            let found = read(cell, DecimalMark::Point)?;
            Ok(found.map(|number| match number.spelled {
                Spelled::Exactly => Number {
                    spelled: Spelled::ByDelimiter,
                    ..number
                },
                _ => number,
            }))
        }
        other => other,
    }
}

fn read(cell: &str, mark: DecimalMark) -> Result<Option<Number<'_>>, NoNumber> {
    let cell = plain(cell);
    if let Some(value) = simple(cell, mark) {
        return Ok(Some(Number {
            value,
            unit: "",
            spelled: Spelled::Exactly,
        }));
    }
    if is_ditto(cell) {
        return Err(NoNumber::Not("a ditto mark, not a measurement"));
    }
    if is_no_value(cell) {
        return Ok(None);
    }
    refuse_words(cell)?;
    let (spelled, rest) = prefix(cell)?;
    let first = leading(rest, mark)?;
    let after = first.unit.trim_start();
    if spelled == Spelled::Exactly
        && let Some(second) = range_end(after)
        && let Ok(second) = leading(second, mark)
    {
        return range(first.value, second);
    }
    if let Some(why) = spoilt(rest, after) {
        return Err(why);
    }
    if spelled == Spelled::Below && first.value < 0.0 {
        return Err(NOT);
    }
    let value = if spelled == Spelled::Below {
        first.value / 2.0
    } else {
        first.value
    };
    Ok(Some(Number {
        value,
        unit: after.trim_end(),
        spelled,
    }))
}

/// What three digits behind the only point or comma of a cell may be: thousands
/// or decimals; `None` where the cell reads one way only.
pub(super) fn both_ways(cell: &str) -> Option<(f64, f64)> {
    match read(cell, DecimalMark::Unknown) {
        Err(NoNumber::BothWays(thousands, decimals)) => Some((thousands, decimals)),
        _ => None,
    }
}

/// Whether the cell says that a meter showed no figure, or none that it could
/// read: that costs the cell, not the row.
pub(super) fn is_unread(cell: &str) -> bool {
    let cell = plain(cell);
    if is_no_value(cell) {
        return false;
    }
    let is_error = cell.starts_with('#') && cell.ends_with(['!', '?', 'A']);
    is_error
        || cell.starts_with(['>', '≥'])
        || matches!(refuse_words(cell), Err(NoNumber::Not(UNREAD)))
}

const UNREAD: &str = "what a meter shows that cannot read";

/// The many cells that are plain digits with at most one point, or one comma in
/// a file of decimal commas.
fn simple(cell: &str, mark: DecimalMark) -> Option<f64> {
    let decimal = if mark == DecimalMark::Comma {
        b','
    } else {
        b'.'
    };
    let (mut digits, mut behind, mut point) = (0_u64, 0_usize, false);
    for byte in cell.bytes() {
        match byte {
            b'0'..=b'9' => {
                digits = digits.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
                behind += usize::from(point);
            }
            _ if byte == decimal && !point => point = true,
            _ => return None,
        }
    }
    let sure = mark != DecimalMark::Unknown;
    let bare = cell.len() == usize::from(point);
    if cell.len() > 15 + usize::from(point) || bare || (behind == 3 && !sure) {
        return None;
    }
    // both exact in a double, so the quotient is the nearest one to the digits
    Some(digits as f64 / POWERS_OF_TEN.get(behind)?)
}

const POWERS_OF_TEN: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

fn refuse_words(cell: &str) -> Result<(), NoNumber> {
    if cell.starts_with(['#', '=']) {
        return Err(NoNumber::Not(
            "a spreadsheet formula or its error, not a number",
        ));
    }
    if cell.bytes().all(|b| b == b'-' || b == b' ') {
        return Err(NoNumber::Not(UNREAD));
    }
    match cell.to_ascii_lowercase().as_str() {
        "ol" | "o.l" | "o.l." | "0l" | "err" | "error" | "over" | "over range" | "overrange"
        | "or" | "hi" | "high" | "lo" | "low" | "over limit" | "off scale" | "max" | "----"
        | "e1" | "e2" | "e01" | "e02" | "off" | "dead" => Err(NoNumber::Not(UNREAD)),
        _ => Ok(()),
    }
}

fn prefix(cell: &str) -> Result<(Spelled, &str), NoNumber> {
    if let Some(rest) = cell.strip_prefix('<').or_else(|| cell.strip_prefix('≤')) {
        return Ok((Spelled::Below, rest.trim_start_matches('=').trim_start()));
    }
    if cell.starts_with(['>', '≥']) {
        return Err(NoNumber::Not("only a lower bound, not a number"));
    }
    for about in [
        "~", "≈", "ca.", "ca ", "c.", "approx.", "approx ", "about ", "circa ",
    ] {
        if let Some(head) = cell.get(..about.len())
            && head.eq_ignore_ascii_case(about)
        {
            return Ok((
                Spelled::About,
                cell.get(about.len()..).unwrap_or("").trim_start(),
            ));
        }
    }
    Ok((Spelled::Exactly, cell))
}

/// What stands behind the dash of a range.
fn range_end(after: &str) -> Option<&str> {
    let rest = ["-", "–", "—", "to ", "bis "]
        .iter()
        .find_map(|dash| after.strip_prefix(dash))?;
    let rest = rest.trim_start();
    rest.starts_with(|c: char| c.is_ascii_digit())
        .then_some(rest)
}

fn range<'t>(low: f64, second: Number<'t>) -> Result<Option<Number<'t>>, NoNumber> {
    let unit = second.unit.trim();
    if unit.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '/' | '.' | ',')) {
        return Err(NOT);
    }
    if low < 0.0 || low >= second.value {
        return Err(NoNumber::Not("not a range from a lower to a higher number"));
    }
    Ok(Some(Number {
        value: (low + second.value) / 2.0,
        unit,
        spelled: Spelled::Range,
    }))
}

/// Whether the text behind the digits shows a mistyped number.
fn spoilt(whole: &str, after: &str) -> Option<NoNumber> {
    let first = after.chars().next()?;
    let glued = !whole
        .trim_end()
        .strip_suffix(after)
        .unwrap_or("")
        .ends_with(char::is_whitespace);
    let digits = after.chars().any(|c| c.is_ascii_digit());
    let letters = after
        .chars()
        .take_while(|c| c.is_ascii_alphabetic())
        .count();
    if glued && matches!(first, 'O' | 'o') && (digits || letters == 1) {
        return Some(NoNumber::Not("not a number (letter O?)"));
    }
    if glued && matches!(first, 'l' | 'I') && after.len() > 1 && digits {
        return Some(NoNumber::Not("not a number (letter l?)"));
    }
    let word = after.trim_start_matches(['-', '/', ' ', '.']).get(..3);
    if word.and_then(month).is_some() {
        return Some(NoNumber::Not(
            "a date, not a number: a spreadsheet may have turned 5-6 into one",
        ));
    }
    // a unit may hold a digit (m3, cm2), but never begin with one or a separator
    (first.is_ascii_digit() || matches!(first, '.' | ',' | '-' | '+' | '/' | '\'' | ':'))
        .then_some(NOT)
}

/// The number at the start of `text`; its unit is all that follows.
fn leading(text: &str, mark: DecimalMark) -> Result<Number<'_>, NoNumber> {
    let (negative, body) = sign(text);
    let end = body_end(body);
    let (digits, mut after) = body.split_at_checked(end).unwrap_or((body, ""));
    if digits.is_empty() {
        return Err(first_letter(body));
    }
    let mut value = grouped(digits, mark)?;
    if let Some((power, rest)) = exponent(after) {
        let scaled = format!("{value}e{power}").parse::<f64>().map_err(|_| NOT)?;
        if !scaled.is_finite() {
            return Err(NoNumber::Not("too large to be a number of ours"));
        }
        (value, after) = (scaled, rest);
    }
    let value = if negative { -value } else { value };
    Ok(Number {
        value,
        unit: after,
        spelled: Spelled::Exactly,
    })
}

fn first_letter(body: &str) -> NoNumber {
    let mut chars = body.chars();
    match (chars.next(), chars.next()) {
        (Some('O' | 'o'), Some(c)) if c.is_ascii_digit() || matches!(c, '.' | ',') => {
            NoNumber::Not("not a number (letter O?)")
        }
        (Some('l' | 'I'), Some(c)) if c.is_ascii_digit() || matches!(c, '.' | ',') => {
            NoNumber::Not("not a number (letter l?)")
        }
        _ => NOT,
    }
}

fn sign(text: &str) -> (bool, &str) {
    for minus in ["-", "\u{2212}", "\u{2013}"] {
        if let Some(rest) = text.strip_prefix(minus) {
            return (true, rest.trim_start());
        }
    }
    (false, text.strip_prefix('+').unwrap_or(text))
}

/// Separators that group thousands and never mark decimals.
fn is_group_mark(c: char) -> bool {
    matches!(
        c,
        ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '\'' | '\u{2019}'
    )
}

/// Where the digits and the separators between them end.
fn body_end(body: &str) -> usize {
    let mut end = 0;
    let mut chars = body.char_indices().peekable();
    while let Some((i, c)) = chars.next() {
        let next_is_digit = chars.peek().is_some_and(|(_, n)| n.is_ascii_digit());
        let belongs = c.is_ascii_digit()
            || (matches!(c, '.' | ',') && (next_is_digit || end > 0 && body.get(..end).is_some()))
            || (is_group_mark(c) && end > 0 && next_is_digit);
        if !belongs {
            break;
        }
        end = i + c.len_utf8();
    }
    // a comma or two points at the end are no part of a number
    end
}

/// `e3`, `E+04` behind the digits, and what follows.
fn exponent(after: &str) -> Option<(i32, &str)> {
    let rest = after.strip_prefix(['e', 'E'])?;
    let digits = rest.strip_prefix(['+', '-']).unwrap_or(rest);
    let length = digits.bytes().take_while(u8::is_ascii_digit).count();
    if length == 0 {
        return None;
    }
    let end = rest.len() - digits.len() + length;
    let power = rest
        .get(..end)?
        .trim_start_matches('+')
        .parse()
        .unwrap_or(9999);
    Some((power, rest.get(end..)?))
}

/// The value of digits with group and decimal marks in them.
fn grouped(text: &str, mark: DecimalMark) -> Result<f64, NoNumber> {
    let marks: Vec<char> = text.chars().filter(|c| !c.is_ascii_digit()).collect();
    let last = text
        .char_indices()
        .rev()
        .find(|(_, c)| matches!(c, '.' | ','));
    let soft = marks.iter().any(|c| is_group_mark(*c));
    match (marks.as_slice(), last) {
        ([], _) => value_of(text, ""),
        (_, None) => value_of(&ungrouped(text, is_group_mark)?, ""),
        (all, Some((at, sep))) => {
            let (whole, fraction) = text.split_at_checked(at).ok_or(NOT)?;
            let fraction = fraction.strip_prefix(sep).ok_or(NOT)?;
            let alike = all.iter().filter(|c| **c == sep).count();
            if alike > 1 {
                // several of one kind group thousands, and nothing else may stand there
                return if alike == all.len() {
                    value_of(&ungrouped(text, |c| c == sep)?, "")
                } else {
                    Err(NOT)
                };
            }
            if all.len() > 1 {
                let other = if sep == '.' { ',' } else { '.' };
                let is_other = |c: char| if soft { is_group_mark(c) } else { c == other };
                return value_of(&ungrouped(whole, is_other)?, fraction);
            }
            one_mark(whole, sep, fraction, mark)
        }
    }
}

/// One point or comma and nothing else: decimals or thousands?
fn one_mark(whole: &str, sep: char, fraction: &str, mark: DecimalMark) -> Result<f64, NoNumber> {
    let decimals = value_of(whole, fraction)?;
    let may_be_thousands =
        fraction.len() == 3 && (1..=3).contains(&whole.len()) && !whole.starts_with('0');
    if !may_be_thousands {
        return Ok(decimals);
    }
    let thousands = value_of(&format!("{whole}{fraction}"), "")?;
    match (mark, sep) {
        (DecimalMark::Point | DecimalMark::PointByDelimiter, '.') | (DecimalMark::Comma, ',') => {
            Ok(decimals)
        }
        (DecimalMark::Point, ',') | (DecimalMark::Comma, '.') => Ok(thousands),
        _ => Err(NoNumber::BothWays(thousands, decimals)),
    }
}

/// Digits without their group marks; groups must be of three, or of two before
/// the last three as in India.
fn ungrouped(text: &str, is_mark: impl Fn(char) -> bool) -> Result<String, NoNumber> {
    let groups: Vec<&str> = text.split(&is_mark).collect();
    let sound = match groups.split_first() {
        Some((_, [])) => true,
        Some((first, rest)) => {
            let (last, middle) = rest.split_last().ok_or(NOT)?;
            let western = (1..=3).contains(&first.len()) && middle.iter().all(|g| g.len() == 3);
            let indian = (1..=2).contains(&first.len()) && middle.iter().all(|g| g.len() == 2);
            last.len() == 3 && (western || indian)
        }
        None => false,
    };
    let digits = groups.concat();
    if sound && digits.bytes().all(|b| b.is_ascii_digit()) {
        Ok(digits)
    } else {
        Err(NOT)
    }
}

fn value_of(whole: &str, fraction: &str) -> Result<f64, NoNumber> {
    let digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if (whole.is_empty() && fraction.is_empty()) || !digits(whole) || !digits(fraction) {
        return Err(NOT);
    }
    let value: f64 = format!("0{whole}.{fraction}0").parse().map_err(|_| NOT)?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err(NoNumber::Not("too large to be a number of ours"))
    }
}

/// What a cell tells about the file's decimal mark; `None` if nothing.
pub(super) fn decimal_evidence(cell: &str) -> Option<char> {
    let cell = plain(cell);
    let (_, rest) = prefix(cell).ok()?;
    let (_, body) = sign(rest);
    let text = body.get(..body_end(body))?;
    let count = |c: char| text.chars().filter(|x| *x == c).count();
    let (points, commas) = (count('.'), count(','));
    number(cell, DecimalMark::Point).ok()??;
    match (points, commas) {
        (0, 0) => None,
        (1, 0) | (0, 1) => {
            let sep = if points == 1 { '.' } else { ',' };
            let (whole, fraction) = text.split_once(sep)?;
            let soft = whole.chars().any(is_group_mark);
            let open = fraction.len() == 3 && whole.len() <= 3 && !whole.starts_with('0') && !soft;
            (!open && !fraction.is_empty() && !whole.is_empty()).then_some(sep)
        }
        // several of one kind group thousands: the other would mark decimals
        (_, 0) => Some(','),
        (0, _) => Some('.'),
        _ => text.chars().rev().find(|c| matches!(c, '.' | ',')),
    }
}

#[cfg(test)]
#[path = "numbers_tests.rs"]
mod tests;
