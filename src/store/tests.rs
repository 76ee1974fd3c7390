#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::path::Path;
use std::sync::Arc;

use jiff::civil::date;
use jiff::tz::TimeZone;

use super::records::*;
use super::*;

const T0: i64 = 1_790_000_000_000_000; // 2026-09-21T14:13:20Z
const HOUR: i64 = 3_600_000_000;

fn reading(van: &str, hours: i64, permeate_ppm: f64) -> Record {
    Record::Reading(Reading {
        van: van.into(),
        taken_at: Instant(T0 + hours * HOUR),
        day_position: None,
        postcode: Some("QA3".into()),
        feed_ppm: Some(203.5),
        permeate_ppm: Some(permeate_ppm),
        product_ppm: None,
        water_c: None,
        feed_bar: None,
        permeate_lpm: None,
        concentrate_lpm: None,
    })
}

fn listed(van: &str) -> Record {
    Record::Van(Van {
        van: van.into(),
        from: None,
        base_postcode: Some("QA3".into()),
        tank_litres: Some(400.0),
        membranes: Some(1),
        resin_litres: Some(11.0),
        in_service_on: None,
        out_of_service_on: None,
    })
}

fn text_of(record: &Record) -> Box<str> {
    format!("{record:?}").replace(", ", ";").into()
}

/// A file whose hash follows from its rows.
fn file(name: &str, rows: Vec<Record>) -> FileRows {
    file_with(name, rows, Vec::new())
}

fn file_with(name: &str, rows: Vec<Record>, set_aside: Vec<(Option<u64>, &str)>) -> FileRows {
    let rows: Vec<(u64, Record, Box<str>)> = rows
        .into_iter()
        .enumerate()
        .map(|(i, record)| (i as u64 + 2, record.clone(), text_of(&record)))
        .collect();
    FileRows {
        name: name.to_owned(),
        sha256: format!("{rows:?}{set_aside:?}"),
        bytes: 1,
        rows,
        set_aside: set_aside
            .into_iter()
            .map(|(line, text)| SetAside {
                file: name.to_owned(),
                line,
                reason: "a reason".to_owned(),
                text: text.to_owned(),
            })
            .collect(),
        notes: vec![Note {
            line: Some(2),
            text: "µS/cm read as ppm".to_owned(),
        }],
        recognised: "comma".to_owned(),
    }
}

fn add(store: &Store, file: FileRows) -> FileOutcome {
    let mut writer = store.writer().unwrap();
    let foreseen = writer.would_add(&file).unwrap();
    let outcome = writer.add(file, Instant(T0)).unwrap();
    assert_eq!(foreseen, outcome, "a dry run foresees what happens");
    assert_adds_up(store);
    outcome
}

/// rows read = stored + already stored + set aside, and the list is as long
/// as its count says.
fn assert_adds_up(store: &Store) -> RowCounts {
    let rows = store.row_counts().unwrap();
    assert_eq!(
        rows.read,
        rows.stored + rows.already_stored + rows.set_aside
    );
    assert_eq!(store.set_aside().unwrap().len() as u64, rows.set_aside);
    rows
}

fn counts(read: u64, stored: u64, already_stored: u64, set_aside: u64) -> RowCounts {
    RowCounts {
        read,
        stored,
        already_stored,
        set_aside,
    }
}

fn store() -> (tempfile::TempDir, Store) {
    let dir = tempfile::tempdir().unwrap();
    let store = Store::create_or_open(&dir.path().join("store")).unwrap();
    (dir, store)
}

fn permeates(fleet: &Fleet, van: &str) -> Vec<f64> {
    let history = fleet.histories.iter().find(|h| &*h.van == van).unwrap();
    let values = history.readings.iter().map(|r| r.permeate_ppm.unwrap());
    values.collect()
}

