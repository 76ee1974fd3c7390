//! Rules for what the supplier publishes.

use crate::calendar::Date;

use crate::store::records::{Hardness, Record};
use crate::water::HardnessUnit;

use super::columns::Column;
use super::judge::Records;
use super::refusal::{Fault, Refusal};
use super::row::Row;
use super::text::{folded, is_no_value};
use super::units::{Unit, hardness_unit};

/// Harder than any tap water, mg/L as CaCO3 (common practice, no source).
const MOST: f64 = 1500.0;
/// A bare figure up to here may be degrees of several countries.
const MAY_BE_DEGREES: f64 = 30.0;

pub(super) fn hardness(row: &mut Row<'_>) -> Result<Records, Refusal> {
    let postcode = row
        .place(Column::Postcode)?
        .ok_or_else(|| row.fault(Column::Postcode, Fault::NoPostcode))?;
    let Some(number) = number_of(row)? else {
        return Err(row.empty(Column::Hardness));
    };
    if number.0 < 0.0 {
        return Err(row.fault(Column::Hardness, Fault::Negative));
    }
    let unit = match unit_of(row, number.1)? {
        Some(unit) => unit,
        None if number.0 <= MAY_BE_DEGREES && !row.context.bare_is_mg_l => {
            return Err(row.fault(Column::Hardness, Fault::NoUnitOfHardness));
        }
        None => HardnessUnit::MgLCaco3,
    };
    if unit.to_mg_l_caco3(number.0) > MOST {
        return Err(row.fault(Column::Hardness, Fault::MostHardness(unit)));
    }
    Ok(Records::One(Record::Hardness(Hardness {
        postcode,
        as_of: as_of(row)?,
        hardness: number.0,
        unit,
        source: row.text(Column::Source)?,
    })))
}

type Figure<'r> = (f64, &'r str);

fn number_of<'r>(row: &mut Row<'r>) -> Result<Option<Figure<'r>>, Refusal> {
    let cell = row.cell(Column::Hardness);
    let classes = [
        "soft",
        "moderately soft",
        "slightly hard",
        "moderately hard",
        "hard",
        "very hard",
        "medium",
        "very soft",
        "moderate",
    ];
    if classes.contains(&cell.to_lowercase().as_str()) {
        return Err(row.fault(Column::Hardness, Fault::HardnessClass));
    }
    Ok(row
        .number(Column::Hardness)?
        .map(|number| (number.value, number.unit)))
}

/// The unit by the cell, the unit column or the header, in that order.
fn unit_of(row: &Row<'_>, in_cell: &str) -> Result<Option<HardnessUnit>, Refusal> {
    let cell = row.cell(Column::Unit);
    let beside = if is_no_value(cell) {
        None
    } else {
        let unit = hardness_unit(&folded(cell))
            .ok_or_else(|| row.fault(Column::Unit, Fault::NoHardnessUnit))?;
        Some(unit)
    };
    if !in_cell.is_empty() {
        let Some(Unit::Hardness(unit)) = Unit::named(in_cell, Column::Hardness.measure()) else {
            return Err(row.fault(Column::Hardness, Fault::HardnessUnit));
        };
        if beside.is_some_and(|beside| beside != unit) {
            let fault = Fault::UnitsDiffer(cell.to_owned());
            return Err(row.fault(Column::Hardness, fault));
        }
        return Ok(Some(unit));
    }
    if beside.is_some() {
        return Ok(beside);
    }
    match row.layout().unit_of(Column::Hardness) {
        Some(Unit::Hardness(unit)) => Ok(Some(unit)),
        _ => Ok(None),
    }
}

/// The day from which the figure holds; a bare year begins on 1 January.
fn as_of(row: &mut Row<'_>) -> Result<Option<Date>, Refusal> {
    let cell = row.cell(Column::AsOf);
    if cell.len() == 4
        && let Ok(year) = cell.parse::<i32>()
        && let Some(date) = Date::from_ymd_opt(year, 1, 1)
    {
        row.not_ahead(Column::AsOf, date)?;
        row.repair(Column::AsOf, "a year: taken from its 1 January");
        return Ok(Some(date));
    }
    let day = row.day(Column::AsOf)?;
    if let Some(day) = day {
        row.not_ahead(Column::AsOf, day)?;
    }
    Ok(day)
}

/// Whether figures without a unit are mg/L in this file: one is too large to be
/// degrees.
pub(super) fn bare_is_mg_l(figures: impl Iterator<Item = f64>) -> bool {
    figures.into_iter().any(|figure| figure > 60.0)
}
