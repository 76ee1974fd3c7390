use super::*;

fn commit_of(store: &Store, table: &str, version: u64) -> PathBuf {
    let log = store.path().join(table).join(LOG_FOLDER);
    log.join(format!("{version:020}.json"))
}

/// Whatever another program commits to a table, before we open it or while we
/// write: our rows come behind it.
#[test]
fn commits_of_another_program_stay_and_ours_follow() {
    let (_dir, store) = store();
    add(&store, file("1.csv", vec![reading("QV-1", 0, 5.0)]));
    let other = concat!(
        r#"{"commitInfo":{"timestamp":1795700000000,"operation":"WRITE"}}"#,
        "\n",
        r#"{"txn":{"appId":"other","version":1,"lastUpdated":1795700000000}}"#,
    );
    let mut writer = store.writer().unwrap();
    std::fs::write(commit_of(&store, "readings", 2), other).unwrap();
    let second = file("2.csv", vec![reading("QV-1", 50, 6.0)]);
    writer.add(second, Instant(T0)).unwrap();
    assert!(commit_of(&store, "readings", 3).is_file());
    drop(writer);
    add(&store, file("3.csv", vec![reading("QV-1", 100, 7.0)]));
    assert!(commit_of(&store, "readings", 4).is_file());
    assert_eq!(
        std::fs::read(commit_of(&store, "readings", 2)).unwrap(),
        other.as_bytes()
    );
    assert_eq!(store.check().unwrap().damage, []);
    assert_eq!(store.row_counts().unwrap(), counts(3, 3, 0, 0));
}

/// A table that another program has given settings is committed to by the
/// library, which refuses what it does not know how to do.
#[test]
fn a_table_that_was_changed_is_left_to_the_library() {
    let (_dir, store) = store();
    let first = std::fs::read_to_string(commit_of(&store, "readings", 0)).unwrap();
    let metadata = first
        .lines()
        .find(|line| line.starts_with("{\"metaData\""))
        .unwrap();
    let protocol = r#"{"protocol":{"minReaderVersion":3,"minWriterVersion":7,"readerFeatures":["unheardOf"],"writerFeatures":["unheardOf"]}}"#;
    let other = format!("{protocol}\n{metadata}\n");
    std::fs::write(commit_of(&store, "readings", 1), other).unwrap();
    let mut writer = store.writer().unwrap();
    let refused = writer.add(file("1.csv", vec![reading("QV-1", 0, 5.0)]), Instant(T0));
    assert!(refused.is_err());
    drop(writer);
    assert!(!commit_of(&store, "readings", 2).is_file());
    assert_eq!(store.files().unwrap(), []);
}
