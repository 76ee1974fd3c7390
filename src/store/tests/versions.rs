use super::super::partition::Held;
use super::*;

/// So many rows are held, and beyond them no bytes.
fn held_up_to(rows: usize) -> Held {
    Held {
        rows,
        bytes: if rows > 1_000 { usize::MAX } else { 0 },
        together: rows.min(1_000),
    }
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

/// A file too long for memory gives the same store as one that is not.
#[test]
fn a_file_laid_down_in_heaps_is_judged_as_one_in_memory() {
    let mut rows: Vec<Record> = Vec::new();
    for i in 0..400i64 {
        // Five months, seven vans, one of them unlisted; corrections and
        // repeats far apart.
        let van = format!("QV-{}", i % 7);
        rows.push(reading(&van, i % 90 * 40, (i % 3) as f64));
    }
    let mut ends = Vec::new();
    for held in [usize::MAX, 100, 30, 7] {
        let (_dir, store) = store();
        add(&store, file("early.csv", rows[50..150].to_vec()));
        let vans = (0..6).map(|i| listed(&format!("QV-{i}"))).collect();
        add(&store, file("vans.csv", vans));
        let set_aside = (500..560).map(|line| (Some(line), "QV-1,x")).collect();
        let whole = file_with("whole.csv", rows.clone(), set_aside);
        let mut outcomes = Vec::new();
        for _ in 0..2 {
            let mut writer = store.writer().unwrap();
            writer.held = held_up_to(held);
            let head = FileHead {
                name: whole.name.clone(),
                sha256: whole.sha256.clone(),
                bytes: whole.bytes,
            };
            let mut taking = writer.begin(head, Instant(T0)).unwrap();
            for (rows, set_aside) in whole.rows.chunks(40).zip(whole.set_aside.chunks(6)) {
                let batch = RowBatch {
                    rows: rows.to_vec(),
                    set_aside: set_aside.to_vec(),
                    columns: Vec::new(),
                    mends: Vec::new(),
                };
                taking.take(batch).unwrap();
            }
            outcomes.push(taking.finish(FileTail::default()).unwrap());
            drop(writer);
            let counts = assert_adds_up(&store);
            ends.push((counts, records(&store.fleet().unwrap())));
        }
        let left: Vec<_> = std::fs::read_dir(store.path()).unwrap().collect();
        assert_eq!(left.len(), TableName::ALL.len() + 2, "{left:?}");
        assert_eq!(outcomes[0].unknown_vans.len(), 1);
        assert_eq!(outcomes[1].counts.stored, 0, "{outcomes:?}");
    }
    for pair in ends.chunks(2).collect::<Vec<_>>().windows(2) {
        assert_eq!(pair[0], pair[1]);
    }
}

#[test]
fn a_file_that_is_given_up_leaves_nothing_behind() {
    let (_dir, store) = store();
    let mut writer = store.writer().unwrap();
    writer.held = held_up_to(3);
    let rows = file_with(
        "a.csv",
        (0..9).map(|i| reading("QV-1", i, 5.0)).collect(),
        vec![(Some(11), "x")],
    );
    let head = FileHead {
        name: rows.name.clone(),
        sha256: rows.sha256.clone(),
        bytes: 1,
    };
    let mut taking = writer.begin(head, Instant(T0)).unwrap();
    let batch = RowBatch {
        rows: rows.rows.clone(),
        set_aside: rows.set_aside.clone(),
        columns: Vec::new(),
        mends: Vec::new(),
    };
    taking.take(batch).unwrap();
    assert!(store.path().join("being-read").exists());
    drop(taking);
    fn files(folder: &Path, found: &mut Vec<String>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                files(&path, found);
            } else if !path.to_string_lossy().contains("_delta_log") {
                found.push(path.file_name().unwrap().to_string_lossy().into_owned());
            }
        }
    }
    let mut found = Vec::new();
    files(store.path(), &mut found);
    found.sort();
    assert_eq!(found, ["ingest.lock", "litrewise.json"]);
    assert_eq!(writer.add(rows, Instant(T0)).unwrap().new, 9);
}

#[test]
fn a_thousand_versions_of_one_record_are_told_apart_quickly() {
    let (_dir, store) = store();
    let rows: Vec<Record> = (0..4_000)
        .map(|i| reading("QV-1", 0, f64::from(i % 2_000)))
        .collect();
    let outcome = add(&store, file("a.csv", rows.clone()));
    assert_eq!(outcome.counts, counts(4_000, 2_000, 2_000, 0));
    let again = add(&store, file("b.csv", rows));
    assert_eq!(again.counts, counts(4_000, 0, 4_000, 0));
    assert_eq!(permeates(&store.fleet().unwrap(), "QV-1"), [1_999.0]);
}

/// The order of ingest counts, not the clock, which may be set back.
#[test]
fn a_clock_that_goes_backwards_changes_nothing() {
    let (_dir, store) = store();
    let mut writer = store.writer().unwrap();
    for (hours, ppm) in [(0, 8.0), (-9000, 9.0), (-9001, 10.0)] {
        let rows = vec![reading("QV-1", 0, ppm)];
        let name = format!("{ppm}.csv");
        writer
            .add(file(&name, rows), Instant(T0 + hours * HOUR))
            .unwrap();
    }
    drop(writer);
    assert_eq!(permeates(&store.fleet().unwrap(), "QV-1"), [10.0]);
    assert_eq!(assert_adds_up(&store), counts(3, 3, 0, 0));
}
