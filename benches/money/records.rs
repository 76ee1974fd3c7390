//! What a driven fleet wrote down, as the store would hand it out.

use std::collections::BTreeMap;
use std::sync::Arc;

use litrewise::inside::calendar::{DateTime, TimeZone};
use litrewise::inside::demo::SimulatedFleet;
use litrewise::inside::settings::Settings;
use litrewise::inside::store::records::{
    Fill, Fleet, Hardness, History, Instant, Item, Reading, Service, Source, Van, When,
};
use litrewise::inside::water::HardnessUnit;

fn instant(at: DateTime, zone: &TimeZone) -> Instant {
    Instant(zone.micros(at).expect("a moment").0)
}

pub fn fleet_of(rows: &SimulatedFleet, settings: &Settings) -> Fleet {
    let zone = &settings.time_zone;
    let mut histories: BTreeMap<Arc<str>, History> = rows
        .vans
        .iter()
        .map(|v| {
            let van: Arc<str> = v.van.as_str().into();
            let listed = Van {
                van: van.clone(),
                from: v.from,
                base_postcode: Some(v.base_postcode.as_str().into()),
                tank_litres: Some(v.tank_litres),
                membranes: Some(v.membranes),
                resin_litres: Some(v.resin_litres),
                in_service_on: v.in_service_on,
                out_of_service_on: None,
            };
            let history = History {
                van: van.clone(),
                listed: vec![listed],
                ..History::default()
            };
            (van, history)
        })
        .collect();
    for r in &rows.readings {
        let Some(history) = histories.get_mut(r.van.as_str()) else {
            continue;
        };
        let reading = Reading {
            feed_ppm: r.feed_ppm,
            permeate_ppm: r.permeate_ppm,
            product_ppm: r.product_ppm,
            water_c: r.water_c,
            ..Reading::of(history.van.clone(), instant(r.taken_at, zone))
        };
        history.readings.push(reading);
    }
    for f in &rows.fills {
        if let Some(history) = histories.get_mut(f.van.as_str()) {
            history.fills.push(Fill {
                van: history.van.clone(),
                started_at: instant(f.started_at, zone),
                day_position: None,
                ended_at: None,
                postcode: None,
                litres: f.litres,
                meter_litres: None,
                reject_litres: None,
                source: Source::Mains,
            });
        }
    }
    for s in &rows.services {
        let item = match s.item {
            "membrane" => Item::Membrane,
            "resin" => Item::Resin,
            _ => Item::Prefilter,
        };
        if let Some(history) = histories.get_mut(s.van.as_str()) {
            history.services.push(Service {
                van: history.van.clone(),
                done_at: When::Day(s.done_at),
                item,
                quantity: s.quantity,
                cost: None,
                part: None,
                note: None,
            });
        }
    }
    let mut hardness: Vec<Hardness> = rows
        .hardness
        .iter()
        .map(|h| Hardness {
            postcode: h.postcode.into(),
            as_of: h.as_of,
            hardness: h.hardness,
            unit: HardnessUnit::MgLCaco3,
            source: None,
        })
        .collect();
    hardness.sort_by(|a, b| a.postcode.cmp(&b.postcode));
    Fleet {
        histories: histories.into_values().collect(),
        hardness,
        has_van_list: true,
        ..Fleet::default()
    }
}
