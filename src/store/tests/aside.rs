use super::*;

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
                part: 0,
                file: "a.csv".to_owned(),
                line: Some(*line),
                reason: "day or month first?".to_owned(),
                text: text.to_string(),
                day_position: None,
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