fn every_kind() -> Vec<Record> {
    let fill = Fill {
        van: "QV-1".into(),
        started_at: Instant(T0),
        day_position: Some(0),
        ended_at: None,
        postcode: None,
        litres: Some(350.0),
        meter_litres: None,
        reject_litres: Some(0.1 + 0.2),
        source: Source::BoughtIn,
    };
    let service = Service {
        van: "QV-1".into(),
        done_at: When::Day(date(2026, 3, 2)),
        item: Item::Resin,
        quantity: Some(11.0),
        cost: Some(-4.5),
        part: Some("=batch \"7\", fresh".into()),
        note: Some("'+1 sack\nleft over".into()),
    };
    let hardness = Hardness {
        postcode: "QA3".into(),
        as_of: Some(date(2026, 1, 1)),
        hardness: 19.8,
        unit: crate::water::HardnessUnit::Clark,
        source: None,
    };
    vec![
        reading("QV-1", 0, 8.25),
        Record::Fill(fill.clone()),
        Record::Fill(Fill {
            day_position: Some(1),
            litres: Some(20.0),
            ..fill
        }),
        Record::Service(service.clone()),
        Record::Service(Service {
            done_at: When::At(Instant(T0 + 1)),
            ..service
        }),
        listed("QV-1"),
        Record::Hardness(hardness),
    ]
}

fn records(fleet: &Fleet) -> Vec<Record> {
    let mut all = Vec::new();
    for h in &fleet.histories {
        all.extend(h.readings.iter().cloned().map(Record::Reading));
        all.extend(h.fills.iter().cloned().map(Record::Fill));
        all.extend(h.services.iter().cloned().map(Record::Service));
        all.extend(h.listed.iter().cloned().map(Record::Van));
    }
    all.extend(fleet.hardness.iter().cloned().map(Record::Hardness));
    all
}

#[test]
fn every_kind_of_record_comes_out_as_it_went_in() {
    let (_dir, store) = store();
    add(&store, file("all.csv", every_kind()));
    assert_eq!(records(&store.fleet().unwrap()), every_kind());
    let line = &store.files().unwrap()[0];
    assert_eq!((line.id, line.name.as_str()), (1, "all.csv"));
    assert_eq!(line.notes[0].text, "µS/cm read as ppm");
    assert_eq!(line.counts, counts(7, 7, 0, 0));
}

#[test]
fn reading_the_same_file_twice_stores_nothing_twice() {
    let (_dir, store) = store();
    add(&store, file("all.csv", every_kind()));
    let again = add(&store, file("all.csv", every_kind()));
    assert_eq!(again.counts, counts(7, 0, 7, 0));
    assert_eq!(assert_adds_up(&store), counts(14, 7, 7, 0));
    assert_eq!(records(&store.fleet().unwrap()), every_kind());
}

#[test]
fn an_overlapping_export_stores_only_what_is_new() {
    let (_dir, store) = store();
    // Two months, so that more than one partition is touched.
    let rows = |from: i64, to: i64| (from..to).map(|i| reading("QV-1", i * 200, 5.0)).collect();
    add(&store, file("september.csv", rows(0, 4)));
    let october = add(&store, file("october.csv", rows(2, 6)));
    assert_eq!(october.counts, counts(4, 2, 2, 0));
    assert_eq!(october.new, 2);
    assert_eq!(store.fleet().unwrap().histories[0].readings.len(), 6);
}

#[test]
fn a_correction_wins_and_the_row_it_corrects_does_not_come_back() {
    let (_dir, store) = store();
    add(&store, file("a.csv", vec![reading("QV-1", 0, 8.0)]));
    let corrected = add(&store, file("b.csv", vec![reading("qv 1", 0, 9.0)]));
    assert_eq!((corrected.replaced, corrected.new), (1, 0));
    let again = add(&store, file("a.csv", vec![reading("QV-1", 0, 8.0)]));
    assert_eq!(again.counts.already_stored, 1);
    let fleet = store.fleet().unwrap();
    assert_eq!(permeates(&fleet, "QV-1"), [9.0]);
    assert_eq!(fleet.rows, counts(3, 2, 1, 0));
}

