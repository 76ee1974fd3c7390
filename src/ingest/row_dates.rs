//! Dates and times of a row.

use crate::calendar::{ClockChange, Date, DateExt, Datelike};

use crate::store::records::Instant;

use super::columns::Column;
use super::dates::{NoDate, Written, WrittenDate, WrittenTime, Zone, written};
use super::instants::{self, Settled};
use super::refusal::{Fault, Refusal};
use super::row::Row;
use super::text::{is_ditto, is_no_value};

impl Row<'_> {
    /// A time of day on the local day of an instant.
    pub fn clock_on_day_of(&self, start: Instant, time: WrittenTime) -> Option<Instant> {
        let day = self.context.zone.date_of(start.0)?;
        let day = match time.days_on {
            0 => day,
            _ => day.checked_plus_days(1)?,
        };
        let (micros, _) = self.context.zone.instant(day.and_time(time.time))?;
        Some(Instant(micros))
    }

    /// A day, its time of day left out.
    pub fn day(&mut self, column: Column) -> Result<Option<Date>, Refusal> {
        Ok(self.moment(column)?.map(|settled| settled.date))
    }

    /// A date with or without a time; `None` where the cell is empty.
    pub fn moment(&mut self, column: Column) -> Result<Option<Settled>, Refusal> {
        let is_start = is_start(column);
        // a start without a time still has the day in the column beside it
        let beside = is_start && is_no_value(self.cell(column));
        let column = if beside { Column::Day } else { column };
        let cell = self.cell(column);
        if is_no_value(cell) {
            return Ok(None);
        }
        if is_ditto(cell) {
            return Err(self.fault(column, Fault::Ditto("date")));
        }
        let mut found = written(cell).map_err(|why| self.fault(column, why))?;
        if is_start {
            self.join_day_and_clock(&mut found)?;
        }
        if found.zone == Zone::Local && found.time.is_some() && self.is_utc(column) {
            found.zone = Zone::Offset(crate::calendar::FixedOffset::UTC);
        }
        let settled = instants::settle(&found, &self.context.habits, self.context.zone)
            .map_err(|why| self.fault(column, why))?;
        if let Some(change) = settled.clock_change {
            self.repair(column, told(change));
        }
        Ok(Some(settled))
    }

    /// Whether the header of the instant or of its time of day says UTC.
    fn is_utc(&self, column: Column) -> bool {
        let layout = self.cells.layout;
        layout.is_utc(column) || (is_start(column) && layout.is_utc(Column::Clock))
    }

    /// Puts a time of day behind a date that stands in a column of its own.
    fn join_day_and_clock(&self, found: &mut Written) -> Result<(), Refusal> {
        let read = |other: Column| {
            let cell = self.cell(other);
            if is_no_value(cell) {
                return Ok(None);
            }
            // a phone's keys give the time of day without a colon
            let digits = Some(cell).filter(|c| c.bytes().all(|b| b.is_ascii_digit()));
            let found = match digits.and_then(|digits| digits.split_at_checked(2)) {
                Some((hour, minute)) if other == Column::Clock && minute.len() == 2 => {
                    written(&format!("{hour}:{minute}"))
                }
                _ => written(cell),
            };
            let why = |why| match (why, other) {
                (NoDate::Not, Column::Clock) => NoDate::NoTime,
                _ => why,
            };
            found.map(Some).map_err(|not| self.fault(other, why(not)))
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
            .is_none_or(|time| !found.machine && time.time == crate::calendar::Time::MIN);
        if open && let Some(clock) = read(Column::Clock)? {
            let time = clock.time;
            found.time = Some(time.ok_or_else(|| self.fault(Column::Clock, NoDate::NoTime))?);
            found.zone = clock.zone;
        }
        Ok(())
    }

    /// The moment of a reading, fill or service: required, neither ahead nor
    /// absurdly far back.
    pub fn happened(&mut self, column: Column) -> Result<Settled, Refusal> {
        let settled = self.moment(column)?.ok_or_else(|| self.empty(column))?;
        self.not_ahead(column, settled.date)?;
        Ok(settled)
    }

    /// Refuses days after today and days before any van of ours.
    pub fn not_ahead(&self, column: Column, date: Date) -> Result<(), Refusal> {
        if date > self.context.today {
            return Err(self.fault(column, Fault::AfterToday(self.context.today)));
        }
        if date.year() < 2000 {
            return Err(self.fault(column, Fault::Before2000));
        }
        Ok(())
    }
}

/// Whether a day and a time column beside it may complete this one.
fn is_start(column: Column) -> bool {
    matches!(column, Column::TakenAt | Column::StartedAt | Column::DoneAt)
}

fn told(change: ClockChange) -> &'static str {
    match change {
        ClockChange::Twice => {
            "an hour that the change of clocks repeats: its first occurrence is taken"
        }
        ClockChange::Never => {
            "an hour that the change of clocks skips: read as if the clocks had not changed"
        }
    }
}
