//! Numbers of a row: their unit, their spelling, money.

use super::columns::Column;
use super::numbers::{DecimalMark, NoNumber, Number, Spelled, both_ways, is_unread, number};
use super::refusal::{Fault, Refusal};
use super::row::Row;
use super::rows_fills::{LEAST_FILL, MOST_LITRES};
use super::units::Unit;

const THOUSANDS: &str = "its comma taken for thousands, as commas separate the cells";

impl<'r> Row<'r> {
    /// A number in the column's own unit; `None` where the cell has no value.
    pub fn amount(&mut self, column: Column) -> Result<Option<f64>, Refusal> {
        if matches!(column, Column::Litres | Column::RejectLitres)
            && let Some(litres) = self.by_sense(column)
        {
            return litres.map(Some);
        }
        let Some(number) = self.number(column)? else {
            return Ok(None);
        };
        let value = self.converted(column, &number)?;
        if value < 0.0 {
            return Err(self.fault(column, Fault::Negative));
        }
        Ok(Some(value))
    }

    /// As [`Row::amount`], negative values included.
    pub fn signed(&mut self, column: Column) -> Result<Option<f64>, Refusal> {
        let Some(number) = self.number(column)? else {
            return Ok(None);
        };
        self.converted(column, &number).map(Some)
    }

    /// Money: a currency sign or code on either side, brackets for a credit.
    pub fn money(&mut self, column: Column) -> Result<Option<f64>, Refusal> {
        let cell = self.cell(column);
        let (credit, inside) = match cell.strip_prefix('(').and_then(|c| c.strip_suffix(')')) {
            Some(inside) => (true, inside.trim()),
            None => (false, cell),
        };
        let (minus, inside) = match inside.strip_prefix(['-', '\u{2212}']) {
            Some(rest) => (true, rest.trim_start()),
            None => (false, inside),
        };
        let inside = without_currency(inside);
        let found = number(inside, self.context.mark).map_err(|why| self.fault(column, why))?;
        let Some(found) = found else { return Ok(None) };
        if found.spelled == Spelled::ByDelimiter {
            self.repair(column, THOUSANDS);
        }
        let sound = matches!(found.spelled, Spelled::Exactly | Spelled::ByDelimiter)
            && without_currency(found.unit).is_empty()
            && !(minus && found.value < 0.0);
        if !sound {
            return Err(self.fault(column, Fault::NoMoney));
        }
        Ok(Some(if credit || minus {
            -found.value
        } else {
            found.value
        }))
    }

