//! What a careful clerk does with each fault, one function each, in the order
//! of the catalogue.

use litrewise::inside::calendar::date;
use litrewise::inside::lives::HardnessBasis;
use litrewise::inside::store::records::{
    Fill, Hardness, Item, Reading, Record, Service, Source, Van, When,
};
use litrewise::inside::water::HardnessUnit;

use super::store::{Yard, is_noted, micros, only, read, reason, refused};

const READINGS: &str = "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n";
const FILLS: &str = "van,started_at,ended_at,litres,meter_litres,reject_litres,source\n";
const SERVICES: &str = "van,done_at,item,quantity,cost,part,note\n";
const VANS: &str =
    "van,base_postcode,tank_litres,membranes,resin_litres,in_service_on,out_of_service_on,from\n";

fn reading(cells: &str) -> Reading {
    match only(&format!("{READINGS}{cells}\n")) {
        Record::Reading(reading) => reading,
        other => panic!("{other:?}"),
    }
}

fn reading_of(text: &str) -> Reading {
    match only(text) {
        Record::Reading(reading) => reading,
        other => panic!("{other:?}"),
    }
}

fn fill(cells: &str) -> Fill {
    match only(&format!("{FILLS}{cells}\n")) {
        Record::Fill(fill) => fill,
        other => panic!("{other:?}"),
    }
}

fn service(cells: &str) -> Service {
    match only(&format!("{SERVICES}{cells}\n")) {
        Record::Service(service) => service,
        other => panic!("{other:?}"),
    }
}

fn van(cells: &str) -> Van {
    match only(&format!("{VANS}{cells}\n")) {
        Record::Van(van) => van,
        other => panic!("{other:?}"),
    }
}

fn hardness(text: &str) -> Hardness {
    match only(text) {
        Record::Hardness(hardness) => hardness,
        other => panic!("{other:?}"),
    }
}

fn reading_refused(cells: &str, why: &str) {
    let said = reason(&format!("{READINGS}QV-01,2026-10-01T08:00,{cells}\n"));
    assert!(said.contains(why), "{cells}: {said}");
}

/// A van's weekly readings: feed, permeate and product of each week.
fn weekly(ppm: &[(f64, f64, f64)]) -> String {
    let mut text = READINGS.to_owned();
    for (week, (feed, permeate, product)) in ppm.iter().enumerate() {
        let day = date(2026, 5, 4) + litrewise::inside::calendar::TimeDelta::weeks(week as i64);
        text += &format!("QV-01,{day}T08:00,{feed},{permeate},{product}\n");
    }
    text
}

/// A van's daily fills by counter.
fn counters(litres: &[f64]) -> String {
    let mut text = FILLS.to_owned();
    for (n, meter) in litres.iter().enumerate() {
        let day = date(2026, 5, 4) + litrewise::inside::calendar::TimeDelta::days(n as i64);
        text += &format!("QV-01,{day}T16:00,,,{meter},,\n");
    }
    text
}

fn litres_made(yard: &Yard) -> f64 {
    yard.lives("QV-01").weeks.iter().map(|w| w.litres).sum()
}

#[test]
pub fn order_of_day_and_month_unclear() {
    let text = "van,taken_at,feed_ppm\nQV-01,03/04/2026 08:15,320\n";
    assert!(reason(text).contains("day and month cannot be told apart"));
    let file = read(format!("{text}QV-01,13/04/2026 08:15,321\n"));
    assert_eq!(file.rows.len(), 2);
    let at = |file: &litrewise::inside::store::records::FileRows| match &file.rows[0].1 {
        Record::Reading(r) => r.taken_at.0,
        other => panic!("{other:?}"),
    };
    assert_eq!(at(&file), micros("2026-04-03T07:15:00Z"));
}

#[test]
pub fn years_of_two_digits_and_day_numbers() {
    let seen = reading("QV-01,31/10/26 08:00,320,12,0");
    assert_eq!(seen.taken_at.0, micros("2026-10-31T08:00:00Z"));
    // day 1 is 1 January 1900 and 1900 has a 29 February, as spreadsheets count
    let seen = reading("QV-01,46119,320,12,0");
    assert_eq!(seen.taken_at.0, micros("2026-04-07T11:00:00Z"));
    assert!(reason(&format!("{READINGS}QV-01,31/10/27 08:00,320,12,0\n")).contains("after today"));
}

