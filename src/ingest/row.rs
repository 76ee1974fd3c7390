//! One row under the eyes of its rules: typed looks at its cells, each with the
//! reason why it cannot be used or what was repaired.

use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::columns::Column;
use super::dates::{WrittenDate, WrittenTime, Zone, written};
use super::instants::{self, DAY_OR_MONTH, DateHabits, Settled};
use super::layout::Layout;
use super::names::Names;
use super::notes::Repair;
use super::numbers::{DecimalMark, Number, Spelled, number};
use super::postcode::{Postcode, postcode};
use super::split::Rows;
use super::text::{collapsed, is_ditto, is_no_value, plain};
use super::units::Unit;
use crate::store::records::Instant;

/// What holds for all rows of a file.
pub(super) struct Ground<'f> {
    pub layout: &'f Layout,
    pub mark: DecimalMark,
    pub habits: DateHabits,
    pub zone: &'f TimeZone,
    pub today: Date,
}

/// Why a row is set aside.
pub(super) type Reason = String;

/// The cells of one row by their columns.
#[derive(Clone, Copy)]
pub(super) struct Cells<'r> {
    pub layout: &'r Layout,
    pub rows: &'r Rows<'r>,
    /// The cells put right, where the row was ragged.
    pub aligned: Option<&'r [String]>,
}

impl<'r> Cells<'r> {
    /// A column's cell, trimmed; empty where the file has no such column.
    pub fn get(&self, column: Column) -> &'r str {
        let Some(index) = self.layout.cell_of(column) else {
            return "";
        };
        let cell = match self.aligned {
            Some(cells) => cells.get(index).map_or("", String::as_str),
            None => self.rows.cell(index),
        };
        plain(cell)
    }
}

/// A row being read.
pub(super) struct Row<'r> {
    pub ground: &'r Ground<'r>,
    cells: Cells<'r>,
    names: &'r mut Names,
    /// Repairs made so far; kept only if the row is accepted.
    pub repairs: Vec<Repair>,
    /// Van and day where only the day is known.
    pub day_only: Option<(Arc<str>, Date)>,
}

