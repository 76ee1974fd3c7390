//! Whole files, as a fleet's people send them.
#![allow(clippy::unwrap_used, clippy::panic)]

use std::path::Path;

use crate::calendar::{TimeZone, date};

use super::*;
use crate::store::records::{
    FileRows, Fill, Hardness, Item, Reading, Record, Service, Source, Van, When,
};
use crate::water::HardnessUnit;

fn options() -> Options {
    Options::new(TimeZone::LONDON, date(2026, 11, 25))
}

fn read(text: &str) -> FileRows {
    read_bytes(text.as_bytes(), "yard.csv", &options()).unwrap()
}

fn error(text: &str) -> String {
    read_bytes(text.as_bytes(), "yard.csv", &options())
        .unwrap_err()
        .to_string()
}

macro_rules! records {
    ($name:ident, $variant:ident) => {
        fn $name(file: &FileRows) -> Vec<&$variant> {
            let only = |row: &'_ (u64, Record, Box<str>)| matches!(row.1, Record::$variant(_));
            assert!(file.rows.iter().all(only), "{:?}", file.rows);
            let records = file.rows.iter().filter_map(|(_, record, _)| match record {
                Record::$variant(found) => Some(found),
                _ => None,
            });
            records.collect()
        }
    };
}

records!(readings, Reading);
records!(fills, Fill);
records!(services, Service);
records!(vans, Van);
records!(hardness, Hardness);

fn reasons(file: &FileRows) -> Vec<(u64, &str)> {
    file.set_aside
        .iter()
        .map(|row| (row.line.unwrap(), row.reason.as_str()))
        .collect()
}

/// The reason of the one row set aside.
fn reason(text: &str) -> String {
    let file = read(text);
    assert_eq!(file.set_aside.len(), 1, "{file:?}");
    assert!(file.rows.is_empty(), "{file:?}");
    file.set_aside.first().unwrap().reason.clone()
}

fn has_note(file: &FileRows, part: &str) -> bool {
    file.notes.iter().any(|note| note.text.contains(part))
}

fn micros(at: &str) -> i64 {
    at.parse::<chrono::DateTime<chrono::Utc>>()
        .unwrap()
        .timestamp_micros()
}

const READINGS: &str = "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n";
const FILLS: &str = "van,started_at,ended_at,litres,meter_litres,reject_litres,source\n";
const SERVICES: &str = "van,done_at,item,quantity,cost,part,note\n";

mod accounting {
    use super::*;

    #[test]
    fn every_row_below_the_header_is_accepted_or_set_aside() {
        let file = read(
            "Yard readings October\n\nvan;taken_at;feed_ppm;permeate_ppm\n\
             QV-01;2026-10-01T08:00;320;12,5\n\n;;;\nQV-02;2026-10-01T08:10;x;12\n\
             van;taken_at;feed_ppm;permeate_ppm\nTotal;;640;24\nfooter\n",
        );
        assert_eq!(file.rows.len(), 1);
        let lines: Vec<u64> = reasons(&file).iter().map(|r| r.0).collect();
        assert_eq!(lines, [7, 8, 9, 10]);
        assert_eq!(
            file.recognised,
            "readings: semicolon, decimal comma, year-month-day dates, 5 rows"
        );
    }

    #[test]
    fn a_row_carries_its_line_and_its_text() {
        let file = read(
            "van,taken_at,feed_ppm,note\nQV-01,2026-10-01T08:00,\"320\",\"two\nlines\"\nQV-01,2026-10-02T08:00,321,\n",
        );
        let seen: Vec<(u64, &str)> = file.rows.iter().map(|r| (r.0, &*r.2)).collect();
        assert_eq!(
            seen,
            [
                (2, "QV-01,2026-10-01T08:00,\"320\",\"two\nlines\""),
                (4, "QV-01,2026-10-02T08:00,321,"),
            ]
        );
    }

    #[test]
    fn a_row_set_aside_keeps_file_line_reason_and_text() {
        let file =
            read("van,taken_at,feed_ppm,permeate_ppm\nQV-01,2026-10-01T08:00,\"1,2O4\",12\n");
        let row = file.set_aside.first().unwrap();
        assert_eq!(row.file, "yard.csv");
        assert_eq!(row.line, Some(2));
        assert_eq!(
            row.reason,
            "feed_ppm is \"1,2O4\", not a number (letter O?)"
        );
        assert_eq!(row.text, "QV-01,2026-10-01T08:00,\"1,2O4\",12");
    }

    #[test]
    fn a_reason_names_the_rows_own_header() {
        let why = reason("Reg,Date,TDS in,RO\nQV-01,2026-10-01T08:00,abc,12\n");
        assert_eq!(why, "feed_ppm (column \"TDS in\") is \"abc\", not a number");
    }

    #[test]
    fn rows_set_aside_are_counted_by_what_is_wrong_with_them() {
        let text = format!(
            "{READINGS}QV-01,2026-10-01T08:00,32O,12,0\nQV-01,31/02/2026,320,12,0\n\
             QV-01,soon,320,12,0\n,2026-10-01T08:00,320,12,0\nQV-01,2026-10-01T08:00,9000,12,0\n\
             QV-01,2026-10-01T08:00,3 bar,12,0\nQV-01,2026-10-01T08:00,320,12\nTotal,,,,\n\
             QV-01,2026-10-02T08:00,320,12,0\n"
        );
        let reader = FileReader::of_bytes(text.as_bytes(), "yard.csv", &options()).unwrap();
        let tail = reader.read(|_| Ok::<(), ReadError>(())).unwrap();
        assert_eq!(
            tail.refused,
            [
                ("something missing", 1),
                ("the date", 2),
                ("a figure that is no number", 1),
                ("a figure that cannot be", 1),
                ("a unit", 1),
                ("cells out of place", 1),
                ("no rows of their own", 1),
            ]
        );
    }

    #[test]
    fn duplicates_are_handed_over_in_order() {
        let row = "QV-01,2026-10-01T08:00,320,12,0\n";
        let file = read(&format!("{READINGS}{row}{row}"));
        assert_eq!(file.rows.len(), 2);
    }

    #[test]
    fn a_file_with_a_header_alone_holds_no_rows() {
        let file = read(READINGS);
        assert_eq!((file.rows.len(), file.set_aside.len()), (0, 0));
        assert_eq!(file.recognised, "readings: comma, 0 rows");
    }

