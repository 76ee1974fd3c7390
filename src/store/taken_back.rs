//! Files taken back out of the store, and put back: what was done when and by
//! whom. The rows themselves stay where they are.

use std::collections::BTreeSet;

use arrow_array::ArrayRef;

use super::arrays::{Columns, instants, strings, wholes};
use super::error::StoreError;
use super::part::{self, Part};
use super::records::Instant;
use super::rows::damaged;
use super::schema::{FILE_ID, TableName};

/// What can be done to a file that was taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    TakenBack,
    PutBack,
}

impl Action {
    const ALL: [Action; 2] = [Action::TakenBack, Action::PutBack];

    /// `taken back`, as said to people.
    pub fn word(self) -> &'static str {
        match self {
            Action::TakenBack => "taken back",
            Action::PutBack => "put back",
        }
    }
}

/// Something done to a file after it was taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Deed {
    /// Counts up.
    pub id: u64,
    pub file_id: u64,
    pub action: Action,
    pub at: Instant,
    /// Who was logged in; empty where that is not known.
    pub by: String,
}

/// The ids of the files that are out now. `deeds`: in order.
pub(super) fn out_now(deeds: &[Deed]) -> BTreeSet<u64> {
    let mut out = BTreeSet::new();
    for deed in deeds {
        match deed.action {
            Action::TakenBack => out.insert(deed.file_id),
            Action::PutBack => out.remove(&deed.file_id),
        };
    }
    out
}

pub(super) fn arrays(deed: &Deed) -> Vec<ArrayRef> {
    vec![
        wholes(std::iter::once(Some(deed.id))),
        wholes(std::iter::once(Some(deed.file_id))),
        strings(std::iter::once(Some(deed.action.word()))),
        instants(std::iter::once(Some(deed.at))),
        strings(std::iter::once(Some(deed.by.as_str()))),
    ]
}

/// All deeds in order.
pub(super) fn read(parts: &[Part]) -> Result<Vec<Deed>, StoreError> {
    let mut deeds = Vec::new();
    for part in parts {
        for batch in part::batches(&part.path, TableName::TakenBack, None)? {
            let batch = batch?;
            let columns = Columns {
                batch: &batch,
                path: &part.path,
            };
            let (ids, file_ids) = (columns.wholes("id")?, columns.wholes(FILE_ID)?);
            let (actions, at) = (columns.names("action")?, columns.instants("at")?);
            let by = columns.texts("by")?;
            for row in 0..batch.num_rows() {
                let word = actions.get(row).ok_or_else(|| damaged(part))?;
                let action = Action::ALL.into_iter().find(|a| a.word() == &**word);
                deeds.push(Deed {
                    id: ids.get(row).ok_or_else(|| damaged(part))?,
                    file_id: file_ids.get(row).ok_or_else(|| damaged(part))?,
                    action: action.ok_or_else(|| damaged(part))?,
                    at: at.get(row).unwrap_or(Instant(0)),
                    by: by.value(row).to_owned(),
                });
            }
        }
    }
    deeds.sort_by_key(|deed| deed.id);
    Ok(deeds)
}
