//! Cells of rows as machines write them, read where they stand: each gives its value and the
//! bytes behind it, or `None` where it is written in any other way.

use super::days::Day;

/// A number as it stands in a cell.
#[derive(Debug, Clone, Copy)]
pub(super) struct Number {
    /// `None` where the cell is empty.
    pub value: Option<f64>,
    /// Whether these are the shortest digits of the number.
    pub is_shortest: bool,
    /// Whether it tells that a point marks decimals.
    pub tells_point: bool,
}

const EMPTY: Number = Number {
    value: None,
    is_shortest: true,
    tells_point: false,
};

const POWERS_OF_TEN: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// Digits, with at most one point among them; no number that could be read in
/// two ways.
pub(super) fn number(bytes: &[u8]) -> Option<(Number, &[u8])> {
    let mut rest = bytes;
    let (mut digits, mut whole) = (0_u64, 0_usize);
    while let [byte, more @ ..] = rest
        && byte.is_ascii_digit()
    {
        digits = digits.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
        whole += 1;
        rest = more;
    }
    let mut behind = 0;
    if let [b'.', more @ ..] = rest {
        rest = more;
        while let [byte, more @ ..] = rest
            && byte.is_ascii_digit()
        {
            digits = digits.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
            behind += 1;
            rest = more;
        }
        if behind == 0 || whole == 0 {
            return None;
        }
    }
    if whole == 0 {
        return Some((EMPTY, rest));
    }
    let begins_with_zero = bytes.first() == Some(&b'0');
    // so many digits are exact in a double; three behind up to three may be thousands
    if whole + behind > 15 || (behind == 3 && whole <= 3 && !begins_with_zero) {
        return None;
    }
    let number = Number {
        // both are exact, so the quotient is the nearest one to the digits
        value: Some(digits as f64 / POWERS_OF_TEN.get(behind)?),
        is_shortest: (behind == 0 || digits % 10 != 0) && (!begins_with_zero || whole == 1),
        tells_point: behind > 0,
    };
    Some((number, rest))
}

fn two(tens: u8, ones: u8) -> Option<u8> {
    let (tens, ones) = (tens.wrapping_sub(b'0'), ones.wrapping_sub(b'0'));
    (tens < 10 && ones < 10).then(|| tens * 10 + ones)
}

/// `2026-10-31`.
pub(super) fn day(bytes: &[u8; 10]) -> Option<Day> {
    let [y1, y2, y3, y4, b'-', m1, m2, b'-', d1, d2] = *bytes else {
        return None;
    };
    let year = u16::from(two(y1, y2)?) * 100 + u16::from(two(y3, y4)?);
    Day::new(year, two(m1, m2)?, two(d1, d2)?)
}

/// A time of day behind its day.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clock {
    pub seconds: i64,
    /// `T`, or a space.
    pub between: u8,
    pub has_seconds: bool,
}

/// `T08:15`, ` 08:15:30`.
pub(super) fn clock(bytes: &[u8]) -> Option<(Clock, &[u8])> {
    let [between @ (b'T' | b' '), h1, h2, b':', m1, m2, rest @ ..] = bytes else {
        return None;
    };
    let (hour, minute) = (two(*h1, *h2)?, two(*m1, *m2)?);
    let (second, has_seconds, rest) = match rest {
        [b':', s1, s2, rest @ ..] => (two(*s1, *s2)?, true, rest),
        _ => (0, false, rest),
    };
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let seconds = i64::from(hour) * 3_600 + i64::from(minute) * 60 + i64::from(second);
    // behind a space midnight may stand for no time at all
    if *between == b' ' && seconds == 0 {
        return None;
    }
    let clock = Clock {
        seconds,
        between: *between,
        has_seconds,
    };
    Some((clock, rest))
}

/// The bytes up to the next separator or line end.
pub(super) fn cell(bytes: &[u8], delimiter: u8) -> (&[u8], &[u8]) {
    let ends = |byte: &u8| *byte == delimiter || matches!(byte, b'\n' | b'\r');
    let end = bytes.iter().position(ends).unwrap_or(bytes.len());
    bytes.split_at_checked(end).unwrap_or((bytes, &[]))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::super::numbers::{self, DecimalMark, decimal_evidence};
    use super::*;

    #[test]
    fn numbers_are_what_the_careful_way_makes_of_them() {
        let cells = [
            "0",
            "7",
            "320",
            "0.5",
            "12.50",
            "1200",
            "1234.567",
            "0.125",
            "007",
            "0.0",
            "61200.25",
            "99999999999",
            "3.14159265",
        ];
        for cell in cells {
            for mark in [
                DecimalMark::Point,
                DecimalMark::PointByDelimiter,
                DecimalMark::Unknown,
            ] {
                let (found, rest) = number(cell.as_bytes()).unwrap();
                let careful = numbers::number(cell, mark).unwrap().unwrap();
                assert_eq!(found.value, Some(careful.value), "{cell}");
                assert_eq!(
                    found.tells_point,
                    decimal_evidence(cell) == Some('.'),
                    "{cell}"
                );
                assert_eq!(
                    found.is_shortest,
                    careful.value.to_string() == cell,
                    "{cell}"
                );
                assert!(rest.is_empty());
            }
        }
        for odd in [
            ".5",
            "5.",
            "1.200",
            "1234567890123456",
            "99.1234567890123456",
        ] {
            assert!(number(odd.as_bytes()).is_none(), "{odd}");
        }
        let (empty, rest) = number(b",9").unwrap();
        assert_eq!((empty.value, rest), (None, &b",9"[..]));
    }

    #[test]
    fn a_time_behind_its_day_is_read_to_its_end() {
        let (clock, rest) = super::clock(b"T08:15:30,x").unwrap();
        assert_eq!((clock.seconds, clock.has_seconds), (29_730, true));
        assert_eq!(rest, b",x");
        for odd in [&b"T24:00"[..], b"T08:60", b" 00:00", b"08:15", b"T8:15"] {
            assert!(super::clock(odd).is_none());
        }
        assert!(day(b"2026-02-30").is_none() && day(b"2026-10-31").is_some());
    }
}
