//! Parts to order in each of the coming months.

use std::collections::BTreeSet;

use crate::calendar::{Date, DateExt, Datelike};
use serde::Serialize;

use super::ahead::{DAYS, DRAWS};
use crate::fit::{Span, span_of};
use crate::lives::Item;

/// Months that are looked ahead.
pub const MONTHS: usize = 12;
/// The parts that are counted, in the order of [`PartsByMonth::draws`].
pub const PARTS: [Item; 3] = [Item::Membrane, Item::Prefilter, Item::Resin];

/// What to order in a month, so that it is there when the jobs come: in four
/// years of five no less than the low and no more than the high figure. Parts of
/// which no van tells anything are unknown; a van's part that cannot be told is
/// left out of the sums.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MonthOfParts {
    /// `2026-11`.
    pub month: String,
    pub membranes: Span<f64>,
    pub prefilter_sets: Span<f64>,
    pub resin_litres: Span<f64>,
}

/// First day of the month in which the list begins: that of the day after the
/// as-of day, so that a month-end's list begins with the month to come.
pub fn first_month(as_of: Date) -> Date {
    as_of.plus_days(1).first_of_month()
}

/// Which of the months a job belongs to, whose part has to be ordered so many
/// days before it; jobs beyond the last one give [`MONTHS`] or more.
fn month_of(as_of: Date, order_days: i32, days: f64) -> usize {
    let day = as_of
        .plus_days(days.clamp(0.0, 4000.0) as i64)
        .plus_days(-i64::from(order_days))
        .max(as_of.plus_days(1));
    let first = first_month(as_of);
    let months = 12 * (day.year() - first.year()) + day.month() as i32 - first.month() as i32;
    usize::try_from(months).unwrap_or(0)
}

/// Which month a job is ordered in, for every day of the year ahead.
#[derive(Debug, Clone)]
pub struct MonthOf(Vec<usize>);

impl MonthOf {
    pub fn new(as_of: Date, order_days: i32) -> MonthOf {
        let days = 0..=(DAYS as usize);
        MonthOf(
            days.map(|day| month_of(as_of, order_days, day as f64))
                .collect(),
        )
    }

    /// The month in which a job is done; what is left of the year belongs to the last.
    pub fn of_jobs(as_of: Date) -> MonthOf {
        let mut months = MonthOf::new(as_of, 0);
        months.0.iter_mut().for_each(|m| *m = (*m).min(MONTHS - 1));
        months
    }

    /// That of a job so many days ahead; [`MONTHS`] or more beyond the last one.
    pub fn job(&self, days: f64) -> usize {
        self.0
            .get(days.max(0.0) as usize)
            .copied()
            .unwrap_or(MONTHS)
    }
}

/// Parts to order in each draw, by month: membranes, sets, litres of resin.
#[derive(Debug, Clone)]
pub struct PartsByMonth {
    pub draws: Vec<[[f64; 3]; MONTHS]>,
    /// Items of which any van's next change can be told.
    pub told: BTreeSet<Item>,
}

impl PartsByMonth {
    pub fn none() -> PartsByMonth {
        PartsByMonth {
            draws: vec![[[0.0; 3]; MONTHS]; DRAWS],
            told: BTreeSet::new(),
        }
    }

    /// Expected pieces of a part in each month.
    pub fn expected(&self, part: Item) -> [f64; MONTHS] {
        let place = PARTS.iter().position(|p| *p == part);
        std::array::from_fn(|month| {
            let of = |draw: &[[f64; 3]; MONTHS]| draw.get(month)?.get(place?).copied();
            let sum: f64 = self.draws.iter().filter_map(of).sum();
            sum / self.draws.len().max(1) as f64
        })
    }
}

/// The fleet's parts by month.
pub fn parts_to_order(parts: &PartsByMonth, as_of: Date) -> Vec<MonthOfParts> {
    (0..MONTHS)
        .map(|m| {
            let span = |part: usize, item: Item| {
                // Where nothing can be told of any, nothing is no figure.
                if !parts.told.contains(&item) {
                    return Span::unknown();
                }
                let draws = parts
                    .draws
                    .iter()
                    .filter_map(|s| s.get(m).and_then(|x| x.get(part)).copied());
                span_of(draws).map(f64::round)
            };
            MonthOfParts {
                month: first_month(as_of)
                    .plus_months(m as i32)
                    .format("%Y-%m")
                    .to_string(),
                membranes: span(0, Item::Membrane),
                prefilter_sets: span(1, Item::Prefilter),
                resin_litres: span(2, Item::Resin),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;

    #[test]
    fn a_part_is_ordered_so_many_days_before_its_job() {
        let end = date(2026, 10, 31);
        assert_eq!(month_of(end, 7, 0.0), 0);
        assert_eq!(month_of(end, 7, 30.0), 0);
        assert_eq!(month_of(end, 7, 37.0), 0);
        assert_eq!(month_of(end, 7, 38.0), 1);
        assert_eq!(month_of(end, 0, 31.0), 1);
        assert_eq!(month_of(date(2026, 10, 12), 7, 0.0), 0);
        assert!(month_of(end, 0, 400.0) >= MONTHS);
    }
}
