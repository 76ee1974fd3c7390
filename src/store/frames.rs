//! Parquet files of the store as frames: the only place that opens one. Their
//! bytes were held against their hash before (`integrity`).

use std::fs::File;
use std::ops::Range;
use std::path::PathBuf;

use polars::prelude::{DataFrame, ParallelStrategy, ParquetReader, PolarsResult, SerReader};

use super::cells::Cells;
use super::error::StoreError;
use super::part::Part;
use super::schema::{LINE, TEXT, TableName};

/// Reads the named columns, in that order; one that the file was written
/// without is missing. `rows`: only these.
pub(super) fn columns(
    part: &Part,
    wanted: &[&str],
    rows: Option<Range<usize>>,
) -> Result<Vec<Cells>, StoreError> {
    let file = File::open(&part.path).map_err(|e| StoreError::io("open", &part.path, e))?;
    let read = || -> PolarsResult<Vec<Cells>> {
        let frame = frame(file, wanted, rows)?;
        let cells = wanted.iter().map(|name| match frame.column(name) {
            Ok(column) => Cells::of_frame(column),
            Err(_) => Ok(Cells::Missing),
        });
        cells.collect()
    };
    read().map_err(|e| StoreError::frame(&part.path, e))
}

fn frame(file: File, wanted: &[&str], rows: Option<Range<usize>>) -> PolarsResult<DataFrame> {
    let mut reader = ParquetReader::new(file);
    let there = reader.schema()?;
    let columns = wanted.iter().filter(|name| there.contains(name));
    let columns: Vec<String> = columns.map(|name| (*name).to_owned()).collect();
    reader
        .with_columns(Some(columns))
        .with_slice(rows.map(|rows| (rows.start, rows.len())))
        // files are read side by side
        .read_parallel(ParallelStrategy::None)
        .finish()
}

/// Rows of one Parquet file of a kind of record.
#[derive(Debug)]
pub(super) struct PartRows {
    pub(super) file_id: u64,
    /// The record's own.
    pub(super) columns: Vec<Cells>,
    pub(super) lines: Vec<u64>,
    /// Of rows whose text was kept; missing where it was not asked for.
    pub(super) texts: Cells,
}

impl PartRows {
    /// # Errors
    /// Where the file cannot be read, or a row lacks its line.
    pub(super) fn read(
        part: &Part,
        table: TableName,
        with_text: bool,
        rows: Option<Range<usize>>,
    ) -> Result<PartRows, StoreError> {
        let mut wanted: Vec<&str> = table.own_columns().iter().map(|c| c.name).collect();
        wanted.push(LINE);
        if with_text {
            wanted.push(TEXT);
        }
        let mut columns = columns(part, &wanted, rows)?;
        let texts = match with_text {
            true => columns.pop().unwrap_or(Cells::Missing),
            false => Cells::Missing,
        };
        let lines = columns.pop().unwrap_or(Cells::Missing);
        let lines = (0..lines.len()).map(|row| lines.count(row).ok_or_else(|| damaged(part)));
        Ok(PartRows {
            file_id: part.file_id,
            lines: lines.collect::<Result<_, _>>()?,
            columns,
            texts,
        })
    }

    pub(super) fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whose the rows are.
    pub(super) fn who(&self) -> &Cells {
        self.columns.first().unwrap_or(&Cells::Missing)
    }
}

pub(super) fn damaged(part: &Part) -> StoreError {
    lacking(part.path.clone())
}

/// The same of a table or of what is about to be written to it.
pub(super) fn lacking(path: PathBuf) -> StoreError {
    StoreError::Damaged {
        path,
        what: "a row lacks a value that every row has".to_owned(),
    }
}
