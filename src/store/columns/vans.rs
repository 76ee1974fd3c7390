//! The van list as columns.

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::super::arrays::{Columns, Dates, Names, Reals, Smalls, dates, reals, smalls, strings};
use super::super::error::StoreError;
use super::super::records::{Record, Van};
use super::super::schema::TableName;
use super::{Kind, date_key, opt};

pub(in crate::store) struct VanBatch {
    van: Names,
    from: Dates,
    base_postcode: Names,
    tank_litres: Reals,
    membranes: Smalls,
    resin_litres: Reals,
    in_service_on: Dates,
    out_of_service_on: Dates,
}

impl Kind for Van {
    const TABLE: TableName = TableName::Vans;
    const IS_OF_A_VAN: bool = false;
    type Batch = VanBatch;

    fn of(record: &Record) -> Option<&Self> {
        match record {
            Record::Van(van) => Some(van),
            _ => None,
        }
    }

    fn into_record(self) -> Record {
        Record::Van(self)
    }

    fn who(&self) -> &Arc<str> {
        &self.van
    }

    fn set_who(&mut self, who: Arc<str>) {
        self.van = who;
    }

    fn when(&self) -> (i64, u32) {
        date_key(self.from)
    }

    fn equals(&self, other: &Self) -> bool {
        self == other
    }

    fn arrays(rows: &[&Self]) -> Vec<ArrayRef> {
        let rows = rows.iter();
        vec![
            strings(rows.clone().map(|r| Some(&*r.van))),
            dates(rows.clone().map(|r| r.from)),
            strings(rows.clone().map(|r| opt(&r.base_postcode))),
            reals(rows.clone().map(|r| r.tank_litres)),
            smalls(rows.clone().map(|r| r.membranes)),
            reals(rows.clone().map(|r| r.resin_litres)),
            dates(rows.clone().map(|r| r.in_service_on)),
            dates(rows.map(|r| r.out_of_service_on)),
        ]
    }

    fn open(columns: &Columns<'_>) -> Result<VanBatch, StoreError> {
        Ok(VanBatch {
            van: columns.names("van")?,
            from: columns.dates("from")?,
            base_postcode: columns.names("base_postcode")?,
            tank_litres: columns.reals("tank_litres")?,
            membranes: columns.smalls("membranes")?,
            resin_litres: columns.reals("resin_litres")?,
            in_service_on: columns.dates("in_service_on")?,
            out_of_service_on: columns.dates("out_of_service_on")?,
        })
    }

    fn names(batch: &VanBatch) -> &Names {
        &batch.van
    }

    fn when_at(batch: &VanBatch, row: usize) -> Option<(i64, u32)> {
        Some(date_key(batch.from.get(row)))
    }

    fn get(batch: &VanBatch, row: usize) -> Option<Self> {
        Some(Van {
            van: batch.van.get(row)?.clone(),
            from: batch.from.get(row),
            base_postcode: batch.base_postcode.get(row).cloned(),
            tank_litres: batch.tank_litres.get(row),
            membranes: batch.membranes.get(row),
            resin_litres: batch.resin_litres.get(row),
            in_service_on: batch.in_service_on.get(row),
            out_of_service_on: batch.out_of_service_on.get(row),
        })
    }
}