    #[test]
    fn the_hash_is_that_of_the_bytes() {
        // FIPS 180-4 SHA-256, computed with coreutils sha256sum
        let file = read("van,taken_at,feed_ppm\n");
        assert_eq!(file.sha256.len(), 64);
        assert_eq!(file.bytes, 22);
    }
}

mod dialects {
    use super::*;

    #[test]
    fn delimiter_decimal_mark_and_date_order_are_recognised_and_said() {
        let file = read(
            "Van;Datum;Date;TDS in;Membrane;DI\nQV-01;x;03/10/2026 08:15;320,5;12;0\nQV-01;x;31/10/2026 08:15;318;12;1\n",
        );
        assert_eq!(
            file.recognised,
            "readings: semicolon, decimal comma, day first, 2 rows"
        );
        let seen = readings(&file);
        assert_eq!(
            seen.first().unwrap().taken_at.0,
            micros("2026-10-03T07:15:00Z")
        );
        assert_eq!(seen.first().unwrap().feed_ppm, Some(320.5));
        assert!(has_note(&file, "\"Datum\" kept out"));
    }

    #[test]
    fn tabs_and_bars_separate_too() {
        for delimiter in ["\t", "|"] {
            let text =
                "van;taken_at;feed_ppm\nQV-01;2026-10-01T08:00;320\n".replace(';', delimiter);
            assert_eq!(read(&text).rows.len(), 1);
        }
        let file = read("sep=;\nvan;taken_at;feed_ppm\nQV-01;2026-10-01T08:00;320\n");
        assert_eq!(file.rows.first().unwrap().0, 3);
    }

    #[test]
    fn encodings_are_said_where_they_are_not_utf_8() {
        let text = "van;taken_at;feed (µS/cm)\r\nQV-01;2026-10-01T08:00;640\r\n";
        let latin: Vec<u8> = text
            .chars()
            .map(|c| if c == 'µ' { 0xb5 } else { c as u8 })
            .collect();
        let file = read_bytes(&latin, "yard.csv", &options()).unwrap();
        assert!(
            file.recognised.contains("Windows-1252"),
            "{}",
            file.recognised
        );
        assert_eq!(readings(&file).first().unwrap().feed_ppm, Some(320.0));
        let wide: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        let file = read_bytes(&wide, "yard.csv", &options()).unwrap();
        assert!(file.recognised.contains("UTF-16LE"));
        assert_eq!(readings(&file).first().unwrap().feed_ppm, Some(320.0));
    }

    #[test]
    fn a_file_that_settles_nothing_sets_its_ambiguous_rows_aside() {
        let text = "van,taken_at,feed_ppm\nQV-01,03/04/2026 08:15,320\nQV-01,05/04/2026 08:15,321\nQV-01,07/07/2026 08:15,321\n";
        let file = read(text);
        assert_eq!(
            file.rows.len(),
            1,
            "the seventh of July reads the same either way"
        );
        for (_, why) in reasons(&file) {
            assert!(why.contains("day and month cannot be told apart"), "{why}");
        }
        assert!(has_note(&file, "--date-order day-first"));
        let stated = Options {
            date_order: Some(DateOrder::DayFirst),
            ..options()
        };
        let file = read_bytes(text.as_bytes(), "yard.csv", &stated).unwrap();
        assert_eq!((file.rows.len(), file.set_aside.len()), (3, 0));
        assert_eq!(
            readings(&file).first().unwrap().taken_at.0,
            micros("2026-04-03T07:15:00Z")
        );
    }

    #[test]
    fn one_day_above_twelve_settles_the_whole_file() {
        let file =
            read("van,taken_at,feed_ppm\nQV-01,03/04/2026 08:15,320\nQV-01,04/13/2026 08:15,321\n");
        assert_eq!(file.set_aside.len(), 0);
        assert!(file.recognised.contains("month first"));
        assert_eq!(
            readings(&file).first().unwrap().taken_at.0,
            micros("2026-03-04T08:15:00Z")
        );
    }

    #[test]
    fn a_file_that_contradicts_itself_is_not_settled() {
        let file = read(
            "van,taken_at,feed_ppm\nQV-01,13/04/2026 08:15,320\nQV-01,04/13/2026 08:15,321\nQV-01,03/04/2026 08:15,321\n",
        );
        assert_eq!(file.rows.len(), 2);
        assert_eq!(file.set_aside.len(), 1);
        assert!(has_note(&file, "contradict"));
    }

    #[test]
    fn a_stated_order_does_not_overrule_what_a_file_settles_itself() {
        let stated = Options {
            date_order: Some(DateOrder::DayFirst),
            ..options()
        };
        let text =
            "van,taken_at,feed_ppm\nQV-01,03/04/2026 08:15,320\nQV-01,04/13/2026 08:15,321\n";
        let file = read_bytes(text.as_bytes(), "yard.csv", &stated).unwrap();
        assert_eq!((file.rows.len(), file.set_aside.len()), (2, 0));
        assert!(has_note(&file, "in spite of --date-order"));
        // a file that contradicts itself is read as stated
        let text =
            "van,taken_at,feed_ppm\nQV-01,13/04/2026 08:15,320\nQV-01,04/13/2026 08:15,321\n";
        let file = read_bytes(text.as_bytes(), "yard.csv", &stated).unwrap();
        assert_eq!((file.rows.len(), file.set_aside.len()), (1, 1));
    }

    #[test]
    fn a_header_may_settle_the_order() {
        let file = read("van,Date (dd/mm/yyyy),feed_ppm\nQV-01,03/04/2026,320\n");
        assert_eq!(file.rows.len(), 1);
    }

    #[test]
    fn a_number_that_fits_both_ways_is_set_aside_unless_the_file_tells() {
        let header = "van;started_at;litres\n";
        // no fill is as small as 1.2 litres
        let file = read(&format!("{header}QV-01;2026-10-01T08:00;1,200\n"));
        assert_eq!(fills(&file).first().unwrap().litres, Some(1200.0));
        let why = reason("van;taken_at;feed_ppm\nQV-01;2026-10-01T08:00;1,200\n");
        assert!(why.contains("may be 1200 or 1.2"), "{why}");
        let file = read(&format!(
            "{header}QV-01;2026-10-01T08:00;1.200\nQV-01;2026-10-02T08:00;310,5\n"
        ));
        assert_eq!(fills(&file).first().unwrap().litres, Some(1200.0));
        let file = read("van,started_at,litres\nQV-01,2026-10-01T08:00,\"1,200\"\n");
        assert_eq!(fills(&file).first().unwrap().litres, Some(1200.0));
        assert!(has_note(&file, "taken for thousands"));
        let file = read(
            "van,started_at,litres\nQV-01,2026-10-01T08:00,\"1,200\"\nQV-01,2026-10-02T08:00,310.5\n",
        );
        assert_eq!(fills(&file).first().unwrap().litres, Some(1200.0));
    }

