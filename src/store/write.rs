//! A file's rows as Parquet files, month by month.

use std::collections::BTreeMap;
use std::path::Path;

use arrow_array::ArrayRef;
use rayon::prelude::*;

use super::arrays::{instants, strings, wholes};
use super::columns::Kind;
use super::error::StoreError;
use super::judge::Verdict;
use super::months::{Month, MonthFinder, month_name};
use super::part::{self, GROUP_ROWS, NewPart};
use super::records::{FileRows, Instant, SetAside};
use super::schema::TableName;

/// Where the rows being written come from.
pub(super) struct Origin<'f> {
    pub(super) file: &'f FileRows,
    pub(super) verdicts: &'f [Verdict],
    pub(super) id: u64,
    pub(super) at: Instant,
}

impl Origin<'_> {
    /// Writes the rows of one kind that are new to the store.
    pub(super) fn write_kind<T: Kind>(&self, folder: &Path) -> Result<Vec<NewPart>, StoreError> {
        let mut months: BTreeMap<Month, Vec<RowOf<'_, T>>> = BTreeMap::new();
        let mut finder = MonthFinder::default();
        for ((line, record, text), verdict) in self.file.rows.iter().zip(self.verdicts) {
            if let Some(record) = T::of(record)
                && verdict.is_written()
            {
                let month = finder.month_of(record);
                let month = month.ok_or_else(|| StoreError::TimeOutOfRange {
                    file: self.file.name.clone(),
                    line: *line,
                })?;
                months.entry(month).or_default().push(RowOf {
                    record,
                    line: *line,
                    text,
                });
            }
        }
        months
            .into_par_iter()
            .map(|(month, rows)| write_month(folder, month, rows, self))
            .collect()
    }

    /// Writes the rows that ingest could not use.
    pub(super) fn write_set_aside(&self, folder: &Path) -> Result<Option<NewPart>, StoreError> {
        let rows = &self.file.set_aside;
        if rows.is_empty() {
            return Ok(None);
        }
        let batches = rows.chunks(GROUP_ROWS).map(|chunk| {
            let mut arrays = vec![strings(chunk.iter().map(|r| Some(r.reason.as_str())))];
            arrays.extend(self.arrays(chunk.iter().map(|r: &SetAside| (r.line, r.text.as_str()))));
            arrays
        });
        part::write(folder, TableName::SetAside, self.id, None, batches).map(Some)
    }

    /// The columns beside the record's own; `rows`: line and text.
    fn arrays<'r>(
        &self,
        rows: impl Iterator<Item = (Option<u64>, &'r str)> + Clone,
    ) -> [ArrayRef; 4] {
        [
            wholes(rows.clone().map(|_| Some(self.id))),
            wholes(rows.clone().map(|(line, _)| line)),
            instants(rows.clone().map(|_| Some(self.at))),
            strings(rows.map(|(_, text)| Some(text))),
        ]
    }
}

struct RowOf<'f, T> {
    record: &'f T,
    line: u64,
    text: &'f str,
}

/// Sorted by van and time, so that one van's rows lie side by side.
fn write_month<T: Kind>(
    folder: &Path,
    month: Month,
    mut rows: Vec<RowOf<'_, T>>,
    origin: &Origin<'_>,
) -> Result<NewPart, StoreError> {
    rows.sort_by(|a, b| {
        let who = a.record.who().cmp(b.record.who());
        who.then_with(|| (a.record.when(), a.line).cmp(&(b.record.when(), b.line)))
    });
    let batches = rows.chunks(GROUP_ROWS).map(|chunk| {
        let records: Vec<&T> = chunk.iter().map(|row| row.record).collect();
        let mut arrays = T::arrays(&records);
        arrays.extend(origin.arrays(chunk.iter().map(|row| (Some(row.line), row.text))));
        arrays
    });
    part::write(folder, T::TABLE, origin.id, month.map(month_name), batches)
}
