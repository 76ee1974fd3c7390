use std::fs::File;

use arrow_array::{ArrayRef, RecordBatch, StringArray};
use arrow_ipc::writer::StreamWriter;
use arrow_schema::{DataType, Field, Schema};
use parquet::arrow::arrow_reader::ParquetRecordBatchReaderBuilder;
use parquet::arrow::arrow_writer::ArrowWriter;

use super::*;

/// A store with two spellings of a van, corrections, every kind of record.
fn mixed(with_list: bool) -> (tempfile::TempDir, Store) {
    let (dir, store) = store();
    let mut rows = every_kind();
    if !with_list {
        rows.retain(|row| !matches!(row, Record::Van(_)));
    }
    add(&store, file("all.csv", rows));
    let more = [("qv 1", 0, 9.0), ("QV-2", 0, 4.0), ("QV-1", 900, 8.5)];
    let more = more.map(|(van, hours, ppm)| reading(van, hours, ppm));
    add(&store, file("more.csv", more.to_vec()));
    let again = [("QV-1", 0, 8.25), ("qv2", 5, 4.5)].map(|(van, h, ppm)| reading(van, h, ppm));
    add(&store, file("again.csv", again.to_vec()));
    (dir, store)
}

fn summarised(store: &Store, into: &Path) -> Input {
    store.summarise(&mut File::create(into).unwrap()).unwrap();
    Input::File(into.to_owned())
}

fn assert_same(left: &Fleet, right: &Fleet) {
    assert_eq!(records(left), records(right));
    assert_eq!(left.rows, right.rows);
    assert_eq!(left.has_van_list, right.has_van_list);
    let names = |fleet: &Fleet| -> Vec<Arc<str>> {
        fleet.histories.iter().map(|h| h.van.clone()).collect()
    };
    assert_eq!(names(left), names(right));
}

#[test]
fn a_fleet_from_summaries_is_the_fleet_from_the_rows() {
    for with_list in [true, false] {
        let (dir, store) = mixed(with_list);
        let summaries = summarised(&store, &dir.path().join("vans.arrow"));
        let fleet = store.fleet_of_summaries(&[summaries]).unwrap();
        assert_same(&fleet, &store.fleet().unwrap());
        assert_eq!(fleet.rows.set_aside, if with_list { 2 } else { 0 });
    }
}

/// The store's rows as an engine that reads its Parquet files hands them over:
/// one table, as a stream and as Parquet, names as plain text.
fn handed_over(store: &Store, dir: &Path) -> Vec<Vec<Input>> {
    let (mut streams, mut tables) = (Vec::new(), Vec::new());
    for table in [TableName::Readings, TableName::Fills, TableName::Services] {
        for (n, part) in store.listed(table).unwrap().into_iter().enumerate() {
            let opened = File::open(&part.path).unwrap();
            let opened = ParquetRecordBatchReaderBuilder::try_new(opened).unwrap();
            for batch in opened.build().unwrap() {
                let batch = batch.unwrap();
                let mut fields: Vec<_> = batch.schema().fields().iter().cloned().collect();
                fields.push(Arc::new(Field::new("kind", DataType::Utf8, false)));
                let schema = Arc::new(Schema::new(fields));
                let kind: StringArray = vec![Some(table.folder()); batch.num_rows()].into();
                let mut columns = batch.columns().to_vec();
                columns.push(Arc::new(kind) as ArrayRef);
                let batch = RecordBatch::try_new(schema.clone(), columns).unwrap();
                let path = dir.join(format!("{}-{n}.arrow", table.folder()));
                let mut out = File::create(&path).unwrap();
                let mut stream = StreamWriter::try_new(&mut out, &schema).unwrap();
                stream.write(&batch).unwrap();
                stream.finish().unwrap();
                streams.push(Input::File(path));
                let path = dir.join(format!("{}-{n}.parquet", table.folder()));
                let out = File::create(&path).unwrap();
                let mut rows = ArrowWriter::try_new(out, schema, None).unwrap();
                rows.write(&batch).unwrap();
                rows.close().unwrap();
                tables.push(Input::File(path));
            }
        }
    }
    vec![streams, tables]
}

