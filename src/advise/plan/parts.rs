//! Parts to order in each of the coming months.

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Serialize;

use super::ahead::{DRAWS, VanAhead};
use crate::fit::{Span, span_of};

/// Months that are looked ahead.
pub const MONTHS: usize = 12;

/// What to order in a month, so that it is there when the jobs come: in four
/// years of five no less than the low and no more than the high figure.
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
fn first_month(as_of: Date) -> Date {
    as_of.saturating_add(1.day()).first_of_month()
}

/// Which of the months a job belongs to, whose part has to be ordered so many
/// days before it; jobs beyond the last one give [`MONTHS`] or more.
fn month_of(as_of: Date, order_days: i32, days: f64) -> usize {
    let day = as_of
        .saturating_add((days.clamp(0.0, 4000.0) as i64).days())
        .saturating_sub(i64::from(order_days).days())
        .max(as_of.saturating_add(1.day()));
    let first = first_month(as_of);
    let months = 12 * (i32::from(day.year()) - i32::from(first.year())) + i32::from(day.month())
        - i32::from(first.month());
    usize::try_from(months).unwrap_or(0)
}

/// The fleet's parts by month.
pub fn parts_to_order(vans: &[VanAhead], as_of: Date, order_days: i32) -> Vec<MonthOfParts> {
    if vans.is_empty() {
        return Vec::new();
    }
    let mut sums = vec![[[0.0_f64; 3]; MONTHS]; DRAWS];
    for van in vans {
        let months = van.by_month(&|days| month_of(as_of, order_days, days));
        for (sum, own) in sums.iter_mut().zip(months) {
            for (into, from) in sum.iter_mut().flatten().zip(own.iter().flatten()) {
                *into += from;
            }
        }
    }
    (0..MONTHS)
        .map(|m| {
            let span = |part: usize| {
                let draws = sums
                    .iter()
                    .filter_map(|s| s.get(m).and_then(|x| x.get(part)).copied());
                span_of(draws).map(f64::round)
            };
            MonthOfParts {
                month: first_month(as_of)
                    .saturating_add((m as i64).months())
                    .strftime("%Y-%m")
                    .to_string(),
                membranes: span(0),
                prefilter_sets: span(1),
                resin_litres: span(2),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

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
