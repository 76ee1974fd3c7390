//! Axes as plotters asks for them: where a value lies, and ticks that people
//! would choose.

use std::ops::Range;

use crate::calendar::{Date, DateExt, Datelike, date};
use plotters::coord::ranged1d::{KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};

use super::words;

/// Days since the first of January 2000, for positions only.
pub fn day_number(day: Date) -> f64 {
    f64::from(day.days_since(date(2000, 1, 1)))
}

/// A tick: the value and what is written there (empty: only a mark).
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    pub value: f64,
    pub label: String,
}

/// One axis: its range and ticks. `low` may be the larger value: the axis then
/// runs downwards.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    pub low: f64,
    pub high: f64,
    pub ticks: Vec<Tick>,
}

impl Axis {
    /// Ticks on round numbers, at most about `most` of them.
    pub fn numbers(
        (low, high): (f64, f64),
        most: usize,
        label: impl Fn(f64, usize) -> String,
    ) -> Axis {
        Axis {
            low,
            high,
            ticks: number_ticks((low, high), most, label),
        }
    }

    /// Ticks on the first days of months or years.
    pub fn days(from: Date, to: Date, most: usize) -> Axis {
        Axis {
            low: day_number(from),
            high: day_number(to),
            ticks: date_ticks(from, to, most),
        }
    }

    /// Without ticks.
    pub fn bare(low: f64, high: f64) -> Axis {
        Axis {
            low,
            high,
            ticks: Vec::new(),
        }
    }

    pub fn holds(&self, value: f64) -> bool {
        value >= self.low.min(self.high) && value <= self.high.max(self.low)
    }

    /// How far along the axis a value lies, 0 to 1; what is off the axis lies at
    /// its end, not-a-number at its start.
    pub fn share(&self, value: f64) -> f64 {
        let share = ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0);
        if share.is_nan() { 0.0 } else { share }
    }
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (from, to): (i32, i32)) -> i32 {
        from + (f64::from(to - from) * self.share(*value)).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        // light lines between the ticks are not wanted
        if hint.weight().allow_light_points() {
            return Vec::new();
        }
        self.ticks.iter().map(|tick| tick.value).collect()
    }

    fn range(&self) -> Range<f64> {
        self.low..self.high
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        let tick = self.ticks.iter().find(|tick| tick.value == *value);
        tick.map_or_else(String::new, |tick| tick.label.clone())
    }
}

/// The step 1, 2, 2.5 or 5 times a power of ten that makes at most `most`
/// steps of `range`.
pub fn nice_step(range: f64, most: usize) -> f64 {
    let rough = range / most.max(1) as f64;
    if !(rough.is_finite() && rough > 0.0) {
        return 1.0;
    }
    let power = 10_f64.powf(rough.log10().floor());
    [1.0, 2.0, 2.5, 5.0, 10.0]
        .into_iter()
        .map(|m| m * power)
        .find(|step| *step >= rough * 0.999_999)
        .unwrap_or(10.0 * power)
}

/// `high` rounded up to the next tick.
pub fn nice_top(high: f64, most: usize) -> f64 {
    let step = nice_step(high, most);
    (high / step - 1e-9).ceil().max(1.0) * step
}

/// Ticks on round numbers from `low` to `high`, written by `label`.
pub fn number_ticks(
    (low, high): (f64, f64),
    most: usize,
    label: impl Fn(f64, usize) -> String,
) -> Vec<Tick> {
    let step = nice_step(high - low, most);
    let mut decimals = 0;
    while decimals < 6
        && ((step * 10_f64.powi(decimals)).fract() > 1e-9
            && (step * 10_f64.powi(decimals)).fract() < 1.0 - 1e-9)
    {
        decimals += 1;
    }
    let first = (low / step - 1e-9).ceil() as i64;
    let last = (high / step + 1e-9).floor() as i64;
    (first..=last)
        .map(|i| {
            let value = i as f64 * step;
            Tick {
                value,
                label: label(value, decimals as usize),
            }
        })
        .collect()
}

/// Ticks on the first days of months or years, at most about `most` labels.
pub fn date_ticks(from: Date, to: Date, most: usize) -> Vec<Tick> {
    let months = (day_number(to) - day_number(from)) / 30.4;
    let step = [1, 2, 3, 6, 12, 24, 60, 120]
        .into_iter()
        .find(|step| months / f64::from(*step) <= most.max(1) as f64)
        .unwrap_or(240);
    let mut ticks = Vec::new();
    let whole = from.year() * 12 + from.month() as i32 - 1;
    // on multiples of the step counted from January, so that years show
    let mut at = whole.div_euclid(step) * step;
    let mut first = true;
    loop {
        let (year, month) = (at.div_euclid(12), at.rem_euclid(12).unsigned_abs() + 1);
        let Some(day) = Date::from_ymd_opt(year, month, 1) else {
            break;
        };
        if day > to {
            break;
        }
        if day >= from {
            let label = if step >= 12 {
                year.to_string()
            } else if first || month == 1 {
                format!("{} {year}", words::month_short(month))
            } else {
                words::month_short(month).to_owned()
            };
            first = false;
            ticks.push(Tick {
                value: day_number(day),
                label,
            });
        }
        at += step;
    }
    ticks
}

/// The day `days` after `day`, held within the calendar.
pub fn days_after(day: Date, days: i32) -> Date {
    day.plus_days(i64::from(days))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round_numbers() {
        assert_eq!(nice_step(100.0, 5), 20.0);
        assert_eq!(nice_step(1.3, 5), 0.5);
        assert_eq!(nice_step(0.14, 6), 0.025);
        assert_eq!(nice_step(90_000.0, 4), 25_000.0);
        assert_eq!(nice_top(87_000.0, 5), 100_000.0);
        assert_eq!(nice_step(0.0, 5), 1.0);
    }

    #[test]
    fn ticks_say_as_many_decimals_as_the_step_has() {
        let ticks = number_ticks((0.0, 0.14), 6, |v, d| format!("{v:.d$}"));
        let labels: Vec<&str> = ticks.iter().map(|t| t.label.as_str()).collect();
        assert_eq!(
            labels,
            ["0.000", "0.025", "0.050", "0.075", "0.100", "0.125"]
        );
    }

    #[test]
    fn dates_tick_on_firsts_of_months_and_name_the_year_once() {
        let ticks = date_ticks(date(2026, 8, 20), date(2027, 3, 5), 10);
        let labels: Vec<&str> = ticks.iter().map(|t| t.label.as_str()).collect();
        assert_eq!(
            labels,
            ["Sep 2026", "Oct", "Nov", "Dec", "Jan 2027", "Feb", "Mar"]
        );
        let years = date_ticks(date(2017, 5, 1), date(2027, 3, 5), 6);
        let labels: Vec<&str> = years.iter().map(|t| t.label.as_str()).collect();
        assert_eq!(labels, ["2018", "2020", "2022", "2024", "2026"]);
    }

    #[test]
    fn nothing_lies_beyond_the_ends_of_an_axis() {
        let axis = Axis::bare(0.0, 10.0);
        assert_eq!(axis.map(&5.0, (300, 100)), 200);
        assert_eq!(axis.map(&1e9, (300, 100)), 100);
        assert_eq!(axis.map(&f64::INFINITY, (300, 100)), 100);
        assert_eq!(axis.map(&f64::NAN, (300, 100)), 300);
        let downwards = Axis::bare(100.0, 80.0);
        assert_eq!(downwards.map(&90.0, (0, 100)), 50);
        assert!(downwards.holds(85.0) && !downwards.holds(79.0));
    }
}
