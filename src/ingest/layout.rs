//! Where a file keeps what.

use crate::store::records::Item;

use super::columns::{ALL, Column};
use super::dates::DateOrder;
use super::headers::RecordKind;
use super::split::RowAt;
use super::text::plain;
use super::units::Unit;

/// Separators that spreadsheets write, the likeliest first.
pub(super) const DELIMITERS: [(u8, &str); 4] = [
    (b',', "comma"),
    (b';', "semicolon"),
    (b'\t', "tab"),
    (b'|', "bar"),
];

/// A column that is ticked where this was changed.
#[derive(Debug, Clone, Copy)]
pub(super) struct JobColumn {
    pub cell: usize,
    pub item: Item,
}

/// A file's kind, its header, and the cell and unit of each column.
#[derive(Debug, Clone)]
pub(super) struct Layout {
    pub kind: RecordKind,
    pub delimiter: u8,
    /// What quotes cells.
    pub quote: u8,
    /// The last line above the rows.
    pub header: RowAt,
    pub headers: Vec<String>,
    /// What the header itself says about the order of day and month.
    pub date_order: Option<DateOrder>,
    /// The van of all rows, where no column says which.
    pub van: Option<String>,
    /// Work that stands in columns of its own.
    pub jobs: Vec<JobColumn>,
    /// The cells of a list of jobs that say which were done.
    pub ticked: Vec<usize>,
    cells: [Option<usize>; Column::COUNT],
    /// Cells that say the same once more.
    twins: Vec<(Column, usize)>,
    units: [Option<Unit>; Column::COUNT],
    in_utc: [bool; Column::COUNT],
}

impl Layout {
    pub fn new(kind: RecordKind, delimiter: u8, header: RowAt, headers: Vec<String>) -> Layout {
        Layout {
            kind,
            delimiter,
            quote: b'"',
            header,
            headers,
            date_order: None,
            van: None,
            jobs: Vec::new(),
            ticked: Vec::new(),
            twins: Vec::new(),
            cells: [None; Column::COUNT],
            units: [None; Column::COUNT],
            in_utc: [false; Column::COUNT],
        }
    }

    /// Gives a column its cell and the unit that its header states.
    pub fn put(&mut self, column: Column, cell: Option<usize>, unit: Option<Unit>) {
        if let Some(slot) = self.cells.get_mut(column as usize) {
            *slot = cell;
        }
        if let Some(slot) = self.units.get_mut(column as usize) {
            *slot = unit;
        }
    }

    /// Gives a column the cells that say the same once more.
    pub fn put_twins(&mut self, column: Column, cells: Vec<usize>) {
        self.twins
            .extend(cells.into_iter().map(|cell| (column, cell)));
    }

    /// The columns that stand in several cells, and where else they stand.
    pub fn twins(&self) -> &[(Column, usize)] {
        &self.twins
    }

    pub fn has_twins(&self) -> bool {
        !self.twins.is_empty()
    }

    /// Whether a cell is any of ours.
    pub fn uses(&self, cell: usize) -> bool {
        self.cells.contains(&Some(cell))
            || self.twins.iter().any(|(_, twin)| *twin == cell)
            || self.jobs.iter().any(|job| job.cell == cell)
            || self.ticked.contains(&cell)
    }

    pub fn mark_utc(&mut self, column: Column) {
        if let Some(slot) = self.in_utc.get_mut(column as usize) {
            *slot = true;
        }
    }

    /// Which cell holds a column.
    pub fn cell_of(&self, column: Column) -> Option<usize> {
        self.cells.get(column as usize).copied().flatten()
    }

    /// The unit that the column's header states.
    pub fn unit_of(&self, column: Column) -> Option<Unit> {
        self.units.get(column as usize).copied().flatten()
    }

    /// Whether the column's header says that its times are UTC.
    pub fn is_utc(&self, column: Column) -> bool {
        self.in_utc.get(column as usize).copied().unwrap_or(false)
    }

    pub fn has(&self, column: Column) -> bool {
        self.cell_of(column).is_some()
    }

    /// The columns that the file has, with their cells.
    pub fn columns(&self) -> impl Iterator<Item = (Column, usize)> + '_ {
        ALL.into_iter()
            .filter_map(|column| Some((column, self.cell_of(column)?)))
    }

    /// The column of ours that a cell holds, if any.
    pub fn column_at(&self, cell: usize) -> Option<Column> {
        self.columns()
            .find(|(_, at)| *at == cell)
            .map(|(column, _)| column)
    }

    /// How a column is headed in this file.
    pub fn header_of(&self, column: Column) -> Option<&str> {
        self.headers.get(self.cell_of(column)?).map(|h| plain(h))
    }

    /// Cells up to the last one with a header: a row needs no more.
    pub fn width(&self) -> usize {
        let headed = |header: &String| !plain(header).is_empty();
        self.headers.iter().rposition(headed).map_or(0, |i| i + 1)
    }

    /// `feed_ppm`, or `feed_ppm (column "TDS in")` where it is headed otherwise.
    pub fn label(&self, column: Column) -> String {
        match self.header_of(column) {
            Some(header) if header != column.name() => {
                format!("{} (column \"{header}\")", column.name())
            }
            _ => column.name().to_owned(),
        }
    }

    pub fn delimiter_word(&self) -> &'static str {
        DELIMITERS
            .iter()
            .find(|(d, _)| *d == self.delimiter)
            .map_or("comma", |(_, word)| word)
    }
}
