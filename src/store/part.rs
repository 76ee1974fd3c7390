//! One Parquet file of a table: written, and read as frames. Bytes that are read were held
//! against their hash before (`integrity`).

use std::fs::File;
use std::ops::Range;
use std::path::{Path, PathBuf};

use arrow_array::RecordBatch;
use parquet::arrow::arrow_writer::{ArrowWriter, ArrowWriterOptions};
use parquet::basic::{Compression, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;
use polars::prelude::{DataFrame, ParallelStrategy, ParquetReader, PolarsResult, SerReader};
use sha2::{Digest, Sha256};

use super::error::StoreError;
use super::field::Cells;
use super::folder;
use super::schema::{LINE, MONTH, TEXT, TableName};

/// Level of compression: more gains nothing on meters' decimals.
const LEVEL: i32 = 1;
/// Rows encoded before a row group is closed: bounds the writer's memory.
pub(super) const GROUP_ROWS: usize = 65_536;
/// Begins the name of a file that is still being written. Readers of the
/// format pass over names that begin with a dot.
const UNFINISHED: &str = ".unfinished-";
/// A Parquet file that a commit made part of its table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) path: PathBuf,
    /// The ingested file whose rows it holds.
    pub(super) file_id: u64,
    /// `2026-10`, for the tables that are split by month.
    pub(super) month: Option<String>,
    /// What its commit says of it, as far as that is known.
    pub(super) bytes: Option<u64>,
    pub(super) rows: Option<u64>,
}

/// A Parquet file on disk that no commit names yet.
#[derive(Debug, Clone)]
pub(super) struct NewPart {
    /// Below the table's folder, with `/`.
    pub(super) relative: String,
    pub(super) path: PathBuf,
    pub(super) month: Option<String>,
    pub(super) bytes: u64,
    pub(super) rows: u64,
    pub(super) sha256: String,
}

fn properties() -> Result<WriterProperties, ParquetError> {
    Ok(WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(LEVEL)?))
        .set_created_by("litrewise".to_owned())
        .set_max_row_group_row_count(Some(GROUP_ROWS))
        .set_column_dictionary_enabled(ColumnPath::from(TEXT), false)
        .set_column_statistics_enabled(ColumnPath::from(TEXT), EnabledStatistics::None)
        .build())
}

/// Bytes encoded before a row group is closed, however few its rows.
const GROUP_BYTES: usize = 32 << 20;

/// A Parquet file being written below a table's folder. It is no part of the
/// table until it is committed, and gone if it is not finished.
struct Unfinished {
    folder: PathBuf,
    file_id: u64,
    month: Option<String>,
    path: PathBuf,
}

impl Unfinished {
    fn create(
        table_folder: &Path,
        file_id: u64,
        month: Option<String>,
    ) -> Result<(Unfinished, Hashed), StoreError> {
        let folder = match &month {
            Some(month) => table_folder.join(format!("{MONTH}={month}")),
            None => table_folder.to_owned(),
        };
        folder::create_folder(&folder).map_err(|e| StoreError::io("create", &folder, e))?;
        let path = folder.join(format!("{UNFINISHED}{file_id:08}"));
        let file = folder::create_file(&path).map_err(|e| StoreError::io("write", &path, e))?;
        let hashed = Hashed {
            file,
            hash: Sha256::new(),
            bytes: 0,
        };
        let unfinished = Unfinished {
            folder,
            file_id,
            month,
            path,
        };
        Ok((unfinished, hashed))
    }

    fn failed(&self, error: ParquetError) -> StoreError {
        StoreError::parquet("write to", &self.path, error)
    }

    /// Waits until the disk has the file, and gives it its name.
    fn finish(self, hashed: Hashed, rows: u64) -> Result<NewPart, StoreError> {
        let io = |e| StoreError::io("write", &self.path, e);
        hashed.file.sync_all().map_err(io)?;
        let sha256 = hex(&hashed.hash.finalize());
        let name = format!(
            "part-{:08}-{}.parquet",
            self.file_id,
            sha256.get(..16).unwrap_or("")
        );
        let path = self.folder.join(&name);
        std::fs::rename(&self.path, &path).map_err(|e| StoreError::io("write", &path, e))?;
        Ok(NewPart {
            relative: match &self.month {
                Some(month) => format!("{MONTH}={month}/{name}"),
                None => name,
            },
            month: self.month.clone(),
            path,
            bytes: hashed.bytes,
            rows,
            sha256,
        })
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        // Gone already where it was finished; otherwise the next writer
        // clears what cannot be removed now.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// A Parquet file that is written from records.
pub(super) struct PartWriter {
    writer: ArrowWriter<Hashed>,
    unfinished: Unfinished,
    rows: u64,
}

impl PartWriter {
    pub(super) fn create(
        table_folder: &Path,
        table: TableName,
        file_id: u64,
        month: Option<String>,
    ) -> Result<PartWriter, StoreError> {
        let (unfinished, hashed) = Unfinished::create(table_folder, file_id, month)?;
        let begun = || -> Result<_, ParquetError> {
            // Plain Parquet types only, so that every engine reads the same thing.
            let options = ArrowWriterOptions::new()
                .with_properties(properties()?)
                .with_skip_arrow_metadata(true);
            ArrowWriter::try_new_with_options(hashed, table.written(), options)
        };
        let writer = begun().map_err(|e| unfinished.failed(e))?;
        Ok(PartWriter {
            writer,
            unfinished,
            rows: 0,
        })
    }

    pub(super) fn write(&mut self, batch: &RecordBatch) -> Result<(), StoreError> {
        let mut write = || -> Result<(), ParquetError> {
            self.writer.write(batch)?;
            if self.writer.in_progress_size() > GROUP_BYTES {
                self.writer.flush()?;
            }
            Ok(())
        };
        write().map_err(|e| self.unfinished.failed(e))?;
        self.rows += batch.num_rows() as u64;
        Ok(())
    }

    pub(super) fn finish(self) -> Result<NewPart, StoreError> {
        let hashed = self.writer.into_inner();
        let hashed = hashed.map_err(|e| self.unfinished.failed(e))?;
        self.unfinished.finish(hashed, self.rows)
    }
}

/// Removes what an interrupted writer left half-written below a table's folder.
/// Gives the highest id of an ingested file that any name there bears, also of
/// a file that was never committed.
pub(super) fn clear_unfinished(table_folder: &Path) -> Result<u64, StoreError> {
    let failed = |e| StoreError::io("clear", table_folder, e);
    let mut last_id = 0;
    for entry in std::fs::read_dir(table_folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with(UNFINISHED) {
            std::fs::remove_file(entry.path()).map_err(failed)?;
        } else if name.starts_with(MONTH) {
            last_id = last_id.max(clear_unfinished(&entry.path())?);
        } else if let Some(id) = file_id_of(&name) {
            last_id = last_id.max(id);
        }
    }
    Ok(last_id)
}

/// A file that counts and hashes what is written to it.
struct Hashed {
    file: File,
    hash: Sha256,
    bytes: u64,
}

impl std::io::Write for Hashed {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let count = self.file.write(bytes)?;
        self.hash.update(bytes.get(..count).unwrap_or_default());
        self.bytes += count as u64;
        Ok(count)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.file.flush()
    }
}

pub(super) fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The id of the ingested file, from a Parquet file's name.
pub(super) fn file_id_of(relative: &str) -> Option<u64> {
    let name = relative.rsplit('/').next()?;
    name.strip_prefix("part-")?.split('-').next()?.parse().ok()
}

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