    #[test]
    fn exported_numbers_with_three_decimals_keep_them() {
        let file =
            read("van,taken_at,feed_ppm,permeate_lpm\nQV-01,2026-10-01T08:00:00+01:00,320,1.234\n");
        assert_eq!(readings(&file).first().unwrap().permeate_lpm, Some(1.234));
    }

    #[test]
    fn spreadsheet_day_numbers_are_dates_where_the_column_holds_nothing_else() {
        let file = read("van,taken_at,feed_ppm\nQV-01,46296.5,320\nQV-01,46297,321\n");
        let seen = readings(&file);
        assert_eq!(
            seen.first().unwrap().taken_at.0,
            micros("2026-10-01T11:00:00Z")
        );
        assert_eq!(seen.get(1).unwrap().day_position, Some(0));
        let file = read("van,taken_at,feed_ppm\nQV-01,46296,320\nQV-01,2026-10-02,321\n");
        assert_eq!(file.set_aside.len(), 1);
    }

    #[test]
    fn offsets_may_be_mixed_with_local_times() {
        let file = read(
            "van,taken_at,feed_ppm\nQV-01,2026-07-01T08:15,320\nQV-01,2026-07-01T09:15:00+01:00,320\nQV-01,2026-07-01T09:15:00Z,320\n",
        );
        let at: Vec<i64> = readings(&file).iter().map(|r| r.taken_at.0).collect();
        assert_eq!(
            at,
            [
                micros("2026-07-01T07:15:00Z"),
                micros("2026-07-01T08:15:00Z"),
                micros("2026-07-01T09:15:00Z")
            ]
        );
    }

    #[test]
    fn a_change_of_clocks_is_noted() {
        let file = read("van,taken_at,feed_ppm\nQV-01,2026-10-25T01:30,320\n");
        assert!(has_note(&file, "repeats"));
        let file = read("van,taken_at,feed_ppm\nQV-01,2026-03-29T01:30,320\n");
        assert!(has_note(&file, "skips"));
    }
}

mod headers_and_kinds {
    use super::*;

    #[test]
    fn the_kind_is_told_by_the_header_never_by_the_name() {
        for (header, row, kind) in [
            (
                "van,taken_at,feed_ppm",
                "QV-01,2026-10-01T08:00,320",
                "readings",
            ),
            (
                "van,started_at,litres",
                "QV-01,2026-10-01T08:00,320",
                "fills",
            ),
            ("van,done_at,item", "QV-01,2026-10-01,resin", "services"),
            ("van,base_postcode", "QV-01,QA3", "vans"),
            ("postcode,hardness", "QA3,285", "hardness"),
            (
                "Reg;Date;TDS in;RO;DI",
                "QV-01;2026-10-01;320;12;0",
                "readings",
            ),
            ("Reg;Date;Litres", "QV-01;2026-10-01;320", "fills"),
            (
                "Reg;Date;Work;Cost",
                "QV-01;2026-10-01;resin;66",
                "services",
            ),
            ("Reg;Tank size;Resin size", "QV-01;400;11", "vans"),
            ("Zone;Clark", "QA3;20", "hardness"),
        ] {
            let file = read(&format!("{header}\n{row}\n"));
            assert!(
                file.recognised.starts_with(&format!("{kind}:")),
                "{header}: {}",
                file.recognised
            );
            assert_eq!(file.rows.len(), 1, "{header}: {:?}", file.set_aside);
        }
    }

    #[test]
    fn title_lines_above_the_header_are_skipped() {
        let file = read(
            "Fleet log 2026,,\nprinted 1 Nov,,\n\nvan,taken_at,feed_ppm\nQV-01,2026-10-01T08:00,320\n",
        );
        assert_eq!(file.rows.first().unwrap().0, 5);
        assert_eq!(file.set_aside.len(), 0);
    }

    #[test]
    fn extra_columns_are_kept_out_and_told_once() {
        let file =
            read("van,taken_at,feed_ppm,Weather,Driver\nQV-01,2026-10-01T08:00,320,sunny,Q\n");
        let told: Vec<&str> = file.notes.iter().map(|n| n.text.as_str()).collect();
        assert_eq!(told, ["columns \"Weather\", \"Driver\" kept out"]);
    }

    #[test]
    fn the_canonical_name_wins_over_a_spelling_of_it() {
        let file = read("van,taken_at,feed_ppm,Tap\nQV-01,2026-10-01T08:00,320,999\n");
        assert_eq!(readings(&file).first().unwrap().feed_ppm, Some(320.0));
        assert!(has_note(&file, "kept out: \"Tap\""));
    }

    #[test]
    fn two_spellings_of_one_column_are_not_guessed_between() {
        let why = error("van,taken_at,Tap,Mains,RO\nQV-01,2026-10-01T08:00,320,310,12\n");
        assert!(why.contains("several columns could be feed_ppm"), "{why}");
        // where they say the same there is nothing to guess
        let file = read("van,taken_at,Tap,Mains,RO\nQV-01,2026-10-01T08:00,320,320,12\n");
        assert_eq!(readings(&file).first().unwrap().feed_ppm, Some(320.0));
        assert!(has_note(&file, "hold the same"));
        let why = error("Reg,Vehicle,taken_at,feed_ppm\nQV-01,x,2026-10-01T08:00,320\n");
        assert!(why.contains("several columns could be van"), "{why}");
    }

    #[test]
    fn what_is_not_ours_is_one_clear_line() {
        assert!(error("name,phone\nQ,123\n").contains("not one of ours"));
        let why = error("van,feed_ppm,permeate_ppm\nQV-01,320,12\n");
        assert!(
            why.starts_with("yard.csv:1: looks like readings, but no column says when (taken_at)"),
            "{why}"
        );
        assert!(why.contains("\"feed_ppm\" (feed_ppm)"), "{why}");
    }

