//! Rows on their way from a file into the store, as columns of their tables.

use arrow_array::{ArrayRef, RecordBatch};
use arrow_schema::ArrowError;

use super::field::{Builder, Cell};
use super::schema::{Column, TableName};

/// Rows of one kind of a file: the record's own columns, the line, and the text
/// where it is kept.
#[derive(Debug, Clone)]
pub struct KindRows {
    pub(super) table: TableName,
    pub(super) batch: RecordBatch,
}

impl KindRows {
    /// How many rows these are.
    pub fn count(&self) -> usize {
        self.batch.num_rows()
    }
}

/// Makes them, row by row.
#[derive(Debug)]
pub struct RowBuilder {
    table: TableName,
    columns: Vec<Builder>,
    rows: usize,
    bytes: usize,
}

impl RowBuilder {
    /// For records of this kind.
    pub fn new(table: TableName) -> RowBuilder {
        RowBuilder {
            table,
            columns: builders(table.taken_columns()),
            rows: 0,
            bytes: 0,
        }
    }

    /// `cells`: one for each of the record's own columns; `text`: the row as it
    /// stood in its file, where it cannot be written again from them.
    pub fn push(&mut self, cells: &[Cell<'_>], line: u64, text: Option<&str>) {
        let beside = [Cell::Whole(line), text.into()];
        for (column, cell) in self.columns.iter_mut().zip(cells.iter().chain(&beside)) {
            column.push(*cell);
        }
        self.rows += 1;
        self.bytes += text.map_or(0, str::len) + 8 * self.columns.len();
    }

    pub fn len(&self) -> usize {
        self.rows
    }

    pub fn is_empty(&self) -> bool {
        self.rows == 0
    }

    /// About so many bytes are held.
    pub(super) fn bytes(&self) -> usize {
        self.bytes
    }

    /// The rows so far; it begins anew.
    ///
    /// # Errors
    /// Where a row had too few cells.
    pub fn take(&mut self) -> Result<KindRows, ArrowError> {
        let arrays: Vec<ArrayRef> = self.columns.iter_mut().map(Builder::finish).collect();
        (self.rows, self.bytes) = (0, 0);
        Ok(KindRows {
            table: self.table,
            batch: RecordBatch::try_new(self.table.taken(), arrays)?,
        })
    }
}

fn builders(columns: impl Iterator<Item = Column>) -> Vec<Builder> {
    columns.map(|column| Builder::of(column.holds)).collect()
}

/// Rows of a small table as it is written.
pub(super) fn batch_of<'c>(
    table: TableName,
    rows: impl Iterator<Item = Vec<Cell<'c>>>,
) -> Result<RecordBatch, ArrowError> {
    let mut columns = builders(table.columns());
    for row in rows {
        for (column, cell) in columns.iter_mut().zip(row) {
            column.push(cell);
        }
    }
    let arrays: Vec<ArrayRef> = columns.iter_mut().map(Builder::finish).collect();
    RecordBatch::try_new(table.written(), arrays)
}

/// A column that holds the same in every row.
pub(super) fn same(cell: Cell<'_>, holds: super::schema::Holds, rows: usize) -> ArrayRef {
    let mut column = Builder::of(holds);
    (0..rows).for_each(|_| column.push(cell));
    column.finish()
}

/// The schema's arrays in the order of a table as it is written.
pub(super) fn written(
    table: TableName,
    taken: &RecordBatch,
    beside: impl Fn(&Column) -> Option<ArrayRef>,
) -> Result<RecordBatch, ArrowError> {
    let arrays = table.columns().map(|column| {
        let taken = taken.column_by_name(column.name).cloned();
        taken
            .or_else(|| beside(&column))
            .ok_or_else(|| ArrowError::SchemaError(format!("no column {}", column.name)))
    });
    RecordBatch::try_new(table.written(), arrays.collect::<Result<_, _>>()?)
}
