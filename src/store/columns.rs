//! Each kind of record as columns of its table, and back; and what makes two
//! rows versions of one record.

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::arrays::{
    Columns, Dates, Instants, Names, Reals, Smalls, dates, days, instants, reals, smalls, strings,
};
use super::error::StoreError;
use super::records::{Fill, Hardness, Instant, Item, Reading, Record, Service, Source, Van, When};
use super::schema::TableName;
use crate::water::HardnessUnit;

/// A kind of record that has a table.
pub(super) trait Kind: Sized + Clone + Send + Sync {
    const TABLE: TableName;
    /// Whether `who` names a van that the van list may know.
    const IS_OF_A_VAN: bool;
    /// One batch of the table.
    type Batch;

    fn of(record: &Record) -> Option<&Self>;
    /// The first part of the record's key: van or postcode.
    fn who(&self) -> &Arc<str>;
    fn set_who(&mut self, who: Arc<str>);
    /// The rest of the record's key, so that records sort by time.
    fn when(&self) -> (i64, u32);
    /// Whether all but the name of the van is equal.
    fn equals(&self, other: &Self) -> bool;

    /// The record's own columns, in the order of the schema.
    fn arrays(rows: &[&Self]) -> Vec<ArrayRef>;
    fn open(columns: &mut Columns<'_>) -> Result<Self::Batch, StoreError>;
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

pub(super) struct ReadingBatch {
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

    fn open(columns: &mut Columns<'_>) -> Result<ReadingBatch, StoreError> {
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

impl Source {
    /// The contract's word for the source.
    pub fn word(self) -> &'static str {
        match self {
            Source::Mains => "mains",
            Source::BoughtIn => "bought_in",
        }
    }
}

pub(super) struct FillBatch {
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

    fn open(columns: &mut Columns<'_>) -> Result<FillBatch, StoreError> {
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

pub(super) struct ServiceBatch {
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

    fn open(columns: &mut Columns<'_>) -> Result<ServiceBatch, StoreError> {
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

/// A plain date as key; none sorts first.
fn date_key(date: Option<jiff::civil::Date>) -> (i64, u32) {
    (date.map_or(i64::MIN, |d| i64::from(days(d))), 0)
}

pub(super) struct VanBatch {
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

    fn open(columns: &mut Columns<'_>) -> Result<VanBatch, StoreError> {
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

const UNITS: [HardnessUnit; 7] = [
    HardnessUnit::MgLCaco3,
    HardnessUnit::Clark,
    HardnessUnit::French,
    HardnessUnit::German,
    HardnessUnit::MmolL,
    HardnessUnit::MgLCa,
    HardnessUnit::GrainsUsGal,
];

pub(super) struct HardnessBatch {
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

    fn open(columns: &mut Columns<'_>) -> Result<HardnessBatch, StoreError> {
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
