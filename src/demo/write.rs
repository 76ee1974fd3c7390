//! The invented fleet as five CSV files in the canonical columns.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use crate::calendar::DateTime;

use super::fleet::SimulatedFleet;

/// A file could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write {}", path.display())]
pub struct WriteError {
    pub path: PathBuf,
    pub source: csv::Error,
}

/// Writes `readings.csv`, `fills.csv`, `services.csv`, `vans.csv` and
/// `hardness.csv` into the folder `out`, which is made where it is missing.
/// The same fleet gives the same bytes.
///
/// # Errors
/// [`WriteError`] names the file or folder and carries the cause.
pub fn write_csv(fleet: &SimulatedFleet, out: &Path) -> Result<(), WriteError> {
    std::fs::create_dir_all(out).map_err(|e| WriteError {
        path: out.to_owned(),
        source: e.into(),
    })?;
    readings(fleet, out)?;
    fills(fleet, out)?;
    services(fleet, out)?;
    vans(fleet, out)?;
    hardness(fleet, out)
}

/// Writes what is true beside what was written down: `elements.csv`,
/// `charges.csv`, `districts.csv` in the folder `out`. Dates beyond what was
/// followed are empty.
///
/// # Errors
/// [`WriteError`] names the file or folder and carries the cause.
pub fn write_truth(fleet: &SimulatedFleet, out: &Path) -> Result<(), WriteError> {
    std::fs::create_dir_all(out).map_err(|e| WriteError {
        path: out.to_owned(),
        source: e.into(),
    })?;
    let day = |d: Option<crate::calendar::Date>| d.map(|d| d.to_string()).unwrap_or_default();
    let header = [
        "van",
        "fitted_on",
        "removed_on",
        "recorded",
        "litres",
        "salt_passage",
        "limit_on",
        "leaks_from",
        "pace_of_ageing",
    ];
    let rows = fleet.truth.iter().flat_map(|van| {
        van.elements
            .iter()
            .filter(|e| e.fitted_on.is_none_or(|d| d <= fleet.last_day))
            .map(|e| {
                [
                    van.van.clone(),
                    day(e.fitted_on),
                    day(e.removed_on),
                    e.recorded.to_string(),
                    number(Some(e.litres)),
                    format!("{:.5}", e.salt_passage),
                    day(e.limit_on),
                    day(e.leaks_from),
                    format!("{:.3}", e.temper),
                ]
            })
    });
    table(&out.join("elements.csv"), header, rows)?;
    let header = [
        "van",
        "changed_on",
        "removed_on",
        "recorded",
        "litres",
        "litres_left",
        "limit_at_litres",
        "limit_on",
    ];
    let rows = fleet.truth.iter().flat_map(|van| {
        van.charges
            .iter()
            .filter(|c| c.changed_on.is_none_or(|d| d <= fleet.last_day))
            .map(|c| {
                [
                    van.van.clone(),
                    day(c.changed_on),
                    day(c.removed_on),
                    c.recorded.to_string(),
                    number(Some(c.litres)),
                    number(c.limit_at_litres.map(|l| (l - c.litres).max(0.0).round())),
                    number(c.limit_at_litres.map(f64::round)),
                    day(c.limit_on),
                ]
            })
    });
    table(&out.join("charges.csv"), header, rows)?;
    let header = [
        "postcode",
        "vans",
        "hardness_mg_l_caco3",
        "membrane_life_litres",
        "membrane_life_days",
        "resin_life_litres",
    ];
    let rows = fleet.districts.iter().map(|d| {
        [
            d.postcode.to_owned(),
            d.vans.to_string(),
            format!("{:.1}", d.hardness_mg_l_caco3),
            number(d.membrane_life_litres.map(f64::round)),
            number(d.membrane_life_days),
            number(d.resin_life_litres.map(f64::round)),
        ]
    });
    table(&out.join("districts.csv"), header, rows)
}

