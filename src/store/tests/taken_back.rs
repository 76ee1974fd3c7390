use super::*;

fn act(store: &Store, file_id: u64, action: Action) -> bool {
    let mut writer = store.writer().unwrap();
    let changed = writer.act(file_id, action, Instant(T0), "someone").unwrap();
    drop(writer);
    assert_adds_up(store);
    changed
}

/// Everything a reader sees.
fn seen(store: &Store) -> (RowCounts, Vec<Record>, Vec<SetAside>) {
    let fleet = store.fleet().unwrap();
    (fleet.rows, records(&fleet), store.set_aside().unwrap())
}

#[test]
fn a_file_goes_out_and_comes_back_and_both_are_on_record() {
    let (_dir, store) = store();
    add(&store, file("a.csv", vec![reading("QV-1", 0, 8.0)]));
    let before = seen(&store);
    add(
        &store,
        file_with("b.csv", every_kind(), vec![(Some(90), "x"), (None, "y")]),
    );
    let with_both = seen(&store);
    assert!(act(&store, 2, Action::TakenBack));
    assert!(!act(&store, 2, Action::TakenBack), "it is out already");
    assert_eq!(seen(&store), before);
    assert!(act(&store, 2, Action::PutBack));
    assert_eq!(seen(&store), with_both);
    let deeds = store.undone().unwrap();
    let told: Vec<_> = deeds.iter().map(|d| (d.file_id, d.action.word())).collect();
    assert_eq!(told, [(2, "taken back"), (2, "put back")]);
    assert_eq!(
        (deeds[0].by.as_str(), deeds[0].at),
        ("someone", Instant(T0))
    );
    assert_eq!(store.files().unwrap().len(), 2);
    let unknown = store
        .writer()
        .unwrap()
        .act(3, Action::PutBack, Instant(T0), "");
    assert!(matches!(
        unknown,
        Err(StoreError::NoSuchFile { file_id: 3 })
    ));
}

#[test]
fn rows_that_were_already_stored_stay_when_the_first_file_goes() {
    let (_dir, store) = store();
    let rows = || vec![reading("QV-1", 0, 8.0), reading("QV-1", 1, 9.0)];
    add(&store, file("a.csv", rows()));
    let mut more = rows();
    more.push(reading("QV-1", 2, 7.0));
    let second = add(&store, file("b.csv", more));
    assert_eq!(second.counts, counts(3, 1, 2, 0));
    act(&store, 1, Action::TakenBack);
    // What is left is what a store would hold that never saw the first file.
    assert_eq!(store.row_counts().unwrap(), counts(3, 3, 0, 0));
    assert_eq!(permeates(&store.fleet().unwrap(), "QV-1"), [8.0, 9.0, 7.0]);
    // A third file still finds them there.
    let third = add(&store, file("c.csv", rows()));
    assert_eq!(third.counts, counts(2, 0, 2, 0));
    act(&store, 2, Action::TakenBack);
    assert_eq!(store.row_counts().unwrap(), counts(2, 2, 0, 0));
    act(&store, 3, Action::TakenBack);
    assert_eq!(store.row_counts().unwrap(), RowCounts::default());
    for id in [2, 1, 3] {
        act(&store, id, Action::PutBack);
    }
    assert_eq!(store.row_counts().unwrap(), counts(7, 3, 4, 0));
}

#[test]
fn a_correction_that_goes_lets_the_older_version_hold_again() {
    let (_dir, store) = store();
    add(&store, file("a.csv", vec![reading("QV-1", 0, 8.0)]));
    add(&store, file("b.csv", vec![reading("QV-1", 0, 9.0)]));
    add(&store, file("a-again.csv", vec![reading("QV-1", 0, 8.0)]));
    let shown = |store: &Store| permeates(&store.fleet().unwrap(), "QV-1");
    assert_eq!(shown(&store), [9.0]);
    act(&store, 2, Action::TakenBack);
    assert_eq!(shown(&store), [8.0]);
    act(&store, 2, Action::PutBack);
    // Without the first file the repeat is a version of its own, the newest.
    act(&store, 1, Action::TakenBack);
    assert_eq!(shown(&store), [8.0]);
    assert_eq!(store.row_counts().unwrap(), counts(2, 2, 0, 0));
}