    #[test]
    fn a_date_and_a_time_may_stand_in_columns_of_their_own() {
        let file = read(
            "Van,Date,Time,TDS in\nQV-01,31/10/2026,08:15,320\nQV-01,30/10/2026,8.30 pm,320\nQV-01,29/10/2026,,320\n",
        );
        let at: Vec<i64> = readings(&file).iter().map(|r| r.taken_at.0).collect();
        assert_eq!(
            at,
            [
                micros("2026-10-31T08:15:00Z"),
                micros("2026-10-30T20:30:00Z"),
                micros("2026-10-29T12:00:00Z")
            ]
        );
        let file = read("Van,Date,Start,Finish,Litres\nQV-01,31/10/2026,08:15,10:00,320\n");
        let fill = *fills(&file).first().unwrap();
        assert_eq!(fill.started_at.0, micros("2026-10-31T08:15:00Z"));
        assert_eq!(fill.ended_at.unwrap().0, micros("2026-10-31T10:00:00Z"));
    }
}

mod odd_headers {
    use super::*;

    #[test]
    fn a_second_header_line_with_units_is_read_as_such() {
        let file =
            read("Van;Date;Feed;RO;Temp\n;;µS/cm;ppm;°C\nQV-01;31/10/2026 08:00;640;12;11\n");
        let seen = *readings(&file).first().unwrap();
        assert_eq!(
            (seen.feed_ppm, seen.permeate_ppm),
            (Some(320.0), Some(12.0))
        );
        assert_eq!(file.set_aside.len(), 0);
        assert!(has_note(&file, "holds the units"));
    }

    #[test]
    fn a_column_of_times_in_utc_is_read_in_utc() {
        let file = read("van,Date/Time (UTC),feed_ppm\nQV-01,2026-07-01 08:00,320\n");
        let seen = *readings(&file).first().unwrap();
        assert_eq!(seen.taken_at.0, micros("2026-07-01T08:00:00Z"));
    }

    #[test]
    fn litres_in_a_readings_file_are_fills() {
        let file =
            read("van,taken_at,feed_ppm,permeate_ppm,Litres\nQV-01,2026-07-01 08:00,320,12,310\n");
        let kinds: Vec<u8> = file.rows.iter().map(|row| row.1.part()).collect();
        assert_eq!(kinds, [1, 2]);
        assert!(file.recognised.starts_with("readings and fills"));
    }

    #[test]
    fn empty_headers_at_the_end_do_not_make_rows_ragged() {
        let file = read(
            "van;taken_at;feed_ppm;;;\nQV-01;2026-10-01T08:00;320\nQV-01;2026-10-02T08:00;320;;;\n",
        );
        assert_eq!(file.rows.len(), 2);
        assert!(file.notes.is_empty(), "{:?}", file.notes);
    }

    #[test]
    fn a_midnight_beside_a_time_column_is_no_time() {
        let file = read("Van,Date,Time,TDS in\nQV-01,31/10/2026 00:00:00,08:15,320\n");
        assert_eq!(
            readings(&file).first().unwrap().taken_at.0,
            micros("2026-10-31T08:15:00Z")
        );
    }

    #[test]
    fn start_and_end_may_have_dates_and_times_apart() {
        let file =
            read("Van,Start date,Start time,End time,Litres\nQV-01,31/10/2026,08:15,10:00,320\n");
        let fill = *fills(&file).first().unwrap();
        assert_eq!(fill.started_at.0, micros("2026-10-31T08:15:00Z"));
        assert_eq!(fill.ended_at.unwrap().0, micros("2026-10-31T10:00:00Z"));
    }

    #[test]
    fn names_alone_make_a_van_list() {
        let file = read("van\nQV-01\nMax\nTotal\n");
        assert_eq!((file.rows.len(), file.set_aside.len()), (2, 1));
        assert!(file.recognised.starts_with("vans:"));
    }
}

mod readings_rules {
    use super::*;

    #[test]
    fn a_day_without_a_time_is_kept_at_local_noon_with_its_position() {
        let file = read(&format!(
            "{READINGS}QV-01,2026-07-01,320,12,0\nQV-02,2026-07-01,320,12,0\nqv-01,2026-07-01,x,12,0\nQV-01,2026-07-01,322,12,0\nQV-01,2026-07-02T08:00,322,12,0\n"
        ));
        let seen: Vec<(i64, Option<u32>)> = readings(&file)
            .iter()
            .map(|r| (r.taken_at.0, r.day_position))
            .collect();
        let noon = micros("2026-07-01T11:00:00Z");
        assert_eq!(
            seen,
            [
                (noon, Some(0)),
                (noon, Some(0)),
                // the row set aside keeps position 1
                (noon, Some(2)),
                (micros("2026-07-02T07:00:00Z"), None),
            ]
        );
        assert!(has_note(&file, "local noon"));
    }

    #[test]
    fn one_meter_is_enough_and_none_is_too_few() {
        assert_eq!(
            read(&format!("{READINGS}QV-01,2026-10-01T08:00,,12,\n"))
                .rows
                .len(),
            1
        );
        assert_eq!(
            read(&format!("{READINGS}QV-01,2026-10-01T08:00,n/a,12,-\n"))
                .rows
                .len(),
            1
        );
        let why = reason(&format!("{READINGS}QV-01,2026-10-01T08:00,,,\n"));
        assert!(why.starts_with("no meter was read"), "{why}");
    }

    #[test]
    fn conductivity_stands_for_ppm() {
        let file = read(
            "van,taken_at,feed_us_cm,permeate_ppm,product_us_cm\nQV-01,2026-10-01T08:00,640,12,1\n",
        );
        let seen = *readings(&file).first().unwrap();
        assert_eq!(
            (seen.feed_ppm, seen.permeate_ppm, seen.product_ppm),
            (Some(320.0), Some(12.0), Some(0.5))
        );
    }

    #[test]
    fn three_nines_are_over_range_in_ppm_but_not_in_microsiemens() {
        let file = read("van,taken_at,feed_us_cm\nQV-01,2026-10-01T08:00,999\n");
        assert_eq!(readings(&file).first().unwrap().feed_ppm, Some(499.5));
    }

    #[test]
    fn units_in_cells_are_read_and_conversions_noted() {
        let file = read(&format!(
            "{READINGS}QV-01,2026-10-01T08:00,0.4mS,12ppm,3 µS/cm\n"
        ));
        let seen = *readings(&file).first().unwrap();
        assert_eq!(
            (seen.feed_ppm, seen.permeate_ppm, seen.product_ppm),
            (Some(200.0), Some(12.0), Some(1.5))
        );
        assert!(has_note(&file, "given in mS/cm"));
        let why = reason(&format!("{READINGS}QV-01,2026-10-01T08:00,3 bar,12,\n"));
        assert!(why.contains("unit of this column"), "{why}");
    }