#[test]
fn within_a_file_the_lower_row_wins() {
    let (_dir, store) = store();
    let rows = [8.0, 9.0, 8.0].map(|ppm| reading("QV-1", 0, ppm));
    let outcome = add(&store, file("a.csv", rows.to_vec()));
    assert_eq!((outcome.new, outcome.replaced), (1, 1));
    assert_eq!(outcome.counts, counts(3, 2, 1, 0));
    assert_eq!(permeates(&store.fleet().unwrap(), "QV-1"), [9.0]);
}

#[test]
fn spellings_are_one_van_shown_as_it_is_mostly_written() {
    let (_dir, store) = store();
    let names = ["qv 1", "QV-1", "QV-1", "QV_O1"];
    let rows = names.iter().zip(0..).map(|(van, i)| reading(van, i, 5.0));
    add(&store, file("a.csv", rows.collect()));
    let fleet = store.fleet().unwrap();
    let vans: Vec<&str> = fleet.histories.iter().map(|h| &*h.van).collect();
    assert_eq!(vans, ["QV-1", "QV_O1"]);
    assert!(
        fleet.histories[0]
            .readings
            .iter()
            .all(|r| &*r.van == "QV-1")
    );
}

#[test]
fn a_van_list_sets_rows_aside_and_a_longer_one_brings_them_back() {
    let (_dir, store) = store();
    add(
        &store,
        file(
            "a.csv",
            vec![reading("QX 9", 0, 8.0), reading("QV-1", 0, 8.0)],
        ),
    );
    add(&store, file("vans.csv", vec![listed("QV-1")]));
    let fleet = store.fleet().unwrap();
    assert!(fleet.has_van_list);
    assert_eq!(fleet.histories.len(), 1);
    assert_eq!(fleet.rows, counts(3, 2, 0, 1));
    let aside = store.set_aside().unwrap();
    assert_eq!(aside[0].reason, "van \"QX 9\" is not in the van list");
    assert_eq!(aside[0].text, &*text_of(&reading("QX 9", 0, 8.0)));
    assert_eq!((aside[0].file.as_str(), aside[0].line), ("a.csv", Some(2)));

    // Another row of that van, twice: listed once.
    let more = || file("b.csv", vec![reading("QX 9", 1, 7.0)]);
    let outcome = add(&store, more());
    assert_eq!(outcome.unknown_vans, [("QX 9".to_owned(), 1)]);
    assert_eq!(outcome.counts, counts(1, 0, 0, 1));
    assert_eq!(add(&store, more()).counts, counts(1, 0, 0, 1));
    assert_eq!(assert_adds_up(&store), counts(4, 2, 0, 2));

    add(&store, file("vans2.csv", vec![listed("QX-9")]));
    let fleet = store.fleet().unwrap();
    assert_eq!(permeates(&fleet, "QX-9"), [8.0, 7.0]);
    assert_eq!(fleet.rows, counts(5, 5, 0, 0));
    assert_eq!(add(&store, more()).counts, counts(1, 0, 1, 0));
}

#[test]
fn rows_of_an_unlisted_van_keep_the_order_of_ingest() {
    let (_dir, store) = store();
    add(&store, file("vans.csv", vec![listed("QV-1")]));
    add(&store, file("a.csv", vec![reading("QX-9", 0, 8.0)]));
    add(&store, file("b.csv", vec![reading("QX-9", 0, 9.0)]));
    // Equal to an earlier version, from another file: counted, does not win.
    let rows = vec![reading("QX-9", 0, 8.0), reading("QV-1", 0, 5.0)];
    add(&store, file("c.csv", rows));
    assert_eq!(assert_adds_up(&store), counts(5, 2, 0, 3));
    add(&store, file("vans2.csv", vec![listed("QX-9")]));
    let fleet = store.fleet().unwrap();
    assert_eq!(permeates(&fleet, "QX-9"), [9.0]);
    assert_eq!(fleet.rows, counts(6, 5, 1, 0));
}

