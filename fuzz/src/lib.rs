//! What holds of every file read, and of the settings.

#![allow(dead_code)]

pub use litrewise::inside::{ingest, settings, store, water};

use ingest::Options;
use store::records::{FileRows, Instant, Record, When};

/// 2026-11-25.
pub const TODAY: litrewise::inside::calendar::Date =
    litrewise::inside::calendar::date(2026, 11, 25);

fn options() -> Options {
    Options::new(litrewise::inside::calendar::TimeZone::LONDON, TODAY)
}

/// Reads the bytes and makes sure of what every reading promises.
pub fn read(bytes: &[u8]) -> Option<FileRows> {
    let file = ingest::read_bytes(bytes, "yard.csv", &options()).ok()?;
    let rows = file.rows.len() + file.set_aside.len();
    let word = if rows == 1 { "row" } else { "rows" };
    assert!(
        file.recognised.ends_with(&format!(" {rows} {word}")),
        "{}",
        file.recognised
    );
    for (_, record, _) in &file.rows {
        check(record);
    }
    for row in &file.set_aside {
        assert!(!row.reason.is_empty() && row.line.is_some());
    }
    Some(file)
}

fn check(record: &Record) {
    match record {
        Record::Reading(r) => {
            happened(r.taken_at);
            let ppm = [r.feed_ppm, r.permeate_ppm, r.product_ppm];
            assert!(ppm.iter().any(Option::is_some));
            ppm.into_iter()
                .flatten()
                .for_each(|v| within(v, 0.0, 2_000.0));
            [
                (r.water_c, 35.0),
                (r.feed_bar, 16.0),
                (r.permeate_lpm, 60.0),
                (r.concentrate_lpm, 60.0),
            ]
            .into_iter()
            .for_each(|(v, most)| v.into_iter().for_each(|v| within(v, 0.0, most)));
        }
        Record::Fill(f) => {
            happened(f.started_at);
            assert!(f.litres.is_some() || f.meter_litres.is_some());
            f.litres.into_iter().for_each(|v| within(v, 1.0, 20_000.0));
            [f.meter_litres, f.reject_litres]
                .into_iter()
                .flatten()
                .for_each(|v| within(v, 0.0, f64::MAX));
            if let Some(end) = f.ended_at {
                assert!((0..=86_400_000_000).contains(&(end.0 - f.started_at.0)));
            }
        }
        Record::Service(s) => {
            if let When::At(at) = s.done_at {
                happened(at);
            }
            s.quantity.into_iter().for_each(|v| within(v, 0.0, 2_000.0));
            s.cost
                .into_iter()
                .for_each(|v| within(v, f64::MIN, f64::MAX));
        }
        Record::Van(v) => {
            v.tank_litres
                .into_iter()
                .for_each(|x| within(x, 0.0, f64::MAX));
            v.resin_litres
                .into_iter()
                .for_each(|x| within(x, 0.0, f64::MAX));
        }
        Record::Hardness(h) => within(h.unit.to_mg_l_caco3(h.hardness), 0.0, 1_500.0),
    }
    if let Some(van) = van(record) {
        assert!(!van.trim().is_empty() && van.chars().count() <= 80);
    }
}

fn van(record: &Record) -> Option<&str> {
    match record {
        Record::Reading(r) => Some(&r.van),
        Record::Fill(f) => Some(&f.van),
        Record::Service(s) => Some(&s.van),
        Record::Van(v) => Some(&v.van),
        Record::Hardness(_) => None,
    }
}

fn within(value: f64, least: f64, most: f64) {
    assert!(
        value.is_finite() && (least..=most).contains(&value),
        "{value}"
    );
}

/// Between the year 2000 and the end of today, a day of offsets allowed for.
fn happened(at: Instant) {
    let day = 86_400_000_000;
    assert!(
        (946_684_800_000_000 - day..1_795_651_200_000_000 + day).contains(&at.0),
        "{}",
        at.0
    );
}
