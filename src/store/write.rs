//! A file's rows as Parquet files, month by month.

use std::collections::BTreeMap;
use std::path::Path;

use arrow_array::ArrayRef;
use rayon::prelude::*;

use super::arrays::{instants, smalls, strings, wholes};
use super::columns::Kind;
use super::error::StoreError;
use super::judge::Verdict;
use super::months::{Month, MonthFinder, month_name};
use super::part::{self, GROUP_ROWS, NewPart, PartWriter};
use super::records::{AcceptedRow, Instant, SetAside, line_of};
use super::ties::Place;

/// Where the rows being written come from.
#[derive(Debug, Clone, Copy)]
pub(super) struct Origin<'f> {
    /// The file's name.
    pub(super) file: &'f str,
    pub(super) id: u64,
    pub(super) at: Instant,
}

impl Origin<'_> {
    /// Writes those rows of one kind of which `is_written` holds, a Parquet
    /// file a month.
    pub(super) fn write_kind<T: Kind>(
        &self,
        folder: &Path,
        rows: &[AcceptedRow],
        is_written: impl Fn(usize) -> bool,
    ) -> Result<Vec<NewPart>, StoreError> {
        let mut months: BTreeMap<Month, Vec<RowOf<'_, T>>> = BTreeMap::new();
        let mut finder = MonthFinder::default();
        for (i, (line, record, text)) in rows.iter().enumerate() {
            if let Some(record) = T::of(record)
                && is_written(i)
            {
                let month = finder.month_of(record);
                let month = month.ok_or_else(|| StoreError::TimeOutOfRange {
                    file: self.file.to_owned(),
                    line: line_of(*line),
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

    /// Writes rows that ingest could not use.
    pub(super) fn write_set_aside(
        &self,
        rows: &[SetAside],
        part: &mut PartWriter,
    ) -> Result<(), StoreError> {
        let mut arrays = vec![
            strings(rows.iter().map(|r| Some(r.reason.as_str()))),
            smalls(rows.iter().map(|r| r.day_position)),
        ];
        arrays.extend(self.arrays(rows.iter().map(|r| (r.number(), Some(r.text.as_str())))));
        part.write(arrays)
    }

    /// Writes which rows repeat a stored one.
    pub(super) fn write_repeats(
        &self,
        rows: &[AcceptedRow],
        verdicts: &[Verdict],
        part: &mut PartWriter,
    ) -> Result<(), StoreError> {
        let repeats: Vec<_> = rows
            .iter()
            .zip(verdicts)
            .filter_map(|((line, record, _), verdict)| match verdict {
                Verdict::AlreadyStored(Some((of, mark))) => Some((*line, *of, *mark, 0)),
                Verdict::AlreadyListed(of) => Some((*line, *of, mark_of(record), 1)),
                _ => None,
            })
            .collect();
        self.write_ties(&repeats, part)
    }

    /// The same for rows told by their line, the stored row they repeat, its
    /// mark, and 1 where it is one set aside.
    pub(super) fn write_ties(
        &self,
        repeats: &[(u64, Place, u32, u32)],
        part: &mut PartWriter,
    ) -> Result<(), StoreError> {
        if repeats.is_empty() {
            return Ok(());
        }
        let rows = repeats.iter();
        part.write(vec![
            wholes(rows.clone().map(|_| Some(self.id))),
            wholes(rows.clone().map(|(line, ..)| Some(*line))),
            wholes(rows.clone().map(|(_, of, ..)| Some(of.file_id))),
            wholes(rows.clone().map(|(_, of, ..)| Some(of.line))),
            smalls(rows.clone().map(|(_, _, mark, _)| Some(*mark))),
            smalls(rows.map(|(.., is_listed)| Some(*is_listed))),
        ])
    }

    /// The columns beside the record's own; `rows`: line, and text where it is kept.
    pub(super) fn arrays<'r>(
        &self,
        rows: impl Iterator<Item = (Option<u64>, Option<&'r str>)> + Clone,
    ) -> [ArrayRef; 4] {
        [
            wholes(rows.clone().map(|_| Some(self.id))),
            wholes(rows.clone().map(|(line, _)| line)),
            instants(rows.clone().map(|_| Some(self.at))),
            strings(rows.map(|(_, text)| text)),
        ]
    }
}

fn mark_of(record: &super::records::Record) -> u32 {
    match record {
        super::records::Record::Service(service) => service.item as u32 + 1,
        _ => 0,
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
        arrays.extend(origin.arrays(chunk.iter().map(|row| (Some(row.line), Some(row.text)))));
        arrays
    });
    part::write(folder, T::TABLE, origin.id, month.map(month_name), batches)
}
