//! Rows written again as they stood in their file: of most rows the store keeps
//! no text, as their values and the file's way of writing give it back.

use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use super::records::{Fill, Instant, Reading, Service, When};

/// How a plain file writes its rows, as its line in `files` keeps it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowStyle {
    /// The columns by their canonical names, in the order of the file.
    pub columns: Vec<String>,
    /// What stands between a day and its time.
    pub between: String,
    /// Whether times have seconds.
    pub seconds: bool,
    /// The zone whose local times they are.
    pub zone: String,
}

/// Writes rows of one file again.
#[derive(Debug, Clone)]
pub(super) struct RowWriter {
    style: RowStyle,
    delimiter: String,
    zone: TimeZone,
}

impl RowWriter {
    /// `None` where the file's rows were all kept as text.
    pub(super) fn new(style: &str, delimiter: &str) -> Option<RowWriter> {
        let style: RowStyle = serde_json::from_str(style).ok()?;
        let zone = TimeZone::get(&style.zone).ok()?;
        Some(RowWriter {
            style,
            delimiter: delimiter.to_owned(),
            zone,
        })
    }

    pub(super) fn text<T: Rewritten>(&self, record: &T) -> String {
        let mut text = String::new();
        for (n, column) in self.style.columns.iter().enumerate() {
            if n > 0 {
                text.push_str(&self.delimiter);
            }
            text.push_str(&record.cell(column, self));
        }
        text
    }

    fn time(&self, at: Instant) -> String {
        let Ok(stamp) = jiff::Timestamp::from_microsecond(at.0) else {
            return String::new();
        };
        let local = self.zone.to_datetime(stamp);
        let (date, time) = (local.date(), local.time());
        let mut text = format!(
            "{date}{}{:02}:{:02}",
            self.style.between,
            time.hour(),
            time.minute()
        );
        if self.style.seconds {
            text += &format!(":{:02}", time.second());
        }
        text
    }
}

/// A record that can be written again; cells of other columns are empty.
pub(super) trait Rewritten {
    fn cell(&self, column: &str, writer: &RowWriter) -> String;
}

/// The shortest digits that read back as the same number.
fn number(value: Option<f64>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

fn text(value: &Option<Arc<str>>) -> String {
    value.as_deref().unwrap_or_default().to_owned()
}

fn day(date: Date) -> String {
    date.to_string()
}

impl Rewritten for Reading {
    fn cell(&self, column: &str, writer: &RowWriter) -> String {
        match column {
            "van" => self.van.to_string(),
            "taken_at" => writer.time(self.taken_at),
            "postcode" => text(&self.postcode),
            "feed_ppm" => number(self.feed_ppm),
            "permeate_ppm" => number(self.permeate_ppm),
            "product_ppm" => number(self.product_ppm),
            "water_c" => number(self.water_c),
            "feed_bar" => number(self.feed_bar),
            "permeate_lpm" => number(self.permeate_lpm),
            "concentrate_lpm" => number(self.concentrate_lpm),
            _ => String::new(),
        }
    }
}

impl Rewritten for Fill {
    fn cell(&self, column: &str, writer: &RowWriter) -> String {
        match column {
            "van" => self.van.to_string(),
            "started_at" => writer.time(self.started_at),
            "ended_at" => self.ended_at.map_or_else(String::new, |at| writer.time(at)),
            "postcode" => text(&self.postcode),
            "litres" => number(self.litres),
            "meter_litres" => number(self.meter_litres),
            "reject_litres" => number(self.reject_litres),
            "source" => self.source.word().to_owned(),
            _ => String::new(),
        }
    }
}

impl Rewritten for Service {
    fn cell(&self, column: &str, writer: &RowWriter) -> String {
        match column {
            "van" => self.van.to_string(),
            "done_at" => match self.done_at {
                When::Day(date) => day(date),
                When::At(at) => writer.time(at),
            },
            "item" => self.item.word().to_owned(),
            "quantity" => number(self.quantity),
            "cost" => number(self.cost),
            "part" => text(&self.part),
            "note" => text(&self.note),
            _ => String::new(),
        }
    }
}

impl Rewritten for super::records::Van {
    fn cell(&self, _: &str, _: &RowWriter) -> String {
        String::new()
    }
}

impl Rewritten for super::records::Hardness {
    fn cell(&self, _: &str, _: &RowWriter) -> String {
        String::new()
    }
}
