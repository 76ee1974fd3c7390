//! Rows set aside: those that ingest could not use, and stored ones of a van
//! that the list does not know now.

use super::error::StoreError;
use super::field::Cells;
use super::in_force::View;
use super::lineage::{Place, WHOLE_FILE};
use super::names::VanNames;
use super::part::Part;
use super::part::{self, PartRows, damaged};
use super::records::Record;
use super::schema::{DAY_POSITION, Fill, Kind, LINE, Moment, Reading, Service, TEXT, TableName};

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

/// The line of every row of a part of the list.
pub(super) fn lines(part: &Part) -> Result<Vec<u64>, StoreError> {
    let columns = part::columns(part, &[LINE], None)?;
    let lines = columns.first().unwrap_or(&Cells::Missing);
    let line = |row| lines.count(row).unwrap_or(WHOLE_FILE);
    Ok((0..lines.len()).map(line).collect())
}

/// Every row of a part of the list: its number and its text.
pub(super) fn lines_and_texts(part: &Part) -> Result<Vec<(u64, String)>, StoreError> {
    let columns = part::columns(part, &[LINE, TEXT], None)?;
    let [lines, texts] = columns.as_slice() else {
        return Ok(Vec::new());
    };
    let row = |row| {
        let text = texts
            .name(row)
            .map_or_else(String::new, |text| text.to_string());
        (lines.count(row).unwrap_or(WHOLE_FILE), text)
    };
    Ok((0..lines.len()).map(row).collect())
}

/// The same for the rows that are on the list now.
pub(super) fn listed_lines(part: &Part, view: &View) -> Result<Vec<u64>, StoreError> {
    let file_id = part.file_id;
    let mut lines = lines(part)?;
    lines.retain(|line| {
        let line = *line;
        view.is_listed(Place { file_id, line })
    });
    Ok(lines)
}

pub(super) fn count_set_aside(parts: &[Part], view: &View) -> Result<u64, StoreError> {
    let counts = parts
        .iter()
        .map(|part| Ok(listed_lines(part, view)?.len() as u64));
    counts.sum()
}

/// The rows that ingest itself set aside.
pub(super) fn listed_rows(parts: &[Part], view: &View) -> Result<Vec<ListedRow>, StoreError> {
    let mut rows = Vec::new();
    for part in parts.iter().filter(|p| view.is_in_force(p.file_id)) {
        let columns = part::columns(part, &["reason", LINE, TEXT, DAY_POSITION], None)?;
        let [reasons, lines, texts, positions] = columns.as_slice() else {
            continue;
        };
        let text = |cells: &Cells, row| cells.name(row).map_or_else(String::new, |t| t.to_string());
        for row in 0..lines.len() {
            let listed = ListedRow {
                file_id: part.file_id,
                line: lines.count(row),
                reason: text(reasons, row),
                text: text(texts, row),
                day_position: positions.whole(row).and_then(|n| u32::try_from(n).ok()),
            };
            if view.is_listed(listed.place()) {
                rows.push(listed);
            }
        }
    }
    Ok(rows)
}

/// Stored rows whose van the list does not know now: the records, and beside
/// each its place in the list of rows set aside. `parts`: of each table.
pub(super) fn of_no_van<'p>(
    parts: impl Fn(TableName) -> Result<Vec<Part>, StoreError> + 'p,
    view: &View,
    names: &VanNames,
) -> Result<(Vec<Record>, Vec<ListedRow>), StoreError> {
    let (mut records, mut rows) = (Vec::new(), Vec::new());
    if names.is_any() {
        return Ok((records, rows));
    }
    for part in &parts(TableName::Readings)? {
        of_no_van_in::<Reading>(part, view, names, &mut records, &mut rows)?;
    }
    for part in &parts(TableName::Fills)? {
        of_no_van_in::<Fill>(part, view, names, &mut records, &mut rows)?;
    }
    for part in &parts(TableName::Services)? {
        of_no_van_in::<Service>(part, view, names, &mut records, &mut rows)?;
    }
    Ok((records, rows))
}

fn of_no_van_in<T: Kind>(
    part: &Part,
    view: &View,
    names: &VanNames,
    records: &mut Vec<Record>,
    listed: &mut Vec<ListedRow>,
) -> Result<(), StoreError> {
    if !view.may_hold(part.file_id) {
        return Ok(());
    }
    // most files name listed vans only
    let named = part::columns(part, &["van"], None)?;
    let mut vans = named.iter().flat_map(Cells::names);
    if vans.all(|name| names.identity(name).is_ok()) {
        return Ok(());
    }
    let opened = PartRows::read(part, T::TABLE, true, None)?;
    let position = T::TABLE
        .own_columns()
        .iter()
        .position(|c| c.name == DAY_POSITION);
    let position = position.and_then(|at| opened.columns.get(at));
    let reason = |name: &std::sync::Arc<str>| {
        let no_van = names.identity(name).err()?;
        Some(no_van.reason(name))
    };
    let reasons: Vec<Option<String>> = opened.who().names().iter().map(reason).collect();
    for (row, line) in opened.lines.iter().enumerate() {
        let reason = opened
            .who()
            .number(row)
            .and_then(|n| reasons.get(n)?.clone());
        let Some(reason) = reason else { continue };
        let record = T::get(&opened.columns, row).ok_or_else(|| damaged(part))?;
        let moment = Moment::of(T::TABLE, &opened.columns, row).ok_or_else(|| damaged(part))?;
        let text = view.text_of::<T>(&opened, row);
        let stored = Place {
            file_id: part.file_id,
            line: *line,
        };
        let day_position = position.and_then(|p| u32::try_from(p.whole(row)?).ok());
        view.owners(stored, moment.mark(T::TABLE), |owner| {
            records.push(record.clone().into_record());
            listed.push(ListedRow {
                file_id: owner.file_id,
                line: Some(owner.line),
                reason: reason.clone(),
                text: text.clone(),
                day_position,
            });
        });
    }
    Ok(())
}