#[test]
pub fn dates_that_cannot_be() {
    for (day, why) in [
        ("2026-11-26T08:00", "after today"),
        ("1970-01-01T00:00", "before the year 2000"),
        ("1900-01-00", "calendar does not have"),
        ("1900-01-01", "before the year 2000"),
        ("2026-02-30T08:00", "calendar does not have"),
    ] {
        let said = reason(&format!("{READINGS}QV-01,{day},320,12,0\n"));
        assert!(said.contains(why), "{day}: {said}");
    }
    // what lies before the van's own time is kept, and no life begins with it
    let yard = Yard::of(&[
        &format!("{VANS}QV-01,QA3,400,1,11,2026-01-01,,\n"),
        &format!("{READINGS}QV-01,2024-05-01T08:00,320,12,0\nQV-01,2026-05-01T08:00,320,12,0\n"),
    ]);
    assert_eq!(yard.history("QV-01").readings.len(), 2);
}

#[test]
pub fn time_of_day_missing() {
    let file = read(format!("{READINGS}QV-01,2026-07-01,320,12,0\n"));
    assert!(is_noted(&file, "local noon"));
    let seen = reading("QV-01,2026-07-01,320,12,0");
    assert_eq!(seen.taken_at.0, micros("2026-07-01T11:00:00Z"));
    assert_eq!(seen.day_position, Some(0));
    let done = service("QV-01,2026-07-01,resin,11,66,,");
    assert_eq!(done.done_at, When::Day(date(2026, 7, 1)));
}

#[test]
pub fn hours_that_happen_twice_or_never() {
    let twice = format!("{READINGS}QV-01,2026-10-25T01:30,320,12,0\n");
    assert!(is_noted(&read(&twice), "first occurrence"));
    assert_eq!(
        reading_of(&twice).taken_at.0,
        micros("2026-10-25T00:30:00Z")
    );
    let second = reading("QV-01,2026-10-25T01:30+00:00,320,12,0");
    assert_eq!(second.taken_at.0, micros("2026-10-25T01:30:00Z"));
    let never = format!("{READINGS}QV-01,2026-03-29T01:30,320,12,0\n");
    assert!(is_noted(&read(&never), "skips"));
}

#[test]
pub fn decimal_commas_and_thousands() {
    let comma = reading_of("van;taken_at;feed_ppm\nQV-01;2026-10-01T08:00;3,5\n");
    assert_eq!(comma.feed_ppm, Some(3.5));
    let file = read(
        "van;started_at;meter_litres\nQV-01;2026-10-01T08:00;61.200\nQV-01;2026-10-02T08:00;61.510,5\n",
    );
    assert_eq!(file.rows.len(), 2);
    assert!(matches!(&file.rows[0].1, Record::Fill(f) if f.meter_litres == Some(61_200.0)));
    let both = reason("van;taken_at;feed_ppm\nQV-01;2026-10-01T08:00;1,200\n");
    assert!(both.contains("may be 1200 or 1.2"), "{both}");
    // nobody fills a tank with 1.2 L
    let file = read("van;started_at;litres\nQV-01;2026-10-01T08:00;1,200\n");
    assert!(matches!(&file.rows[0].1, Record::Fill(f) if f.litres == Some(1200.0)));
}

#[test]
pub fn units_in_cells() {
    let file = read(format!(
        "{READINGS}QV-01,2026-10-01T08:00,0.4mS,12ppm,3 µS/cm\n"
    ));
    assert!(is_noted(&file, "mS/cm") && is_noted(&file, "µS/cm"));
    let seen = reading("QV-01,2026-10-01T08:00,0.4mS,12ppm,3 µS/cm");
    assert_eq!(
        (seen.feed_ppm, seen.permeate_ppm, seen.product_ppm),
        (Some(200.0), Some(12.0), Some(1.5))
    );
    let seen = reading("QV-01,2026-10-01T08:00,350 µS/cm,12,0");
    assert_eq!(seen.feed_ppm, Some(175.0));
    assert_eq!(
        fill("QV-01,2026-10-01T16:00,,300ltr,,,").litres,
        Some(300.0)
    );
}

