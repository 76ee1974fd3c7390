//! The current rows as plain CSV that comes in again unchanged.

use std::io::BufWriter;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use jiff::tz::{Offset, TimeZone};

use super::error::StoreError;
use super::private;
use super::records::{Fleet, Instant, When};
use super::row_text::harmless;

/// Writes the five files of the contract, columns in its order.
pub(super) fn write(fleet: &Fleet, out: &Path, tz: &TimeZone) -> Result<(), StoreError> {
    private::create_folder(out).map_err(|e| StoreError::io("create", out, e))?;
    write_readings(fleet, out, tz)?;
    write_fills(fleet, out, tz)?;
    write_services(fleet, out, tz)?;
    write_vans(fleet, out)?;
    write_hardness(fleet, out)
}

fn write_readings(fleet: &Fleet, out: &Path, tz: &TimeZone) -> Result<(), StoreError> {
    let columns = [
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
    let mut table = Csv::create(out.join("readings.csv"), &columns)?;
    for r in fleet.histories.iter().flat_map(|h| &h.readings) {
        table.text(Some(&r.van))?;
        table.moment(r.taken_at, r.day_position, tz)?;
        table.text(r.postcode.as_deref())?;
        let meters = [
            r.feed_ppm,
            r.permeate_ppm,
            r.product_ppm,
            r.water_c,
            r.feed_bar,
            r.permeate_lpm,
            r.concentrate_lpm,
        ];
        for value in meters {
            table.number(value)?;
        }
        table.end_row()?;
    }
    table.finish()
}

fn write_fills(fleet: &Fleet, out: &Path, tz: &TimeZone) -> Result<(), StoreError> {
    let columns = [
        "van",
        "started_at",
        "ended_at",
        "postcode",
        "litres",
        "meter_litres",
        "reject_litres",
        "source",
    ];
    let mut table = Csv::create(out.join("fills.csv"), &columns)?;
    for f in fleet.histories.iter().flat_map(|h| &h.fills) {
        table.text(Some(&f.van))?;
        table.moment(f.started_at, f.day_position, tz)?;
        match f.ended_at {
            Some(at) => table.moment(at, None, tz)?,
            None => table.text(None)?,
        }
        table.text(f.postcode.as_deref())?;
        for value in [f.litres, f.meter_litres, f.reject_litres] {
            table.number(value)?;
        }
        table.text(Some(f.source.word()))?;
        table.end_row()?;
    }
    table.finish()
}

fn write_services(fleet: &Fleet, out: &Path, tz: &TimeZone) -> Result<(), StoreError> {
    let columns = ["van", "done_at", "item", "quantity", "cost", "part", "note"];
    let mut table = Csv::create(out.join("services.csv"), &columns)?;
    for s in fleet.histories.iter().flat_map(|h| &h.services) {
        table.text(Some(&s.van))?;
        match s.done_at {
            When::Day(date) => table.date(Some(date))?,
            When::At(at) => table.moment(at, None, tz)?,
        }
        table.text(Some(s.item.word()))?;
        table.number(s.quantity)?;
        table.number(s.cost)?;
        table.text(s.part.as_deref())?;
        table.text(s.note.as_deref())?;
        table.end_row()?;
    }
    table.finish()
}

fn write_vans(fleet: &Fleet, out: &Path) -> Result<(), StoreError> {
    let columns = [
        "van",
        "base_postcode",
        "tank_litres",
        "membranes",
        "resin_litres",
        "in_service_on",
        "out_of_service_on",
        "from",
    ];
    let mut table = Csv::create(out.join("vans.csv"), &columns)?;
    for v in fleet.histories.iter().flat_map(|h| &h.listed) {
        table.text(Some(&v.van))?;
        table.text(v.base_postcode.as_deref())?;
        table.number(v.tank_litres)?;
        table.number(v.membranes.map(f64::from))?;
        table.number(v.resin_litres)?;
        table.date(v.in_service_on)?;
        table.date(v.out_of_service_on)?;
        table.date(v.from)?;
        table.end_row()?;
    }
    table.finish()
}

fn write_hardness(fleet: &Fleet, out: &Path) -> Result<(), StoreError> {
    let columns = ["postcode", "hardness", "unit", "source", "as_of"];
    let mut table = Csv::create(out.join("hardness.csv"), &columns)?;
    for h in &fleet.hardness {
        table.text(Some(&h.postcode))?;
        table.number(Some(h.hardness))?;
        table.text(Some(h.unit.word()))?;
        table.text(h.source.as_deref())?;
        table.date(h.as_of)?;
        table.end_row()?;
    }
    table.finish()
}

/// One file being written; remembers its path for what goes wrong.
struct Csv {
    path: PathBuf,
    csv: csv::Writer<BufWriter<std::fs::File>>,
}

impl Csv {
    fn create(path: PathBuf, columns: &[&str]) -> Result<Csv, StoreError> {
        let file = private::create_file(&path).map_err(|e| StoreError::io("write", &path, e))?;
        let mut table = Csv {
            path,
            csv: csv::WriterBuilder::new()
                .terminator(csv::Terminator::CRLF)
                .from_writer(BufWriter::new(file)),
        };
        for column in columns {
            table.cell(column)?;
        }
        table.end_row()?;
        Ok(table)
    }

    fn cell(&mut self, cell: impl AsRef<[u8]>) -> Result<(), StoreError> {
        self.csv
            .write_field(cell)
            .map_err(|e| self.failed(e.into()))
    }

    fn text(&mut self, text: Option<&str>) -> Result<(), StoreError> {
        let cell = harmless(text.unwrap_or_default());
        self.cell(cell.as_bytes())
    }

    fn number(&mut self, value: Option<f64>) -> Result<(), StoreError> {
        // Rust prints the shortest digits that read back as the same number.
        self.cell(value.map_or_else(String::new, |v| v.to_string()))
    }

    fn date(&mut self, date: Option<Date>) -> Result<(), StoreError> {
        self.cell(date.map_or_else(String::new, |d| d.to_string()))
    }

    /// With its offset; only the day where only the day is known.
    fn moment(
        &mut self,
        at: Instant,
        day_position: Option<u32>,
        tz: &TimeZone,
    ) -> Result<(), StoreError> {
        let Ok(timestamp) = jiff::Timestamp::from_microsecond(at.0) else {
            return Err(StoreError::Damaged {
                path: self.path.clone(),
                what: "a time lies outside the years -9999 to 9999".to_owned(),
            });
        };
        if day_position.is_some() {
            return self.date(Some(tz.to_datetime(timestamp).date()));
        }
        let mut offset = tz.to_offset(timestamp);
        if offset.seconds() % 60 != 0 {
            // Local mean time of long ago, which ISO 8601 cannot write.
            offset = Offset::UTC;
        }
        let local = offset.to_datetime(timestamp);
        let sign = if offset.is_negative() { '-' } else { '+' };
        let minutes = offset.seconds().unsigned_abs() / 60;
        let (h, m) = (minutes / 60, minutes % 60);
        self.cell(format!("{local}{sign}{h:02}:{m:02}"))
    }

    fn end_row(&mut self) -> Result<(), StoreError> {
        self.csv
            .write_record(None::<&[u8]>)
            .map_err(|e| self.failed(e.into()))
    }

    fn failed(&self, source: std::io::Error) -> StoreError {
        StoreError::io("write", &self.path, source)
    }

    fn finish(mut self) -> Result<(), StoreError> {
        // Also empties the buffer below.
        let flushed = self.csv.flush();
        flushed.map_err(|e| self.failed(e))
    }
}
