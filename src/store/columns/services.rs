//! Services as columns.

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::super::arrays::{
    Columns, Dates, Instants, Names, Reals, dates, days, instants, reals, strings,
};
use super::super::error::StoreError;
use super::super::records::{Instant, Item, Record, Service, When};
use super::super::schema::TableName;
use super::{Kind, equal_fields, opt};

pub(in crate::store) struct ServiceBatch {
    van: Names,
    done_on: Dates,
    done_at: Instants,
    item: Names,
    quantity: Reals,
    cost: Reals,
    part: Names,
    note: Names,
}

const DAY_MICROSECONDS: i64 = 86_400_000_000;

/// Sorts a plain date before the times of that day (UTC); the last bit of the
/// second part keeps the two apart as keys.
fn service_key(done_at: When, item: Item) -> (i64, u32) {
    let nth = (item as u32) * 2;
    match done_at {
        When::Day(date) => (i64::from(days(date)) * DAY_MICROSECONDS, nth),
        When::At(instant) => (instant.0, nth + 1),
    }
}

impl ServiceBatch {
    fn done_at(&self, row: usize) -> Option<When> {
        self.done_on
            .get(row)
            .map(When::Day)
            .or_else(|| self.done_at.get(row).map(When::At))
    }

    fn item(&self, row: usize) -> Option<Item> {
        let word = self.item.get(row)?;
        Item::ALL.into_iter().find(|i| i.word() == &**word)
    }
}

fn day_of(when: When) -> Option<jiff::civil::Date> {
    match when {
        When::Day(date) => Some(date),
        When::At(_) => None,
    }
}

fn instant_of(when: When) -> Option<Instant> {
    match when {
        When::Day(_) => None,
        When::At(instant) => Some(instant),
    }
}

impl Kind for Service {
    const TABLE: TableName = TableName::Services;
    const IS_OF_A_VAN: bool = true;
    type Batch = ServiceBatch;

    fn of(record: &Record) -> Option<&Self> {
        match record {
            Record::Service(service) => Some(service),
            _ => None,
        }
    }

    fn into_record(self) -> Record {
        Record::Service(self)
    }

    fn who(&self) -> &Arc<str> {
        &self.van
    }

    fn set_who(&mut self, who: Arc<str>) {
        self.van = who;
    }

    fn when(&self) -> (i64, u32) {
        service_key(self.done_at, self.item)
    }

    fn equals(&self, other: &Self) -> bool {
        equal_fields!(self, other: done_at, item, quantity, cost, part, note)
    }

    fn mark_at(batch: &ServiceBatch, row: usize) -> u32 {
        batch.item(row).map_or(0, |item| item as u32 + 1)
    }

    fn arrays(rows: &[&Self]) -> Vec<ArrayRef> {
        let rows = rows.iter();
        vec![
            strings(rows.clone().map(|r| Some(&*r.van))),
            dates(rows.clone().map(|r| day_of(r.done_at))),
            instants(rows.clone().map(|r| instant_of(r.done_at))),
            strings(rows.clone().map(|r| Some(r.item.word()))),
            reals(rows.clone().map(|r| r.quantity)),
            reals(rows.clone().map(|r| r.cost)),
            strings(rows.clone().map(|r| opt(&r.part))),
            strings(rows.map(|r| opt(&r.note))),
        ]
    }

    fn open(columns: &Columns<'_>) -> Result<ServiceBatch, StoreError> {
        Ok(ServiceBatch {
            van: columns.names("van")?,
            done_on: columns.dates("done_on")?,
            done_at: columns.instants("done_at")?,
            item: columns.names("item")?,
            quantity: columns.reals("quantity")?,
            cost: columns.reals("cost")?,
            part: columns.names("part")?,
            note: columns.names("note")?,
        })
    }

    fn names(batch: &ServiceBatch) -> &Names {
        &batch.van
    }

    fn when_at(batch: &ServiceBatch, row: usize) -> Option<(i64, u32)> {
        Some(service_key(batch.done_at(row)?, batch.item(row)?))
    }

    fn get(batch: &ServiceBatch, row: usize) -> Option<Self> {
        Some(Service {
            van: batch.van.get(row)?.clone(),
            done_at: batch.done_at(row)?,
            item: batch.item(row)?,
            quantity: batch.quantity.get(row),
            cost: batch.cost.get(row),
            part: batch.part.get(row).cloned(),
            note: batch.note.get(row).cloned(),
        })
    }
}