#[test]
pub fn bytes_of_other_programs() {
    for header in ["feed (Âµs/cm)", "feed (?S/cm)", "feed (µS/cm)"] {
        let seen = reading_of(&format!(
            "van,taken_at,{header}\nQV-01,2026-10-01T08:00,640\n"
        ));
        assert_eq!(seen.feed_ppm, Some(320.0), "{header}");
    }
    let marked = "\u{feff}van;taken_at;feed_ppm\r\nQV-01;2026-10-01T08:00;320\nQV-02;2026-10-01T08:00;3\08\r";
    let file = read(marked);
    assert_eq!((file.rows.len(), file.set_aside.len()), (2, 0));
    assert!(matches!(&file.rows[1].1, Record::Reading(r) if r.feed_ppm == Some(38.0)));
    let tabs = reading_of("van\ttaken_at\tfeed_ppm\nQV-01\t2026-10-01T08:00\t320\n");
    assert_eq!(tabs.feed_ppm, Some(320.0));
}

#[test]
pub fn conductivity_in_a_ppm_column() {
    // the header says so
    let seen = reading_of("van,taken_at,feed uS\nQV-01,2026-10-01T08:00,640\n");
    assert_eq!(seen.feed_ppm, Some(320.0));
    // nothing says so, but all three are twice the van's usual
    let mut ppm = vec![(320.0, 12.0, 4.0); 8];
    for (week, ppm) in ppm.iter_mut().enumerate() {
        ppm.0 += week as f64;
    }
    ppm[5] = (652.0, 24.0, 8.0);
    let yard = Yard::of(&[&weekly(&ppm)]);
    assert_eq!(yard.history("QV-01").readings.len(), 8);
    assert!(yard.is_remarked("QV-01", "looks like conductivity"));
    let used = yard.lives("QV-01").elements[0].points.len();
    assert_eq!(used, 7);
}

#[test]
pub fn a_meter_on_another_scale() {
    // 1.4 times everything: kept as read, never divided
    let mut ppm = vec![(320.0, 12.0, 4.0); 8];
    for (week, ppm) in ppm.iter_mut().enumerate() {
        ppm.0 += week as f64;
    }
    ppm[5] = (455.0, 17.0, 6.0);
    let yard = Yard::of(&[&weekly(&ppm)]);
    assert_eq!(yard.history("QV-01").readings[5].feed_ppm, Some(455.0));
    assert_eq!(yard.lives("QV-01").elements[0].points.len(), 8);
    assert!(yard.is_remarked("QV-01", "another scale"));
}

#[test]
pub fn feed_and_permeate_swapped() {
    let ppm = [
        (320.0, 12.0, 0.0),
        (322.0, 12.0, 0.0),
        (12.0, 321.0, 0.0),
        (323.0, 12.0, 0.0),
        (30.0, 60.0, 0.0),
    ];
    let yard = Yard::of(&[&weekly(&ppm)]);
    assert!(yard.is_remarked("QV-01", "swapped back"));
    assert!(yard.is_remarked("QV-01", "not below tap TDS"));
    assert_eq!(yard.lives("QV-01").elements[0].points.len(), 4);
}

#[test]
pub fn permeate_slightly_above_the_feed() {
    let seen = reading("QV-01,2026-10-01T08:00,20,21,0");
    assert_eq!((seen.feed_ppm, seen.permeate_ppm), (Some(20.0), Some(21.0)));
}

#[test]
pub fn product_above_the_permeate() {
    let seen = reading("QV-01,2026-10-01T08:00,320,6,8");
    assert_eq!(
        (seen.permeate_ppm, seen.product_ppm),
        (Some(6.0), Some(8.0))
    );
}

#[test]
pub fn a_meter_off_or_over_its_range() {
    for (cells, why) in [
        ("0,12,0", "off, dry or disconnected"),
        ("0,0,0", "off, dry or disconnected"),
        ("OL,,", "no figure that a meter could read"),
    ] {
        reading_refused(cells, why);
    }
    // what one meter did not show costs its own cell
    for blind in ["999", "9999", "OL", "Err", "---", ">999", "#N/A"] {
        let seen = reading(&format!("QV-01,2026-10-01T08:00,{blind},12,0"));
        assert_eq!(
            (seen.feed_ppm, seen.permeate_ppm),
            (None, Some(12.0)),
            "{blind}"
        );
    }
}

