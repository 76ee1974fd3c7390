//! Spellings of dates and times with their instant: RFC 3339, RFC 9557,
//! ISO 8601-1:2019 (from memory), IANA time-zone data; checked against
//! Python's zoneinfo and pytz for Europe/London.
#![allow(clippy::unwrap_used)]
use super::*;
use crate::ingest::dates::written;

fn habits(order: Option<DateOrder>) -> DateHabits {
    DateHabits {
        order,
        serials: true,
        midnight_is_none: false,
        today: crate::calendar::date(2026, 12, 31),
    }
}

fn london() -> LocalDays {
    LocalDays::new(crate::calendar::TimeZone::LONDON)
}

fn read(text: &str, order: Option<DateOrder>) -> Result<Settled, NoDate> {
    let written = written(text)?;
    settle(&written, &habits(order), &london())
}

fn stamp(at: &str) -> Instant {
    Instant(
        at.parse::<chrono::DateTime<chrono::Utc>>()
            .unwrap()
            .timestamp_micros(),
    )
}

/// text, instant
const INSTANTS: &[(&str, &str)] = &[
    ("2026-10-31T08:15:00Z", "2026-10-31T08:15:00Z"),
    ("2026-10-31T08:15:00+00:00", "2026-10-31T08:15:00Z"),
    ("2026-07-01T08:15:00+01:00", "2026-07-01T07:15:00Z"),
    ("2026-07-01T08:15:00", "2026-07-01T07:15:00Z"),
    ("2026-01-15T08:15:00", "2026-01-15T08:15:00Z"),
    ("2026-01-15T08:15", "2026-01-15T08:15:00Z"),
    ("2026-01-15T08", "2026-01-15T08:00:00Z"),
    ("20260115T081500", "2026-01-15T08:15:00Z"),
    ("20260115T0815Z", "2026-01-15T08:15:00Z"),
    ("2026-01-15 08:15:00", "2026-01-15T08:15:00Z"),
    ("2026-01-15t08:15:00z", "2026-01-15T08:15:00Z"),
    ("2026-01-15T08:15:30.250Z", "2026-01-15T08:15:30.250Z"),
    ("2026-01-15T08:15:30,250Z", "2026-01-15T08:15:30.250Z"),
    ("2026-07-01T08:15:00-05:00", "2026-07-01T13:15:00Z"),
    ("2026-07-01T08:15:00+0530", "2026-07-01T02:45:00Z"),
    ("2026-07-01T08:15:00+05:30", "2026-07-01T02:45:00Z"),
    ("2026-07-01T08:15:00\u{2212}05:00", "2026-07-01T13:15:00Z"),
    ("2026-03-29T00:59:59", "2026-03-29T00:59:59Z"),
    ("2026-03-29T02:00:00", "2026-03-29T01:00:00Z"),
    ("2026-10-25T00:59:59", "2026-10-24T23:59:59Z"),
    ("2026-10-25T01:30:00+01:00", "2026-10-25T00:30:00Z"),
    ("2026-10-25T01:30:00+00:00", "2026-10-25T01:30:00Z"),
    ("2026-10-25T02:00:00", "2026-10-25T02:00:00Z"),
    ("2028-02-29T08:00:00", "2028-02-29T08:00:00Z"),
    ("2026-10-31T24:00:00", "2026-11-01T00:00:00Z"),
    ("2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z"),
    ("31-Oct-2026 08:15", "2026-10-31T08:15:00Z"),
    ("31 October 2026 8:15 pm", "2026-10-31T20:15:00Z"),
    ("31/10/2026 12:05 am", "2026-10-31T00:05:00Z"),
    ("31/10/2026 12:05 pm", "2026-10-31T12:05:00Z"),
    ("2026-10-31T8:15", "2026-10-31T08:15:00Z"),
    (
        "2026-10-31T08:15:00+00:00[Europe/London]",
        "2026-10-31T08:15:00Z",
    ),
    ("Sat 31 Oct 2026, 8.15pm", "2026-10-31T20:15:00Z"),
    ("October 31st, 2026 at 08:15", "2026-10-31T08:15:00Z"),
    ("31/10/26 08h15", "2026-10-31T08:15:00Z"),
    ("2026-10-31 08:15 UTC", "2026-10-31T08:15:00Z"),
    ("46326.34375", "2026-10-31T08:15:00Z"),
];

#[test]
fn date_times_that_read_only_one_way_need_no_settled_order() {
    for (text, expected) in INSTANTS {
        assert_eq!(
            read(text, None).map(|s| s.at),
            Ok(Some(stamp(expected))),
            "{text}"
        );
    }
}

#[test]
fn plain_dates_give_a_day_without_an_instant() {
    for (text, day) in [
        ("2026-W44-6", "2026-10-31"),
        ("2026-304", "2026-10-31"),
        ("2026-10-31", "2026-10-31"),
        ("2026-07-01", "2026-07-01"),
        ("31/10/2026", "2026-10-31"),
        ("10/31/2026", "2026-10-31"),
        ("12/12/2026", "2026-12-12"),
        ("31.10.2026", "2026-10-31"),
        ("2026/10/31", "2026-10-31"),
        ("20261031", "2026-10-31"),
        ("46326", "2026-10-31"),
        ("31 Oct 26", "2026-10-31"),
        ("1st Sept 2026", "2026-09-01"),
    ] {
        let settled = read(text, None).unwrap();
        assert_eq!(
            (settled.date.to_string().as_str(), settled.at),
            (day, None),
            "{text}"
        );
    }
}