#[test]
fn a_row_set_aside_again_is_listed_once() {
    let (_dir, store) = store();
    let bad = || {
        file_with(
            "a.csv",
            vec![reading("QV-1", 0, 8.0)],
            vec![(Some(9), "QV-1,x")],
        )
    };
    add(&store, bad());
    assert_eq!(add(&store, bad()).counts, counts(2, 0, 1, 1));
    assert_eq!(assert_adds_up(&store), counts(3, 1, 1, 1));
    // The same bytes under another name are the same rows.
    add(
        &store,
        FileRows {
            name: "copy.csv".to_owned(),
            ..bad()
        },
    );
    assert_eq!(assert_adds_up(&store), counts(4, 1, 2, 1));
    assert_eq!(store.set_aside().unwrap()[0].file, "copy.csv");
    // The same line in another file is another row.
    add(
        &store,
        file_with("b.csv", vec![], vec![(Some(9), "QV-1,x")]),
    );
    assert_eq!(assert_adds_up(&store), counts(5, 1, 2, 2));
}

#[test]
fn a_row_that_an_option_makes_readable_leaves_the_list() {
    let (_dir, store) = store();
    let accepted = file(
        "a.csv",
        vec![reading("QV-1", 0, 8.0), reading("QV-1", 1, 8.0)],
    );
    let unreadable = FileRows {
        rows: vec![],
        set_aside: accepted
            .rows
            .iter()
            .map(|(line, _, text)| SetAside {
                file: "a.csv".to_owned(),
                line: Some(*line),
                reason: "day or month first?".to_owned(),
                text: text.to_string(),
            })
            .collect(),
        ..accepted.clone()
    };
    add(&store, unreadable);
    assert_eq!(assert_adds_up(&store), counts(2, 0, 0, 2));
    assert_eq!(add(&store, accepted).mended, 2);
    assert_eq!(assert_adds_up(&store), counts(2, 2, 0, 0));
}

#[test]
fn a_row_mended_in_its_file_leaves_the_list_and_others_stay() {
    let (_dir, store) = store();
    let good = reading("QV-1", 0, 8.0);
    let broken = text_of(&good).replace("8.0", "8.O");
    add(
        &store,
        file_with(
            "a.csv",
            vec![],
            vec![(Some(2), &broken), (Some(3), "a;b;c"), (None, "whole")],
        ),
    );
    let outcome = add(&store, file("a.csv", vec![good, reading("QV-1", 5, 7.0)]));
    assert_eq!(outcome.mended, 1);
    // Line 3 holds another row now: what stood there stays listed.
    let aside = store.set_aside().unwrap();
    assert_eq!(aside.len(), 1);
    assert_eq!(aside[0].text, "a;b;c");
    assert_eq!(assert_adds_up(&store), counts(3, 2, 0, 1));
}

#[test]
fn a_van_name_mended_in_its_file_leaves_the_list() {
    let (_dir, store) = store();
    add(&store, file("vans.csv", vec![listed("QV-1")]));
    add(&store, file("a.csv", vec![reading("QX-1", 0, 8.0)]));
    assert_eq!(
        add(&store, file("a.csv", vec![reading("QV-1", 0, 8.0)])).mended,
        1
    );
    assert_eq!(assert_adds_up(&store), counts(2, 2, 0, 0));
}

