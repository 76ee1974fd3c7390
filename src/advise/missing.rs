//! What a month's records lack.

use std::collections::BTreeSet;

use crate::calendar::{Date, DateExt};
use serde::Serialize;

use super::{Assessment, HardnessBasis, VanAssessment};

/// What to ask for before a month's pages are relied on.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// Vans without a TDS reading in the month.
    pub not_read: Vec<String>,
    /// Vans without a litre recorded in the month.
    pub no_litres: Vec<String>,
    /// Earlier months without any row of any van, first days; only those between
    /// months with rows.
    pub empty_months: Vec<Date>,
    /// Districts whose hardness is in no table.
    pub no_hardness: Vec<String>,
    /// Rows that wait to be corrected.
    pub rows_to_fix: u64,
}

/// What is missing up to the assessment's day; `month` is the first day of the
/// month that is looked at. The assessment is one with its series.
pub fn missing(assessment: &Assessment, month: Date) -> Missing {
    let vans = || assessment.vans.iter();
    let names = |lacks: &dyn Fn(&&VanAssessment) -> bool| {
        let lacking = vans().filter(lacks);
        lacking.map(|van| van.van.clone()).collect::<Vec<String>>()
    };
    let is_in_month = |day: Date| day >= month && day <= assessment.as_of;
    // A week that began in the month before may reach into this one.
    let week_in_month = |monday: Date| monday <= assessment.as_of && monday.plus_days(6) >= month;
    let made = |van: &VanAssessment| {
        let weeks = van.series.weeks.iter();
        weeks
            .filter(|w| w.litres > 0.0)
            .any(|w| week_in_month(w.monday))
    };
    let no_table = vans().filter(|van| van.hardness_basis != Some(HardnessBasis::Table));
    let no_hardness: BTreeSet<String> = no_table.filter_map(|van| van.postcode.clone()).collect();
    Missing {
        not_read: names(&|van| !van.series.last_reading_on.is_some_and(is_in_month)),
        no_litres: names(&|van| !made(van)),
        empty_months: empty_months(assessment),
        no_hardness: no_hardness.into_iter().collect(),
        rows_to_fix: assessment.rows.set_aside,
    }
}

fn empty_months(assessment: &Assessment) -> Vec<Date> {
    let series = || assessment.vans.iter().map(|van| &van.series);
    let read = series().flat_map(|s| {
        s.salt_passage
            .iter()
            .chain(&s.product_ppm)
            .chain(&s.feed_ppm)
    });
    let made = series().flat_map(|s| s.weeks.iter().filter(|w| w.litres > 0.0));
    // A week's litres may be of either of two months.
    let made = made.flat_map(|w| [w.monday, w.monday.plus_days(6)]);
    let done = series().flat_map(|s| s.services.iter().map(|mark| mark.date));
    let days = read.map(|(day, _)| *day).chain(made).chain(done);
    let with_rows: BTreeSet<Date> = days.map(Date::first_of_month).collect();
    let (Some(first), Some(last)) = (with_rows.first(), with_rows.last()) else {
        return Vec::new();
    };
    let months = std::iter::successors(Some(*first), |month| {
        let next = month.plus_months(1);
        (next <= *last).then_some(next)
    });
    months.filter(|month| !with_rows.contains(month)).collect()
}
