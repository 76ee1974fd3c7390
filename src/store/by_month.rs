//! What each district's vans read, made and had changed in each calendar month.

use polars::prelude::{
    ChunkAgg, ChunkQuantile, Column, DataFrame, GroupsIndicator, IdxCa, IntoColumn, NamedFrom,
    PolarsResult, Series,
};

use super::error::StoreError;
use super::field::{date_of_days, days};
use super::records::{Fill, Item, Reading};
use crate::calendar::{Date, DateExt};

/// A row in force with what is known of it beside.
#[derive(Debug, Clone)]
pub struct PlacedRow<'a> {
    /// Where the van was based on that day; empty where that is not known.
    pub district: &'a str,
    pub van: &'a str,
    pub day: Date,
    pub what: Placed<'a>,
}

#[derive(Debug, Clone, Copy)]
pub enum Placed<'a> {
    Reading(&'a Reading),
    /// With the litres that it made.
    Fill(&'a Fill, f64),
    Change(Item),
}

/// One district in one month. Medians are of the values as they were read; `None`
/// where there were none.
#[derive(Debug, Clone, PartialEq)]
pub struct DistrictMonth {
    /// Empty for vans whose base is not known.
    pub district: String,
    /// Its first day.
    pub month: Date,
    /// Vans that read, filled or were worked on.
    pub vans: usize,
    pub readings: usize,
    pub feed_ppm: Option<f64>,
    pub permeate_ppm: Option<f64>,
    pub product_ppm: Option<f64>,
    /// Of readings of both tap and membrane TDS.
    pub rejection: Option<f64>,
    pub litres_made: f64,
    /// Of the fills for which it was written down.
    pub litres_to_drain: Option<f64>,
    pub resin_changes: usize,
    pub membrane_changes: usize,
}

const DISTRICT: &str = "district";
const MONTH: &str = "month";
const VAN: &str = "van";
const READINGS: &str = "readings";
const FEED: &str = "feed_ppm";
const PERMEATE: &str = "permeate_ppm";
const PRODUCT: &str = "product_ppm";
const REJECTION: &str = "rejection";
const MADE: &str = "litres_made";
const DRAIN: &str = "litres_to_drain";
const RESIN: &str = "resin_changes";
const MEMBRANES: &str = "membrane_changes";

/// By district, then month.
///
/// # Errors
/// Where the rows cannot be put together.
pub fn by_district_and_month(rows: &[PlacedRow<'_>]) -> Result<Vec<DistrictMonth>, StoreError> {
    let summed = || -> PolarsResult<Vec<DistrictMonth>> {
        let frame = frame(rows)?;
        // stable: the same order in every run
        let groups = frame.group_by_stable([DISTRICT, MONTH])?;
        let groups = groups.get_groups();
        let mut months = Vec::with_capacity(groups.len());
        for group in groups.iter() {
            let of_group = match group {
                GroupsIndicator::Idx((_, all)) => {
                    frame.take(&IdxCa::new("".into(), all.as_slice()))?
                }
                GroupsIndicator::Slice([first, count]) => {
                    frame.slice(i64::from(first), count as usize)
                }
            };
            months.extend(summed_up(&of_group)?);
        }
        months.sort_by(|a, b| (&a.district, a.month).cmp(&(&b.district, b.month)));
        Ok(months)
    };
    summed().map_err(|source| StoreError::ByMonth { source })
}

fn frame<'a>(rows: &[PlacedRow<'a>]) -> PolarsResult<DataFrame> {
    let texts = |name: &str, of: fn(&PlacedRow<'a>) -> &'a str| {
        let values: Vec<&str> = rows.iter().map(of).collect();
        Series::new(name.into(), values).into_column()
    };
    let months: Vec<i32> = rows
        .iter()
        .map(|row| days(row.day.first_of_month()))
        .collect();
    let numbers = |name: &str, of: fn(&Placed<'_>) -> Option<f64>| {
        let values: Vec<Option<f64>> = rows.iter().map(|row| of(&row.what)).collect();
        Series::new(name.into(), values).into_column()
    };
    let columns: Vec<Column> = vec![
        texts(DISTRICT, |row| row.district),
        Series::new(MONTH.into(), months).into_column(),
        texts(VAN, |row| row.van),
        numbers(READINGS, |what| reading(what).map(|_| 1.0)),
        numbers(FEED, |what| reading(what)?.feed_ppm),
        numbers(PERMEATE, |what| reading(what)?.permeate_ppm),
        numbers(PRODUCT, |what| reading(what)?.product_ppm),
        numbers(REJECTION, |what| {
            let feed = reading(what)?.feed_ppm.filter(|ppm| *ppm > 0.0)?;
            Some(1.0 - reading(what)?.permeate_ppm? / feed)
        }),
        numbers(MADE, |what| match what {
            Placed::Fill(_, litres) => Some(*litres),
            _ => None,
        }),
        numbers(DRAIN, |what| match what {
            Placed::Fill(fill, _) => fill.reject_litres,
            _ => None,
        }),
        numbers(RESIN, |what| changed(what, Item::Resin)),
        numbers(MEMBRANES, |what| changed(what, Item::Membrane)),
    ];
    DataFrame::new(rows.len(), columns)
}

fn reading<'a>(what: &Placed<'a>) -> Option<&'a Reading> {
    match what {
        Placed::Reading(reading) => Some(reading),
        _ => None,
    }
}

fn changed(what: &Placed<'_>, item: Item) -> Option<f64> {
    matches!(what, Placed::Change(of) if *of == item).then_some(1.0)
}

/// `None` for a month beyond all calendars.
fn summed_up(rows: &DataFrame) -> PolarsResult<Option<DistrictMonth>> {
    let median = |name: &str| PolarsResult::Ok(rows.column(name)?.f64()?.median());
    let count =
        |name: &str| PolarsResult::Ok(rows.column(name)?.len() - rows.column(name)?.null_count());
    let sum = |name: &str| -> PolarsResult<Option<f64>> {
        let known = count(name)? > 0;
        Ok(rows.column(name)?.f64()?.sum().filter(|_| known))
    };
    let month = rows.column(MONTH)?.i32()?.get(0).and_then(date_of_days);
    let Some(month) = month else { return Ok(None) };
    Ok(Some(DistrictMonth {
        district: rows
            .column(DISTRICT)?
            .str()?
            .get(0)
            .unwrap_or_default()
            .to_owned(),
        month,
        vans: rows.column(VAN)?.n_unique()?,
        readings: count(READINGS)?,
        feed_ppm: median(FEED)?,
        permeate_ppm: median(PERMEATE)?,
        product_ppm: median(PRODUCT)?,
        rejection: median(REJECTION)?,
        litres_made: sum(MADE)?.unwrap_or(0.0),
        litres_to_drain: sum(DRAIN)?,
        resin_changes: count(RESIN)?,
        membrane_changes: count(MEMBRANES)?,
    }))
}
