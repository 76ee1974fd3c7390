//! A file's rows on their way: built column by column, kept by kind and month until they
//! are judged, in memory or below the store where they are many.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use arrow_array::cast::AsArray;
use arrow_array::types::{Int64Type, TimestampMicrosecondType};
use arrow_array::{ArrayRef, RecordBatch};
use arrow_ipc::reader::StreamReader;
use arrow_ipc::writer::StreamWriter;
use arrow_schema::ArrowError;
use arrow_select::concat::concat_batches;
use arrow_select::interleave::interleave_record_batch;

use super::error::StoreError;
use super::field::{Builder, Cell, bytes_of};
use super::folder;
use super::records::{self, AcceptedRow, Mends, SetAside};
use super::schema::{Column, Holds, LINE, Role, TableName};
use crate::calendar::Datelike;

/// Rows, and bytes of them, that are held in memory.
#[derive(Debug, Clone, Copy)]
pub(super) struct Held {
    /// Of one month, as they are judged.
    pub(super) rows: usize,
    pub(super) bytes: usize,
    /// Rows of the careful rules that are put into columns together.
    pub(super) together: usize,
}

impl Default for Held {
    fn default() -> Self {
        Held {
            rows: 1_000_000,
            bytes: 96 << 20,
            together: 1 << 13,
        }
    }
}

/// Some of a file's rows, in the order of the file.
#[derive(Debug, Clone, Default)]
pub struct RowBatch {
    pub rows: Vec<AcceptedRow>,
    /// Further ones, read in bulk.
    pub columns: Vec<KindRows>,
    pub set_aside: Vec<SetAside>,
    /// Lines that say which row set aside they are meant to replace.
    pub mends: Vec<(u64, Mends)>,
}

/// Below the store, while a long file is being read.
pub(super) const FOLDER: &str = "being-read";
/// Rows that are split by month together.
const ROWS_SPLIT: usize = 1 << 15;

/// Removes what an interrupted ingest left there.
pub(super) fn clear(store: &Path) -> Result<(), StoreError> {
    let folder = store.join(FOLDER);
    match std::fs::remove_dir_all(&folder) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => {
            Err(StoreError::io("clear", &folder, e))
        }
        _ => Ok(()),
    }
}

type Key = (TableName, Month);

/// The rows of a file. Versions of one record always lie in the same partition.
#[derive(Debug)]
pub(super) struct Partitions {
    folder: PathBuf,
    /// The file's name, for what is wrong with it.
    file: String,
    /// What may be held in memory.
    limit: Held,
    waiting: BTreeMap<TableName, Vec<RecordBatch>>,
    partitions: BTreeMap<Key, Partition>,
    held: usize,
    months: MonthFinder,
}

/// Rows of one kind and month, in the order in which they came.
#[derive(Debug, Default)]
pub(super) struct Partition {
    pub(super) rows: usize,
    held: Vec<RecordBatch>,
    spilled: Option<SpillFile>,
}

/// Rows that were written away.
struct SpillFile {
    path: PathBuf,
    writer: Option<StreamWriter<File>>,
}

impl std::fmt::Debug for SpillFile {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_tuple("SpillFile").field(&self.path).finish()
    }
}

impl Partitions {
    pub(super) fn new(store: &Path, file: &str, limit: Held) -> Partitions {
        Partitions {
            folder: store.join(FOLDER),
            file: file.to_owned(),
            limit,
            waiting: BTreeMap::new(),
            partitions: BTreeMap::new(),
            held: 0,
            months: MonthFinder::default(),
        }
    }

    /// # Errors
    /// Where a row's time lies outside all calendars, or rows cannot be
    /// written away.
    pub(super) fn add(&mut self, rows: KindRows) -> Result<(), StoreError> {
        let table = rows.table;
        let waiting = self.waiting.entry(table).or_default();
        waiting.push(rows.batch);
        let rows: usize = waiting.iter().map(RecordBatch::num_rows).sum();
        if rows >= ROWS_SPLIT.min(self.limit.rows) {
            self.split(table)?;
        }
        if self.held > self.limit.bytes {
            self.spill()?;
        }
        Ok(())
    }

    /// Sorts waiting rows into their months.
    fn split(&mut self, table: TableName) -> Result<(), StoreError> {
        let batches = self.waiting.remove(&table).unwrap_or_default();
        let mut months: BTreeMap<Month, Vec<(usize, usize)>> = BTreeMap::new();
        let key = table.own_columns().iter().position(|column| {
            table.is_by_month() && column.role == Role::Key && column.holds == Holds::Instant
        });
        for (nth, batch) in batches.iter().enumerate() {
            let times = key.and_then(|at| batch.columns().get(at));
            let times = times.and_then(|at| at.as_primitive_opt::<TimestampMicrosecondType>());
            for row in 0..batch.num_rows() {
                let month = match times.map(|times| times.value(row)) {
                    None => None,
                    Some(micros) => Some(self.months.month_of(micros).ok_or_else(|| {
                        StoreError::TimeOutOfRange {
                            file: self.file.clone(),
                            line: records::line_of(line_of(batch, row)),
                        }
                    })?),
                };
                months.entry(month).or_default().push((nth, row));
            }
        }
        let one_month = months.len() == 1;
        for (month, rows) in months {
            let count = rows.len();
            let batches = match one_month {
                true => batches.clone(),
                false => {
                    let all: Vec<&RecordBatch> = batches.iter().collect();
                    vec![interleave_record_batch(&all, &rows).map_err(arrays)?]
                }
            };
            self.held += batches.iter().map(bytes_of).sum::<usize>();
            let partition = self.partitions.entry((table, month)).or_default();
            partition.rows += count;
            partition.held.extend(batches);
        }
        Ok(())
    }

