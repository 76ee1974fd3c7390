//! The current rows as plain CSV that comes in again unchanged.

use std::cell::Cell as Flag;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use crate::calendar::{FixedOffset, TimeZone, iso_time};

use super::error::StoreError;
use super::field::TimeSpelling;
use super::private;
use super::records::{Fleet, Instant};
use super::row_text::harmless;
use super::schema::Kind;

/// Writes the five files of the contract, columns in its order.
pub(super) fn write(fleet: &Fleet, out: &Path, tz: &TimeZone) -> Result<(), StoreError> {
    private::create_folder(out).map_err(|e| StoreError::io("create", out, e))?;
    let vans = fleet.histories.iter();
    write_kind(out, tz, vans.clone().flat_map(|h| &h.readings))?;
    write_kind(out, tz, vans.clone().flat_map(|h| &h.fills))?;
    write_kind(out, tz, vans.clone().flat_map(|h| &h.services))?;
    write_kind(out, tz, vans.flat_map(|h| &h.listed))?;
    write_kind(out, tz, fleet.hardness.iter())
}

fn write_kind<'r, T: Kind + 'r>(
    out: &Path,
    zone: &TimeZone,
    rows: impl Iterator<Item = &'r T>,
) -> Result<(), StoreError> {
    let path = out.join(format!("{}.csv", T::TABLE.folder()));
    let times = LocalTimes {
        zone,
        is_beyond: Flag::new(false),
    };
    let fields = T::TABLE.header();
    let mut table = Csv::create(path)?;
    for field in &fields {
        table.cell(field)?;
    }
    table.end_row()?;
    for row in rows {
        let day = row.day(&times);
        for field in &fields {
            let cell = match &day {
                Some((at, day)) if at == field => day.clone(),
                _ => row.spell(field, &times),
            };
            match T::is_text(field) {
                true => table.cell(harmless(&cell).as_bytes())?,
                false => table.cell(&cell)?,
            }
        }
        table.end_row()?;
        if times.is_beyond.get() {
            return Err(StoreError::Damaged {
                path: table.path,
                what: "a time lies outside the years -9999 to 9999".to_owned(),
            });
        }
    }
    table.finish()
}

/// Times with their offset from UTC.
struct LocalTimes<'z> {
    zone: &'z TimeZone,
    /// A time lay outside all calendars.
    is_beyond: Flag<bool>,
}

impl TimeSpelling for LocalTimes<'_> {
    fn time(&self, at: Instant) -> String {
        let mut offset = self.zone.offset_at(at.0);
        if offset.seconds() % 60 != 0 {
            // Local mean time of long ago, which ISO 8601 cannot write.
            offset = FixedOffset::UTC;
        }
        let Some(local) = offset.local(at.0) else {
            self.is_beyond.set(true);
            return String::new();
        };
        let sign = if offset.seconds() < 0 { '-' } else { '+' };
        let minutes = offset.seconds().unsigned_abs() / 60;
        let (h, m) = (minutes / 60, minutes % 60);
        format!("{}{sign}{h:02}:{m:02}", iso_time(local))
    }

    fn day(&self, at: Instant) -> String {
        at.date_in(self.zone).map_or_else(
            || {
                self.is_beyond.set(true);
                String::new()
            },
            |day| day.to_string(),
        )
    }
}

/// One file being written; remembers its path for what goes wrong.
struct Csv {
    path: PathBuf,
    csv: csv::Writer<BufWriter<std::fs::File>>,
}

impl Csv {
    fn create(path: PathBuf) -> Result<Csv, StoreError> {
        let file = private::create_file(&path).map_err(|e| StoreError::io("write", &path, e))?;
        Ok(Csv {
            path,
            csv: csv::WriterBuilder::new()
                .terminator(csv::Terminator::CRLF)
                .from_writer(BufWriter::new(file)),
        })
    }

    fn cell(&mut self, cell: impl AsRef<[u8]>) -> Result<(), StoreError> {
        self.csv
            .write_field(cell)
            .map_err(|e| self.failed(e.into()))
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