#[test]
fn what_the_calendar_does_not_have_is_refused() {
    for text in [
        "2026-02-29T08:00:00",
        "2100-02-29",
        "2026-13-01T08:00:00",
        "2026-04-31",
        "2026-10-31T25:00:00",
        "2026-10-31T08:60:00",
        "2026-10",
        "29/02/2026",
        "yesterday",
        "2026-10-31T",
        "31/10",
        "2026-W54-1",
        "2026-366",
        "2026-10-31T08:15:00+25:00",
        "8:15",
        "2026-10-31 13:00 am",
        "12",
        "2026-10-31T08:15:00+05:00[Europe/London]",
    ] {
        assert!(read(text, Some(DateOrder::DayFirst)).is_err(), "{text}");
    }
}

#[test]
fn an_order_that_nothing_settles_is_not_guessed() {
    for text in ["03/04/2026", "03/04/26 08:15", "3.4.2026", "03-04-2026"] {
        assert_eq!(read(text, None), Err(NoDate::DayOrMonth), "{text}");
    }
    let day = |order| read("03/04/2026", Some(order)).map(|s| s.date.to_string());
    assert_eq!(day(DateOrder::DayFirst), Ok("2026-04-03".into()));
    assert_eq!(day(DateOrder::MonthFirst), Ok("2026-03-04".into()));
    let at = |order| read("03/04/26 08:15", Some(order)).map(|s| s.at);
    assert_eq!(
        at(DateOrder::DayFirst),
        Ok(Some(stamp("2026-04-03T07:15:00Z")))
    );
    assert_eq!(
        at(DateOrder::MonthFirst),
        Ok(Some(stamp("2026-03-04T08:15:00Z")))
    );
    let year = read("26/10/31", Some(DateOrder::YearFirst)).map(|s| s.date.to_string());
    assert_eq!(year, Ok("2026-10-31".into()));
}

#[test]
fn a_two_digit_year_that_lies_ahead_or_far_back_settles_the_order() {
    let day = |text| read(text, None).map(|s| s.date.to_string());
    // 26 October 2031 and 5 October 2024 apart from 24 October 2005
    assert_eq!(day("31/10/26"), Ok("2026-10-31".into()));
    assert_eq!(day("24/10/05"), Ok("2024-10-05".into()));
    assert_eq!(day("24/10/12"), Err(NoDate::DayOrMonth));
}

#[test]
fn a_date_against_the_files_order_is_refused() {
    let why = read("10/31/2026", Some(DateOrder::DayFirst)).unwrap_err();
    assert_eq!(
        why.to_string(),
        "not a date with the day first, as the file writes its dates"
    );
    assert!(read("31/10/2026", Some(DateOrder::MonthFirst)).is_err());
}

#[test]
fn an_hour_that_happens_twice_is_the_first_and_one_that_never_does_moves_on() {
    for (text, expected, change) in [
        (
            "2026-03-29T01:30:00",
            "2026-03-29T01:30:00Z",
            ClockChange::Never,
        ),
        (
            "2025-03-30T01:00:00",
            "2025-03-30T01:00:00Z",
            ClockChange::Never,
        ),
        (
            "2026-10-25T01:30:00",
            "2026-10-25T00:30:00Z",
            ClockChange::Twice,
        ),
        (
            "2025-10-26T01:00:00",
            "2025-10-26T00:00:00Z",
            ClockChange::Twice,
        ),
    ] {
        let settled = read(text, None).unwrap();
        assert_eq!(
            (settled.at, settled.clock_change),
            (Some(stamp(expected)), Some(change))
        );
    }
}

#[test]
fn the_day_is_that_of_the_fleet_not_of_the_offset() {
    let settled = read("2026-07-01T23:30:00Z", None).unwrap();
    assert_eq!(settled.date.to_string(), "2026-07-02");
}

#[test]
fn bare_numbers_are_dates_only_where_the_file_holds_them() {
    let plain = DateHabits {
        serials: false,
        ..habits(None)
    };
    assert!(day(written("46326").unwrap().date, &plain).is_err());
}

#[test]
fn midnights_stand_for_no_time_where_the_file_writes_nothing_else() {
    let none = DateHabits {
        midnight_is_none: true,
        ..habits(Some(DateOrder::DayFirst))
    };
    let at = |text: &str| {
        settle(&written(text).unwrap(), &none, &london())
            .unwrap()
            .at
    };
    assert_eq!(at("31/10/2026 00:00"), None);
    assert_eq!(at("2026-10-31 00:00:00"), None);
    assert!(at("2026-10-31T00:00:00").is_some());
    assert!(at("31/10/2026 08:00").is_some());
}

#[test]
fn noon_is_local() {
    let date = crate::calendar::date(2026, 7, 1);
    assert_eq!(noon(date, &london()), Some(stamp("2026-07-01T11:00:00Z")));
}
