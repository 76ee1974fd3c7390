//! Stored rows of one kind, read part by part.

use std::collections::{BTreeMap, HashMap};
use std::marker::PhantomData;
use std::sync::Arc;

use arrow_array::RecordBatch;
use rayon::prelude::*;

use super::arrays::{Columns, Wholes};
use super::columns::Kind;
use super::error::StoreError;
use super::names::{NoVan, VanNames};
use super::part::{self, Asked, Part};
use super::schema::{LINE, TEXT, TableName};
use super::ties::Place;
use super::versions::Row;
use super::view::{FileView, View};

/// What tells a row's van from others; for other kinds the name as it stands.
pub(super) fn identity_of<T: Kind>(names: &VanNames, who: &Arc<str>) -> Result<Arc<str>, NoVan> {
    if T::IS_OF_A_VAN {
        names.identity(who)
    } else {
        Ok(who.clone())
    }
}

/// All versions of a kind of record, van by van (or postcode by postcode).
pub(super) struct Gathered<T> {
    pub(super) rows: BTreeMap<Arc<str>, Vec<Row<T>>>,
    /// (identity, spelling) → rows.
    pub(super) spellings: BTreeMap<(Arc<str>, Arc<str>), u64>,
    /// Rows of no van.
    pub(super) set_aside: u64,
}

impl<T> Default for Gathered<T> {
    fn default() -> Self {
        Gathered {
            rows: BTreeMap::new(),
            spellings: BTreeMap::new(),
            set_aside: 0,
        }
    }
}

impl<T> Gathered<T> {
    /// Takes rows written under the name `who`, which is that identity's.
    pub(super) fn add(
        &mut self,
        identity: &Result<Arc<str>, NoVan>,
        who: Arc<str>,
        rows: impl ExactSizeIterator<Item = Row<T>>,
    ) {
        let count = rows.len() as u64;
        let Ok(identity) = identity else {
            self.set_aside += count;
            return;
        };
        let spelling = (identity.clone(), who);
        *self.spellings.entry(spelling).or_default() += count;
        self.rows.entry(identity.clone()).or_default().extend(rows);
    }
}

/// Consecutive rows of one name.
type Run<T> = (Arc<str>, Vec<Row<T>>);

pub(super) fn gather<T: Kind>(
    parts: &[Part],
    view: &View,
    names: &VanNames,
) -> Result<Gathered<T>, StoreError> {
    let runs: Vec<Vec<Run<T>>> = parts
        .par_iter()
        .map(|part| read_runs(part, view))
        .collect::<Result<_, _>>()?;
    let mut gathered = Gathered::<T>::default();
    let mut known: HashMap<Arc<str>, Result<Arc<str>, NoVan>> = HashMap::new();
    for (who, rows) in runs.into_iter().flatten() {
        let identity = known
            .entry(who.clone())
            .or_insert_with(|| identity_of::<T>(names, &who));
        gathered.add(identity, who, rows.into_iter());
    }
    Ok(gathered)
}

/// All columns of a record's table but the text.
pub(super) fn without_text(table: TableName) -> Vec<&'static str> {
    table
        .columns()
        .map(|(name, _)| name)
        .filter(|name| *name != TEXT)
        .collect()
}

pub(super) fn damaged(part: &Part) -> StoreError {
    StoreError::Damaged {
        path: part.path.clone(),
        what: "a row lacks a value that every row has".to_owned(),
    }
}

/// A stored row, and the row it stands for: mostly itself.
#[derive(Debug, Clone, Copy)]
pub(super) struct RowPlace {
    pub(super) stored: Place,
    pub(super) mark: u32,
    pub(super) owner: Place,
}

/// Calls `each` with every row in force.
pub(super) fn for_each_row<T: Kind>(
    part: &Part,
    view: &View,
    each: impl FnMut(&T::Batch, usize, RowPlace) -> Option<()>,
) -> Result<(), StoreError> {
    for_each_row_within::<T>(part, view, Asked::All, each)
}

