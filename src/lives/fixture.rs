//! A small van for tests: one week after the other, all figures invented.

use std::sync::Arc;

use crate::calendar::{Date, DateExt, FixedOffset, TimeZone};

use super::days::days_after;
use super::types::{FleetLives, VanLives};
use crate::settings::Settings;
/// What an invented fleet is made of.
pub(crate) use crate::store::records;
use crate::store::records::{
    Fill, Fleet, Hardness, History, Instant, Item, Reading, Service, Source, Van, When,
};
use crate::water::HardnessUnit;

pub(crate) fn at(date: Date, hour: u32) -> Instant {
    let local = date.at(hour, 0, 0);
    Instant(FixedOffset::UTC.micros(local).unwrap_or(0))
}

pub(crate) fn settings() -> Settings {
    Settings {
        time_zone: TimeZone::UTC,
        ..Settings::default()
    }
}

pub(crate) fn reading(date: Date, feed: f64, permeate: f64, product: f64) -> Reading {
    Reading {
        feed_ppm: Some(feed),
        permeate_ppm: Some(permeate),
        product_ppm: Some(product),
        water_c: Some(12.0),
        ..Reading::of("QV-1".into(), at(date, 8))
    }
}

pub(crate) fn fill(date: Date, litres: f64) -> Fill {
    Fill {
        van: "QV-1".into(),
        started_at: at(date, 18),
        day_position: None,
        ended_at: None,
        postcode: Some("QA1 2CD".into()),
        litres: Some(litres),
        meter_litres: None,
        reject_litres: None,
        source: Source::Mains,
    }
}

pub(crate) fn service(date: Date, item: Item, quantity: Option<f64>) -> Service {
    Service {
        van: "QV-1".into(),
        done_at: When::Day(date),
        item,
        quantity,
        cost: None,
        part: None,
        note: None,
    }
}

pub(crate) fn listed(from: Option<Date>) -> Van {
    Van {
        van: "QV-1".into(),
        from,
        base_postcode: Some("QA1".into()),
        tank_litres: Some(400.0),
        membranes: Some(1),
        resin_litres: Some(10.0),
        in_service_on: None,
        out_of_service_on: None,
    }
}

pub(crate) fn published(postcode: &str, hardness: f64) -> Hardness {
    Hardness {
        postcode: postcode.into(),
        as_of: None,
        hardness,
        unit: HardnessUnit::MgLCaco3,
        source: None,
    }
}

/// `weeks` of a reading on Monday morning and five fills of 300 L, Monday to
/// Friday evening; `permeate` and `product` ppm by week.
pub(crate) fn weekly(
    first_monday: Date,
    weeks: i64,
    permeate: impl Fn(i64) -> f64,
    product: impl Fn(i64) -> f64,
) -> History {
    let mut history = History {
        van: Arc::from("QV-1"),
        ..History::default()
    };
    for week in 0..weeks {
        let monday = days_after(first_monday, 7 * week);
        // A tap that never reads quite the same.
        let feed = 300.0 + (week % 5) as f64;
        history
            .readings
            .push(reading(monday, feed, permeate(week), product(week)));
        for day in 0..5 {
            history.fills.push(fill(days_after(monday, day), 300.0));
        }
    }
    history
}

pub(crate) fn fleet(history: History) -> Fleet {
    Fleet {
        has_van_list: !history.listed.is_empty(),
        histories: vec![history],
        hardness: vec![published("QA1", 200.0)],
        ..Fleet::default()
    }
}

/// The lives of a fleet's only van.
pub(crate) fn only_van(fleet: &Fleet, as_of: Date) -> VanLives {
    let FleetLives { mut vans, .. } = super::cut(fleet, as_of, &settings());
    assert_eq!(vans.len(), 1, "one van in service expected");
    vans.remove(0)
}