#[test]
pub fn no_value_and_ditto_marks() {
    for blank in ["", "n/a", "-", "?", "nil"] {
        let seen = reading(&format!("QV-01,2026-10-01T08:00,{blank},12,0"));
        assert_eq!(
            (seen.feed_ppm, seen.permeate_ppm),
            (None, Some(12.0)),
            "{blank}"
        );
    }
    for ditto in ["same", "\"\"\"\"", "ditto", "〃"] {
        reading_refused(&format!("{ditto},12,0"), "ditto");
    }
    reading_refused("n/a,-,?", "no meter was read");
}

#[test]
pub fn bounds_ranges_and_dates_that_were_ranges() {
    let text = format!("{READINGS}QV-01,2026-10-01T08:00,~320,5-6,<1\n");
    let seen = reading_of(&text);
    assert_eq!(
        (seen.feed_ppm, seen.permeate_ppm, seen.product_ppm),
        (Some(320.0), Some(5.5), Some(0.5))
    );
    assert_eq!(read(&text).notes.len(), 3);
    reading_refused(">500,,", "no figure that a meter could read");
    reading_refused("320,05-Jun,0", "a date, not a number");
}

#[test]
pub fn a_missing_or_extra_zero() {
    reading_refused("3200,12,0", "more than any drinking water");
    // ten times too small is a number like others: kept as read, never multiplied
    assert_eq!(
        reading("QV-01,2026-10-01T08:00,32,1,0").feed_ppm,
        Some(32.0)
    );
    // beside the van's own past it is left out, until somebody corrects the row
    let mut ppm = vec![(320.0, 12.0, 0.0); 8];
    for (week, ppm) in ppm.iter_mut().enumerate() {
        ppm.0 += week as f64;
    }
    ppm[5].0 = 32.0;
    let yard = Yard::of(&[&weekly(&ppm)]);
    assert_eq!(yard.lives("QV-01").elements[0].points.len(), 7);
    assert!(yard.is_remarked("QV-01", "ten times"));
}

#[test]
pub fn spellings_of_a_van() {
    let list =
        format!("{VANS}QV-014,QA3,400,1,11,,,\nQX 7,QA3,400,1,11,,,\nQX-7,QA3,400,1,11,,,\n");
    let mut yard = Yard::of(&[&list]);
    let mut rows = READINGS.to_owned();
    for (day, name) in ["qv014", "QV 014", "QV-014 ", "Qv-O14"].iter().enumerate() {
        rows += &format!("{name},2026-10-0{}T08:00,320,12,0\n", day + 1);
    }
    assert_eq!(yard.take_in(rows).counts.stored, 4);
    assert_eq!(yard.history("QV-014").readings.len(), 4);
    let folded = read(format!("{READINGS}Qv-O14,2026-10-01T08:00,320,12,0\n"));
    assert!(is_noted(&folded, "letter O beside a digit"));
    let two = yard.take_in(format!("{READINGS}qx7,2026-10-01T08:00,320,12,0\n"));
    assert_eq!(two.counts.set_aside, 1);
    assert!(yard.reasons()[0].contains("fits more than one van"));
}

#[test]
pub fn a_van_not_on_the_list() {
    let mut yard = Yard::of(&[&format!("{VANS}QV-01,QA3,400,1,11,,,\n")]);
    let outcome = yard.take_in(format!("{READINGS}QV-99,2026-10-01T08:00,320,12,0\n"));
    assert_eq!(outcome.counts.set_aside, 1);
    assert!(yard.reasons()[0].contains("not in the van list"));
    // kept for later: once the list names it, the row is in
    yard.take_in(format!("{VANS}QV-99,QA3,400,1,11,,,\n"));
    assert_eq!(yard.history("QV-99").readings.len(), 1);
    assert_eq!(yard.counts().set_aside, 0);
}

#[test]
pub fn a_renamed_van() {
    // nothing but the list makes one van of two names
    let rows =
        format!("{READINGS}QV-01,2026-10-01T08:00,320,12,0\nQW-77,2026-10-08T08:00,320,12,0\n");
    let yard = Yard::of(&[&rows]);
    assert_eq!(yard.fleet().histories.len(), 2);
    let yard = Yard::of(&[&format!("{VANS}QV-01,QA3,400,1,11,,,\n"), &rows]);
    assert_eq!((yard.counts().stored, yard.counts().set_aside), (2, 1));
}