/// The same for those that are asked for.
pub(super) fn for_each_row_within<T: Kind>(
    part: &Part,
    view: &View,
    asked: Asked,
    mut each: impl FnMut(&T::Batch, usize, RowPlace) -> Option<()>,
) -> Result<(), StoreError> {
    for_each_row_asked::<T>(part, view, asked, |batch, row, places| {
        let mut places = places.iter();
        places.try_for_each(|place| each(&batch.columns, row, *place))
    })
}

/// Calls `each` with every stored row that is asked for, and all the rows that
/// it stands for.
pub(super) fn for_each_row_asked<T: Kind>(
    part: &Part,
    view: &View,
    asked: Asked,
    mut each: impl FnMut(&RowBatch<T>, usize, &[RowPlace]) -> Option<()>,
) -> Result<(), StoreError> {
    let Some(file) = view.of_file(part.file_id) else {
        return Ok(());
    };
    let mut rows = PartRows::<T>::open(part, asked)?;
    let mut places = Vec::new();
    while let Some(batch) = rows.next_batch()? {
        for row in 0..batch.rows {
            let found = batch.places(&file, row, &mut places);
            found
                .and_then(|()| each(&batch, row, &places))
                .ok_or_else(|| damaged(part))?;
        }
    }
    Ok(())
}

/// A Parquet file's rows, batch by batch.
pub(super) struct PartRows<T> {
    part: Part,
    batches: Box<dyn Iterator<Item = Result<RecordBatch, StoreError>> + Send>,
    kind: PhantomData<fn() -> T>,
}

/// Some of them.
pub(super) struct RowBatch<T: Kind> {
    pub(super) columns: T::Batch,
    lines: Wholes,
    pub(super) rows: usize,
}

impl<T: Kind> PartRows<T> {
    pub(super) fn open(part: &Part, asked: Asked) -> Result<PartRows<T>, StoreError> {
        let wanted = without_text(T::TABLE);
        let batches = part::batches_asked(&part.path, T::TABLE, Some(&wanted), asked)?;
        Ok(PartRows {
            part: part.clone(),
            batches: Box::new(batches),
            kind: PhantomData,
        })
    }

    pub(super) fn next_batch(&mut self) -> Result<Option<RowBatch<T>>, StoreError> {
        let Some(batch) = self.batches.next().transpose()? else {
            return Ok(None);
        };
        let columns = Columns {
            batch: &batch,
            path: &self.part.path,
        };
        Ok(Some(RowBatch {
            columns: T::open(&columns)?,
            lines: columns.wholes(LINE)?,
            rows: batch.num_rows(),
        }))
    }
}

impl<T: Kind> RowBatch<T> {
    /// All rows that a stored one stands for; `None` where it lacks its line.
    pub(super) fn places(
        &self,
        file: &FileView<'_>,
        row: usize,
        places: &mut Vec<RowPlace>,
    ) -> Option<()> {
        places.clear();
        let line = self.lines.get(row)?;
        let mark = || T::mark_at(&self.columns, row);
        let file_id = file.file_id();
        file.for_each(line, mark, |owner| {
            places.push(RowPlace {
                stored: Place { file_id, line },
                mark: mark(),
                owner,
            });
            Some(())
        })
    }
}

fn read_runs<T: Kind>(part: &Part, view: &View) -> Result<Vec<Run<T>>, StoreError> {
    let mut runs: Vec<Run<T>> = Vec::new();
    for_each_row::<T>(part, view, |batch, row, place| {
        let record = T::get(batch, row)?;
        if runs.last().is_none_or(|(who, _)| who != record.who()) {
            runs.push((record.who().clone(), Vec::new()));
        }
        let (_, rows) = runs.last_mut()?;
        rows.push(Row {
            file_id: place.owner.file_id,
            line: place.owner.line,
            record,
        });
        Some(())
    })?;
    Ok(runs)
}
