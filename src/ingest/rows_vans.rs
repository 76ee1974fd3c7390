//! Rules for a row of the van list.

use crate::calendar::Datelike;
use crate::store::records::{Record, Van};

use super::columns::Column;
use super::judge::Records;
use super::refusal::{Fault, Refusal};
use super::row::Row;

/// Larger tanks ride on no van, L (common practice, no source).
const MOST_TANK: f64 = 20_000.0;
/// Larger vessels ride on no van, L (common practice, no source).
const MOST_RESIN: f64 = 500.0;
const MOST_MEMBRANES: f64 = 12.0;

pub(super) fn van(row: &mut Row<'_>) -> Result<Records, Refusal> {
    let van = row.van()?;
    let in_service_on = day(row, Column::InServiceOn)?;
    let out_of_service_on = day(row, Column::OutOfServiceOn)?;
    if let (Some(first), Some(last)) = (in_service_on, out_of_service_on)
        && last < first
    {
        return Err(row.fault(Column::OutOfServiceOn, Fault::BeforeInService(first)));
    }
    Ok(Records::One(Record::Van(Van {
        van,
        from: day(row, Column::From)?,
        base_postcode: row.place(Column::BasePostcode)?,
        tank_litres: at_most(row, Column::TankLitres, MOST_TANK)?,
        membranes: membranes(row)?,
        resin_litres: at_most(row, Column::ResinLitres, MOST_RESIN)?,
        in_service_on,
        out_of_service_on,
    })))
}

/// A day that may lie ahead: vans are listed before they come and go.
fn day(row: &mut Row<'_>, column: Column) -> Result<Option<crate::calendar::Date>, Refusal> {
    let day = row.day(column)?;
    if day.is_some_and(|day| day.year() < 1980 || day.year() > 2099) {
        return Err(row.fault(column, Fault::NoDayOfAVan));
    }
    Ok(day)
}

fn at_most(row: &mut Row<'_>, column: Column, most: f64) -> Result<Option<f64>, Refusal> {
    let value = row.amount(column)?;
    if value.is_some_and(|v| v > most) {
        return Err(row.fault(column, Fault::MostOfAVan(most)));
    }
    Ok(value)
}

fn membranes(row: &mut Row<'_>) -> Result<Option<u32>, Refusal> {
    let Some(count) = row.amount(Column::Membranes)? else {
        return Ok(None);
    };
    if count.fract() != 0.0 || count > MOST_MEMBRANES {
        return Err(row.fault(Column::Membranes, Fault::NoCount));
    }
    Ok(Some(count as u32))
}