fn readings(fleet: &SimulatedFleet, out: &Path) -> Result<(), WriteError> {
    let header = [
        "van",
        "taken_at",
        "postcode",
        "feed_ppm",
        "permeate_ppm",
        "product_ppm",
        "water_c",
        "feed_bar",
        "permeate_lpm",
        "concentrate_lpm",
    ];
    let rows = fleet.readings.iter().map(|r| {
        [
            r.van.clone(),
            time(r.taken_at),
            text(r.postcode.as_deref()),
            number(r.feed_ppm),
            number(r.permeate_ppm),
            number(r.product_ppm),
            number(r.water_c),
            number(r.feed_bar),
            number(r.permeate_lpm),
            number(r.concentrate_lpm),
        ]
    });
    table(&out.join("readings.csv"), header, rows)
}

fn fills(fleet: &SimulatedFleet, out: &Path) -> Result<(), WriteError> {
    let header = [
        "van",
        "started_at",
        "ended_at",
        "postcode",
        "litres",
        "meter_litres",
        "reject_litres",
        "source",
    ];
    let rows = fleet.fills.iter().map(|f| {
        [
            f.van.clone(),
            time(f.started_at),
            f.ended_at.map(time).unwrap_or_default(),
            text(f.postcode.as_deref()),
            number(f.litres),
            number(f.meter_litres),
            number(f.reject_litres),
            if f.bought_in { "bought_in" } else { "mains" }.to_owned(),
        ]
    });
    table(&out.join("fills.csv"), header, rows)
}

fn services(fleet: &SimulatedFleet, out: &Path) -> Result<(), WriteError> {
    let header = ["van", "done_at", "item", "quantity", "cost", "part", "note"];
    let rows = fleet.services.iter().map(|s| {
        [
            s.van.clone(),
            s.done_at.to_string(),
            s.item.to_owned(),
            number(s.quantity),
            s.cost.map(|c| format!("{c:.2}")).unwrap_or_default(),
            text(s.part),
            text(s.note),
        ]
    });
    table(&out.join("services.csv"), header, rows)
}

fn vans(fleet: &SimulatedFleet, out: &Path) -> Result<(), WriteError> {
    let header = [
        "van",
        "base_postcode",
        "tank_litres",
        "membranes",
        "resin_litres",
        "in_service_on",
        "out_of_service_on",
        "from",
    ];
    let rows = fleet.vans.iter().map(|v| {
        [
            v.van.clone(),
            v.base_postcode.clone(),
            number(Some(v.tank_litres)),
            v.membranes.to_string(),
            number(Some(v.resin_litres)),
            v.in_service_on.map(|d| d.to_string()).unwrap_or_default(),
            String::new(),
            v.from.map(|d| d.to_string()).unwrap_or_default(),
        ]
    });
    table(&out.join("vans.csv"), header, rows)
}

fn hardness(fleet: &SimulatedFleet, out: &Path) -> Result<(), WriteError> {
    let header = ["postcode", "hardness", "unit", "source", "as_of"];
    let rows = fleet.hardness.iter().map(|h| {
        [
            h.postcode.to_owned(),
            number(Some(h.hardness)),
            h.unit.to_owned(),
            h.source.to_owned(),
            h.as_of.map(|d| d.to_string()).unwrap_or_default(),
        ]
    });
    table(&out.join("hardness.csv"), header, rows)
}

fn table<const N: usize>(
    path: &Path,
    header: [&str; N],
    rows: impl Iterator<Item = [String; N]>,
) -> Result<(), WriteError> {
    let failed = |source: csv::Error| WriteError {
        path: path.to_owned(),
        source,
    };
    let file = File::create(path).map_err(|e| failed(e.into()))?;
    let mut writer = csv::Writer::from_writer(BufWriter::new(file));
    writer.write_record(header).map_err(failed)?;
    for row in rows {
        writer.write_record(row).map_err(failed)?;
    }
    writer.flush().map_err(|e| failed(e.into()))
}

fn time(at: DateTime) -> String {
    at.format("%Y-%m-%dT%H:%M").to_string()
}

fn text(cell: Option<&str>) -> String {
    cell.unwrap_or_default().to_owned()
}

fn number(cell: Option<f64>) -> String {
    cell.map(|n| n.to_string()).unwrap_or_default()
}