    #[test]
    fn below_one_is_kept_as_a_half_and_about_and_ranges_are_noted() {
        let file = read(&format!("{READINGS}QV-01,2026-10-01T08:00,~320,5-6,<1\n"));
        let seen = *readings(&file).first().unwrap();
        assert_eq!(
            (seen.feed_ppm, seen.permeate_ppm, seen.product_ppm),
            (Some(320.0), Some(5.5), Some(0.5))
        );
        assert_eq!(file.notes.len(), 3);
    }

    #[test]
    fn what_no_meter_measures_is_set_aside() {
        for (cells, part) in [
            ("-5,12,0", "negative"),
            ("0,12,0", "off, dry or disconnected"),
            ("0,0,0", "off, dry or disconnected"),
            ("3200,12,0", "more than any drinking water"),
            ("same,12,0", "ditto"),
            ("320,05-Jun,0", "a date, not a number"),
            ("=A1,12,0", "formula"),
            ("123,12,1", "test row"),
        ] {
            let why = reason(&format!("{READINGS}QV-01,2026-10-01T08:00,{cells}\n"));
            assert!(why.contains(part), "{cells}: {why}");
        }
    }

    #[test]
    fn what_a_meter_did_not_show_costs_its_own_cell_only() {
        for blind in ["999", "9999", "OL", "---", ">500", "#REF!", "n/a"] {
            let file = read(&format!("{READINGS}QV-01,2026-10-01T08:00,{blind},12,0\n"));
            let seen = *readings(&file).first().unwrap();
            assert_eq!(
                (seen.feed_ppm, seen.permeate_ppm),
                (None, Some(12.0)),
                "{blind}"
            );
        }
        let why = reason(&format!("{READINGS}QV-01,2026-10-01T08:00,OL,,\n"));
        assert!(why.contains("no figure that a meter could read"), "{why}");
    }

    #[test]
    fn a_permeate_above_the_feed_and_a_product_above_the_permeate_are_kept() {
        let file = read(&format!(
            "{READINGS}QV-01,2026-10-01T08:00,12,320,0\nQV-01,2026-10-02T08:00,320,12,14\n"
        ));
        assert_eq!(file.rows.len(), 2);
        assert!(has_note(&file, "may be swapped"));
    }

    #[test]
    fn absurd_side_values_are_left_out_and_the_row_is_kept() {
        let file = read(
            "van,taken_at,feed_ppm,water_c,feed_bar,permeate_lpm\nQV-01,2026-10-01T08:00,320,50,45,90\nQV-01,2026-10-02T08:00,320,-1,0,1.5\n",
        );
        for seen in readings(&file) {
            assert_eq!((seen.water_c, seen.feed_bar), (None, None));
        }
        assert_eq!(file.rows.len(), 2);
    }

    #[test]
    fn units_in_headers_convert() {
        let file = read(
            "van,taken_at,feed_ppm,Temp °F,Pressure (psi),Flow (L/h)\nQV-01,2026-10-01T08:00,320,50,60,90\n",
        );
        let seen = *readings(&file).first().unwrap();
        assert!((seen.water_c.unwrap() - 10.0).abs() < 1e-9);
        assert!((seen.feed_bar.unwrap() - 4.136_854).abs() < 1e-5);
        assert!((seen.permeate_lpm.unwrap() - 1.5).abs() < 1e-9);
    }

    #[test]
    fn days_ahead_and_days_of_another_age_are_set_aside() {
        for (day, part) in [
            ("2026-11-26T08:00", "after today"),
            ("1970-01-01T00:00", "before the year 2000"),
        ] {
            let why = reason(&format!("{READINGS}QV-01,{day},320,12,0\n"));
            assert!(why.contains(part), "{why}");
        }
        assert_eq!(
            read(&format!("{READINGS}QV-01,2026-11-25T23:00,320,12,0\n"))
                .rows
                .len(),
            1
        );
    }

    #[test]
    fn a_van_is_kept_as_written_and_test_rows_are_not() {
        let file = read(&format!(
            "{READINGS}  qv   014 ,2026-10-01T08:00,320,12,0\n'=QV,2026-10-01T08:00,320,12,0\n"
        ));
        assert_eq!(&*readings(&file).first().unwrap().van, "qv 014");
        for van in ["test", "XX", "", "\"\"\"\"", "#N/A", "\u{1}\u{7f}"] {
            let why = reason(&format!("{READINGS}{van},2026-10-01T08:00,320,12,0\n"));
            assert!(why.starts_with("van is "), "{why}");
        }
    }

    #[test]
    fn postcodes_are_folded_and_towns_left_out() {
        let file = read(
            "van,taken_at,postcode,feed_ppm\nQV-01,2026-10-01T08:00,qa34xy,320\nQV-01,2026-10-02T08:00,Quarrytown,320\nQV-01,2026-10-03T08:00,\"12 Chalk Lane, QA3 4XY\",320\nQV-01,2026-10-04T08:00,QA3,320\n",
        );
        let places: Vec<Option<&str>> = readings(&file)
            .iter()
            .map(|r| r.postcode.as_deref())
            .collect();
        assert_eq!(
            places,
            [Some("QA3 4XY"), None, Some("QA3 4XY"), Some("QA3")]
        );
        assert!(has_note(&file, "not a postcode"));
    }

    #[test]
    fn a_ragged_row_is_put_right_only_where_one_way_makes_sense() {
        // the comma in the note made a cell of its own
        let file =
            read("van,done_at,item,note\nQV-01,2026-10-01,resin,old one leaked, at 10 ppm\n");
        assert_eq!(
            services(&file).first().unwrap().note.as_deref(),
            Some("old one leaked, at 10 ppm")
        );
        // one row that ends early may be a line broken off; where all do that, it
        // is how the program writes
        let header = "van,done_at,item,quantity,cost,part,note\n";
        let why = reason(&format!("{header}QV-01,2026-10-01,resin\n"));
        assert_eq!(why, "3 cells where the header has 7");
        let file = read(&format!(
            "{header}QV-01,2026-10-01,resin\nQV-01,2026-10-02,resin,11\nQV-01,2026-10-03,membrane,1,180\n"
        ));
        assert_eq!(file.rows.len(), 3);
        // a line broken off is no such row, nor is its rest
        let file = read(&format!(
            "{header}QV-01,2026-10-01,resin\n11,66,,\nQV-01,2026-10-02,resin,11\nQV-01,2026-10-03,membrane,1,180\n"
        ));
        assert_eq!(file.rows.len(), 0);
        // three ways to join 320,12,5,1 into three meters
        let why = reason(&format!("{READINGS}QV-01,2026-10-01T08:00,320,12,5,1\n"));
        assert_eq!(why, "6 cells where the header has 5");
        // empty cells at the end are what spreadsheets leave behind all rows
        assert_eq!(
            read(&format!("{READINGS}QV-01,2026-10-01T08:00,320,12,0,,,\n"))
                .rows
                .len(),
            1
        );
        // two meters for three columns fit several ways
        assert!(reason(&format!("{READINGS}QV-01,2026-10-01T08:00,320,12\n")).contains("4 cells"));
    }

