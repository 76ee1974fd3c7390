//! The numbers of a chart as a table, for whoever cannot see it or wants them.

use crate::calendar::{Date, DateExt};

use super::words;
use crate::advise::Band;

/// A table with its caption; every row has as many cells as there are heads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    pub caption: String,
    pub heads: Vec<&'static str>,
    pub rows: Vec<Vec<String>>,
}

/// At most so many months in a table: the last ones, and those ahead.
const MOST_MONTHS: usize = 48;

/// Readings and fit by the month: month, readings, their middle, the fit and
/// its likely range. `say` writes a value.
pub fn by_month(
    readings: &[(Date, f64)],
    fit: &[Band<Date>],
    (from, to): (Date, Date),
    say: impl Fn(f64) -> String,
) -> Vec<Vec<String>> {
    let shown = |d: Date| d >= from && d <= to;
    let mut months: Vec<Date> = readings
        .iter()
        .map(|r| r.0)
        .chain(fit.iter().map(|b| b.x))
        .filter(|d| shown(*d))
        .map(Date::first_of_month)
        .collect();
    months.sort_unstable();
    months.dedup();
    let skipped = months.len().saturating_sub(MOST_MONTHS);
    months
        .into_iter()
        .skip(skipped)
        .map(|month| {
            let within = |d: Date| shown(d) && d.first_of_month() == month;
            let mut read: Vec<f64> = readings
                .iter()
                .filter(|r| within(r.0))
                .map(|r| r.1)
                .collect();
            read.sort_by(f64::total_cmp);
            let middle = read.get(read.len() / 2).copied();
            let fitted = fit.iter().find(|b| within(b.x));
            let none = || "–".to_owned();
            vec![
                words::month(month),
                read.len().to_string(),
                middle.map_or_else(none, &say),
                fitted.map_or_else(none, |b| say(b.p50)),
                fitted.map_or_else(none, |b| format!("{} to {}", say(b.p10), say(b.p90))),
            ]
        })
        .collect()
}

/// The heads of [`by_month`].
pub const MONTH_HEADS: [&str; 5] = [
    "Month",
    "Readings",
    "Middle of the readings",
    "Fit or forecast",
    "Likely between",
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;

    #[test]
    fn readings_are_gathered_by_the_month_and_gaps_stay_gaps() {
        let readings = [
            (date(2026, 8, 30), 9.0),
            (date(2026, 9, 1), 1.0),
            (date(2026, 9, 2), 5.0),
            (date(2026, 9, 30), 2.0),
        ];
        let fit = [Band {
            x: date(2026, 11, 10),
            p10: 3.0,
            p50: 4.0,
            p90: 6.0,
        }];
        let span = (date(2026, 9, 1), date(2026, 12, 31));
        let rows = by_month(&readings, &fit, span, |v| format!("{v:.0}"));
        assert_eq!(
            rows,
            [
                ["September 2026", "3", "2", "–", "–"],
                ["November 2026", "0", "–", "4", "3 to 6"],
            ]
        );
    }
}
