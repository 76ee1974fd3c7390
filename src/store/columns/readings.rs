//! Readings as columns.

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::super::arrays::{
    Columns, Instants, Names, Reals, Smalls, instants, reals, smalls, strings,
};
use super::super::error::StoreError;
use super::super::records::{Reading, Record};
use super::super::schema::TableName;
use super::{Kind, TIMED, equal_fields, opt};

pub(in crate::store) struct ReadingBatch {
    van: Names,
    taken_at: Instants,
    day_position: Smalls,
    postcode: Names,
    /// feed, permeate, product, water, bar, permeate flow, concentrate flow.
    meters: [Reals; 7],
}

impl Kind for Reading {
    const TABLE: TableName = TableName::Readings;
    const IS_OF_A_VAN: bool = true;
    type Batch = ReadingBatch;

    fn of(record: &Record) -> Option<&Self> {
        match record {
            Record::Reading(reading) => Some(reading),
            _ => None,
        }
    }

    fn into_record(self) -> Record {
        Record::Reading(self)
    }

    fn who(&self) -> &Arc<str> {
        &self.van
    }

    fn set_who(&mut self, who: Arc<str>) {
        self.van = who;
    }

    fn when(&self) -> (i64, u32) {
        (self.taken_at.0, self.day_position.unwrap_or(TIMED))
    }

    fn equals(&self, other: &Self) -> bool {
        equal_fields!(self, other: taken_at, day_position, postcode, feed_ppm, permeate_ppm,
            product_ppm, water_c, feed_bar, permeate_lpm, concentrate_lpm)
    }

    fn day_position(&self) -> Option<u32> {
        self.day_position
    }

    fn arrays(rows: &[&Self]) -> Vec<ArrayRef> {
        let rows = rows.iter();
        vec![
            strings(rows.clone().map(|r| Some(&*r.van))),
            instants(rows.clone().map(|r| Some(r.taken_at))),
            smalls(rows.clone().map(|r| r.day_position)),
            strings(rows.clone().map(|r| opt(&r.postcode))),
            reals(rows.clone().map(|r| r.feed_ppm)),
            reals(rows.clone().map(|r| r.permeate_ppm)),
            reals(rows.clone().map(|r| r.product_ppm)),
            reals(rows.clone().map(|r| r.water_c)),
            reals(rows.clone().map(|r| r.feed_bar)),
            reals(rows.clone().map(|r| r.permeate_lpm)),
            reals(rows.map(|r| r.concentrate_lpm)),
        ]
    }

    fn open(columns: &Columns<'_>) -> Result<ReadingBatch, StoreError> {
        Ok(ReadingBatch {
            van: columns.names("van")?,
            taken_at: columns.instants("taken_at")?,
            day_position: columns.smalls("day_position")?,
            postcode: columns.names("postcode")?,
            meters: [
                columns.reals("feed_ppm")?,
                columns.reals("permeate_ppm")?,
                columns.reals("product_ppm")?,
                columns.reals("water_c")?,
                columns.reals("feed_bar")?,
                columns.reals("permeate_lpm")?,
                columns.reals("concentrate_lpm")?,
            ],
        })
    }

    fn names(batch: &ReadingBatch) -> &Names {
        &batch.van
    }

    fn when_at(batch: &ReadingBatch, row: usize) -> Option<(i64, u32)> {
        Some((
            batch.taken_at.get(row)?.0,
            batch.day_position.get(row).unwrap_or(TIMED),
        ))
    }

    fn get(batch: &ReadingBatch, row: usize) -> Option<Self> {
        let [feed, permeate, product, water, bar, out, waste] = &batch.meters;
        Some(Reading {
            van: batch.van.get(row)?.clone(),
            taken_at: batch.taken_at.get(row)?,
            day_position: batch.day_position.get(row),
            postcode: batch.postcode.get(row).cloned(),
            feed_ppm: feed.get(row),
            permeate_ppm: permeate.get(row),
            product_ppm: product.get(row),
            water_c: water.get(row),
            feed_bar: bar.get(row),
            permeate_lpm: out.get(row),
            concentrate_lpm: waste.get(row),
        })
    }
}
