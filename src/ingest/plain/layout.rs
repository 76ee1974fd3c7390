//! What each cell of a plain file's rows is.

use crate::store::RowStyle;
use crate::store::packed::{Packing, fill, reading, service};

use super::super::Options;
use super::super::columns::Column;
use super::super::headers::RecordKind;
use super::super::layout::Layout;
use super::super::units::Unit;

/// A cell of a plain row, and the word it fills.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cell {
    Van,
    /// A day and its time, when it happened.
    When,
    /// A day, with or without a time.
    Done,
    Ended,
    Place(usize),
    Number(usize),
    Source,
    Item,
    Text(usize),
}

/// How the rows of a plain file are read.
#[derive(Debug)]
pub(super) struct Plan {
    pub packing: Packing,
    pub delimiter: u8,
    pub cells: Vec<Cell>,
    /// Empty where rows cannot be written again.
    pub style: RowStyle,
}

impl Plan {
    /// `first`: the text from the first row on. `None` where a column is none
    /// that plain rows have.
    pub fn of(layout: &Layout, first: &str, options: &Options) -> Option<Plan> {
        let packing = match layout.kind {
            RecordKind::Readings => Packing::Readings,
            RecordKind::Fills => Packing::Fills,
            RecordKind::Services => Packing::Services,
            RecordKind::Vans | RecordKind::Hardness => return None,
        };
        let mut cells = Vec::new();
        let mut columns = Vec::new();
        let mut when = None;
        for at in 0..layout.headers.len() {
            let column = layout.column_at(at)?;
            let unit = layout.unit_of(column);
            if layout.is_utc(column) || unit.is_some_and(|unit| unit != Unit::Own) {
                return None;
            }
            let cell = cell_of(packing, column)?;
            if matches!(cell, Cell::When | Cell::Done) {
                when = Some(at);
            }
            cells.push(cell);
            columns.push(column.name().to_owned());
        }
        // what stands first tells totals from rows
        if !matches!(cells.first(), Some(Cell::Van | Cell::When | Cell::Done))
            || !cells.contains(&Cell::Van)
        {
            return None;
        }
        let when = first.split(char::from(layout.delimiter)).nth(when?);
        let mut style = RowStyle::default();
        if let Some(zone) = options.time_zone.iana_name() {
            let byte = |at: usize| when.and_then(|when| when.as_bytes().get(at));
            style = RowStyle {
                columns,
                between: if byte(10) == Some(&b' ') { " " } else { "T" }.to_owned(),
                seconds: byte(16) == Some(&b':'),
                zone: zone.to_owned(),
            };
        }
        Some(Plan {
            packing,
            delimiter: layout.delimiter,
            cells,
            style,
        })
    }
}

fn cell_of(packing: Packing, column: Column) -> Option<Cell> {
    Some(match (packing, column) {
        (_, Column::Van) => Cell::Van,
        (Packing::Readings, Column::TakenAt) => Cell::When,
        (Packing::Readings, Column::Postcode) => Cell::Place(reading::PLACE),
        (Packing::Readings, Column::FeedPpm) => Cell::Number(reading::FEED),
        (Packing::Readings, Column::PermeatePpm) => Cell::Number(reading::PERMEATE),
        (Packing::Readings, Column::ProductPpm) => Cell::Number(reading::PRODUCT),
        (Packing::Readings, Column::WaterC) => Cell::Number(reading::WATER),
        (Packing::Readings, Column::FeedBar) => Cell::Number(reading::BAR),
        (Packing::Readings, Column::PermeateLpm) => Cell::Number(reading::PERMEATE_FLOW),
        (Packing::Readings, Column::ConcentrateLpm) => Cell::Number(reading::CONCENTRATE_FLOW),
        (Packing::Fills, Column::StartedAt) => Cell::When,
        (Packing::Fills, Column::EndedAt) => Cell::Ended,
        (Packing::Fills, Column::Postcode) => Cell::Place(fill::PLACE),
        (Packing::Fills, Column::Litres) => Cell::Number(fill::LITRES),
        (Packing::Fills, Column::MeterLitres) => Cell::Number(fill::METER),
        (Packing::Fills, Column::RejectLitres) => Cell::Number(fill::REJECT),
        (Packing::Fills, Column::Source) => Cell::Source,
        (Packing::Services, Column::DoneAt) => Cell::Done,
        (Packing::Services, Column::Item) => Cell::Item,
        (Packing::Services, Column::Quantity) => Cell::Number(service::QUANTITY),
        (Packing::Services, Column::Cost) => Cell::Number(service::COST),
        (Packing::Services, Column::Part) => Cell::Text(service::PART),
        (Packing::Services, Column::Note) => Cell::Text(service::NOTE),
        _ => return None,
    })
}