impl<'r> Row<'r> {
    pub fn new(ground: &'r Ground<'r>, cells: Cells<'r>, names: &'r mut Names) -> Row<'r> {
        Row {
            ground,
            cells,
            names,
            repairs: Vec::new(),
            day_only: None,
        }
    }

    /// A column's cell, trimmed; empty where the file has no such column.
    pub fn cell(&self, column: Column) -> &'r str {
        self.cells.get(column)
    }

    /// `feed_ppm is "1,2O4", …`, with the row's own header where it differs.
    pub fn fault(&self, column: Column, why: impl std::fmt::Display) -> Reason {
        let cell = self.cell(column);
        let shown: String = cell.chars().take(60).collect();
        let more = if shown.len() < cell.len() { "…" } else { "" };
        format!(
            "{} is \"{shown}{more}\", {why}",
            self.ground.layout.told(column)
        )
    }

    pub fn repair(&mut self, column: Column, what: &'static str) {
        self.repairs.push(Repair {
            column: Some(column),
            what,
        });
    }

    /// The van, which every row but one of hardness needs.
    pub fn van(&mut self) -> Result<Arc<str>, Reason> {
        let cell = self.cell(Column::Van);
        if is_no_value(cell) {
            return Err(format!("{} is empty", self.ground.layout.told(Column::Van)));
        }
        if is_ditto(cell) {
            return Err(self.fault(Column::Van, "a ditto mark, not a name"));
        }
        if cell.starts_with(['#', '=']) {
            return Err(self.fault(
                Column::Van,
                "a spreadsheet formula or its error, not a name",
            ));
        }
        let name = collapsed(cell);
        if name.chars().count() > 80 {
            return Err(self.fault(Column::Van, "too long to be a name"));
        }
        if matches!(
            name.to_lowercase().as_str(),
            "test" | "xx" | "xxx" | "testing" | "test van" | "dummy"
        ) {
            return Err(self.fault(Column::Van, "a test row"));
        }
        Ok(self.names.van(&name))
    }

    /// A free text; `None` where the cell is empty.
    pub fn text(&mut self, column: Column) -> Option<Arc<str>> {
        let cell = self.cell(column);
        (!cell.is_empty()).then(|| self.names.text(cell))
    }

    /// Where the van stood; what is no postcode is dropped and noted.
    pub fn place(&mut self, column: Column) -> Result<Option<Arc<str>>, Reason> {
        let cell = self.cell(column);
        if is_no_value(cell) {
            return Ok(None);
        }
        if is_ditto(cell) {
            return Err(self.fault(column, "a ditto mark, not a postcode"));
        }
        if let Some(known) = self.names.place(cell) {
            return Ok(Some(known));
        }
        let code = match postcode(cell) {
            Postcode::Known(code) | Postcode::Foreign(code) => code,
            Postcode::Repaired(code, what) => {
                self.repair(column, what);
                return Ok(Some(self.names.text(&code)));
            }
            Postcode::None => {
                self.repair(column, "not a postcode: left out, so the van's base holds");
                return Ok(None);
            }
        };
        Ok(Some(self.names.keep_place(cell, &code)))
    }

    /// A number in the column's own unit; `None` where the cell has no value.
    pub fn amount(&mut self, column: Column) -> Result<Option<f64>, Reason> {
        let Some(number) = self.number(column)? else {
            return Ok(None);
        };
        let value = self.converted(column, &number)?;
        if value < 0.0 {
            return Err(self.fault(column, "negative"));
        }
        Ok(Some(value))
    }

    /// As [`Row::amount`], negative values included.
    pub fn signed(&mut self, column: Column) -> Result<Option<f64>, Reason> {
        let Some(number) = self.number(column)? else {
            return Ok(None);
        };
        self.converted(column, &number).map(Some)
    }

    /// Money: a currency sign or code on either side, brackets for a credit.
    pub fn money(&mut self, column: Column) -> Result<Option<f64>, Reason> {
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
        let found = number(inside, self.ground.mark).map_err(|why| self.fault(column, why))?;
        let Some(found) = found else { return Ok(None) };
        let sound = found.spelled == Spelled::Exactly
            && without_currency(found.unit).is_empty()
            && !(minus && found.value < 0.0);
        if !sound {
            return Err(self.fault(column, "not an amount of money"));
        }
        Ok(Some(if credit || minus {
            -found.value
        } else {
            found.value
        }))
    }

    /// A time of day on the local day of an instant.
    pub fn clock_on_day_of(&self, start: Instant, time: WrittenTime) -> Option<Instant> {
        let stamp = jiff::Timestamp::from_microsecond(start.0).ok()?;
        let day = self.ground.zone.to_datetime(stamp).date();
        let day = if time.days_on == 0 {
            day
        } else {
            day.tomorrow().ok()?
        };
        let local = day.to_datetime(time.time);
        let stamp = self
            .ground
            .zone
            .to_ambiguous_timestamp(local)
            .compatible()
            .ok()?;
        Some(Instant(stamp.as_microsecond()))
    }

    /// The number of a cell as written, its spelling noted.
    pub fn number(&mut self, column: Column) -> Result<Option<Number<'r>>, Reason> {
        let cell = self.cell(column);
        let found = number(cell, self.ground.mark).map_err(|why| self.fault(column, why))?;
        match found.map(|n| n.spelled) {
            Some(Spelled::Below) => self.repair(column, "only an upper bound: half of it is kept"),
            Some(Spelled::About) => self.repair(column, "read without its \"about\""),
            Some(Spelled::Range) => self.repair(column, "a range: its middle is kept"),
            Some(Spelled::Exactly) | None => {}
        }
        Ok(found)
    }

    /// The number in the column's own unit, by the cell's unit or the header's.
    fn converted(&mut self, column: Column, number: &Number<'_>) -> Result<f64, Reason> {
        let stated = self.ground.layout.unit_of(column).unwrap_or(Unit::Own);
        if number.unit.is_empty() {
            return Ok(stated.convert(number.value));
        }
        let unit = Unit::named(number.unit, column.measure())
            .ok_or_else(|| self.fault(column, unknown_unit(number.unit)))?;
        if unit != stated
            && let Some(told) = unit.told()
        {
            self.repair(column, converted_from(told));
        }
        Ok(unit.convert(number.value))
    }

    /// A ppm value: its ppm cell, else its conductivity cell.
    pub fn ppm(&mut self, column: Column) -> Result<Option<f64>, Reason> {
        let ppm = self.amount(column)?;
        let other = match column.in_us_cm() {
            Some(us_cm) => self.amount(us_cm)?,
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

    /// A day, its time of day left out.
    pub fn day(&mut self, column: Column) -> Result<Option<Date>, Reason> {
        Ok(self.moment(column)?.map(|settled| settled.date))
    }

    /// A date with or without a time; `None` where the cell is empty.
    pub fn moment(&mut self, column: Column) -> Result<Option<Settled>, Reason> {
        let cell = self.cell(column);
        if is_no_value(cell) {
            return Ok(None);
        }
        if is_ditto(cell) {
            return Err(self.fault(column, "a ditto mark, not a date"));
        }
        let mut found = written(cell).map_err(|why| self.fault(column, why))?;
        if column == start_of(column) {
            self.join_day_and_clock(&mut found)?;
        }
        if found.zone == Zone::Local && found.time.is_some() && self.ground.layout.is_utc(column) {
            found.zone = Zone::Offset(jiff::tz::Offset::UTC);
        }
        let settled = instants::settle(&found, &self.ground.habits, self.ground.zone)
            .map_err(|why| self.unsettled(column, &why))?;
        if let Some(change) = settled.clock_change {
            self.repair(column, change);
        }
        Ok(Some(settled))
    }

    fn unsettled(&self, column: Column, why: &str) -> Reason {
        if why == DAY_OR_MONTH {
            let how = "say --date-order day-first or month-first";
            self.fault(column, format_args!("where {why}: {how}"))
        } else {
            self.fault(column, why)
        }
    }

    /// Puts a time of day behind a date that stands in a column of its own.
    fn join_day_and_clock(&self, found: &mut super::dates::Written) -> Result<(), Reason> {
        let read = |other: Column| {
            let cell = self.cell(other);
            if is_no_value(cell) {
                return Ok(None);
            }
            written(cell)
                .map(Some)
                .map_err(|why| self.fault(other, why))
        };
        if found.date == WrittenDate::Missing {
            if let Some(day) = read(Column::Day)? {
                found.date = day.date;
            }
            return Ok(());
        }
        // spreadsheets put a midnight behind a date whose time has its own column
        let open = found
            .time
            .is_none_or(|time| !found.machine && time.time == jiff::civil::Time::midnight());
        if open && let Some(clock) = read(Column::Clock)? {
            let time = clock.time;
            found.time = Some(time.ok_or_else(|| self.fault(Column::Clock, "not a time of day"))?);
            found.zone = clock.zone;
        }
        Ok(())
    }

    /// The moment of a reading, fill or service: required, neither ahead nor
    /// absurdly far back.
    pub fn happened(&mut self, column: Column) -> Result<Settled, Reason> {
        let settled = self
            .moment(column)?
            .ok_or_else(|| format!("{} is empty", self.ground.layout.told(column)))?;
        self.not_ahead(column, settled.date)?;
        Ok(settled)
    }

    /// Refuses days after today and days before any van of ours.
    pub fn not_ahead(&self, column: Column, date: Date) -> Result<(), Reason> {
        if date > self.ground.today {
            return Err(self.fault(column, format_args!("after today ({})", self.ground.today)));
        }
        if date.year() < 2000 {
            return Err(self.fault(column, "before the year 2000: a spreadsheet's empty date?"));
        }
        Ok(())
    }
}

/// Columns of an instant that a day and a clock column may complete.
fn start_of(column: Column) -> Column {
    match column {
        Column::TakenAt | Column::StartedAt | Column::DoneAt => column,
        _ => Column::Day,
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

fn unknown_unit(unit: &str) -> String {
    let looks_like_word = unit
        .chars()
        .next()
        .is_some_and(|c| c.is_alphabetic() || c == '°' || c == '%');
    if looks_like_word && unit.chars().count() < 20 {
        format!("not a number in a unit of this column (\"{unit}\"?)")
    } else {
        "not a number".to_owned()
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