    #[test]
    fn a_thousands_comma_without_quotes_shifts_no_meter() {
        let file = read(&format!(
            "{READINGS}QV-01,2026-10-01T08:00,320,12,0\nQV-01,2026-10-02T08:00,1,200,12,\n"
        ));
        assert_eq!(reasons(&file), [(3, "6 cells where the header has 5")]);
    }

    #[test]
    fn a_fill_without_a_start_time_is_still_of_its_day() {
        let file = read("Van,Date,Start,Finish,Litres\nQV-01,31/10/2026,,,320\n");
        let fill = *fills(&file).first().unwrap();
        assert_eq!(fill.started_at.0, micros("2026-10-31T12:00:00Z"));
        assert_eq!(fill.day_position, Some(0));
    }

    #[test]
    fn a_quote_mark_never_closed_costs_one_row_at_most() {
        let file = read(
            "van,taken_at,feed_ppm,note\nQV-01,2026-10-01T08:00,320,\"oops\nQV-01,2026-10-02T08:00,321,\nQV-01,2026-10-03T08:00,322,\n",
        );
        assert_eq!((file.rows.len(), file.set_aside.len()), (2, 1));
    }
}

mod fills_rules {
    use super::*;

    #[test]
    fn litres_or_the_counter_is_needed() {
        let file = read(&format!(
            "{FILLS}QV-01,2026-10-01T16:30,,310,,,\nQV-01,2026-10-02T16:30,,,61200,,\n"
        ));
        assert_eq!(fills(&file).get(1).unwrap().meter_litres, Some(61200.0));
        let why = reason(&format!("{FILLS}QV-01,2026-10-01T16:30,,,,,\n"));
        assert!(why.contains("neither litres nor meter_litres"));
    }

    #[test]
    fn amounts_that_are_no_fill_are_set_aside() {
        for (litres, part) in [
            ("0", "no water"),
            ("-300", "negative"),
            ("0.45", "cubic metres"),
            ("61200", "counter"),
        ] {
            let why = reason(&format!("{FILLS}QV-01,2026-10-01T16:30,,{litres},,,\n"));
            assert!(why.contains(part), "{litres}: {why}");
        }
    }

    #[test]
    fn an_end_over_midnight_is_the_next_day_and_an_absurd_one_is_left_out() {
        let file = read(&format!(
            "{FILLS}QV-01,2026-10-01T22:30,01:10,310,,,\nQV-01,2026-10-02T16:30,2026-10-01T10:00,310,,,\nQV-01,2026-10-03T16:30,2026-10-05T10:00,310,,,\nQV-01,2026-10-04T16:30,2026-10-04T18:00,310,,,\n"
        ));
        let ends: Vec<Option<i64>> = fills(&file)
            .iter()
            .map(|f| f.ended_at.map(|e| e.0))
            .collect();
        assert_eq!(
            ends,
            [
                Some(micros("2026-10-02T00:10:00Z")),
                None,
                None,
                Some(micros("2026-10-04T17:00:00Z"))
            ]
        );
    }

    #[test]
    fn sources_are_told_by_words_and_a_depot_is_not_guessed() {
        let file = read(&format!(
            "{FILLS}QV-01,2026-10-01T16:30,,310,,,\nQV-01,2026-10-02T16:30,,310,,,tap\nQV-01,2026-10-03T16:30,,310,,,shop\nQV-01,2026-10-04T16:30,,310,,,bought_in\n"
        ));
        let sources: Vec<Source> = fills(&file).iter().map(|f| f.source).collect();
        assert_eq!(
            sources,
            [
                Source::Mains,
                Source::Mains,
                Source::BoughtIn,
                Source::BoughtIn
            ]
        );
        assert!(
            reason(&format!("{FILLS}QV-01,2026-10-01T16:30,,310,,,depot\n"))
                .contains("may be the van's own")
        );
        assert!(
            reason(&format!("{FILLS}QV-01,2026-10-01T16:30,,310,,,river\n")).contains("neither")
        );
    }

    #[test]
    fn far_too_much_waste_is_left_out() {
        let file = read(&format!(
            "{FILLS}QV-01,2026-10-01T16:30,,310,,6300,\nQV-01,2026-10-02T16:30,,310,,630,\n"
        ));
        let rejects: Vec<Option<f64>> = fills(&file).iter().map(|f| f.reject_litres).collect();
        assert_eq!(rejects, [None, Some(630.0)]);
    }

    #[test]
    fn gallons_and_cubic_metres_become_litres() {
        let file = read("van,started_at,Volume (gallons)\nQV-01,2026-10-01T16:30,100\n");
        assert!((fills(&file).first().unwrap().litres.unwrap() - 454.609).abs() < 1e-9);
        assert!(has_note(&file, "imperial gallons"));
        let file = read("van,started_at,m3\nQV-01,2026-10-01T16:30,0.45\n");
        assert_eq!(fills(&file).first().unwrap().litres, Some(450.0));
    }
}

mod services_rules {
    use super::*;

    #[test]
    fn a_plain_date_is_enough() {
        let file = read(&format!(
            "{SERVICES}QV-01,2026-10-01,RO,1,165.00,4040,\nQV-01,2026-10-01T09:30,di,11,,,\n"
        ));
        let seen = services(&file);
        assert_eq!(seen.first().unwrap().done_at, When::Day(date(2026, 10, 1)));
        assert!(matches!(seen.get(1).unwrap().done_at, When::At(_)));
        assert_eq!(seen.get(1).unwrap().item, Item::Resin);
    }

