//! Each kind of record as columns of its table, and back; and what makes two
//! rows versions of one record.

mod fills;
mod hardness;
mod readings;
mod services;
mod vans;

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::arrays::{Columns, Names, days};
use super::error::StoreError;
use super::records::Record;
use super::rewritten::Rewritten;
use super::schema::TableName;

/// A kind of record that has a table.
pub(super) trait Kind: Rewritten + Sized + Clone + Send + Sync + std::fmt::Debug {
    const TABLE: TableName;
    /// Whether `who` names a van that the van list may know.
    const IS_OF_A_VAN: bool;
    /// One batch of the table.
    type Batch: Send;

    fn of(record: &Record) -> Option<&Self>;
    fn into_record(self) -> Record;
    /// The first part of the record's key: van or postcode.
    fn who(&self) -> &Arc<str>;
    fn set_who(&mut self, who: Arc<str>);
    /// The rest of the record's key, so that records sort by time.
    fn when(&self) -> (i64, u32);
    /// Whether all but the name of the van is equal.
    fn equals(&self, other: &Self) -> bool;
    /// Where only the day is known: the place among that day's rows.
    fn day_position(&self) -> Option<u32> {
        None
    }
    /// Tells records apart that one line of a file may give.
    fn mark_at(_batch: &Self::Batch, _row: usize) -> u32 {
        0
    }

    /// The record's own columns, in the order of the schema.
    fn arrays(rows: &[&Self]) -> Vec<ArrayRef>;
    fn open(columns: &Columns<'_>) -> Result<Self::Batch, StoreError>;
    fn names(batch: &Self::Batch) -> &Names;
    /// The key's second part without building the record.
    fn when_at(batch: &Self::Batch, row: usize) -> Option<(i64, u32)>;
    /// `None` where a column that must be filled is empty.
    fn get(batch: &Self::Batch, row: usize) -> Option<Self>;
}

fn opt(text: &Option<Arc<str>>) -> Option<&str> {
    text.as_deref()
}

/// Position of a record with a known time of day: after those without.
const TIMED: u32 = u32::MAX;

macro_rules! equal_fields {
    ($a:ident, $b:ident: $($field:ident),+) => { $($a.$field == $b.$field)&&+ };
}

use equal_fields;

/// A plain date as key; none sorts first.
fn date_key(date: Option<jiff::civil::Date>) -> (i64, u32) {
    (date.map_or(i64::MIN, |d| i64::from(days(d))), 0)
}
