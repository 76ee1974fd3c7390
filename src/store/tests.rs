#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod aside;
mod commits;
mod damage;
mod export;
mod folder;
mod summaries;
mod taken_back;
mod versions;

use std::path::Path;
use std::sync::Arc;

use crate::calendar::{TimeZone, date};

use super::records::*;
use super::*;

const T0: i64 = 1_790_000_000_000_000; // 2026-09-21T14:13:20Z
const HOUR: i64 = 3_600_000_000;

fn reading(van: &str, hours: i64, permeate_ppm: f64) -> Record {
    Record::Reading(Reading {
        postcode: Some("QA3".into()),
        feed_ppm: Some(203.5),
        permeate_ppm: Some(permeate_ppm),
        ..Reading::of(van.into(), Instant(T0 + hours * HOUR))
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
                part: 0,
                file: name.to_owned(),
                line,
                reason: "a reason".to_owned(),
                text: text.to_owned(),
                day_position: None,
            })
            .collect(),
        notes: vec![Note {
            line: Some(2),
            text: "µS/cm read as ppm".to_owned(),
        }],
        recognised: "comma".to_owned(),
        dialect: Dialect::default(),
    }
}

fn add(store: &Store, file: FileRows) -> FileOutcome {
    let mut writer = store.writer().unwrap();
    let outcome = writer.add(file, Instant(T0)).unwrap();
    assert_adds_up(store);
    outcome
}

/// rows read = stored + already stored + set aside, and the list is as long
/// as its count says.
fn assert_adds_up(store: &Store) -> RowCounts {
    let snapshot = store.snapshot().unwrap();
    let rows = snapshot.fleet().unwrap().rows;
    assert_eq!(
        rows.read,
        rows.stored + rows.already_stored + rows.set_aside
    );
    assert_eq!(snapshot.set_aside().unwrap().len() as u64, rows.set_aside);
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
