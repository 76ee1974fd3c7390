//! What each cell of a file's rows is, where all of its columns are ones that
//! can be read in bulk.

use crate::store::records::Source;
use crate::store::{Cell, RowStyle, TableName};

use super::super::Options;
use super::super::columns::Column;
use super::super::headers::RecordKind;
use super::super::rows_fills::is_sound_fill;
use super::super::rows_readings::is_sound_reading;
use super::super::rows_services::is_sound_service;
use super::super::sheet::Sheet;
use super::super::units::Unit;

/// A cell of a row, and the column of the table that it fills.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum BulkCell {
    Van(usize),
    /// A day and its time, when it happened.
    When(usize),
    /// A day, with or without a time: the columns of both.
    Done(usize, usize),
    Ended(usize),
    Place(usize),
    Number(usize),
    Source(usize),
    Item(usize),
    Text(usize),
}

/// How the rows of a file are read in bulk.
#[derive(Debug)]
pub(in crate::ingest) struct Plan {
    pub table: TableName,
    pub delimiter: u8,
    pub(super) cells: Vec<BulkCell>,
    /// Empty where rows cannot be written again.
    pub style: RowStyle,
    /// The columns of the numbers that make a row sound.
    numbers: Vec<usize>,
}

const READING: &[&str] = &[
    "feed_ppm",
    "permeate_ppm",
    "product_ppm",
    "water_c",
    "feed_bar",
    "permeate_lpm",
    "concentrate_lpm",
];
const FILL: &[&str] = &["litres", "meter_litres", "reject_litres"];
const SERVICE: &[&str] = &["quantity"];

impl Plan {
    /// `first`: the text from the first row on. `None` where a column is none
    /// that is read in bulk.
    pub fn of(sheet: &Sheet, first: &str, options: &Options) -> Option<Plan> {
        let layout = sheet.main();
        let has_jobs = !layout.jobs.is_empty() || !layout.ticked.is_empty();
        if sheet.is_mixed() || has_jobs || options.done.is_some() {
            return None;
        }
        let table = layout.kind.table();
        let numbers = match layout.kind {
            RecordKind::Readings => READING,
            RecordKind::Fills => FILL,
            RecordKind::Services => SERVICE,
            RecordKind::Vans | RecordKind::Hardness => return None,
        };
        if layout.quote != b'"' {
            return None;
        }
        let mut cells = Vec::new();
        let mut columns = Vec::new();
        let mut when = None;
        for at in 0..layout.headers.len() {
            let column = layout.column_at(at)?;
            let unit = layout.unit_of(column);
            if layout.is_utc(column) || unit.is_some_and(|unit| unit != Unit::Own) {
                return None;
            }
            let cell = cell_of(table, column)?;
            if matches!(cell, BulkCell::When(_) | BulkCell::Done(..)) {
                when = Some(at);
            }
            cells.push(cell);
            columns.push(column.name().to_owned());
        }
        // what stands first tells totals from rows
        let is_van = |cell: &BulkCell| matches!(cell, BulkCell::Van(_));
        let begins = |cell: &BulkCell| {
            is_van(cell) || matches!(cell, BulkCell::When(_) | BulkCell::Done(..))
        };
        if !cells.first().is_some_and(begins) || !cells.iter().any(is_van) {
            return None;
        }
        let when = first.split(char::from(layout.delimiter)).nth(when?);
        let byte = |at: usize| when.and_then(|when| when.as_bytes().get(at));
        let style = RowStyle {
            columns,
            between: if byte(10) == Some(&b' ') { " " } else { "T" }.to_owned(),
            seconds: byte(16) == Some(&b':'),
            zone: options.time_zone.name().to_owned(),
        };
        let numbers = numbers.iter().map(|name| table.position_of(name));
        Some(Plan {
            numbers: numbers.collect::<Option<_>>()?,
            table,
            delimiter: layout.delimiter,
            cells,
            style,
        })
    }

    /// A row before its cells are read: water from the mains where no column says.
    pub fn blank(&self) -> Vec<Cell<'static>> {
        let mut cells = vec![Cell::Empty; self.table.width()];
        let source = self.table.position_of(Column::Source.name());
        if let Some(cell) = source.and_then(|at| cells.get_mut(at))
            && self.table == TableName::Fills
        {
            *cell = Cell::Text(Source::Mains.word());
        }
        cells
    }

    /// The column of a fill's litres.
    pub fn litres(&self) -> Option<usize> {
        let is_fill = self.table == TableName::Fills;
        self.numbers.first().copied().filter(|_| is_fill)
    }

    /// Whether the careful rules would take a row of such numbers as it is.
    pub fn is_sound(&self, number: impl Fn(usize) -> Option<f64>) -> bool {
        let mut numbers = self.numbers.iter().map(|at| number(*at));
        let mut next = || numbers.next().flatten();
        match self.table {
            TableName::Readings => {
                let meters = [next(), next(), next()];
                is_sound_reading(meters, next(), next(), [next(), next()])
            }
            TableName::Fills => is_sound_fill(next(), next(), next()),
            _ => is_sound_service(next()),
        }
    }
}

fn cell_of(table: TableName, column: Column) -> Option<BulkCell> {
    let at = |name: &str| table.position_of(name);
    Some(match (table, column) {
        (_, Column::Van) => BulkCell::Van(at("van")?),
        (TableName::Readings, Column::TakenAt) | (TableName::Fills, Column::StartedAt) => {
            BulkCell::When(at(column.name())?)
        }
        (TableName::Fills, Column::EndedAt) => BulkCell::Ended(at(column.name())?),
        (TableName::Fills, Column::Source) => BulkCell::Source(at(column.name())?),
        (TableName::Services, Column::DoneAt) => BulkCell::Done(at("done_on")?, at("done_at")?),
        (TableName::Services, Column::Item) => BulkCell::Item(at(column.name())?),
        (_, Column::Part | Column::Note) => BulkCell::Text(at(column.name())?),
        (TableName::Readings | TableName::Fills, Column::Postcode) => {
            BulkCell::Place(at(column.name())?)
        }
        _ => BulkCell::Number(at(column.name())?),
    })
}