    fn spill(&mut self) -> Result<(), StoreError> {
        let folder = &self.folder;
        folder::create_folder(folder).map_err(|e| StoreError::io("create", folder, e))?;
        for ((table, month), partition) in &mut self.partitions {
            let month = month.map_or_else(String::new, month_name);
            let path = self.folder.join(format!("{}-{month}", table.folder()));
            partition.spill(&path)?;
        }
        self.held = 0;
        Ok(())
    }

    /// All rows by kind and month.
    pub(super) fn finish(mut self) -> Result<Vec<(Key, Partition)>, StoreError> {
        let tables: Vec<TableName> = self.waiting.keys().copied().collect();
        for table in tables {
            self.split(table)?;
        }
        if self.held > self.limit.bytes {
            self.spill()?;
        }
        let mut all: Vec<(Key, Partition)> = self.partitions.into_iter().collect();
        for (_, partition) in &mut all {
            partition.close()?;
        }
        Ok(all)
    }
}

fn line_of(batch: &RecordBatch, row: usize) -> u64 {
    let lines = batch.column_by_name(LINE);
    let lines = lines.and_then(|lines| lines.as_primitive_opt::<Int64Type>());
    lines.map_or(0, |lines| lines.value(row).cast_unsigned())
}

pub(super) fn arrays(source: ArrowError) -> StoreError {
    StoreError::Arrays { source }
}

impl Partition {
    fn spill(&mut self, path: &Path) -> Result<(), StoreError> {
        let failed = |e| StoreError::spill(path, e);
        for batch in std::mem::take(&mut self.held) {
            let file = match &mut self.spilled {
                Some(file) => file,
                none => {
                    let file = folder::create_file(path);
                    let file = file.map_err(|e| StoreError::io("write", path, e))?;
                    let writer = StreamWriter::try_new(file, &batch.schema()).map_err(failed)?;
                    none.insert(SpillFile {
                        path: path.to_owned(),
                        writer: Some(writer),
                    })
                }
            };
            if let Some(writer) = &mut file.writer {
                writer.write(&batch).map_err(failed)?;
            }
        }
        Ok(())
    }

    fn close(&mut self) -> Result<(), StoreError> {
        if let Some(file) = &mut self.spilled
            && let Some(mut writer) = file.writer.take()
        {
            writer
                .finish()
                .map_err(|e| StoreError::spill(&file.path, e))?;
        }
        Ok(())
    }

    fn for_each_batch(
        self,
        mut each: impl FnMut(RecordBatch) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        if let Some(SpillFile { path, .. }) = &self.spilled {
            let failed = |e| StoreError::spill(path, e);
            let file = File::open(path).map_err(|e| StoreError::io("read", path, e))?;
            for batch in StreamReader::try_new(BufReader::new(file), None).map_err(failed)? {
                each(batch.map_err(failed)?)?;
            }
        }
        self.held.into_iter().try_for_each(each)
    }

    /// All of its rows.
    pub(super) fn load(self, table: TableName) -> Result<RecordBatch, StoreError> {
        let mut batches = Vec::new();
        self.for_each_batch(|batch| {
            batches.push(batch);
            Ok(())
        })?;
        concat_batches(&table.taken(), &batches).map_err(arrays)
    }

    /// The same rows in shares that fit into memory; `share`: one of so many
    /// for each row, the same for all versions of a record.
    pub(super) fn into_shares(
        self,
        below: &Path,
        name: &str,
        shares: usize,
        share: impl Fn(&RecordBatch) -> Vec<usize>,
    ) -> Result<Vec<Partition>, StoreError> {
        let folder = below.join(FOLDER);
        folder::create_folder(&folder).map_err(|e| StoreError::io("create", &folder, e))?;
        let mut all: Vec<Partition> = Vec::new();
        all.resize_with(shares, Partition::default);
        self.for_each_batch(|batch| {
            let of_rows = share(&batch);
            for (n, partition) in all.iter_mut().enumerate() {
                let rows = of_rows.iter().enumerate().filter(|(_, of)| **of == n);
                let rows: Vec<(usize, usize)> = rows.map(|(row, _)| (0, row)).collect();
                partition.rows += rows.len();
                let rows = interleave_record_batch(&[&batch], &rows).map_err(arrays)?;
                partition.held.push(rows);
                partition.spill(&folder.join(format!("{name}-share-{n}")))?;
            }
            Ok(())
        })?;
        all.iter_mut().try_for_each(Partition::close)?;
        Ok(all)
    }
}

/// A month since year 0, or `None` for a table that is not split.
pub(super) type Month = Option<i32>;

pub(super) fn month_name(month: i32) -> String {
    format!(
        "{:04}-{:02}",
        month.div_euclid(12),
        month.rem_euclid(12) + 1
    )
}

/// Finds the UTC months of instants; remembers the day before, as rows of one
/// day often stand together.
#[derive(Debug, Default)]
pub(super) struct MonthFinder {
    last: Option<(i64, i32)>,
}

impl MonthFinder {
    /// `None` where the time lies outside the years -9999 to 9999.
    pub(super) fn month_of(&mut self, micros: i64) -> Option<i32> {
        let day = micros.div_euclid(86_400_000_000);
        if let Some((last, month)) = self.last
            && last == day
        {
            return Some(month);
        }
        let at = crate::calendar::utc(micros)?;
        let date = at.date();
        let month = date.year() * 12 + date.month0() as i32;
        self.last = Some((day, month));
        Some(month)
    }
}

#[cfg(test)]
mod months_tests {
    use super::*;

    #[test]
    fn a_month_is_written_as_people_sort_it() {
        assert_eq!(month_name(2026 * 12 + 9), "2026-10");
        assert_eq!(month_name(2026 * 12), "2026-01");
    }
}

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