    /// The number of a cell as written, its spelling noted.
    pub fn number(&mut self, column: Column) -> Result<Option<Number<'r>>, Refusal> {
        let cell = self.cell(column);
        let found = number(cell, self.context.mark).map_err(|why| self.fault(column, why))?;
        match found.map(|n| n.spelled) {
            Some(Spelled::Below) => self.repair(column, "only an upper bound: half of it is kept"),
            Some(Spelled::About) => self.repair(column, "read without its \"about\""),
            Some(Spelled::Range) => self.repair(column, "a range: its middle is kept"),
            Some(Spelled::ByDelimiter) => self.repair(column, THOUSANDS),
            Some(Spelled::Exactly) | None => {}
        }
        Ok(found)
    }

    /// Litres of which three digits behind a point may be thousands or decimals:
    /// only one of the two can be a fill, or the cell says nothing. `None` where
    /// the cell reads one way only.
    fn by_sense(&mut self, column: Column) -> Option<Result<f64, Refusal>> {
        let cell = self.cell(column);
        let (thousands, decimals) = both_ways(cell)?;
        let unit = number(cell, DecimalMark::Point).ok().flatten()?.unit;
        let unit = match unit {
            "" => self.layout().unit_of(column).unwrap_or(Unit::Own),
            unit => Unit::named(unit, column.measure())?,
        };
        let [thousands, decimals] = [thousands, decimals].map(|value| unit.convert(value));
        let is_fill = |litres: f64| (LEAST_FILL..=MOST_LITRES).contains(&litres);
        let point = cell.contains('.');
        let by_file = match (self.context.mark, point) {
            (DecimalMark::Point, true) | (DecimalMark::Comma, false) => Some((decimals, thousands)),
            (DecimalMark::Point, false) | (DecimalMark::Comma, true) => Some((thousands, decimals)),
            _ => None,
        };
        let both = NoNumber::BothWays(thousands, decimals);
        let unclear = || Err(self.fault(column, both));
        let value = match by_file {
            Some((own, other)) if is_fill(own) || !is_fill(other) => own,
            Some(_) => return Some(unclear()),
            None => match (is_fill(thousands), is_fill(decimals)) {
                (true, false) => {
                    self.repair(
                        column,
                        "its mark taken for thousands, as no fill is so small",
                    );
                    thousands
                }
                (false, true) => decimals,
                _ => return Some(unclear()),
            },
        };
        Some(Ok(value))
    }

    /// The number in the column's own unit, by the cell's unit or the header's.
    fn converted(&mut self, column: Column, number: &Number<'_>) -> Result<f64, Refusal> {
        let stated = self.cells.layout.unit_of(column).unwrap_or(Unit::Own);
        if number.unit.is_empty() {
            return Ok(stated.convert(number.value));
        }
        let unit = Unit::named(number.unit, column.measure())
            .ok_or_else(|| self.fault(column, unknown_unit(number.unit)))?;
        if unit != stated
            && let Some(told) = unit.label()
        {
            self.repair(column, converted_from(told));
        }
        Ok(unit.convert(number.value))
    }

    /// A measured value whose meter may have shown none: that costs its cell only.
    pub fn measured(
        &mut self,
        column: Column,
        read: impl FnOnce(&mut Self) -> Result<Option<f64>, Refusal>,
    ) -> Result<Option<f64>, Refusal> {
        if !is_unread(self.cell(column)) {
            return read(self);
        }
        self.repair(column, "no figure that a meter could read: left out");
        self.unread.get_or_insert(column);
        Ok(None)
    }

    /// A ppm value: its ppm cell, else its conductivity cell.
    pub fn ppm(&mut self, column: Column) -> Result<Option<f64>, Refusal> {
        let ppm = self.measured(column, |row| row.amount(column))?;
        let other = match column.in_us_cm() {
            Some(us_cm) => self.measured(us_cm, |row| row.amount(us_cm))?,
            None => None,
        };
        match (ppm, other) {
            (Some(ppm), Some(other)) if (ppm - other).abs() > 0.1 * ppm.max(other) + 1.0 => {
                self.repair(
                    column,
                    "disagrees with its conductivity by more than a tenth: ppm is kept",
                );
                Ok(Some(ppm))
            }
            (ppm, other) => Ok(ppm.or(other)),
        }
    }
}

/// What stands behind a currency's sign or its three-letter code (ISO 4217).
fn without_currency(text: &str) -> &str {
    let rest = text.trim_start_matches(['£', '€', '$', '¥', 'Â']);
    let code = rest
        .get(..3)
        .filter(|c| c.bytes().all(|b| b.is_ascii_uppercase()));
    code.and_then(|code| rest.strip_prefix(code))
        .unwrap_or(rest)
        .trim()
}

fn unknown_unit(unit: &str) -> Fault {
    let looks_like_word = unit
        .chars()
        .next()
        .is_some_and(|c| c.is_alphabetic() || c == '°' || c == '%');
    if looks_like_word && unit.chars().count() < 20 {
        Fault::UnknownUnit(unit.to_owned())
    } else {
        NoNumber::Not("not a number").into()
    }
}

fn converted_from(told: &'static str) -> &'static str {
    match told {
        "µS/cm" => "given in µS/cm: ppm = 0.5 × µS/cm",
        "mS/cm" | "dS/m" => "given in mS/cm: ppm = 500 × mS/cm",
        "°F" => "converted from °F",
        "psi" => "converted from psi",
        "kPa" => "converted from kPa",
        "L/h" => "converted from L/h",
        "m³" => "converted from m³",
        "imperial gallons" => "converted from imperial gallons of 4.546 L",
        "US gallons" => "converted from US gallons of 3.785 L",
        _ => "converted from another unit",
    }
}
