use super::*;

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
