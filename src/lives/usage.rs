//! Water made: litres by place and day, weeks, recovery, feed.

use std::sync::Arc;

use crate::calendar::Date;

use super::days::{days_after, monday_of};
use super::hardness_table::{HardnessSeries, HardnessTable};
use super::history_as_of::HistoryAsOf;
use super::median::median;
use super::observations::Observation;
use super::postcode::Postcode;
use super::types::WeekLitres;
use crate::store::records::{Fill, Instant, Source};

/// Water of one mains fill, as the membrane and the resin saw it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct PermeateVolume {
    pub at: Instant,
    pub date: Date,
    pub litres: f64,
    pub hardness_mg_l_caco3: f64,
    /// Number of the district among the van's, for [`Districts::name`].
    pub district: Option<usize>,
    /// Made while the pre-filters were overdue.
    pub late: bool,
    /// Litres a minute, where the fill was timed.
    pub lpm: Option<f64>,
}

/// Stands where nothing in the fleet tells how hard the water is; the van's
/// `hardness` is `None` then, so that nobody takes it for knowledge.
pub(crate) const NEUTRAL_HARDNESS_MG_L: f64 = 200.0;

/// Names of the districts a van fills in.
#[derive(Debug, Default)]
pub(crate) struct Districts(Vec<Arc<str>>);

impl Districts {
    fn number(&mut self, place: Option<&Postcode>) -> Option<usize> {
        let name = place?.district_or_area()?;
        let known = self.0.iter().position(|known| **known == *name);
        known.or_else(|| {
            self.0.push(name.into());
            Some(self.0.len() - 1)
        })
    }

    pub(crate) fn name(&self, number: usize) -> Option<Arc<str>> {
        self.0.get(number).cloned()
    }
}

/// Hardness and district of one place.
struct Tap {
    hardness: HardnessSeries,
    district: Option<usize>,
}

/// The mains fills with their litres and water, oldest first.
///
/// `litres`: of every fill, same order and length as the van's fills.
pub(crate) fn made(
    seen: &HistoryAsOf<'_>,
    litres: &[f64],
    table: &HardnessTable,
    own_feed_ppm: Option<f64>,
) -> (Vec<PermeateVolume>, Districts) {
    let mut districts = Districts::default();
    let mut tap = |place: Option<&Postcode>| Tap {
        hardness: table.at(place, own_feed_ppm),
        district: districts.number(place),
    };
    let places: Vec<Tap> = seen.places.all().iter().map(|p| tap(Some(p))).collect();
    let bases: Vec<Tap> = seen.base.all().map(|p| tap(Some(p))).collect();
    let nowhere = tap(None);
    let made = seen
        .fills
        .iter()
        .zip(litres)
        .zip(&seen.fill_dates)
        .filter(|((fill, _), _)| fill.source == Source::Mains)
        .map(|((fill, litres), date)| {
            let tap = match fill.postcode.as_deref().and_then(|p| seen.places.id(p)) {
                Some(id) => places.get(id),
                None => seen.base.index(*date).and_then(|n| bases.get(n)),
            }
            .unwrap_or(&nowhere);
            PermeateVolume {
                at: fill.started_at,
                date: *date,
                litres: *litres,
                hardness_mg_l_caco3: tap
                    .hardness
                    .on(*date)
                    .map_or(NEUTRAL_HARDNESS_MG_L, |at| at.mg_l_caco3),
                district: tap.district,
                late: false,
                lpm: lpm(fill, *litres),
            }
        })
        .collect();
    (made, districts)
}

/// Litres over the minutes of a fill; nothing for fills too short or too long to
/// be the time that the membrane took.
fn lpm(fill: &Fill, litres: f64) -> Option<f64> {
    const MICROS_PER_MINUTE: f64 = 60e6;
    let minutes = (fill.ended_at?.0 - fill.started_at.0) as f64 / MICROS_PER_MINUTE;
    (10.0..1440.0)
        .contains(&minutes)
        .then_some(litres / minutes)
        .filter(|lpm| *lpm > 0.0)
}

