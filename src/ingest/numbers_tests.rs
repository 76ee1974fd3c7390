//! Spellings of numbers with their value, checked against Babel's
//! `parse_decimal` (CLDR locales) and an independent regular expression.
use super::*;

fn seen(cell: &str, mark: DecimalMark) -> Result<Option<(f64, &str)>, NoNumber> {
    number(cell, mark).map(|n| n.map(|n| (n.value, n.unit)))
}

/// text, value, unit
const SETTLED: &[(&str, f64, &str)] = &[
    ("285", 285.0, ""),
    ("12.5", 12.5, ""),
    ("12,5", 12.5, ""),
    ("0,041", 0.041, ""),
    ("1,234.5", 1234.5, ""),
    ("1.234,5", 1234.5, ""),
    ("1,234,567", 1_234_567.0, ""),
    ("1.234.567", 1_234_567.0, ""),
    ("1.234.567,8", 1_234_567.8, ""),
    ("12,34,567", 1_234_567.0, ""),
    ("1 234,5", 1234.5, ""),
    ("1\u{a0}234,5", 1234.5, ""),
    ("1\u{202f}234,5", 1234.5, ""),
    ("1\u{2009}234.5", 1234.5, ""),
    ("1'234.5", 1234.5, ""),
    ("1\u{2019}234.5", 1234.5, ""),
    ("-3.5", -3.5, ""),
    ("\u{2212}3.5", -3.5, ""),
    ("\u{2013}3.5", -3.5, ""),
    ("+7.5", 7.5, ""),
    (".5", 0.5, ""),
    ("5.", 5.0, ""),
    ("1e3", 1000.0, ""),
    ("6.1E+04", 61_000.0, ""),
    ("1.2E+02", 120.0, ""),
    ("  42  ", 42.0, ""),
    ("007", 7.0, ""),
    ("285 ppm", 285.0, "ppm"),
    ("12.5\u{b5}S/cm", 12.5, "\u{b5}S/cm"),
    ("12.5 \u{3bc}S/cm", 12.5, "\u{3bc}S/cm"),
    ("18,5 °C", 18.5, "°C"),
    ("4.1 bar", 4.1, "bar"),
    ("60 psi", 60.0, "psi"),
    ("4.1%", 4.1, "%"),
    ("1234,567", 1234.567, ""),
    ("0.45 m3", 0.45, "m3"),
];

#[test]
fn numbers_that_read_only_one_way_are_read_whatever_the_file() {
    let marks = [
        DecimalMark::Point,
        DecimalMark::Comma,
        DecimalMark::PointByDelimiter,
        DecimalMark::Unknown,
    ];
    for mark in marks {
        for (text, value, unit) in SETTLED {
            assert_eq!(
                seen(text, mark),
                Ok(Some((*value, *unit))),
                "{text} with {mark:?}"
            );
        }
    }
}

#[test]
fn three_digits_behind_one_mark_are_read_as_the_file_writes() {
    for (text, by_point, by_comma) in [
        ("1,234", 1234.0, 1.234),
        ("1.234", 1.234, 1234.0),
        ("1,250 L", 1250.0, 1.25),
    ] {
        let read = |mark| seen(text, mark).map(|n| n.map(|n| n.0));
        assert_eq!(read(DecimalMark::Point), Ok(Some(by_point)), "{text}");
        assert_eq!(read(DecimalMark::Comma), Ok(Some(by_comma)), "{text}");
        assert!(
            matches!(read(DecimalMark::Unknown), Err(NoNumber::BothWays(..))),
            "{text}"
        );
    }
    // commas between the cells speak against commas before the decimals
    let by_delimiter =
        |text| number(text, DecimalMark::PointByDelimiter).map(|n| n.map(|n| (n.value, n.spelled)));
    assert_eq!(by_delimiter("1.234"), Ok(Some((1.234, Spelled::Exactly))));
    assert_eq!(
        by_delimiter("1,200"),
        Ok(Some((1200.0, Spelled::ByDelimiter)))
    );
}