    #[test]
    fn both_is_two_services_each_counted_and_noted() {
        let file = read(&format!(
            "{SERVICES}QV-01,2026-10-01,both,2,231.00,,yearly\n"
        ));
        let items: Vec<(Item, Option<f64>)> =
            services(&file).iter().map(|s| (s.item, s.cost)).collect();
        assert_eq!(items, [(Item::Membrane, None), (Item::Resin, None)]);
        assert!(file.recognised.ends_with("2 rows"));
        let note = services(&file).first().unwrap().note.clone().unwrap();
        assert!(
            note.contains("yearly") && note.contains("cost of all: 231.00"),
            "{note}"
        );
    }

    #[test]
    fn work_that_is_no_item_is_set_aside() {
        let why = reason(&format!("{SERVICES}QV-01,2026-10-01,service,,,,\n"));
        assert!(
            why.contains("not one of prefilter, membrane, resin, flush, probe, tank"),
            "{why}"
        );
        assert_eq!(
            reason(&format!("{SERVICES}QV-01,2026-10-01,,,,,\n")),
            "item is empty"
        );
    }

    #[test]
    fn money_is_read_with_its_sign_and_credits_are_negative() {
        for (cell, cost) in [
            ("£180.00", 180.0),
            ("\"£1,180.50\"", 1180.5),
            ("-12.50", -12.5),
            ("(12.50)", -12.5),
            ("£-5", -5.0),
            ("165 GBP", 165.0),
            ("€ 99.90", 99.9),
        ] {
            let file = read(&format!("{SERVICES}QV-01,2026-10-01,resin,,{cell},,\n"));
            assert_eq!(services(&file).first().unwrap().cost, Some(cost), "{cell}");
        }
        assert!(
            reason(&format!("{SERVICES}QV-01,2026-10-01,resin,,free,,\n"))
                .starts_with("cost is \"free\"")
        );
    }

    #[test]
    fn resin_in_kilograms_becomes_litres_and_bags_do_not() {
        let file = read(&format!(
            "{SERVICES}QV-01,2026-10-01,resin,7.35 kg,,,\nQV-01,2026-10-02,resin,1 bag,,,\n"
        ));
        let amounts: Vec<Option<f64>> = services(&file).iter().map(|s| s.quantity).collect();
        assert!((amounts.first().unwrap().unwrap() - 10.0).abs() < 1e-9);
        assert_eq!(amounts.get(1).unwrap(), &None);
    }

    #[test]
    fn cells_made_harmless_read_back_as_they_were() {
        let file = read(&format!(
            "{SERVICES}QV-01,2026-10-01,resin,,,'=1+1,\"'-see, invoice\"\n"
        ));
        let seen = *services(&file).first().unwrap();
        assert_eq!(seen.part.as_deref(), Some("=1+1"));
        assert_eq!(seen.note.as_deref(), Some("-see, invoice"));
    }
}

mod list_rules {
    use super::*;

    const VANS: &str = "van,base_postcode,tank_litres,membranes,resin_litres,in_service_on,out_of_service_on,from\n";

    #[test]
    fn a_van_row_holds_sizes_and_days() {
        let file = read(&format!(
            "{VANS}QV-01,QA3 4XY,400,2,0,2024-03-01,2027-01-31,\n"
        ));
        let van = *vans(&file).first().unwrap();
        assert_eq!(
            (van.membranes, van.resin_litres, van.tank_litres),
            (Some(2), Some(0.0), Some(400.0))
        );
        assert_eq!(van.out_of_service_on, Some(date(2027, 1, 31)));
        assert_eq!(van.from, None);
    }

    #[test]
    fn van_rows_that_cannot_be_are_set_aside() {
        for (row, part) in [
            ("QV-01,QA3,400,1.5,11,,,", "not a count"),
            ("QV-01,QA3,-400,1,11,,,", "negative"),
            ("QV-01,QA3,400,1,1100,,,", "more than any van carries"),
            (
                "QV-01,QA3,400,1,11,2024-03-01,2023-03-01,",
                "before in_service_on",
            ),
        ] {
            let why = reason(&format!("{VANS}{row}\n"));
            assert!(why.contains(part), "{row}: {why}");
        }
    }

    #[test]
    fn hardness_keeps_the_figure_and_unit_as_given() {
        let file = read(
            "postcode,hardness,unit,source,as_of\nqa3,285,,,2025-07-01\nQC2,7.7,clark,supplier,2025\nQD,16,°dH,,\n",
        );
        let seen: Vec<(&str, f64, HardnessUnit)> = hardness(&file)
            .iter()
            .map(|h| (&*h.postcode, h.hardness, h.unit))
            .collect();
        assert_eq!(
            seen,
            [
                ("QA3", 285.0, HardnessUnit::MgLCaco3),
                ("QC2", 7.7, HardnessUnit::Clark),
                ("QD", 16.0, HardnessUnit::German),
            ]
        );
        assert_eq!(
            hardness(&file).get(1).unwrap().as_of,
            Some(date(2025, 1, 1))
        );
    }

    #[test]
    fn a_bare_small_figure_is_mg_per_litre_only_beside_large_ones() {
        let why = reason("postcode,hardness\nQA3,16.2\n");
        assert!(why.contains("without a unit"), "{why}");
        assert_eq!(read("postcode,hardness\nQA3,16.2\nQC1,285\n").rows.len(), 2);
        assert_eq!(
            read("postcode,hardness,unit\nQA3,16.2,clark\n").rows.len(),
            1
        );
        assert_eq!(read("postcode,Hardness mg/l\nQA3,16.2\n").rows.len(), 1);
    }

    #[test]
    fn hardness_that_cannot_be_is_set_aside() {
        for (row, part) in [
            ("QA3,hard,", "a class"),
            ("QA3,-5,", "negative"),
            ("QA3,285,clark", "more than any tap water"),
            ("QA3,285,dGH", "not one of mg_l_caco3"),
            ("QA3,16 mg/l,clark", "the unit beside it is clark"),
            ("Quarrytown,285,", "not a postcode area"),
            ("QA3,,", "hardness is empty"),
        ] {
            let why = reason(&format!("postcode,hardness,unit\n{row}\n"));
            assert!(why.contains(part), "{row}: {why}");
        }
        let file = read("postcode,hardness\nQA3,285–310\n");
        assert_eq!(hardness(&file).first().unwrap().hardness, 297.5);
    }
}

mod paths {
    use super::*;