#[test]
fn what_a_file_mended_is_listed_again_when_it_goes() {
    let (_dir, store) = store();
    let bad = |name: &str| file_with(name, vec![], vec![(Some(2), "QV-1,8.O"), (Some(3), "z")]);
    add(&store, bad("a.csv"));
    let mended = FileRows {
        sha256: "mended".to_owned(),
        rows: vec![(2, reading("QV-1", 0, 8.0), "QV-1,8.0".into())],
        ..file("a.csv", vec![])
    };
    add(&store, bad("a.csv"));
    assert_eq!(add(&store, mended).mended, 1);
    assert_eq!(store.row_counts().unwrap(), counts(2, 1, 0, 1));
    // The second reading of the same file replaced the first: whichever
    // goes, its rows are listed once.
    act(&store, 2, Action::TakenBack);
    assert_eq!(store.row_counts().unwrap(), counts(2, 1, 0, 1));
    act(&store, 3, Action::TakenBack);
    assert_eq!(store.row_counts().unwrap(), counts(2, 0, 0, 2));
    act(&store, 2, Action::PutBack);
    assert_eq!(store.row_counts().unwrap(), counts(2, 0, 0, 2));
    act(&store, 3, Action::PutBack);
    assert_eq!(store.row_counts().unwrap(), counts(2, 1, 0, 1));
}

#[test]
fn a_van_list_that_goes_takes_its_judgement_with_it() {
    let (_dir, store) = store();
    add(&store, file("vans.csv", vec![listed("QV-1")]));
    let rows = || vec![reading("QX-9", 0, 8.0), reading("QV-1", 0, 5.0)];
    add(&store, file("a.csv", rows()));
    add(&store, file("a.csv", rows()));
    assert_eq!(store.row_counts().unwrap(), counts(4, 2, 1, 1));
    // Listed already by the first reading: the second one's when that goes.
    act(&store, 2, Action::TakenBack);
    assert_eq!(store.row_counts().unwrap(), counts(3, 2, 0, 1));
    act(&store, 1, Action::TakenBack);
    let fleet = store.fleet().unwrap();
    assert_eq!(fleet.rows, counts(2, 2, 0, 0));
    assert!(!fleet.has_van_list);
}

/// Whatever goes and comes back in whatever order, the end is the same.
#[test]
fn the_order_of_going_and_coming_back_does_not_matter() {
    let (_dir, store) = store();
    let some = |from: i64, to: i64, ppm: f64| {
        (from..to)
            .map(|i| reading(&format!("QV-{}", i % 3), i / 3 * 300, ppm))
            .collect::<Vec<_>>()
    };
    add(&store, file("a.csv", some(0, 12, 8.0)));
    add(
        &store,
        file_with("b.csv", some(6, 18, 8.0), vec![(Some(99), "b")]),
    );
    add(&store, file("c.csv", some(3, 15, 9.0)));
    add(
        &store,
        file_with("b.csv", some(6, 20, 8.0), vec![(Some(99), "b")]),
    );
    add(
        &store,
        file("vans.csv", vec![listed("QV-0"), listed("QV-1")]),
    );
    let all = seen(&store);
    let mut state = 7u64;
    for _ in 0..15 {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        let action = [Action::TakenBack, Action::PutBack][(state >> 40) as usize % 2];
        act(&store, (state >> 33) % 5 + 1, action);
    }
    for id in 1..=5 {
        act(&store, id, Action::PutBack);
    }
    assert_eq!(seen(&store), all);
}
