//! A van's rows up to the end of the as-of day.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::calendar::{Date, TimeZone};

use super::base::{Base, Places};
use super::days::Days;
use super::hardness_table::WaterSeen;
use super::median::median;
use super::postcode::Postcode;
use super::sizes::{Sizes, Standing};
use crate::store::records::{Fill, History, Instant, Reading, Service, When};

/// A service with its day, and the instant from which it holds: the start of
/// the day where only that is known.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Dated<'a> {
    pub date: Date,
    pub from: Instant,
    pub service: &'a Service,
}

/// One van as it could be seen at the end of the as-of day.
#[derive(Debug, Clone)]
pub(crate) struct HistoryAsOf<'a> {
    pub van: &'a Arc<str>,
    pub standing: Standing,
    /// Oldest first.
    pub readings: &'a [Reading],
    /// Oldest first.
    pub fills: &'a [Fill],
    /// Local days of the fills.
    pub fill_dates: Vec<Date>,
    /// Oldest first.
    pub services: Vec<Dated<'a>>,
    pub sizes: Sizes<'a>,
    pub places: Places<'a>,
    pub base: Base,
    pub days: Days,
    /// Rows left out because the van was out of service by then.
    pub rows_after_out: usize,
    /// First day with any row.
    pub first_row: Option<Date>,
    /// Last day with any row, a row of the van list included.
    pub last_row: Option<Date>,
}

impl<'a> HistoryAsOf<'a> {
    /// `None` if nothing up to the as-of day speaks of the van.
    pub(crate) fn new(history: &'a History, as_of: Date, time_zone: &TimeZone) -> Option<Self> {
        let days = Days::new(*time_zone);
        let sizes = Sizes::up_to(&history.listed, as_of);
        let standing = sizes.standing(as_of);
        let known_until = days.end(as_of);
        let used_until = match standing {
            Standing::Retired(out) => days.start(out).min(known_until),
            _ => known_until,
        };
        let serviced_until = match standing {
            Standing::Retired(out) => days.end(out).min(known_until),
            _ => known_until,
        };
        let known_readings = before(&history.readings, known_until, |r| r.taken_at);
        let readings = before(known_readings, used_until, |r| r.taken_at);
        let known_fills = before(&history.fills, known_until, |f| f.started_at);
        let fills = before(known_fills, used_until, |f| f.started_at);
        let fill_dates: Vec<Date> = fills.iter().map(|f| days.date(f.started_at)).collect();
        let mut services: Vec<Dated<'a>> = history
            .services
            .iter()
            .map(|service| Dated {
                date: days.day(service.done_at),
                from: match service.done_at {
                    When::Day(date) => days.start(date),
                    When::At(at) => at,
                },
                service,
            })
            .filter(|dated| dated.from < serviced_until)
            .collect();
        services.sort_by_key(|dated| (dated.from, dated.service.item));
        if known_readings.is_empty()
            && known_fills.is_empty()
            && services.is_empty()
            && history.listed.is_empty()
        {
            return None;
        }
        let first_row = [
            readings.first().map(|r| days.date(r.taken_at)),
            fills.first().map(|f| days.date(f.started_at)),
        ]
        .into_iter()
        .flatten()
        .min();
        let last_row = [
            readings.last().map(|r| days.date(r.taken_at)),
            fills.last().map(|f| days.date(f.started_at)),
            services.last().map(|s| s.date),
            history
                .listed
                .iter()
                .filter_map(|v| v.from)
                .filter(|from| *from <= as_of)
                .max(),
        ]
        .into_iter()
        .flatten()
        .max();
        let mut places = Places::default();
        let base = Base::new(&sizes, readings, fills, &mut places, &days, as_of);
        Some(HistoryAsOf {
            van: &history.van,
            standing,
            readings,
            fills,
            fill_dates,
            services,
            sizes,
            places,
            base,
            days,
            rows_after_out: known_readings.len() - readings.len() + known_fills.len() - fills.len(),
            first_row,
            last_row,
        })
    }

    /// Day of the first and of the last fill of any kind.
    pub(crate) fn fills_between(&self) -> Option<(Date, Date)> {
        self.fill_dates
            .first()
            .copied()
            .zip(self.fill_dates.last().copied())
    }

    /// What the van tells about the water of its places.
    pub(crate) fn water(&self, as_of: Date) -> WaterSeen {
        let days = self.days;
        let mut by_place: BTreeMap<String, Vec<f64>> = BTreeMap::new();
        let mut all: Vec<f64> = Vec::new();
        for reading in self.readings {
            let Some(ppm) = reading.feed_ppm.filter(|ppm| *ppm > 0.0) else {
                continue;
            };
            all.push(ppm);
            let place = match &reading.postcode {
                Some(text) => self.places.find(text),
                None => self.base.on(days.date(reading.taken_at)),
            };
            if let Some(key) = place.and_then(Postcode::district_or_area) {
                match by_place.get_mut(key) {
                    Some(values) => values.push(ppm),
                    None => {
                        by_place.insert(key.to_owned(), vec![ppm]);
                    }
                }
            }
        }
        WaterSeen {
            feed_ppm: by_place
                .into_iter()
                .filter_map(|(key, mut values)| Some((key, median(&mut values)?)))
                .collect(),
            base: self.base.on(as_of).cloned(),
            own_feed_ppm: median(&mut all),
        }
    }
}

/// The leading rows before an instant; `rows` are oldest first.
fn before<T>(rows: &[T], until: Instant, at: impl Fn(&T) -> Instant) -> &[T] {
    let count = rows.partition_point(|row| at(row) < until);
    rows.get(..count).unwrap_or_default()
}