#[test]
pub fn a_row_or_a_file_sent_again() {
    let row = "QV-01,2026-10-01T08:00,320,12,0\n";
    let mut yard = Yard::new();
    let outcome = yard.take_in(format!("{READINGS}{row}{row}"));
    assert_eq!(
        (outcome.counts.stored, outcome.counts.already_stored),
        (1, 1)
    );
    let again = yard.take_in(format!("{READINGS}{row}{row}"));
    assert_eq!((again.counts.stored, again.counts.already_stored), (0, 2));
}

#[test]
pub fn a_corrected_row() {
    let mut yard = Yard::of(&[&format!(
        "{READINGS}QV-01,2026-10-01T08:00,3200,12,0\nQV-02,2026-10-01T08:00,32,12,0\n"
    )]);
    let outcome = yard.take_in(format!(
        "{READINGS}QV-02,2026-10-01T08:00,320,12,0\nQV-02,2026-10-01T08:00,321,12,0\n"
    ));
    assert_eq!((outcome.replaced, outcome.new), (2, 0));
    // the newer wins, within one file the lower one
    assert_eq!(yard.history("QV-02").readings[0].feed_ppm, Some(321.0));
    // the old one stays in the history: sent again, it is known and does not win
    let old = yard.take_in(format!("{READINGS}QV-02,2026-10-01T08:00,32,12,0\n"));
    assert_eq!(old.counts.already_stored, 1);
    assert_eq!(yard.history("QV-02").readings[0].feed_ppm, Some(321.0));
}

#[test]
pub fn nearly_the_same_row_from_two_exports() {
    let yard = Yard::of(&[
        &format!("{READINGS}QV-01,2026-10-01T08:00,320,12,0\n"),
        &format!("{READINGS}QV-01,2026-10-01T08:01,320,12,0\n"),
    ]);
    assert_eq!(yard.history("QV-01").readings.len(), 2);
    assert_eq!(yard.lives("QV-01").elements[0].points.len(), 1);
}

#[test]
pub fn lines_that_are_no_rows_and_rows_that_are_ragged() {
    let file = read(
        "van,done_at,item,quantity,note\nQV-01,2026-10-01,resin,11,old one leaked, at 10 ppm\n\n,,,,\nvan,done_at,item,quantity,note\nTotal,,,11,\nprinted by hand\nQV-02,2026-10-02,resin,11,ok\n",
    );
    assert_eq!(file.rows.len(), 2);
    let why: Vec<&str> = file.set_aside.iter().map(|r| &*r.reason).collect();
    assert_eq!(why.len(), 3);
    assert!(
        why[0].contains("header once more") && why[1].contains("total"),
        "{why:?}"
    );
    assert!(
        matches!(&file.rows[0].1, Record::Service(s) if s.note.as_deref() == Some("old one leaked, at 10 ppm"))
    );
    // two alignments fit: neither is chosen
    assert!(reason(&format!("{READINGS}QV-01,2026-10-01T08:00,320,12,5,1\n")).contains("6 cells"));
}

#[test]
pub fn no_litres_or_less() {
    for (litres, why) in [("0", "no water"), ("-300", "negative")] {
        let said = reason(&format!("{FILLS}QV-01,2026-10-01T16:00,,{litres},,,\n"));
        assert!(said.contains(why), "{said}");
    }
}

#[test]
pub fn more_than_the_tank() {
    assert!(reason(&format!("{FILLS}QV-01,2026-10-01T16:00,,0.45,,,\n")).contains("cubic metres"));
    let mut fills = FILLS.to_owned();
    for day in 1..=9 {
        fills += &format!("QV-01,2026-10-0{day}T16:00,,300,,,\n");
    }
    // 4.546 times 300 on an ordinary day, and three fills written as one after a long week
    fills += "QV-01,2026-10-10T16:00,,1364,,,\nQV-01,2026-10-19T16:00,,900,,,\n";
    let yard = Yard::of(&[&format!("{VANS}QV-01,QA3,400,1,11,,,\n"), &fills]);
    assert_eq!(yard.history("QV-01").fills.len(), 11);
    assert!(yard.is_remarked("QV-01", "than the tank holds"));
    assert!(
        (litres_made(&yard) - (9.0 * 300.0 + 300.0 + 900.0)).abs() < 1e-6,
        "{}",
        litres_made(&yard)
    );
}

#[test]
pub fn a_counter_that_rolls_over() {
    let yard = Yard::of(&[&counters(&[9_300.0, 9_600.0, 9_870.0, 140.0, 420.0])]);
    // the first fill has nothing to count from: the median fill stands in
    assert!((litres_made(&yard) - (280.0 + 300.0 + 270.0 + 270.0 + 280.0)).abs() < 1e-6);
}

