//! One Parquet file of a table: writing it, opening it.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use arrow_array::{ArrayRef, RecordBatch};
use parquet::arrow::ProjectionMask;
use parquet::arrow::arrow_reader::{
    ArrowReaderOptions, ParquetRecordBatchReader, ParquetRecordBatchReaderBuilder,
};
use parquet::arrow::arrow_writer::{ArrowWriter, ArrowWriterOptions};
use parquet::basic::{Compression, ZstdLevel};
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;
use sha2::{Digest, Sha256};

use super::error::StoreError;
use super::private;
use super::schema::{MONTH, TEXT, TableName};

/// Rows encoded before a row group is closed: bounds the writer's memory.
pub(super) const GROUP_ROWS: usize = 65_536;
/// Rows decoded at a time.
const BATCH_ROWS: usize = 8_192;

/// A Parquet file that a commit made part of its table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) path: PathBuf,
    /// The ingested file whose rows it holds.
    pub(super) file_id: u64,
    /// `2026-10`, for the tables that are split by month.
    pub(super) month: Option<String>,
}

/// A Parquet file on disk that no commit names yet.
#[derive(Debug, Clone)]
pub(super) struct NewPart {
    /// Below the table's folder, with `/`.
    pub(super) relative: String,
    pub(super) month: Option<String>,
    pub(super) bytes: u64,
    pub(super) rows: u64,
    pub(super) sha256: String,
}

fn properties() -> Result<WriterProperties, ParquetError> {
    Ok(WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(1)?))
        .set_created_by("litrewise".to_owned())
        .set_max_row_group_row_count(Some(GROUP_ROWS))
        .set_column_dictionary_enabled(ColumnPath::from(TEXT), false)
        .set_column_statistics_enabled(ColumnPath::from(TEXT), EnabledStatistics::None)
        .build())
}

/// The Parquet bytes of these batches, one row group each.
fn encode(
    table: TableName,
    batches: impl Iterator<Item = Vec<ArrayRef>>,
) -> Result<(Vec<u8>, u64), ParquetError> {
    let schema = table.written();
    // Plain Parquet types only, so that every engine reads the same thing.
    let options = ArrowWriterOptions::new()
        .with_properties(properties()?)
        .with_skip_arrow_metadata(true);
    let mut writer = ArrowWriter::try_new_with_options(Vec::new(), schema.clone(), options)?;
    let mut rows = 0;
    for arrays in batches {
        let batch = RecordBatch::try_new(schema.clone(), arrays)?;
        rows += batch.num_rows() as u64;
        writer.write(&batch)?;
    }
    Ok((writer.into_inner()?, rows))
}

/// Writes a Parquet file below the table's folder and waits for the disk. It
/// is no part of the table until it is committed.
pub(super) fn write(
    table_folder: &Path,
    table: TableName,
    file_id: u64,
    month: Option<String>,
    batches: impl Iterator<Item = Vec<ArrayRef>>,
) -> Result<NewPart, StoreError> {
    let (bytes, rows) =
        encode(table, batches).map_err(|e| StoreError::parquet("write to", table_folder, e))?;
    let sha256 = hex(&Sha256::digest(&bytes));
    let name = format!(
        "part-{file_id:08}-{}.parquet",
        sha256.get(..16).unwrap_or("")
    );
    let relative = match &month {
        Some(month) => format!("{MONTH}={month}/{name}"),
        None => name,
    };
    let path = table_folder.join(&relative);
    if let Some(folder) = path.parent() {
        private::create_folder(folder).map_err(|e| StoreError::io("create", folder, e))?;
    }
    private::write_file(&path, &bytes).map_err(|e| StoreError::io("write", &path, e))?;
    Ok(NewPart {
        relative,
        month,
        bytes: bytes.len() as u64,
        rows,
        sha256,
    })
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

/// Opens a Parquet file to read the named columns, or all.
pub(super) fn open(
    path: &Path,
    table: TableName,
    columns: Option<&[&str]>,
) -> Result<ParquetRecordBatchReader, StoreError> {
    let file = File::open(path).map_err(|e| StoreError::io("open", path, e))?;
    let read = || -> Result<ParquetRecordBatchReader, ParquetError> {
        let options = ArrowReaderOptions::new().with_schema(table.read());
        let builder = ParquetRecordBatchReaderBuilder::try_new_with_options(file, options)?;
        let mask = match columns {
            Some(columns) => {
                ProjectionMask::columns(builder.parquet_schema(), columns.iter().copied())
            }
            None => ProjectionMask::all(),
        };
        builder
            .with_projection(mask)
            .with_batch_size(BATCH_ROWS)
            .build()
    };
    read().map_err(|e| StoreError::parquet("read", path, e))
}

/// The next batch, its error told with the file's path.
pub(super) fn batches(
    path: &Path,
    table: TableName,
    columns: Option<&[&str]>,
) -> Result<impl Iterator<Item = Result<RecordBatch, StoreError>>, StoreError> {
    let reader = open(path, table, columns)?;
    let path = Arc::new(path.to_owned());
    Ok(reader.map(move |batch| {
        batch.map_err(|e| StoreError::parquet("read", &path, ParquetError::from(e)))
    }))
}
