//! The months by which readings and fills are split.

use crate::calendar::Datelike;

/// A month since year 0, or `None` for a table that is not split.
pub(super) type Month = Option<i32>;

pub(super) fn month_name(month: i32) -> String {
    format!(
        "{:04}-{:02}",
        month.div_euclid(12),
        month.rem_euclid(12) + 1
    )
}

/// Finds the UTC months of instants; remembers the day before, as rows of one
/// day often stand together.
#[derive(Debug, Default)]
pub(super) struct MonthFinder {
    last: Option<(i64, i32)>,
}

impl MonthFinder {
    /// `None` where the time lies outside the years -9999 to 9999.
    pub(super) fn month_of(&mut self, micros: i64) -> Option<i32> {
        let day = micros.div_euclid(86_400_000_000);
        if let Some((last, month)) = self.last
            && last == day
        {
            return Some(month);
        }
        let at = crate::calendar::utc(micros)?;
        let date = at.date();
        let month = date.year() * 12 + date.month0() as i32;
        self.last = Some((day, month));
        Some(month)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_month_is_written_as_people_sort_it() {
        assert_eq!(month_name(2026 * 12 + 9), "2026-10");
        assert_eq!(month_name(2026 * 12), "2026-01");
    }
}
