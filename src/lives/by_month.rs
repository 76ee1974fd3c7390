//! Rows with the district in which their van was based, summed up by month.

use rayon::prelude::*;

use super::history_as_of::HistoryAsOf;
use super::litres::{self, UsualFill, median_fill};
use super::median::median_of;
use super::postcode::Postcode;
use super::remarks::Remarks;
use crate::calendar::Date;
use crate::settings::Settings;
use crate::store::records::Fleet;
use crate::store::{DistrictMonth, Placed, PlacedRow, StoreError};

/// What each district's vans read, made and had changed in each calendar month up
/// to the as-of day.
///
/// # Errors
/// Where the rows cannot be put together.
pub fn by_district_and_month(
    fleet: &Fleet,
    as_of: Date,
    settings: &Settings,
) -> Result<Vec<DistrictMonth>, StoreError> {
    let histories = fleet.histories.par_iter();
    let seen: Vec<HistoryAsOf<'_>> = histories
        .filter_map(|history| HistoryAsOf::new(history, as_of, &settings.time_zone))
        .collect();
    let usual = median_of(seen.iter().filter_map(|van| median_fill(van.fills)));
    let rows = seen.par_iter().flat_map_iter(|van| rows(van, as_of, usual));
    crate::store::by_district_and_month(&rows.collect::<Vec<_>>())
}

/// `usual_litres`: of the fleet's fills.
fn rows<'a>(
    seen: &'a HistoryAsOf<'a>,
    as_of: Date,
    usual_litres: Option<f64>,
) -> impl Iterator<Item = PlacedRow<'a>> {
    let tank_litres = seen.sizes.on(as_of, |row| row.tank_litres);
    let usual = UsualFill::of(seen.fills, tank_litres, usual_litres);
    let remarks = &mut Remarks::default();
    let litres = litres::counted(seen.fills, &seen.fill_dates, usual, tank_litres, remarks);
    let place = |day: Date, what: Placed<'a>| PlacedRow {
        district: seen
            .base
            .on(day)
            .and_then(Postcode::district_or_area)
            .unwrap_or_default(),
        van: seen.van,
        day,
        what,
    };
    let days = seen.days;
    let readings = seen.readings.iter();
    let readings = readings.map(move |row| place(days.date(row.taken_at), Placed::Reading(row)));
    let fills = seen.fills.iter().zip(&seen.fill_dates).zip(litres);
    let fills = fills.map(move |((row, day), litres)| place(*day, Placed::Fill(row, litres)));
    let services = seen.services.iter();
    let changes = services.map(move |dated| place(dated.date, Placed::Change(dated.service.item)));
    readings.chain(fills).chain(changes)
}
