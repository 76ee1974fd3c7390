//! Rules for a look at the meters.

use crate::store::records::{Instant, Reading, Record};

use super::columns::Column;
use super::dates::NoDate;
use super::instants;
use super::judge::Records;
use super::refusal::{Fault, Refusal};
use super::remarks::work_in;
use super::row::Row;
use super::units::Unit;

/// More dissolved solids than any drinking water, ppm: EU directive 2020/2184
/// allows 2500 µS/cm, 1750 ppm on the 0.7 scale.
const MOST_PPM: f64 = 2000.0;
/// What three- and four-digit meters show beyond their range.
const OVER_RANGE: [&str; 2] = ["999", "9999"];
/// Tap water outside this was not measured, °C.
const WATER_C: std::ops::RangeInclusive<f64> = 0.0..=35.0;
/// Mains and booster pumps of vans stay below this, bar (common practice, no source).
const MOST_BAR: f64 = 16.0;
/// Flow of the largest membranes on vans stays far below this, L/min (common
/// practice, no source).
const MOST_LPM: f64 = 60.0;

pub(super) fn reading(row: &mut Row<'_>) -> Result<Records, Refusal> {
    let van = row.van()?;
    let taken_at = when(row, Column::TakenAt, &van)?;
    let feed_ppm = meter(row, Column::FeedPpm)?;
    let permeate_ppm = meter(row, Column::PermeatePpm)?;
    let product_ppm = meter(row, Column::ProductPpm)?;
    if feed_ppm.is_none() && permeate_ppm.is_none() && product_ppm.is_none() {
        if let Some(unread) = row.unread {
            return Err(row.fault(unread, Fault::Unread));
        }
        return Err(Refusal::NoMeter);
    }
    if (feed_ppm, permeate_ppm, product_ppm) == (Some(123.0), Some(12.0), Some(1.0)) {
        return Err(Refusal::TestReading);
    }
    if feed_ppm == Some(0.0) {
        return Err(row.fault(first_given(row, Column::FeedPpm), Fault::MeterOff));
    }
    if let (Some(feed), Some(permeate)) = (feed_ppm, permeate_ppm)
        && permeate > feed * 1.1
    {
        row.repair(
            Column::PermeatePpm,
            "above the feed: kept, but probes or columns may be swapped",
        );
    }
    // work told there is a service of its own
    let note = row.text(Column::Note)?;
    let note = note.filter(|note| work_in(note).is_empty());
    Ok(Records::One(Record::Reading(Reading {
        van,
        taken_at,
        day_position: None,
        postcode: row.place(Column::Postcode)?,
        feed_ppm,
        permeate_ppm,
        product_ppm,
        water_c: temperature(row)?,
        feed_bar: pressure(row)?,
        permeate_lpm: flow(row, Column::PermeateLpm)?,
        concentrate_lpm: flow(row, Column::ConcentrateLpm)?,
        note,
    })))
}

/// Whether a reading of plain numbers is taken as it is, without a remark.
pub(super) fn is_sound_reading(
    meters: [Option<f64>; 3],
    water_c: Option<f64>,
    bar: Option<f64>,
    flows: [Option<f64>; 2],
) -> bool {
    let over_range = |ppm: f64| ppm == 999.0 || ppm == 9999.0;
    let [feed, permeate, _] = meters;
    meters.iter().any(Option::is_some)
        && meters
            .iter()
            .flatten()
            .all(|ppm| *ppm <= MOST_PPM && !over_range(*ppm))
        && meters != [Some(123.0), Some(12.0), Some(1.0)]
        && feed != Some(0.0)
        && !matches!((feed, permeate), (Some(feed), Some(permeate)) if permeate > feed * 1.1)
        && water_c.is_none_or(|c| WATER_C.contains(&c) && c != 0.0)
        && bar.is_none_or(|bar| bar <= MOST_BAR && bar != 0.0)
        && flows.iter().flatten().all(|lpm| *lpm <= MOST_LPM)
}

/// The instant of a reading or fill; local noon where only the day is known.
pub(super) fn when(
    row: &mut Row<'_>,
    column: Column,
    van: &std::sync::Arc<str>,
) -> Result<Instant, Refusal> {
    let settled = row.happened(column)?;
    if let Some(at) = settled.at {
        return Ok(at);
    }
    row.day_only = Some((van.clone(), settled.date));
    row.repair(column, "a day without a time of day: kept at local noon");
    instants::noon(settled.date, row.context.zone)
        .ok_or_else(|| row.fault(column, NoDate::OutOfRange))
}

/// A meter's ppm, if it is one that a meter can show.
fn meter(row: &mut Row<'_>, column: Column) -> Result<Option<f64>, Refusal> {
    let Some(ppm) = row.ppm(column)? else {
        return Ok(None);
    };
    let column = first_given(row, column);
    let in_ppm = !matches!(row.layout().unit_of(column), Some(Unit::Conductivity(..)));
    if in_ppm && OVER_RANGE.contains(&row.cell(column)) {
        row.repair(column, "what a meter shows over its range: left out");
        row.unread.get_or_insert(column);
        return Ok(None);
    }
    if ppm > MOST_PPM {
        return Err(row.fault(column, Fault::MostPpm(ppm)));
    }
    Ok(Some(ppm))
}

/// The ppm column, or its conductivity column where only that was filled in.
fn first_given(row: &Row<'_>, column: Column) -> Column {
    match column.in_us_cm() {
        Some(us_cm) if row.cell(column).is_empty() => us_cm,
        _ => column,
    }
}

fn temperature(row: &mut Row<'_>) -> Result<Option<f64>, Refusal> {
    let read = |row: &mut Row<'_>| row.signed(Column::WaterC);
    let Some(value) = row.measured(Column::WaterC, read)? else {
        return Ok(None);
    };
    // a thermometer at exactly 0 is unplugged: water in a pipe is never that cold
    if WATER_C.contains(&value) && value != 0.0 {
        return Ok(Some(value));
    }
    row.repair(
        Column::WaterC,
        "no temperature of tap water in °C (0 to 35): left out",
    );
    Ok(None)
}

fn pressure(row: &mut Row<'_>) -> Result<Option<f64>, Refusal> {
    let read = |row: &mut Row<'_>| row.amount(Column::FeedBar);
    let Some(bar) = row.measured(Column::FeedBar, read)? else {
        return Ok(None);
    };
    if bar > MOST_BAR {
        row.repair(
            Column::FeedBar,
            "no pressure in bar on a van (psi or kPa?): left out",
        );
        return Ok(None);
    }
    if bar == 0.0 {
        row.repair(Column::FeedBar, "a gauge at zero: left out");
        return Ok(None);
    }
    Ok(Some(bar))
}

fn flow(row: &mut Row<'_>, column: Column) -> Result<Option<f64>, Refusal> {
    let Some(lpm) = row.measured(column, |row| row.amount(column))? else {
        return Ok(None);
    };
    if lpm > MOST_LPM {
        row.repair(column, "no flow in L/min on a van (L/h?): left out");
        return Ok(None);
    }
    Ok(Some(lpm))
}
