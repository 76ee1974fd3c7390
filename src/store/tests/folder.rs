use super::*;

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
        let table = Table::load(store.path(), name).unwrap();
        let parts = table.parts();
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
    drop(store);
    let again = Store::open(&path).unwrap().fleet().unwrap();
    assert_eq!(records(&again), [reading("QV-1", 0, 8.0)]);
    assert_eq!(again.rows, counts(1, 1, 0, 0));
}

#[test]
#[cfg(unix)]
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
fn a_store_whose_making_was_cut_off_is_made_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("store");
    std::fs::create_dir(&path).unwrap();
    std::fs::write(path.join("litrewise.json"), "").unwrap();
    std::fs::write(path.join("litrewise.json.new"), "{\"fo").unwrap();
    drop(Store::create_or_open(&path).unwrap());
    drop(Store::open(&path).unwrap());
    assert!(!path.join("litrewise.json.new").exists());
}
