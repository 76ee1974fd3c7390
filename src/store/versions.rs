//! Versions of one record: which rows are new, which corrected, which known.

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
    let mut earlier: Vec<T> = Vec::new();
    while let Some(mut newest) = rows.next() {
        seen.versions += 1;
        while let Some(next) = rows.next_if(|r| r.when() == newest.when()) {
            if next.equals(&newest) || earlier.iter().any(|e| next.equals(e)) {
                seen.repeats += 1;
            } else {
                seen.versions += 1;
                earlier.push(std::mem::replace(&mut newest, next));
            }
        }
        earlier.clear();
        seen.records.push(newest);
    }
    seen
}
