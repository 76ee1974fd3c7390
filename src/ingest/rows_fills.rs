//! Rules for a tank fill.

use crate::store::records::{Fill, Instant, Record, Source};

use super::columns::Column;
use super::dates::{WrittenDate, written};
use super::evidence::{MOST_TANKS, bare_number, may_count_tanks};
use super::judge::Records;
use super::numbers::{DecimalMark, both_ways};
use super::refusal::{Fault, Refusal};
use super::row::{Row, SmallLitres};
use super::rows_readings::when;
use super::text::is_no_value;
use super::units::Unit;
use super::words::{SourceWord, source};

/// More than any van's tank, several fills a day included, L (common practice,
/// no source).
pub(super) const MOST_LITRES: f64 = 20_000.0;
/// No van goes out with less, L (common practice, no source).
pub(super) const LEAST_FILL: f64 = 20.0;
/// Less than a fill: cubic metres or a slip.
const LEAST_LITRES: f64 = 1.0;
/// Far more waste than any plant runs off, per litre made.
const MOST_WASTE: f64 = 10.0;
const DAY_MICROS: i64 = 24 * 3_600 * 1_000_000;

pub(super) fn fill(row: &mut Row<'_>) -> Result<Records, Refusal> {
    let van = row.van()?;
    let started_at = when(row, Column::StartedAt, &van)?;
    let litres = litres(row)?;
    let meter_litres = meter_litres(row, litres)?;
    if litres.is_none() && meter_litres.is_none() {
        return Err(Refusal::NoLitres);
    }
    let timed = row.day_only.is_none();
    Ok(Records::One(Record::Fill(Fill {
        van,
        started_at,
        day_position: None,
        ended_at: if timed {
            ended_at(row, started_at)?
        } else {
            end_without_start(row)
        },
        postcode: row.place(Column::Postcode)?,
        litres,
        meter_litres,
        reject_litres: reject(row, litres)?,
        source: source_of(row)?,
    })))
}

/// Whether a fill of plain numbers is taken as it is, without a remark.
pub(super) fn is_sound_fill(
    litres: Option<f64>,
    meter_litres: Option<f64>,
    reject_litres: Option<f64>,
) -> bool {
    (litres.is_some() || meter_litres.is_some())
        // so few may be tanks: what they are, the whole file tells
        && litres.is_none_or(|litres| litres > MOST_TANKS && litres <= MOST_LITRES)
        && reject_litres.is_none_or(|reject| {
            litres.is_none_or(|litres| reject <= MOST_WASTE * litres && reject != litres)
        })
}

fn litres(row: &mut Row<'_>) -> Result<Option<f64>, Refusal> {
    let Some(litres) = row.amount(Column::Litres)? else {
        return Ok(None);
    };
    let litres = match row.context.small_litres {
        _ if !is_count(row) => litres,
        SmallLitres::Litres => litres,
        SmallLitres::Tanks(tank) => {
            row.repair(Column::Litres, "tanks, made litres by what a tank holds");
            litres * tank
        }
        SmallLitres::Open => return Err(row.fault(Column::Litres, Fault::LitresOrTanks)),
    };
    if litres == 0.0 {
        return Err(row.fault(Column::Litres, Fault::NoWater));
    }
    if litres < LEAST_LITRES {
        return Err(row.fault(Column::Litres, Fault::LeastLitres));
    }
    if litres > MOST_LITRES {
        return Err(row.fault(Column::Litres, Fault::MostLitres));
    }
    Ok(Some(litres))
}

/// What the counter shows. Three digits behind a mark are thousands where it
/// would else stand lower than the fill that it has counted.
fn meter_litres(row: &mut Row<'_>, litres: Option<f64>) -> Result<Option<f64>, Refusal> {
    let is_own = row
        .layout()
        .unit_of(Column::MeterLitres)
        .is_none_or(|unit| unit == Unit::Own);
    let cell = row.cell(Column::MeterLitres);
    let is_bare = cell.ends_with(|c: char| c.is_ascii_digit());
    let least = litres.unwrap_or(LEAST_FILL);
    if let Some((thousands, decimals)) = both_ways(cell)
        && row.context.mark == DecimalMark::Unknown
        && is_own
        && is_bare
        && decimals < least
        && thousands >= least
    {
        row.repair(
            Column::MeterLitres,
            "its mark taken for thousands, as no counter stands lower than the fill",
        );
        return Ok(Some(thousands));
    }
    row.amount(Column::MeterLitres)
}

/// Whether the figure may count tanks.
fn is_count(row: &Row<'_>) -> bool {
    let unit = row.layout().unit_of(Column::Litres);
    unit.is_none_or(|unit| unit == Unit::Own)
        && bare_number(row.cell(Column::Litres)).is_some_and(may_count_tanks)
}

fn reject(row: &mut Row<'_>, litres: Option<f64>) -> Result<Option<f64>, Refusal> {
    let Some(reject) = row.amount(Column::RejectLitres)? else {
        return Ok(None);
    };
    if litres.is_some_and(|litres| reject > MOST_WASTE * litres) {
        row.repair(
            Column::RejectLitres,
            "more than ten times the water made: left out",
        );
        return Ok(None);
    }
    if litres == Some(reject) {
        row.repair(
            Column::RejectLitres,
            "the same figure as litres: looks copied, left out",
        );
        return Ok(None);
    }
    Ok(Some(reject))
}

fn source_of(row: &mut Row<'_>) -> Result<Source, Refusal> {
    let cell = row.cell(Column::Source);
    if is_no_value(cell) {
        return Ok(Source::Mains);
    }
    match source(cell) {
        SourceWord::Known(source) => Ok(source),
        SourceWord::EitherWay => Err(row.fault(Column::Source, Fault::EitherSource)),
        SourceWord::Unknown => Err(row.fault(Column::Source, Fault::NoSource)),
    }
}

/// The end of a fill: within a day of its start, else left out.
fn ended_at(row: &mut Row<'_>, started_at: Instant) -> Result<Option<Instant>, Refusal> {
    let cell = row.cell(Column::EndedAt);
    if is_no_value(cell) {
        return Ok(None);
    }
    let found = written(cell).map_err(|why| row.fault(Column::EndedAt, why))?;
    let without_day = found.date == WrittenDate::Missing;
    let ended = if without_day {
        let Some(time) = found.time else {
            return Ok(None);
        };
        row.clock_on_day_of(started_at, time)
    } else {
        row.moment(Column::EndedAt)?.and_then(|settled| settled.at)
    };
    let Some(ended) = ended else {
        row.repair(Column::EndedAt, "a day without a time of day: left out");
        return Ok(None);
    };
    let took = ended.0 - started_at.0;
    if (0..=DAY_MICROS).contains(&took) {
        return Ok(Some(ended));
    }
    let over_midnight = Instant(ended.0 + DAY_MICROS);
    if without_day && (0..DAY_MICROS / 2).contains(&(over_midnight.0 - started_at.0)) {
        row.repair(Column::EndedAt, "before the start: taken for the next day");
        return Ok(Some(over_midnight));
    }
    row.repair(
        Column::EndedAt,
        "before the start or more than a day after it: left out",
    );
    Ok(None)
}

/// An end is of no use where the start has no time of day.
fn end_without_start(row: &mut Row<'_>) -> Option<Instant> {
    if !is_no_value(row.cell(Column::EndedAt)) {
        row.repair(
            Column::EndedAt,
            "an end without a time of the start: left out",
        );
    }
    None
}