#[test]
pub fn a_counter_that_was_replaced() {
    let yard = Yard::of(&[&counters(&[
        45_000.0, 45_300.0, 45_600.0, 200.0, 500.0, 800.0,
    ])]);
    assert!((litres_made(&yard) - 1_800.0).abs() < 1e-6);
    assert!(yard.is_remarked("QV-01", "replaced"));
}

#[test]
pub fn a_counter_read_a_little_back() {
    let yard = Yard::of(&[&counters(&[10_000.0, 10_300.0, 10_250.0, 10_900.0])]);
    // the baseline stays: 900 L between the first reading and the last, and the
    // first fill, which has nothing to count from, as the median of the steps
    assert!((litres_made(&yard) - (900.0 + 475.0)).abs() < 1e-6);
    assert!(yard.is_remarked("QV-01", "misread"));
}

#[test]
pub fn a_counter_that_stood_still() {
    let yard = Yard::of(&[&counters(&[1_000.0, 1_300.0, 1_300.0, 1_600.0])]);
    assert!((litres_made(&yard) - 900.0).abs() < 1e-6);
    assert!(yard.is_remarked("QV-01", "did not move"));
}

#[test]
pub fn litres_and_counter_that_disagree() {
    let yard = Yard::of(&[&format!(
        "{FILLS}QV-01,2026-10-01T16:00,,300,1000,,\nQV-01,2026-10-02T16:00,,300,1400,,\n"
    )]);
    assert!((litres_made(&yard) - 600.0).abs() < 1e-6);
    assert!(yard.is_remarked("QV-01", "differ by more than 10 %"));
}

#[test]
pub fn an_end_before_its_start() {
    let night = fill("QV-01,2026-10-01T22:30,01:10,310,,,");
    assert_eq!(night.ended_at.unwrap().0, micros("2026-10-02T00:10:00Z"));
    for end in ["2026-10-01T10:00", "2026-10-03T10:00"] {
        let seen = fill(&format!("QV-01,2026-10-01T22:30,{end},310,,,"));
        assert_eq!((seen.ended_at, seen.litres), (None, Some(310.0)), "{end}");
    }
}

#[test]
pub fn words_for_the_source() {
    for (word, source) in [
        ("pure", Source::BoughtIn),
        ("bought", Source::BoughtIn),
        ("shop", Source::BoughtIn),
        ("tap", Source::Mains),
        ("", Source::Mains),
    ] {
        assert_eq!(
            fill(&format!("QV-01,2026-10-01T16:00,,310,,,{word}")).source,
            source
        );
    }
    assert!(
        reason(&format!("{FILLS}QV-01,2026-10-01T16:00,,310,,,depot\n"))
            .contains("may be the van's own")
    );
}

#[test]
pub fn waste_that_cannot_be() {
    for waste in ["6300", "310"] {
        let text = format!("{FILLS}QV-01,2026-10-01T16:00,,310,,{waste},\n");
        let seen = fill(&format!("QV-01,2026-10-01T16:00,,310,,{waste},"));
        assert_eq!(
            (seen.reject_litres, seen.litres),
            (None, Some(310.0)),
            "{waste}"
        );
        assert!(is_noted(&read(text), "left out"));
    }
    assert_eq!(
        fill("QV-01,2026-10-01T16:00,,310,,620,").reject_litres,
        Some(620.0)
    );
}

#[test]
pub fn temperatures_that_cannot_be() {
    for cell in ["50", "0", "99", "-1"] {
        let seen = reading_of(&format!(
            "van,taken_at,feed_ppm,water_c\nQV-01,2026-10-01T08:00,320,{cell}\n"
        ));
        assert_eq!((seen.water_c, seen.feed_ppm), (None, Some(320.0)), "{cell}");
    }
    let seen = reading_of("van,taken_at,feed_ppm,Temp °F\nQV-01,2026-10-01T08:00,320,50\n");
    assert!((seen.water_c.unwrap() - 10.0).abs() < 1e-9);
}

