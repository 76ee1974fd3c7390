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

/// A line of a table's first commit, without the column `note`.
fn without_note(line: &str) -> String {
    use serde_json::Value;
    let cut = |metadata: &mut Value| {
        let mut schema: Value =
            serde_json::from_str(metadata["schemaString"].as_str().unwrap()).unwrap();
        let fields = schema["fields"].as_array_mut().unwrap();
        fields.retain(|field| field["name"] != "note");
        metadata["schemaString"] = schema.to_string().into();
    };
    let mut action: Value = serde_json::from_str(line).unwrap();
    if let Some(metadata) = action.get_mut("metaData") {
        cut(metadata);
    }
    if let Some(stated) = action.pointer_mut("/commitInfo/operationParameters/metadata") {
        let mut metadata: Value = serde_json::from_str(stated.as_str().unwrap()).unwrap();
        cut(&mut metadata);
        *stated = metadata.to_string().into();
    }
    action.to_string() + "\n"
}

/// A table made before a column came is described with it by the first commit that
/// adds to it; of older rows it is empty.
#[test]
fn a_table_of_an_earlier_litrewise_gets_the_columns_that_it_lacks() {
    let (_dir, store) = store();
    let first = commit_of(&store, "readings", 0);
    let said = std::fs::read_to_string(&first).unwrap();
    std::fs::write(&first, said.lines().map(without_note).collect::<String>()).unwrap();

    let noted = |hours| match reading("QV-1", hours, 6.0) {
        Record::Reading(reading) => Record::Reading(Reading {
            note: Some("tap was slow".into()),
            ..reading
        }),
        other => other,
    };
    add(&store, file("1.csv", vec![noted(0)]));
    assert_eq!(store.check().unwrap().damage, []);
    let fleet = store.fleet().unwrap();
    let notes = fleet.histories[0].readings.iter();
    let notes: Vec<_> = notes.map(|r| r.note.as_deref()).collect();
    assert_eq!(notes, [Some("tap was slow")]);
    let second = std::fs::read_to_string(commit_of(&store, "readings", 1)).unwrap();
    assert!(second.contains("metaData") && second.contains("note"));
    add(&store, file("2.csv", vec![noted(30)]));
    let third = std::fs::read_to_string(commit_of(&store, "readings", 2)).unwrap();
    assert!(!third.contains("metaData"));
}