#[test]
fn what_an_interrupted_ingest_wrote_is_not_seen_and_is_cleared() {
    let (_dir, store) = store();
    add(&store, file("a.csv", vec![reading("QV-1", 0, 8.0)]));
    let mut writer = store.writer().unwrap();
    let rows = file_with("b.csv", vec![reading("QV-1", 1, 8.0)], vec![(Some(4), "x")]);
    writer.add_without_finishing(rows, Instant(T0)).unwrap();
    drop(writer);
    assert_eq!(assert_adds_up(&store), counts(1, 1, 0, 0));
    let unfinished = |name| {
        let table = Table::load(&store.worker, store.path(), name).unwrap();
        let parts = table.parts().unwrap();
        parts.iter().filter(|part| part.file_id == 2).count()
    };
    assert_eq!(unfinished(TableName::Readings), 1);
    assert_eq!(unfinished(TableName::SetAside), 1);
    drop(store.writer().unwrap());
    assert_eq!(unfinished(TableName::Readings), 0);
    assert_eq!(unfinished(TableName::SetAside), 0);
    // The next file goes in as if nothing had been.
    let next = add(&store, file("b.csv", vec![reading("QV-1", 1, 8.0)]));
    assert_eq!(next.new, 1);
    assert_eq!(assert_adds_up(&store), counts(2, 2, 0, 0));
}

#[test]
fn a_second_writer_is_told_to_wait_and_readers_are_not() {
    let (_dir, store) = store();
    let writer = store.writer().unwrap();
    let refused = store.writer().unwrap_err();
    assert!(matches!(refused, StoreError::Busy { .. }));
    assert!(refused.to_string().contains("try again"), "{refused}");
    assert_eq!(store.row_counts().unwrap(), RowCounts::default());
    drop(writer);
    store.writer().unwrap();
}

#[test]
fn a_folder_that_is_no_store_is_told_apart() {
    let dir = tempfile::tempdir().unwrap();
    let missing = Store::open(&dir.path().join("none")).unwrap_err();
    assert!(missing.to_string().contains("run `litrewise ingest` first"));

    std::fs::write(dir.path().join("letter.txt"), "x").unwrap();
    let other = Store::create_or_open(dir.path()).unwrap_err();
    assert!(matches!(other, StoreError::NotAStore { .. }));

    let newer = dir.path().join("newer");
    Store::create_or_open(&newer).unwrap();
    std::fs::write(newer.join(MARKER), "{\"format\": 3}").unwrap();
    for refused in [Store::open(&newer), Store::create_or_open(&newer)] {
        assert_eq!(
            refused.unwrap_err().to_string(),
            "store was written by a newer litrewise (format 3; this one reads 1): update litrewise"
        );
    }
    std::fs::write(newer.join(MARKER), "").unwrap();
    let unreadable = Store::open(&newer).unwrap_err();
    assert!(matches!(unreadable, StoreError::UnreadableMarker { .. }));
}

#[test]
fn a_store_whose_making_was_interrupted_is_finished() {
    let (dir, store) = store();
    let path = dir.path().join("store");
    std::fs::remove_file(path.join(MARKER)).unwrap();
    std::fs::remove_dir_all(path.join("files")).unwrap();
    std::fs::create_dir_all(path.join("files/_delta_log")).unwrap();
    drop(store);
    let store = Store::create_or_open(&path).unwrap();
    add(&store, file("a.csv", vec![reading("QV-1", 0, 8.0)]));
}

#[cfg(unix)]
#[test]
fn nobody_else_may_read_the_store() {
    use std::os::unix::fs::PermissionsExt;
    fn check(path: &Path) {
        let meta = std::fs::metadata(path).unwrap();
        let expected = if meta.is_dir() { 0o700 } else { 0o600 };
        assert_eq!(
            meta.permissions().mode() & 0o777,
            expected,
            "{}",
            path.display()
        );
        if meta.is_dir() {
            for entry in std::fs::read_dir(path).unwrap() {
                check(&entry.unwrap().path());
            }
        }
    }
    let (_dir, store) = store();
    add(
        &store,
        file_with("all.csv", every_kind(), vec![(Some(9), "x")]),
    );
    check(store.path());
}