#[test]
fn rows_handed_over_are_summed_up_as_the_stores_own() {
    for with_list in [true, false] {
        let (dir, store) = mixed(with_list);
        // Rows of a file taken back, two of which a later file repeats; and
        // those of one that was never finished.
        let repeated = [("qv 1", 0, 9.0), ("QV-2", 0, 4.0)];
        let repeated = repeated.map(|(van, hours, ppm)| reading(van, hours, ppm));
        add(&store, file("repeated.csv", repeated.to_vec()));
        let mut writer = store.writer().unwrap();
        writer.act(2, Action::TakenBack, Instant(T0), "").unwrap();
        let never = file("never.csv", vec![reading("QV-3", 0, 4.0)]);
        writer.add_without_finishing(never, Instant(T0)).unwrap();
        drop(writer);
        let own = dir.path().join("own.arrow");
        summarised(&store, &own);
        for rows in handed_over(&store, dir.path()) {
            let mut theirs = Vec::new();
            store.summarise_rows(&rows, &mut theirs).unwrap();
            assert_eq!(theirs, std::fs::read(&own).unwrap());
        }
    }
}

#[test]
fn shares_of_the_vans_come_together_in_any_order() {
    let (dir, store) = mixed(false);
    let mut inputs = Vec::new();
    for (n, vans) in [["QV-2", "qv2"], ["QV-1", "qv 1"]].into_iter().enumerate() {
        let share = dir.path().join(format!("share-{n}"));
        let part = Store::create_or_open(&share).unwrap();
        for name in ["all.csv", "more.csv", "again.csv"] {
            let rows = match name {
                "all.csv" => every_kind(),
                "more.csv" => vec![
                    reading("qv 1", 0, 9.0),
                    reading("QV-2", 0, 4.0),
                    reading("QV-1", 900, 8.5),
                ],
                _ => vec![reading("QV-1", 0, 8.25), reading("qv2", 5, 4.5)],
            };
            let is_ours = |row: &Record| match row {
                Record::Reading(row) => vans.contains(&&*row.van),
                Record::Fill(row) => vans.contains(&&*row.van),
                Record::Service(row) => vans.contains(&&*row.van),
                Record::Van(_) | Record::Hardness(_) => false,
            };
            let rows: Vec<Record> = rows.into_iter().filter(is_ours).collect();
            add(&part, file(name, rows));
        }
        inputs.push(summarised(&part, &dir.path().join(format!("{n}.arrow"))));
    }
    let fleet = store.fleet_of_summaries(&inputs).unwrap();
    assert_eq!(records(&fleet), records(&store.fleet().unwrap()));
    inputs.push(inputs[0].clone());
    let twice = store.fleet_of_summaries(&inputs).unwrap_err().to_string();
    assert!(twice.contains("\"QV-2\" twice"), "{twice}");
}

#[test]
fn what_is_no_summary_is_named() {
    let (dir, store) = mixed(true);
    let path = dir.path().join("x");
    std::fs::write(&path, "van,taken_at\n").unwrap();
    let input = [Input::File(path.clone())];
    let error = store.fleet_of_summaries(&input).unwrap_err().to_string();
    assert!(error.contains("litrewise summarise"), "{error}");
    let error = store.summarise_rows(&input, &mut Vec::new()).unwrap_err();
    assert!(error.to_string().contains("neither"), "{error}");
    let rows = handed_over(&store, dir.path()).remove(0);
    let error = store.fleet_of_summaries(&rows).unwrap_err().to_string();
    assert!(error.contains("no summaries"), "{error}");
    let summaries = summarised(&store, &path);
    let error = store
        .summarise_rows(&[summaries], &mut Vec::new())
        .unwrap_err();
    assert!(error.to_string().contains("\"kind\""), "{error}");
    // cut off anywhere: an error or, at the very end, the whole
    let whole = std::fs::read(&path).unwrap();
    for length in (0..whole.len()).step_by(61) {
        std::fs::write(&path, &whole[..length]).unwrap();
        let read = store.fleet_of_summaries(&input);
        assert!(read.is_err() || length + 16 > whole.len(), "{length}");
    }
}