    #[test]
    fn a_folder_gives_its_files_in_order_of_their_names() {
        let dir = std::env::temp_dir().join(format!("litrewise-files-in-{}", std::process::id()));
        std::fs::create_dir_all(dir.join("sub")).unwrap();
        for name in ["b.csv", "a.txt", ".hidden.csv", "~lock.b.csv"] {
            std::fs::write(dir.join(name), "x").unwrap();
        }
        let names: Vec<String> = files_in(&dir)
            .unwrap()
            .files
            .iter()
            .map(|p| p.file_name().unwrap().to_string_lossy().into_owned())
            .collect();
        assert_eq!(names, ["a.txt", "b.csv"]);
        assert_eq!(files_in(&dir.join("a.txt")).unwrap().files.len(), 1);
        let missing = files_in(&dir.join("none.csv")).unwrap_err();
        assert!(matches!(missing, ReadError::Missing { .. }));
        assert!(matches!(
            files_in(&dir.join("sub")),
            Err(ReadError::EmptyFolder { .. })
        ));
        std::fs::remove_dir_all(&dir).unwrap();
    }

    #[test]
    fn a_missing_file_says_so() {
        let error = FileReader::open(Path::new("/none/yard.csv"), "yard.csv", &options())
            .err()
            .unwrap();
        assert_eq!(error.to_string(), "yard.csv: no such file or folder");
    }

    #[test]
    fn a_file_that_changes_while_it_is_read_is_refused() {
        let path = std::env::temp_dir().join(format!("litrewise-grows-{}", std::process::id()));
        let text = "van,taken_at,feed_ppm\nQV-1,2026-10-01T08:00,320\nQV-1,2026-10-02T08:00,320\n";
        let read = |change: &dyn Fn()| {
            std::fs::write(&path, text).unwrap();
            let file = FileReader::open(&path, "yard.csv", &options()).unwrap();
            change();
            let mut rows = 0;
            let end = file.read(|batch| {
                rows += batch.rows.len();
                rows += batch.columns.iter().map(|rows| rows.count()).sum::<usize>();
                Ok::<(), ReadError>(())
            });
            end.map(|_| rows)
        };
        assert_eq!(read(&|| {}).unwrap(), 2);
        // another file of that name does not disturb the one that is open
        let swapped = read(&|| {
            std::fs::remove_file(&path).unwrap();
            std::fs::write(&path, "something else").unwrap();
        });
        assert_eq!(swapped.unwrap(), 2);
        let others = [
            format!("{text}QV-1,2026-10-03T08:00,320\n"),
            text.replace("320", "321"),
            text[..40].to_owned(),
        ];
        for other in others {
            let error = read(&|| std::fs::write(&path, &other).unwrap()).unwrap_err();
            assert!(matches!(error, ReadError::Changed { .. }), "{error}");
        }
        std::fs::remove_file(&path).unwrap();
    }
}

mod any_bytes {
    use std::collections::BTreeSet;

    use super::*;

    const SEEDS: [&str; 4] = [
        "van,taken_at,postcode,feed_ppm,permeate_ppm,water_c\nQV-01,2026-10-01T08:00,QA3 4XY,320,<1,11\nQV-02,25/10/2026 01:30,Town,0.4mS,5-6,\n",
        "Reg;Date;Start;Finish;Litres;Counter;Source\nQV-01;31/10/2026;22:30;01:10;1.310,5;61200;tap\nQV-02;01/11/26;8.15 pm;;310;;shop\n",
        "van,done_at,item,quantity,cost,note\nQV-01,2026-10-01,both,2,£231,x\nQV-02,31 Oct 2026,resin,7 kg,(12.50),\n",
        "Zone\tHardness °dH\tYear\nQA3\t16,2\t2025\nQC2\t285–310\t\n",
    ];
    const MARKS: &str = "0123456789.,;\t'\n\r -–/:TZ+<>~=°µ£OolVQ|()[]";

    /// A fixed sequence of numbers that looks like chance (Knuth's MMIX constants).
    struct Chance(u64);

    impl Chance {
        fn below(&mut self, most: usize) -> usize {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (self.0 >> 33) as usize % most.max(1)
        }
    }

    fn mistyped(chance: &mut Chance) -> String {
        let marks: Vec<char> = MARKS.chars().collect();
        let mut text: Vec<char> = SEEDS[chance.below(SEEDS.len())].chars().collect();
        for _ in 0..1 + chance.below(6) {
            let at = chance.below(text.len());
            let mark = marks[chance.below(marks.len())];
            match chance.below(3) {
                0 => text.insert(at, mark),
                1 => drop(text.remove(at)),
                _ => text[at] = mark,
            }
        }
        text.into_iter().collect()
    }

    #[test]
    fn no_slip_of_the_keys_loses_a_row_or_breaks_the_reading() {
        let mut chance = Chance(7);
        let mut read_well = 0;
        for _ in 0..1500 {
            let text = mistyped(&mut chance);
            let Ok(file) = read_bytes(text.as_bytes(), "yard.csv", &options()) else {
                continue;
            };
            read_well += 1;
            let accepted = file.rows.iter().map(|row| row.0);
            let seen: BTreeSet<u64> = accepted
                .chain(file.set_aside.iter().filter_map(|row| row.line))
                .collect();
            let Some(first) = seen.first().copied() else {
                continue;
            };
            // line ends as the reader counts them: \r\n, \n or \r alone
            let lines = text.replace("\r\n", "\n").replace('\r', "\n");
            for (line, content) in (1_u64..).zip(lines.split('\n')) {
                let blank = content.trim_matches([',', ';', '\t', '|', ' ']).is_empty();
                if line > first && !blank {
                    assert!(seen.contains(&line), "line {line} of {text:?}");
                }
            }
        }
        assert!(read_well > 800, "{read_well}");
    }

    #[test]
    fn no_bytes_break_the_reading() {
        let mut chance = Chance(11);
        for _ in 0..500 {
            let mut bytes = mistyped(&mut chance).into_bytes();
            for _ in 0..1 + chance.below(8) {
                let at = chance.below(bytes.len());
                bytes[at] = chance.below(256) as u8;
            }
            if let Ok(file) = read_bytes(&bytes, "yard.csv", &options()) {
                let rows = file.rows.len() + file.set_aside.len();
                let row = if rows == 1 { "row" } else { "rows" };
                assert!(file.recognised.ends_with(&format!("{rows} {row}")));
            }
        }
    }
}
