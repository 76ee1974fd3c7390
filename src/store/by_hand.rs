//! What was done by hand: single rows taken back out or put back, and vans that
//! were given another name. The rows themselves stay where they are.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::RangeInclusive;
use std::sync::Arc;

use super::error::StoreError;
use super::field::Cell;
use super::lineage::{Action, Lines, Place};
use super::names::van_key;
use super::part::Part;
use super::part::{self, PartRows, damaged};
use super::records::{Instant, KINDS, line_of, part_of};
use super::schema::{
    FILE_ID, Fill, Hardness, LINE, OF_FILE_ID, OF_LINE, Reading, Service, TableName, Van, of_kind,
};
use super::set_aside::lines_and_texts;
use super::snapshot::Snapshot;

/// Something done to a single row after it was taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowDeed {
    /// Counts up.
    pub id: u64,
    pub file_id: u64,
    /// As [`super::records::part_number`] gives it.
    pub(super) number: u64,
    pub action: Action,
    pub at: Instant,
    /// Who was logged in; empty where that is not known.
    pub by: String,
}

impl RowDeed {
    pub fn line(&self) -> u64 {
        line_of(self.number)
    }
}

/// A van that was given another name, or its own again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Renaming {
    /// Counts up.
    pub id: u64,
    pub van: Arc<str>,
    /// `None` where an earlier renaming was taken back.
    pub to: Option<Arc<str>>,
    pub at: Instant,
    /// As for [`RowDeed::by`].
    pub by: String,
}

pub(super) fn cells(deed: &RowDeed) -> Vec<Cell<'_>> {
    vec![
        Cell::Whole(deed.id),
        Cell::Whole(deed.file_id),
        Cell::Whole(deed.number),
        Cell::Text(deed.action.word()),
        Cell::Instant(deed.at.0),
        Cell::Text(&deed.by),
    ]
}

pub(super) fn cells_of_renaming(renaming: &Renaming) -> Vec<Cell<'_>> {
    vec![
        Cell::Whole(renaming.id),
        Cell::Text(&renaming.van),
        renaming.to.as_deref().into(),
        Cell::Instant(renaming.at.0),
        Cell::Text(&renaming.by),
    ]
}

/// All that was done to rows, in order.
pub(super) fn read_deeds(parts: &[Part]) -> Result<Vec<RowDeed>, StoreError> {
    let mut deeds = Vec::new();
    for part in parts {
        let columns = part::columns(part, &["id", FILE_ID, LINE, "action", "at", "by"], None)?;
        let [ids, file_ids, lines, actions, at, by] = columns.as_slice() else {
            continue;
        };
        for row in 0..ids.len() {
            let deed = || {
                Some(RowDeed {
                    id: ids.count(row)?,
                    file_id: file_ids.count(row)?,
                    number: lines.count(row)?,
                    action: Action::of_word(actions.name(row)?)?,
                    at: Instant(at.whole(row).unwrap_or(0)),
                    by: by.name(row).map_or_else(String::new, |by| by.to_string()),
                })
            };
            deeds.push(deed().ok_or_else(|| damaged(part))?);
        }
    }
    deeds.sort_by_key(|deed| deed.id);
    Ok(deeds)
}

/// All names that were given, in order.
pub(super) fn read_renamings(parts: &[Part]) -> Result<Vec<Renaming>, StoreError> {
    let mut renamings = Vec::new();
    for part in parts {
        let columns = part::columns(part, &["id", "van", "to_van", "at", "by"], None)?;
        let [ids, vans, to, at, by] = columns.as_slice() else {
            continue;
        };
        for row in 0..ids.len() {
            let renaming = || {
                Some(Renaming {
                    id: ids.count(row)?,
                    van: vans.name(row)?.clone(),
                    to: to.name(row).cloned(),
                    at: Instant(at.whole(row).unwrap_or(0)),
                    by: by.name(row).map_or_else(String::new, |by| by.to_string()),
                })
            };
            renamings.push(renaming().ok_or_else(|| damaged(part))?);
        }
    }
    renamings.sort_by_key(|renaming| renaming.id);
    Ok(renamings)
}

/// The rows that are out now. `deeds`: in order.
pub(super) fn rows_out(deeds: &[RowDeed]) -> Lines {
    let mut out = BTreeSet::new();
    for deed in deeds {
        let place = (deed.file_id, deed.number);
        match deed.action {
            Action::TakenBack => out.insert(place),
            Action::PutBack => out.remove(&place),
        };
    }
    out.into_iter().collect()
}

