//! Rows set aside: those that ingest could not use, and stored ones of a van
//! that the list does not know now.

use super::arrays::Columns;
use super::columns::Kind;
use super::error::StoreError;
use super::lines::WHOLE_FILE;
use super::names::VanNames;
use super::part::{self, Part};
use super::rows::damaged;
use super::schema::{DAY_POSITION, FILE_ID, LINE, TEXT, TableName};
use super::ties::Place;
use super::view::View;

/// A row set aside as it lies in the store.
#[derive(Debug, Clone)]
pub(super) struct ListedRow {
    pub(super) file_id: u64,
    /// `None` for a whole file.
    pub(super) line: Option<u64>,
    pub(super) reason: String,
    pub(super) text: String,
    pub(super) day_position: Option<u32>,
}

impl ListedRow {
    pub(super) fn place(&self) -> Place {
        Place {
            file_id: self.file_id,
            line: self.line.unwrap_or(WHOLE_FILE),
        }
    }
}

/// Calls `each` with the line of every row of a part of the list.
pub(super) fn for_each_line(part: &Part, mut each: impl FnMut(u64)) -> Result<(), StoreError> {
    for batch in part::batches(&part.path, TableName::SetAside, Some(&[FILE_ID, LINE]))? {
        let batch = batch?;
        let columns = Columns {
            batch: &batch,
            path: &part.path,
        };
        let lines = columns.wholes(LINE)?;
        for row in 0..batch.num_rows() {
            each(lines.get(row).unwrap_or(WHOLE_FILE));
        }
    }
    Ok(())
}

/// The same for the rows that are on the list now.
pub(super) fn for_each_listed_line(
    part: &Part,
    view: &View,
    mut each: impl FnMut(u64),
) -> Result<(), StoreError> {
    let file_id = part.file_id;
    for_each_line(part, |line| {
        if view.is_listed(Place { file_id, line }) {
            each(line);
        }
    })
}

pub(super) fn count_set_aside(parts: &[Part], view: &View) -> Result<u64, StoreError> {
    let mut count = 0;
    for part in parts {
        for_each_listed_line(part, view, |_| count += 1)?;
    }
    Ok(count)
}

/// The rows that ingest itself set aside.
pub(super) fn listed_rows(parts: &[Part], view: &View) -> Result<Vec<ListedRow>, StoreError> {
    let mut rows = Vec::new();
    for part in parts.iter().filter(|p| view.is_in_force(p.file_id)) {
        for batch in part::batches(&part.path, TableName::SetAside, None)? {
            let batch = batch?;
            let columns = Columns {
                batch: &batch,
                path: &part.path,
            };
            let reasons = columns.names("reason")?;
            let lines = columns.wholes(LINE)?;
            let texts = columns.texts(TEXT)?;
            let positions = columns.smalls_if_there(DAY_POSITION)?;
            for row in 0..batch.num_rows() {
                let listed = ListedRow {
                    file_id: part.file_id,
                    line: lines.get(row),
                    reason: reasons.get(row).map_or_else(String::new, |r| r.to_string()),
                    text: texts.value(row).to_owned(),
                    day_position: positions.as_ref().and_then(|p| p.get(row)),
                };
                if view.is_listed(listed.place()) {
                    rows.push(listed);
                }
            }
        }
    }
    Ok(rows)
}

/// Stored rows whose van the list does not know now: the records, and beside
/// each its place in the list of rows set aside.
pub(super) fn of_no_van<T: Kind>(
    parts: &[Part],
    view: &View,
    names: &VanNames,
) -> Result<(Vec<T>, Vec<ListedRow>), StoreError> {
    let (mut records, mut rows) = (Vec::new(), Vec::new());
    if matches!(names, VanNames::Any) {
        return Ok((records, rows));
    }
    for part in parts {
        let Some(file) = view.of_file(part.file_id) else {
            continue;
        };
        if !names_someone_unknown::<T>(part, names)? {
            continue;
        }
        for batch in part::batches(&part.path, T::TABLE, None)? {
            let batch = batch?;
            let columns = Columns {
                batch: &batch,
                path: &part.path,
            };
            let opened = T::open(&columns)?;
            let lines = columns.wholes(LINE)?;
            let texts = columns.optional_texts(TEXT)?;
            let reasons: Vec<Option<String>> = T::names(&opened)
                .values()
                .map(|name| names.identity(name).err().map(|no_van| no_van.reason(name)))
                .collect();
            for row in 0..batch.num_rows() {
                let reason = T::names(&opened)
                    .index(row)
                    .and_then(|i| reasons.get(i)?.clone());
                let line = lines.get(row).ok_or_else(|| damaged(part))?;
                let Some(reason) = reason else { continue };
                let record = T::get(&opened, row).ok_or_else(|| damaged(part))?;
                let mark = || T::mark_at(&opened, row);
                let text = view.text_of(part.file_id, texts.get(row), || Some(record.clone()));
                file.for_each(line, mark, |owner| {
                    records.push(record.clone());
                    rows.push(ListedRow {
                        file_id: owner.file_id,
                        line: Some(owner.line),
                        reason: reason.clone(),
                        text: text.clone(),
                        day_position: record.day_position(),
                    });
                    Some(())
                });
            }
        }
    }
    Ok((records, rows))
}

/// Looks at the names alone: most files name listed vans only.
fn names_someone_unknown<T: Kind>(part: &Part, names: &VanNames) -> Result<bool, StoreError> {
    for batch in part::batches(&part.path, T::TABLE, Some(&["van"]))? {
        let batch = batch?;
        let columns = Columns {
            batch: &batch,
            path: &part.path,
        };
        let found = columns.names("van")?;
        if found.values().any(|name| names.identity(name).is_err()) {
            return Ok(true);
        }
    }
    Ok(false)
}