#[test]
pub fn pressures_in_other_units() {
    for cell in ["45", "310"] {
        let seen = reading_of(&format!(
            "van,taken_at,feed_ppm,feed_bar\nQV-01,2026-10-01T08:00,320,{cell}\n"
        ));
        assert_eq!(
            (seen.feed_bar, seen.feed_ppm),
            (None, Some(320.0)),
            "{cell}"
        );
    }
    let seen = reading_of("van,taken_at,feed_ppm,Pressure (psi)\nQV-01,2026-10-01T08:00,320,45\n");
    // 1 psi = 6894.757 Pa (NIST SP 811)
    assert!((seen.feed_bar.unwrap() - 3.102_641).abs() < 1e-5);
    let seen = reading_of("van,taken_at,feed_ppm,kPa\nQV-01,2026-10-01T08:00,320,310\n");
    assert!((seen.feed_bar.unwrap() - 3.1).abs() < 1e-9);
}

#[test]
pub fn postcodes_as_people_write_them() {
    for (cell, code) in [
        ("qa34xy", Some("QA3 4XY")),
        ("QA3 OXY", Some("QA3 0XY")),
        ("\"12 Chalk Lane, QA3 4XY\"", Some("QA3 4XY")),
        ("Quarrytown", None),
    ] {
        let seen = reading_of(&format!(
            "van,taken_at,feed_ppm,postcode\nQV-01,2026-10-01T08:00,320,{cell}\n"
        ));
        assert_eq!(seen.postcode.as_deref(), code, "{cell}");
    }
}

#[test]
pub fn a_postcode_without_a_published_hardness() {
    let mut rows = "van,taken_at,postcode,feed_ppm\n".to_owned();
    for day in 1..=9 {
        rows += &format!("QV-01,2026-10-0{day}T08:00,QZ9 1XX,300\n");
    }
    let yard = Yard::of(&["postcode,hardness\nQA3,285\n", &rows]);
    assert_eq!(yard.history("QV-01").readings.len(), 9);
    let basis = yard.lives("QV-01").hardness.map(|h| h.basis);
    assert_eq!(basis, Some(HardnessBasis::Estimated));
}

#[test]
pub fn words_for_the_work() {
    for (word, item) in [
        ("RO", Item::Membrane),
        ("DI", Item::Resin),
        ("carbon", Item::Prefilter),
        ("filters", Item::Prefilter),
    ] {
        assert_eq!(service(&format!("QV-01,2026-10-01,{word},,,,")).item, item);
    }
    for word in ["both", "filters+resin"] {
        let file = read(format!("{SERVICES}QV-01,2026-10-01,{word},,,,\n"));
        assert_eq!(file.rows.len(), 2, "{word}");
        assert!(is_noted(&file, "several items"));
    }
    assert!(reason(&format!("{SERVICES}QV-01,2026-10-01,service,,,,\n")).contains("not one of"));
}

#[test]
pub fn services_written_down_later() {
    // a Sunday, and the first of a month
    for day in ["2026-03-01", "2026-11-01"] {
        let done = service(&format!("QV-01,{day},resin,11,66,,from invoice"));
        assert!(matches!(done.done_at, When::Day(_)));
        assert_eq!(done.note.as_deref(), Some("from invoice"));
    }
}

#[test]
pub fn resin_by_weight_or_by_the_bag() {
    let file = read(format!("{SERVICES}QV-01,2026-10-01,resin,7.35 kg,,,\n"));
    assert!(is_noted(&file, "0.735 kg/L"));
    let kilos = service("QV-01,2026-10-01,resin,7.35 kg,,,")
        .quantity
        .unwrap();
    assert!((kilos - 10.0).abs() < 1e-9);
    assert_eq!(service("QV-01,2026-10-01,resin,1 bag,,,").quantity, None);
}

#[test]
pub fn money_as_people_write_it() {
    for (cell, cost) in [
        ("£180.00", 180.0),
        ("\"£1,180.50\"", 1180.5),
        ("-12.50", -12.5),
        ("(12.50)", -12.5),
    ] {
        assert_eq!(
            service(&format!("QV-01,2026-10-01,resin,,{cell},,")).cost,
            Some(cost)
        );
    }
}

#[test]
pub fn hardness_as_suppliers_write_it() {
    let range = hardness("postcode,hardness\nQA3,285–310\n");
    assert!((range.hardness - 297.5).abs() < 1e-9);
    let below = hardness("postcode,hardness,unit\nQA3,<50,mg_l_caco3\n");
    assert!((below.hardness - 25.0).abs() < 1e-9);
    assert!(reason("postcode,hardness\nQA3,hard\n").contains("a class"));
    assert!(reason("postcode,hardness\nQA3,16.2\n").contains("without a unit"));
    let clark = hardness("postcode,hardness,unit\nQA3,16.2,clark\n");
    assert_eq!(clark.unit, HardnessUnit::Clark);
}