#[test]
fn many_commits_are_summed_up_and_stay_readable() {
    let (_dir, store) = store();
    let mut writer = store.writer().unwrap();
    for i in 0..103 {
        let rows = vec![reading("QV-1", i, 5.0)];
        writer
            .add(file(&format!("{i}.csv"), rows), Instant(T0))
            .unwrap();
    }
    drop(writer);
    let log = store.path().join("readings/_delta_log");
    assert!(log.join("_last_checkpoint").exists());
    let fleet = store.fleet().unwrap();
    assert_eq!(fleet.histories[0].readings.len(), 103);
    assert_eq!(fleet.rows, counts(103, 103, 0, 0));
}

#[test]
fn an_export_holds_every_value_as_it_was_and_no_formula() {
    let (dir, store) = store();
    add(&store, file("all.csv", every_kind()));
    let out = dir.path().join("out");
    let tz = TimeZone::get("Europe/London").unwrap();
    store.export(&out, &tz).unwrap();
    let text = |name: &str| std::fs::read_to_string(out.join(name)).unwrap();
    assert_eq!(
        text("readings.csv"),
        "van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm,water_c,feed_bar,permeate_lpm,concentrate_lpm\r\n\
         QV-1,2026-09-21T15:13:20+01:00,QA3,203.5,8.25,,,,,\r\n"
    );
    assert_eq!(
        text("fills.csv"),
        "van,started_at,ended_at,postcode,litres,meter_litres,reject_litres,source\r\n\
         QV-1,2026-09-21,,,350,,0.30000000000000004,bought_in\r\n\
         QV-1,2026-09-21,,,20,,0.30000000000000004,bought_in\r\n"
    );
    assert_eq!(
        text("services.csv"),
        "van,done_at,item,quantity,cost,part,note\r\n\
         QV-1,2026-03-02,resin,11,-4.5,\"'=batch \"\"7\"\", fresh\",\"''+1 sack\nleft over\"\r\n\
         QV-1,2026-09-21T15:13:20.000001+01:00,resin,11,-4.5,\"'=batch \"\"7\"\", fresh\",\"''+1 sack\nleft over\"\r\n"
    );
    assert_eq!(
        text("vans.csv"),
        "van,base_postcode,tank_litres,membranes,resin_litres,in_service_on,out_of_service_on,from\r\n\
         QV-1,QA3,400,1,11,,,\r\n"
    );
    assert_eq!(
        text("hardness.csv"),
        "postcode,hardness,unit,source,as_of\r\nQA3,19.8,clark,,2026-01-01\r\n"
    );
}

#[test]
fn the_order_of_files_is_irrelevant_unless_two_rows_share_a_key() {
    let files = || {
        vec![
            file(
                "a.csv",
                vec![reading("QV-1", 0, 8.0), reading("QV-2", 0, 8.0)],
            ),
            file(
                "b.csv",
                vec![reading("qv1", 1, 9.0), reading("QX-9", 3, 1.0)],
            ),
            file("vans.csv", vec![listed("QV-1"), listed("QV-2")]),
        ]
    };
    let mut seen: Vec<(Vec<Record>, RowCounts)> = Vec::new();
    for order in [[0, 1, 2], [2, 1, 0], [1, 2, 0]] {
        let (_dir, store) = store();
        for i in order {
            add(&store, files().remove(i));
        }
        let fleet = store.fleet().unwrap();
        seen.push((records(&fleet), fleet.rows));
    }
    assert_eq!(seen[0], seen[1]);
    assert_eq!(seen[0], seen[2]);
}

#[test]
fn names_are_shared_between_the_rows_of_a_van() {
    let (_dir, store) = store();
    add(
        &store,
        file("a.csv", (0..3).map(|i| reading("QV-1", i, 5.0)).collect()),
    );
    let fleet = store.fleet().unwrap();
    let history = &fleet.histories[0];
    assert!(
        history
            .readings
            .iter()
            .all(|r| Arc::ptr_eq(&r.van, &history.van))
    );
}
