//! Published hardness as columns.

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::super::arrays::{Columns, Dates, Names, Reals, dates, reals, strings};
use super::super::error::StoreError;
use super::super::records::{Hardness, Record};
use super::super::schema::TableName;
use super::{Kind, date_key, opt};
use crate::water::HardnessUnit;

const UNITS: [HardnessUnit; 7] = [
    HardnessUnit::MgLCaco3,
    HardnessUnit::Clark,
    HardnessUnit::French,
    HardnessUnit::German,
    HardnessUnit::MmolL,
    HardnessUnit::MgLCa,
    HardnessUnit::GrainsUsGal,
];

pub(in crate::store) struct HardnessBatch {
    postcode: Names,
    as_of: Dates,
    hardness: Reals,
    unit: Names,
    source: Names,
}

impl Kind for Hardness {
    const TABLE: TableName = TableName::Hardness;
    const IS_OF_A_VAN: bool = false;
    type Batch = HardnessBatch;

    fn of(record: &Record) -> Option<&Self> {
        match record {
            Record::Hardness(hardness) => Some(hardness),
            _ => None,
        }
    }

    fn into_record(self) -> Record {
        Record::Hardness(self)
    }

    fn who(&self) -> &Arc<str> {
        &self.postcode
    }

    fn set_who(&mut self, who: Arc<str>) {
        self.postcode = who;
    }

    fn when(&self) -> (i64, u32) {
        date_key(self.as_of)
    }

    fn equals(&self, other: &Self) -> bool {
        self == other
    }

    fn arrays(rows: &[&Self]) -> Vec<ArrayRef> {
        let rows = rows.iter();
        vec![
            strings(rows.clone().map(|r| Some(&*r.postcode))),
            dates(rows.clone().map(|r| r.as_of)),
            reals(rows.clone().map(|r| Some(r.hardness))),
            strings(rows.clone().map(|r| Some(r.unit.word()))),
            strings(rows.map(|r| opt(&r.source))),
        ]
    }

    fn open(columns: &Columns<'_>) -> Result<HardnessBatch, StoreError> {
        Ok(HardnessBatch {
            postcode: columns.names("postcode")?,
            as_of: columns.dates("as_of")?,
            hardness: columns.reals("hardness")?,
            unit: columns.names("unit")?,
            source: columns.names("source")?,
        })
    }

    fn names(batch: &HardnessBatch) -> &Names {
        &batch.postcode
    }

    fn when_at(batch: &HardnessBatch, row: usize) -> Option<(i64, u32)> {
        Some(date_key(batch.as_of.get(row)))
    }

    fn get(batch: &HardnessBatch, row: usize) -> Option<Self> {
        let unit = batch.unit.get(row)?;
        Some(Hardness {
            postcode: batch.postcode.get(row)?.clone(),
            as_of: batch.as_of.get(row),
            hardness: batch.hardness.get(row)?,
            unit: UNITS.into_iter().find(|u| u.word() == &**unit)?,
            source: batch.source.get(row).cloned(),
        })
    }
}
