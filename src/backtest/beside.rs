//! One forecast of every part whose limit was seen, beside the day it came.

use std::collections::BTreeMap;

use crate::calendar::{Date, DateExt};

use super::replay::Forecast;
use crate::fit::Span;

/// A forecast and what came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    pub van: String,
    pub made_on: Date,
    pub limit_on: Span<Date>,
    pub came_on: Date,
}

impl Beside {
    /// Whether the day came within what was likely.
    pub fn held(&self) -> bool {
        let low = self.limit_on.p10.is_some_and(|low| self.came_on >= low);
        low && self.limit_on.p90.is_none_or(|high| self.came_on <= high)
    }
}

/// How long before the end the forecast is to have been made, days.
pub const MEMBRANE_DAYS: i32 = 90;
pub const RESIN_DAYS: i32 = 28;

/// Of each part the last forecast made at least `days` before its limit came,
/// or the first one where all were later.
pub fn of(forecasts: &[Forecast], days: i32) -> Vec<Beside> {
    let mut of_part: BTreeMap<usize, &Forecast> = BTreeMap::new();
    let early = |f: &Forecast| f.outcome.days_since(f.made_on) >= days;
    // in order of the looks, so that a later one that is early enough wins
    for forecast in forecasts.iter().filter(|f| f.reached) {
        of_part
            .entry(forecast.part)
            .and_modify(|kept| {
                if early(forecast) {
                    *kept = forecast;
                }
            })
            .or_insert(forecast);
    }
    let mut out: Vec<Beside> = of_part
        .into_values()
        .map(|f| Beside {
            van: f.van.to_string(),
            made_on: f.made_on,
            limit_on: f.limit_on,
            came_on: f.outcome,
        })
        .collect();
    out.sort_by(|a, b| (a.came_on, &a.van).cmp(&(b.came_on, &b.van)));
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;

    fn forecast(part: usize, made_on: Date, reached: bool) -> Forecast {
        Forecast {
            part,
            van: "QV-001".into(),
            began: None,
            made_on,
            limit_on: Span {
                p10: Some(date(2026, 6, 1)),
                p50: Some(date(2026, 8, 1)),
                p90: None,
            },
            position: 0.5,
            outcome: date(2026, 7, 1),
            reached,
            replace_on: None,
        }
    }

    #[test]
    fn the_last_forecast_made_long_enough_before_is_taken() {
        let ends = [
            date(2026, 2, 28),
            date(2026, 3, 31),
            date(2026, 4, 30),
            date(2026, 6, 30),
        ];
        let mut all: Vec<Forecast> = ends.iter().map(|on| forecast(1, *on, true)).collect();
        all.push(forecast(2, date(2026, 6, 30), true));
        all.push(forecast(3, date(2026, 1, 31), false));
        let seen = of(&all, MEMBRANE_DAYS);
        let made: Vec<Date> = seen.iter().map(|b| b.made_on).collect();
        assert_eq!(made, [date(2026, 3, 31), date(2026, 6, 30)]);
        // an open end holds every later day
        assert!(seen.iter().all(Beside::held));
    }
}
