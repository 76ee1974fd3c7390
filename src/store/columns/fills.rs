//! Fills as columns.

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::super::arrays::{
    Columns, Instants, Names, Reals, Smalls, instants, reals, smalls, strings,
};
use super::super::error::StoreError;
use super::super::records::{Fill, Record, Source};
use super::super::schema::TableName;
use super::{Kind, TIMED, equal_fields, opt};

pub(in crate::store) struct FillBatch {
    van: Names,
    started_at: Instants,
    day_position: Smalls,
    ended_at: Instants,
    postcode: Names,
    litres: Reals,
    meter_litres: Reals,
    reject_litres: Reals,
    source: Names,
}

impl Kind for Fill {
    const TABLE: TableName = TableName::Fills;
    const IS_OF_A_VAN: bool = true;
    type Batch = FillBatch;

    fn of(record: &Record) -> Option<&Self> {
        match record {
            Record::Fill(fill) => Some(fill),
            _ => None,
        }
    }

    fn into_record(self) -> Record {
        Record::Fill(self)
    }

    fn who(&self) -> &Arc<str> {
        &self.van
    }

    fn set_who(&mut self, who: Arc<str>) {
        self.van = who;
    }

    fn when(&self) -> (i64, u32) {
        (self.started_at.0, self.day_position.unwrap_or(TIMED))
    }

    fn equals(&self, other: &Self) -> bool {
        equal_fields!(self, other: started_at, day_position, ended_at, postcode, litres,
            meter_litres, reject_litres, source)
    }

    fn day_position(&self) -> Option<u32> {
        self.day_position
    }

    fn arrays(rows: &[&Self]) -> Vec<ArrayRef> {
        let rows = rows.iter();
        vec![
            strings(rows.clone().map(|r| Some(&*r.van))),
            instants(rows.clone().map(|r| Some(r.started_at))),
            smalls(rows.clone().map(|r| r.day_position)),
            instants(rows.clone().map(|r| r.ended_at)),
            strings(rows.clone().map(|r| opt(&r.postcode))),
            reals(rows.clone().map(|r| r.litres)),
            reals(rows.clone().map(|r| r.meter_litres)),
            reals(rows.clone().map(|r| r.reject_litres)),
            strings(rows.map(|r| Some(r.source.word()))),
        ]
    }

    fn open(columns: &Columns<'_>) -> Result<FillBatch, StoreError> {
        Ok(FillBatch {
            van: columns.names("van")?,
            started_at: columns.instants("started_at")?,
            day_position: columns.smalls("day_position")?,
            ended_at: columns.instants("ended_at")?,
            postcode: columns.names("postcode")?,
            litres: columns.reals("litres")?,
            meter_litres: columns.reals("meter_litres")?,
            reject_litres: columns.reals("reject_litres")?,
            source: columns.names("source")?,
        })
    }

    fn names(batch: &FillBatch) -> &Names {
        &batch.van
    }

    fn when_at(batch: &FillBatch, row: usize) -> Option<(i64, u32)> {
        Some((
            batch.started_at.get(row)?.0,
            batch.day_position.get(row).unwrap_or(TIMED),
        ))
    }

    fn get(batch: &FillBatch, row: usize) -> Option<Self> {
        let source = batch.source.get(row)?;
        Some(Fill {
            van: batch.van.get(row)?.clone(),
            started_at: batch.started_at.get(row)?,
            day_position: batch.day_position.get(row),
            ended_at: batch.ended_at.get(row),
            postcode: batch.postcode.get(row).cloned(),
            litres: batch.litres.get(row),
            meter_litres: batch.meter_litres.get(row),
            reject_litres: batch.reject_litres.get(row),
            source: [Source::Mains, Source::BoughtIn]
                .into_iter()
                .find(|s| s.word() == &**source)?,
        })
    }
}
