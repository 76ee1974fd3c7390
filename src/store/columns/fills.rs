//! Fills as columns.

use std::sync::Arc;

use arrow_array::ArrayRef;

use super::super::arrays::{
    Columns, Instants, Names, Reals, Smalls, instants, reals, smalls, strings,
};
use super::super::error::StoreError;
use super::super::packed::{NONE, Packing, fill as at};
use super::super::packed_months::{self, Lines, Names as FileNames, Packable, Words};
use super::super::pages::{Column, How};
use super::super::records::{Fill, Instant, Record, Source};
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

/// When a packed fill ended.
fn ended_at(words: Words<'_>) -> Option<Instant> {
    let took = Some(words.get(at::TOOK)).filter(|took| *took != NONE)?;
    Some(Instant(words.micros() + i64::from(took) * 1_000_000))
}

fn source(words: Words<'_>) -> Source {
    match words.get(at::BOUGHT) {
        1 => Source::BoughtIn,
        _ => Source::Mains,
    }
}

impl Packable for Fill {
    const PACKING: Packing = Packing::Fills;
    const WHEN: &'static [(&'static str, i64)] = &[("started_at", 1)];

    fn unpack(words: Words<'_>, names: &FileNames) -> Self {
        Fill {
            van: names.shared_van(words),
            started_at: Instant(words.micros()),
            day_position: None,
            ended_at: ended_at(words),
            postcode: names.shared_text(words, at::PLACE),
            litres: words.real(at::LITRES),
            meter_litres: words.real(at::METER),
            reject_litres: words.real(at::REJECT),
            source: source(words),
        }
    }

    fn when_of(words: Words<'_>) -> (i64, u32) {
        (words.micros(), TIMED)
    }

    fn column<'l>(
        at: usize,
        lines: &'l Lines<'l, Self>,
        names: &'l FileNames,
    ) -> Option<Column<'l>> {
        let real = |word: usize, of: fn(&Self) -> Option<f64>, how: How| {
            packed_months::reals(lines, word, of, how)
        };
        match at {
            0 => packed_months::vans(lines, names),
            1 => packed_months::wholes(lines, |w| Some(w.micros()), |f| Some(f.started_at.0)),
            2 => packed_months::smalls(lines, |_| None, |f| f.day_position.map(u32::cast_signed)),
            3 => packed_months::wholes(
                lines,
                |w| ended_at(w).map(|at| at.0),
                |f| f.ended_at.map(|at| at.0),
            ),
            4 => packed_months::texts(lines, at::PLACE, |f| opt(&f.postcode), names),
            5 => real(at::LITRES, |f| f.litres, How::Dictionary),
            // a counter: hardly two are the same
            6 => real(at::METER, |f| f.meter_litres, How::Streams),
            7 => real(at::REJECT, |f| f.reject_litres, How::Dictionary),
            8 => packed_months::words(
                lines,
                |w| u32::from(source(w) == Source::BoughtIn),
                |f| u32::from(f.source == Source::BoughtIn),
                |place| match place {
                    0 => Source::Mains.word(),
                    _ => Source::BoughtIn.word(),
                },
            ),
            _ => None,
        }
    }
}
