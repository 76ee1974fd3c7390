//! What a month's records lack; gaps of earlier months are the fleet's (`FleetSeries`).

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
        no_hardness: no_hardness.into_iter().collect(),
        rows_to_fix: assessment.rows.set_aside,
    }
}