/// Mains-fed litres by week from the first fill of any kind to the last day,
/// whose week may be incomplete.
pub(crate) fn weeks(
    made: &[PermeateVolume],
    first_fill: Option<Date>,
    last_day: Date,
) -> Vec<WeekLitres> {
    let Some(first) = first_fill else {
        return Vec::new();
    };
    let mut weeks = Vec::new();
    let mut monday = monday_of(first);
    let mut fills = made.iter().peekable();
    while monday <= last_day {
        let next = days_after(monday, 7);
        let mut litres = 0.0;
        while let Some(fill) = fills.next_if(|fill| fill.date < next) {
            litres += fill.litres;
        }
        weeks.push(WeekLitres { monday, litres });
        if next <= monday {
            break;
        }
        monday = next;
    }
    weeks
}

/// So many flow pairs outweigh the litres to drain.
const FLOWS_FROM: usize = 3;

/// Median share of the feed that became permeate, over the last year with
/// any: from flows, else from litres to drain.
pub(crate) fn recovery(
    observations: &[Observation],
    fills: &[Fill],
    fill_dates: &[Date],
    litres: &[f64],
) -> Option<f64> {
    let share = |made: f64, drained: f64| {
        // Ten times as much to drain, or the same figure twice, is a slip.
        (made > 0.0 && drained > 0.0 && drained < 10.0 * made && made != drained)
            .then(|| made / (made + drained))
    };
    let by_flow: Vec<(Date, f64)> = observations
        .iter()
        .filter_map(|observation| {
            let made = observation.permeate_lpm?;
            let drained = observation.concentrate_lpm?;
            (made > 0.0 && drained > 0.0).then(|| (observation.date, made / (made + drained)))
        })
        .collect();
    if by_flow.len() >= FLOWS_FROM {
        return median_of_last(&by_flow, 365);
    }
    let by_litres: Vec<(Date, f64)> = fills
        .iter()
        .zip(fill_dates)
        .zip(litres)
        .filter(|((fill, _), _)| fill.source == Source::Mains)
        .filter_map(|((fill, date), made)| Some((*date, share(*made, fill.reject_litres?)?)))
        .collect();
    median_of_last(&by_litres, 365).or_else(|| median_of_last(&by_flow, 365))
}

/// A tap that the van has moved to.
#[derive(Debug, Clone, Copy)]
pub(crate) struct NewTap {
    pub since: Date,
    /// What others read there, or what goes with its hardness, ppm.
    pub expected_ppm: Option<f64>,
}

/// Median feed of the last half year before the last one read, ppm. Where the van has
/// moved, that of the tap there alone, drawn to what is expected of it while few tell.
pub(crate) fn feed_ppm(observations: &[Observation], moved: Option<NewTap>) -> Option<f64> {
    /// Readings that what is expected is worth.
    const EXPECTED_WORTH: f64 = 2.0;
    let since = moved.map_or(Date::MIN, |tap| tap.since);
    let feeds: Vec<(Date, f64)> = observations
        .iter()
        .filter(|observation| observation.date >= since)
        .filter(|observation| moved.is_none() || observation.at_base)
        .filter_map(|observation| Some((observation.date, observation.feed_ppm?)))
        .collect();
    let read = median_of_last(&feeds, 183);
    match (moved.and_then(|tap| tap.expected_ppm), read) {
        (Some(expected), Some(read)) if expected > 0.0 && read > 0.0 => {
            let n = feeds.len() as f64;
            let ln = (n * read.ln() + EXPECTED_WORTH * expected.ln()) / (n + EXPECTED_WORTH);
            Some(ln.exp())
        }
        (expected, read) => read.or(expected),
    }
}

/// Median of the values of the last `days` up to the newest; `values` oldest first.
fn median_of_last(values: &[(Date, f64)], days: i64) -> Option<f64> {
    let (newest, _) = values.last()?;
    let first = values.partition_point(|(date, _)| *date <= days_after(*newest, -days));
    let mut recent: Vec<f64> = values.iter().skip(first).map(|(_, value)| *value).collect();
    median(&mut recent)
}
