//! Versions of one record: which rows are new, which corrected, which known.

use std::collections::HashMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};

use super::columns::Kind;

/// A stored row with its place in the order of ingest.
#[derive(Debug, Clone)]
pub(super) struct Row<T> {
    pub(super) file_id: u64,
    pub(super) line: u64,
    pub(super) record: T,
}

/// The current rows among all versions of one van's (or postcode's) records.
#[derive(Debug)]
pub(super) struct Current<T> {
    /// Oldest first.
    pub(super) records: Vec<T>,
    /// Versions, superseded ones included.
    pub(super) versions: u64,
    /// Rows equal to an earlier version of their record.
    pub(super) repeats: u64,
}

/// The last version of each record wins; a row equal to an earlier version is
/// no version.
pub(super) fn current<T: Kind>(mut rows: Vec<Row<T>>) -> Current<T> {
    rows.sort_by_key(|r| (r.record.when(), r.file_id, r.line));
    let mut seen = Current {
        records: Vec::with_capacity(rows.len()),
        versions: 0,
        repeats: 0,
    };
    let mut rows = rows.into_iter().map(|r| r.record).peekable();
    while let Some(first) = rows.next() {
        seen.versions += 1;
        if rows.peek().is_none_or(|next| next.when() != first.when()) {
            seen.records.push(first);
            continue;
        }
        let mut known = Known::default();
        let when = first.when();
        known.push(first);
        while let Some(next) = rows.next_if(|r| r.when() == when) {
            if known.find(&next).is_some() {
                seen.repeats += 1;
            } else {
                seen.versions += 1;
                known.push(next);
            }
        }
        seen.records.extend(known.rows.pop());
    }
    seen
}

/// Versions of one record; quick to search however many there are.
pub(super) struct Known<T> {
    pub(super) rows: Vec<T>,
    /// Once there are many: fingerprint → places in `rows`.
    by_print: HashMap<u64, Vec<usize>>,
}

/// Versions that are compared one by one.
const FEW: usize = 12;

impl<T> Default for Known<T> {
    fn default() -> Self {
        Known {
            rows: Vec::new(),
            by_print: HashMap::new(),
        }
    }
}

impl<T: Kind> Known<T> {
    /// The place of the first version that is equal.
    pub(super) fn find(&self, row: &T) -> Option<usize> {
        if self.rows.len() <= FEW {
            return self.rows.iter().position(|known| known.equals(row));
        }
        let alike = self.by_print.get(&print(row))?;
        let is_equal = |i: &&usize| self.rows.get(**i).is_some_and(|known| known.equals(row));
        alike.iter().find(is_equal).copied()
    }

    pub(super) fn push(&mut self, row: T) {
        self.rows.push(row);
        let many = self.rows.len();
        let fresh = if many == FEW + 1 { 0 } else { many - 1 };
        if many > FEW {
            for (i, row) in self.rows.iter().enumerate().skip(fresh) {
                self.by_print.entry(print(row)).or_default().push(i);
            }
        }
    }
}

/// The same for rows that are equal, nearly always another for others.
fn print<T: Kind>(row: &T) -> u64 {
    let mut bare = row.clone();
    bare.set_who("".into());
    let mut hasher = DefaultHasher::new();
    // zero and minus zero are equal
    format!("{bare:?}").replace("-0.0", "0.0").hash(&mut hasher);
    hasher.finish()
}