/// The names that vans bear now, by the fold of those that they bore.
#[derive(Debug, Clone, Default)]
pub(super) struct Renamed(BTreeMap<String, Arc<str>>);

impl Renamed {
    /// `renamings`: in order.
    pub(super) fn of(renamings: &[Renaming]) -> Renamed {
        let mut now = BTreeMap::new();
        for renaming in renamings {
            let key = van_key(&renaming.van);
            match &renaming.to {
                Some(to) => now.insert(key, to.clone()),
                None => now.remove(&key),
            };
        }
        Renamed(now)
    }

    /// The present name of a van, where it bears another now.
    pub(super) fn now(&self, name: &str) -> Option<&Arc<str>> {
        if self.0.is_empty() {
            return None;
        }
        let mut found = self.0.get(&van_key(name))?;
        // a chain of names is followed to its end
        for _ in 0..self.0.len() {
            match self.0.get(&van_key(found)) {
                Some(next) => found = next,
                None => break,
            }
        }
        Some(found)
    }
}

/// A row of a file: stored, or set aside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowFound {
    pub(super) place: Place,
    /// What kind of record it is, where that is known.
    pub kind: Option<&'static str>,
    pub text: String,
}

impl RowFound {
    /// The file where it lies, and its line there.
    pub fn at(&self) -> (u64, u64) {
        (self.place.file_id, line_of(self.place.line))
    }
}

impl Snapshot {
    /// What stands on some lines of a file: its own rows, those of earlier files
    /// that they repeat, and rows set aside.
    pub(super) fn rows_on(
        &self,
        file_id: u64,
        lines: &RangeInclusive<u64>,
    ) -> Result<Vec<RowFound>, StoreError> {
        let is_on = |number: u64| lines.contains(&line_of(number));
        let mut found = Vec::new();
        self.rows_at(file_id, &is_on, &mut found)?;
        let mut repeated: BTreeSet<Place> = BTreeSet::new();
        for part in self.parts(TableName::Repeats) {
            if part.file_id != file_id {
                continue;
            }
            let columns = part::columns(part, &[LINE, OF_FILE_ID, OF_LINE], None)?;
            let [own, of_file, of_line] = columns.as_slice() else {
                continue;
            };
            for row in (0..own.len()).filter(|row| own.count(*row).is_some_and(is_on)) {
                let place = of_file.count(row).zip(of_line.count(row));
                repeated.extend(place.map(|(file_id, line)| Place { file_id, line }));
            }
        }
        if let Some(file) = self.files.get(file_id) {
            let known = file.known.iter().filter(|(number, _)| is_on(*number));
            repeated.extend(known.map(|(_, place)| place));
            // what stands for a row of an earlier file is that row
            let known = file.known.iter().map(|(number, _)| number);
            let known: BTreeSet<u64> = known.collect();
            found.retain(|row| !known.contains(&row.place.line));
        }
        for place in repeated {
            self.rows_at(place.file_id, &|number| number == place.line, &mut found)?;
        }
        found.sort_by_key(|row| row.place);
        found.dedup_by_key(|row| (row.place, row.kind));
        Ok(found)
    }

    /// The rows of a file with such numbers.
    fn rows_at(
        &self,
        file_id: u64,
        is_wanted: &dyn Fn(u64) -> bool,
        found: &mut Vec<RowFound>,
    ) -> Result<(), StoreError> {
        for table in TableName::KINDS {
            for part in self.parts(table).iter().filter(|p| p.file_id == file_id) {
                let rows = PartRows::read(part, table, true, None)?;
                for (row, line) in rows.lines.iter().enumerate() {
                    if is_wanted(*line) {
                        found.push(RowFound {
                            place: Place { file_id, line: *line },
                            kind: Some(table.folder()),
                            text: of_kind!(table, T => self.view.text_of::<T>(&rows, row), else String::new()),
                        });
                    }
                }
            }
        }
        let of_file = |part: &&Part| part.file_id == file_id;
        for part in self.parts(TableName::SetAside).iter().filter(of_file) {
            for (line, text) in lines_and_texts(part)? {
                let place = Place { file_id, line };
                // one that was mended is no row any more
                let is_row = self.view.is_listed(place) || self.rows_out.contains(file_id, line);
                if is_wanted(line) && is_row {
                    let kind = usize::from(part_of(line)).checked_sub(1);
                    found.push(RowFound {
                        place,
                        kind: kind.and_then(|at| KINDS.get(at).copied()),
                        text,
                    });
                }
            }
        }
        Ok(())
    }
}