#[test]
pub fn two_figures_for_one_postcode() {
    let header = "postcode,hardness,unit,source,as_of\n";
    let yard = Yard::of(&[
        &format!("{header}QA3,280,,,2024-01-01\nQA3,290,,,2026-01-01\nQA3,300,,,2026-01-01\n"),
        &format!("{VANS}QV-01,QA3,400,1,11,,,\n"),
        &format!("{READINGS}QV-01,2026-10-01T08:00,320,12,0\n"),
    ]);
    // of one day the lower one is the correction; of several days the newest holds
    assert_eq!(yard.fleet().hardness.len(), 2);
    assert!((yard.lives("QV-01").hardness.unwrap().mg_l_caco3 - 300.0).abs() < 1e-9);
    assert_eq!(yard.counts().stored, 5);
}

#[test]
pub fn rows_outside_a_vans_service() {
    let listed = van("QV-01,QA3,400,1,11,2026-06-01,2026-09-01,");
    assert_eq!(listed.in_service_on, Some(date(2026, 6, 1)));
    let yard = Yard::of(&[
        &format!("{VANS}QV-01,QA3,400,1,11,2026-06-01,2026-09-01,\n"),
        &format!("{READINGS}QV-01,2026-05-01T08:00,320,12,0\nQV-01,2026-10-01T08:00,320,12,0\n"),
    ]);
    assert_eq!(yard.history("QV-01").readings.len(), 2);
    assert!(yard.is_remarked("QV-01", "after the van went out of service"));
}

#[test]
pub fn test_rows() {
    for name in ["test", "XX"] {
        assert!(
            reason(&format!("{READINGS}{name},2026-10-01T08:00,320,12,0\n")).contains("test row")
        );
    }
    reading_refused("123,12,1", "test row");
}

#[test]
pub fn a_logger_every_ten_seconds() {
    // creep after standstill: the first minute of the run reads high
    let mut text = READINGS.to_owned();
    for tick in 0..60 {
        let creep = if tick < 6 { 40.0 } else { 12.0 };
        text += &format!(
            "QV-01,2026-10-01T08:{:02}:{:02},320,{creep},0\n",
            tick / 6,
            tick % 6 * 10
        );
    }
    let yard = Yard::of(&[&text]);
    assert_eq!(yard.history("QV-01").readings.len(), 60);
    let lives = yard.lives("QV-01");
    let points = &lives.elements[0].points;
    assert_eq!(points.len(), 1);
    assert!((points[0].permeate_ppm - 12.0).abs() < 1e-9);
}

#[test]
pub fn figures_copied_down() {
    let mut ppm = vec![(320.0, 12.0, 1.0); 6];
    ppm.push((324.0, 13.0, 1.0));
    let yard = Yard::of(&[&weekly(&ppm)]);
    assert_eq!(yard.history("QV-01").readings.len(), 7);
    assert!(yard.is_remarked("QV-01", "look copied"));
    assert_eq!(yard.lives("QV-01").elements[0].points.len(), 2);
}

#[test]
pub fn cells_like_formulas() {
    reading_refused("=SUM(A1),12,0", "formula");
    reading_refused("#REF!,,", "no figure that a meter could read");
    assert_eq!(
        reading("QV-01,2026-10-01T08:00,1.2E+02,12,0").feed_ppm,
        Some(120.0)
    );
}

#[test]
pub fn files_that_are_no_tables() {
    for (bytes, why) in [
        (&b""[..], "empty"),
        (b" \r\n\r\n", "empty"),
        (b"PK\x03\x04\x14\0\0\0", "zip archive"),
        (b"PK\x03\x04....Index/Document.iwa", "another program"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\0EncryptedPackage",
            "an old or a locked workbook",
        ),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        (b"%PDF-1.7", "a PDF"),
        (
            b"\x85\x01\x0c\x03\0\x9a\x02\x7f\x04\x10\x88\x13\x05\0\x1b\xfe",
            "binary",
        ),
        (b"<html><table>", "web page"),
    ] {
        let said = refused(bytes);
        assert!(said.contains(why), "{why}: {said}");
    }
}
