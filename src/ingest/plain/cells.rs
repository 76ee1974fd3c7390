//! Cells of plain rows, read where they stand: each gives its value and the
//! bytes behind it, or `None` where it is written in any other way.

use crate::store::packed::{NONE, pack};

use super::days::Day;

/// A number as it is packed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Number {
    pub word: u32,
    /// Whether these are the shortest digits of the number.
    pub is_shortest: bool,
    /// Whether it tells that a point marks decimals.
    pub tells_point: bool,
}

const EMPTY: Number = Number {
    word: NONE,
    is_shortest: true,
    tells_point: false,
};

/// Digits, with at most one point among them.
pub(super) fn number(bytes: &[u8]) -> Option<(Number, &[u8])> {
    let mut rest = bytes;
    let (mut digits, mut count) = (0_u32, 0_u32);
    while let [byte, more @ ..] = rest
        && byte.is_ascii_digit()
    {
        digits = digits.wrapping_mul(10).wrapping_add(u32::from(byte - b'0'));
        count += 1;
        rest = more;
    }
    let whole = count;
    let mut behind = 0;
    if let [b'.', more @ ..] = rest {
        rest = more;
        while let [byte, more @ ..] = rest
            && byte.is_ascii_digit()
        {
            digits = digits.wrapping_mul(10).wrapping_add(u32::from(byte - b'0'));
            behind += 1;
            rest = more;
        }
        if behind == 0 || whole == 0 {
            return None;
        }
        count += behind;
    }
    if count == 0 {
        return Some((EMPTY, rest));
    }
    // so many digits cannot have run over
    if count > 9 {
        return None;
    }
    let begins_with_zero = bytes.first() == Some(&b'0');
    let number = Number {
        word: pack(digits, behind)?,
        is_shortest: (behind == 0 || digits % 10 != 0) && (!begins_with_zero || whole == 1),
        // three digits behind up to three may be thousands
        tells_point: behind > 0 && (behind != 3 || whole > 3 || begins_with_zero),
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
    use crate::store::packed::real;

    #[test]
    fn numbers_are_what_the_careful_way_makes_of_them() {
        let cells = [
            "0",
            "7",
            "319",
            "0319",
            "12.5",
            "12.50",
            "0.125",
            "1.125",
            "1234.125",
            "00.5",
            "123456789",
            "0.000000001",
            "268435455",
            "268435456",
            "1.",
            ".5",
            "1.2.3",
            "12a",
            "-3",
            "1234567890",
            "",
            "12,5",
        ];
        for text in cells {
            let careful = numbers::number(text, DecimalMark::Point);
            match number(text.as_bytes()) {
                Some((found, [])) => {
                    let expected = careful.unwrap();
                    assert_eq!(real(found.word), expected.map(|n| n.value), "{text}");
                    assert!(expected.is_none_or(|n| n.unit.is_empty()), "{text}");
                    assert_eq!(
                        found.tells_point,
                        decimal_evidence(text) == Some('.'),
                        "{text}"
                    );
                    let shortest = expected.map_or(String::new(), |n| n.value.to_string());
                    assert_eq!(found.is_shortest, shortest == text, "{text}");
                }
                Some((_, rest)) => assert!(!rest.is_empty()),
                None => {}
            }
        }
    }

    #[test]
    fn times_are_read_as_far_as_they_are_plain() {
        assert_eq!(clock(b"T08:15,x").unwrap().0.seconds, 29_700);
        assert_eq!(clock(b" 08:15:30").unwrap().0.seconds, 29_730);
        assert_eq!(clock(b"T00:00").unwrap().0.seconds, 0);
        for odd in ["T24:00", " 00:00", "T08:60", "T8:15", "x08:15", "T08:15:6"] {
            let found = clock(odd.as_bytes());
            assert!(found.is_none_or(|(_, rest)| !rest.is_empty()), "{odd}");
        }
    }
}