#[test]
fn what_is_no_number_is_refused() {
    for text in [
        "1.2.3",
        "1,2,3",
        "1,23,4",
        "1.234,567.8",
        "12 3",
        "1,,234",
        "O.5",
        "l2",
        "--5",
        "5-",
        "3/4",
        "NaN",
        "inf",
        "1e400",
        "1,2O4",
        "2l5",
        "1..5",
        "12:30",
        "abc",
    ] {
        // a unit that is none ends as a refusal by the column
        match seen(text, DecimalMark::Point) {
            Err(_) => {}
            Ok(Some((_, unit))) => assert!(!unit.is_empty(), "{text}"),
            Ok(None) => unreachable!("{text} is not empty"),
        }
    }
    for text in [
        "1.2.3", "1,2,3", "1,23,4", "12 3", "O.5", "--5", "5-", "3/4", "1e400",
    ] {
        assert!(seen(text, DecimalMark::Point).is_err(), "{text}");
    }
}

#[test]
fn a_letter_typed_for_a_digit_is_named() {
    for text in ["1,2O4", "O.5", "32O"] {
        let why = seen(text, DecimalMark::Point).map_err(|e| e.to_string());
        assert_eq!(why, Err("not a number (letter O?)".to_owned()), "{text}");
    }
    let why = seen("l2", DecimalMark::Point).map_err(|e| e.to_string());
    assert_eq!(why, Err("not a number (letter l?)".to_owned()));
}

#[test]
fn cells_without_a_value_are_empty() {
    for text in ["n/a", "-", "", "  ", "?", "nil", "N/A", "none"] {
        assert_eq!(seen(text, DecimalMark::Point), Ok(None), "{text}");
    }
}

#[test]
fn ditto_marks_formulas_and_meters_that_cannot_read_are_refused() {
    for text in [
        "same", "ditto", "\"", "OL", "Err", "---", "#REF!", "=SUM(A1)", "05-Jun", ">500",
    ] {
        assert!(seen(text, DecimalMark::Point).is_err(), "{text}");
    }
}

#[test]
fn bounds_guesses_and_ranges_are_read_with_a_word() {
    let spelled = |text| number(text, DecimalMark::Point).map(|n| n.map(|n| (n.value, n.spelled)));
    assert_eq!(spelled("<1"), Ok(Some((0.5, Spelled::Below))));
    assert_eq!(spelled("~12"), Ok(Some((12.0, Spelled::About))));
    assert_eq!(spelled("ca. 12"), Ok(Some((12.0, Spelled::About))));
    assert_eq!(spelled("5-6"), Ok(Some((5.5, Spelled::Range))));
    assert_eq!(spelled("285–310"), Ok(Some((297.5, Spelled::Range))));
    assert_eq!(spelled("10 to 12 ppm"), Ok(Some((11.0, Spelled::Range))));
    assert!(spelled("6-5").is_err());
}

#[test]
fn a_cell_tells_its_decimal_mark_only_where_it_reads_one_way() {
    for (text, mark) in [
        ("12.5", Some('.')),
        ("12,5", Some(',')),
        ("0,041", Some(',')),
        ("1,234", None),
        ("1.234", None),
        ("1,234.5", Some('.')),
        ("1.234,5", Some(',')),
        ("1,234,567", Some('.')),
        ("1.234.567", Some(',')),
        ("285", None),
        ("x", None),
    ] {
        assert_eq!(decimal_evidence(text), mark, "{text}");
    }
}

#[test]
fn quick_reading_gives_the_nearest_double() {
    // against the standard library, which rounds correctly
    let mut seed = 7_u64;
    for _ in 0..20_000 {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let digits = format!("{}", (seed >> 20) % 1_000_000_000_000_000);
        let at = (seed >> 3) as usize % (digits.len() + 1);
        let text = format!("{}.{}", &digits[..at], &digits[at..]);
        if text.len() > 16 || text == "." {
            continue;
        }
        assert_eq!(
            simple(&text, DecimalMark::Point),
            text.parse().ok(),
            "{text}"
        );
    }
    for text in ["", ".", ",", "1,5", "-1", "1 "] {
        assert_eq!(simple(text, DecimalMark::Point), None, "{text}");
    }
}
