//! The polluted files written out, each with what its rows mean and what became
//! of them here, so that another reader can be put beside.

use std::path::Path;

use litrewise::inside::calendar::TimeZone;
use litrewise::inside::store::records::{Instant, Record, Source, When};
use serde_json::{Map, Value, json};

use super::held::held;
use super::kinds::Kind;
use super::sheet::{Line, Sheet};
use super::slips::{self, Slip};
use super::{all_slips, published};

/// Every kind of pollution: its level, its name, its files and what may be said.
fn all_sheets() -> Vec<(
    &'static str,
    &'static str,
    &'static [&'static str],
    Vec<Sheet>,
)> {
    let of_kind = |kind: &'static Kind| (kind.level, kind.name, kind.reasons, kind.sheets());
    let of_slip = |slip: &'static Slip| ("everyday", slip.name, slip.reasons, slip.sheets());
    published::KINDS
        .iter()
        .map(of_kind)
        .chain(all_slips().map(of_slip))
        .collect()
}

#[test]
#[ignore = "writes thousands of files into LITREWISE_POLLUTED"]
fn write_the_polluted_files() {
    let out = std::env::var("LITREWISE_POLLUTED").expect("LITREWISE_POLLUTED names a folder");
    let out = Path::new(&out);
    std::fs::create_dir_all(out).unwrap();
    let mut told = Vec::new();
    for (level, name, reasons, sheets) in all_sheets() {
        for sheet in sheets {
            let file = format!("{:05}.csv", told.len());
            let (bytes, lines) = sheet.render();
            std::fs::write(out.join(&file), bytes).unwrap();
            let ours = held(&sheet, reasons);
            let rows: Vec<Value> = lines
                .iter()
                .filter(|(_, line)| !line.meanings.is_empty())
                .map(|(_, line)| meant(&sheet, line))
                .collect();
            told.push(json!({
                "file": file, "level": level, "kind": name, "rows": rows,
                "ours": {"loaded": ours.loaded, "set_aside": ours.set_aside, "wrong": ours.mistakes.len()},
            }));
        }
    }
    let (together, _) = slips::several(&super::repairable_slips(), super::SEVERAL);
    println!(
        "two or three at once: {} files, {} rows, {} loaded, {} set aside, {} wrong",
        together.files,
        together.rows,
        together.loaded,
        together.set_aside,
        together.mistakes.len()
    );
    std::fs::write(
        out.join("meant.json"),
        serde_json::to_string(&told).unwrap(),
    )
    .unwrap();
}

/// What a row means: for each column as the file heads it, the value, and how it
/// is written there.
fn meant(sheet: &Sheet, line: &Line) -> Value {
    let values = values(&line.meanings[0]);
    let mut row = Map::new();
    for (i, name) in sheet.names.iter().enumerate() {
        let (Some(header), Some(value)) = (sheet.headers.get(i), values.get(*name)) else {
            continue;
        };
        let written = line.cells.get(i).map(|cell| sheet.written(cell));
        row.insert(header.clone(), json!({"value": value, "written": written}));
    }
    Value::Object(row)
}

fn local(at: Instant) -> String {
    let zone = TimeZone::LONDON;
    let local = zone.local(at.0).unwrap();
    local.format("%Y-%m-%dT%H:%M:%S").to_string()
}

fn values(record: &Record) -> Map<String, Value> {
    let value = match record {
        Record::Reading(r) => json!({
            "van": &*r.van, "taken_at": local(r.taken_at), "postcode": r.postcode.as_deref(),
            "feed_ppm": r.feed_ppm, "permeate_ppm": r.permeate_ppm, "product_ppm": r.product_ppm,
            "water_c": r.water_c, "feed_bar": r.feed_bar, "permeate_lpm": r.permeate_lpm,
            "concentrate_lpm": r.concentrate_lpm,
        }),
        Record::Fill(f) => json!({
            "van": &*f.van, "started_at": local(f.started_at), "ended_at": f.ended_at.map(local),
            "postcode": f.postcode.as_deref(), "litres": f.litres, "meter_litres": f.meter_litres,
            "reject_litres": f.reject_litres, "source": match f.source { Source::Mains => "mains", Source::BoughtIn => "bought_in" },
        }),
        Record::Service(s) => json!({
            "van": &*s.van,
            "done_at": match s.done_at { When::Day(day) => day.to_string(), When::At(at) => local(at) },
            "item": s.item.word(), "quantity": s.quantity, "cost": s.cost,
            "part": s.part.as_deref(), "note": s.note.as_deref(),
        }),
        Record::Van(v) => json!({
            "van": &*v.van, "base_postcode": v.base_postcode.as_deref(), "tank_litres": v.tank_litres,
            "membranes": v.membranes, "resin_litres": v.resin_litres,
            "in_service_on": v.in_service_on.map(|d| d.to_string()),
            "out_of_service_on": v.out_of_service_on.map(|d| d.to_string()),
            "from": v.from.map(|d| d.to_string()),
        }),
        Record::Hardness(h) => json!({
            "postcode": &*h.postcode, "hardness": h.hardness, "unit": h.unit.word(),
            "source": h.source.as_deref(), "as_of": h.as_of.map(|d| d.to_string()),
        }),
    };
    match value {
        Value::Object(map) => map,
        other => panic!("{other}"),
    }
}
