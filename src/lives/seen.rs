//! A van's rows up to the end of the as-of day, its sizes and its base on each day.

use std::collections::HashMap;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::days::{Days, days_after};
use super::hardness_table::{WaterSeen, median};
use super::postcode::Postcode;
use crate::store::records::{Fill, History, Instant, Reading, Service, Van, When};

/// Whether a van works on the as-of day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Standing {
    InService,
    NotYet,
    /// Out of service since that day.
    Retired(Date),
}

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
pub(crate) struct Seen<'a> {
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
    /// Rows left out because the van was out of service by then.
    pub rows_after_out: usize,
    /// First day with any row.
    pub first_row: Option<Date>,
    /// Last day with any row, a row of the van list included.
    pub last_row: Option<Date>,
}

impl<'a> Seen<'a> {
    /// `None` if nothing up to the as-of day speaks of the van.
    pub(crate) fn new(history: &'a History, as_of: Date, time_zone: &TimeZone) -> Option<Self> {
        let mut days = Days::new(time_zone);
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
        let fill_dates: Vec<Date> = fills.iter().map(|f| days.date(f.started_at)).collect();
        let base = Base::new(&sizes, readings, fills, &mut places, &mut days, as_of);
        Some(Seen {
            van: &history.van,
            standing,
            readings,
            fills,
            fill_dates,
            services,
            sizes,
            places,
            base,
            rows_after_out: known_readings.len() - readings.len() + known_fills.len() - fills.len(),
            first_row,
            last_row,
        })
    }

    /// What the van tells about the water of its places.
    pub(crate) fn water(&self, as_of: Date, time_zone: &TimeZone) -> WaterSeen {
        let mut days = Days::new(time_zone);
        let mut by_place: std::collections::BTreeMap<String, Vec<f64>> = Default::default();
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

/// The rows of the van list that count.
#[derive(Debug, Clone)]
pub(crate) struct Sizes<'a>(Vec<&'a Van>);

impl<'a> Sizes<'a> {
    /// Rows that hold by `as_of`; the oldest one also stands for the time before it.
    fn up_to(listed: &'a [Van], as_of: Date) -> Sizes<'a> {
        let mut rows: Vec<&Van> = listed.iter().collect();
        rows.sort_by_key(|row| row.from);
        let held = rows.partition_point(|row| row.from.is_none_or(|from| from <= as_of));
        rows.truncate(held.max(1));
        Sizes(rows)
    }

    /// What the list says on `day`: the newest entry that is filled in, else
    /// the first one after.
    pub(crate) fn on<T>(&self, day: Date, field: impl Fn(&'a Van) -> Option<T>) -> Option<T> {
        let held = self
            .0
            .partition_point(|row| row.from.is_none_or(|from| from <= day));
        let (past, future) = self.0.split_at_checked(held)?;
        past.iter()
            .rev()
            .find_map(|row| field(row))
            .or_else(|| future.iter().find_map(|row| field(row)))
    }

    fn standing(&self, as_of: Date) -> Standing {
        let put_in = self.on(as_of, |row| row.in_service_on);
        let taken_out = self.on(as_of, |row| row.out_of_service_on);
        match (put_in, taken_out) {
            // A van put back into service after it had been taken out.
            (Some(put_in), Some(out)) if out <= put_in && put_in <= as_of => Standing::InService,
            (_, Some(out)) if out <= as_of => Standing::Retired(out),
            (Some(put_in), _) if put_in > as_of => Standing::NotYet,
            _ => Standing::InService,
        }
    }
}

/// The places named in a van's rows, read once each.
#[derive(Debug, Clone, Default)]
pub(crate) struct Places<'a> {
    ids: HashMap<&'a str, usize>,
    read: Vec<Postcode>,
}

impl<'a> Places<'a> {
    /// Number of a place; `None` for an empty text.
    fn add(&mut self, text: &'a str) -> Option<usize> {
        if let Some(id) = self.ids.get(text) {
            return Some(*id);
        }
        let read = Postcode::read(text)?;
        let id = self.read.len();
        self.read.push(read);
        self.ids.insert(text, id);
        Some(id)
    }

    /// Number of a place that has been added.
    pub(crate) fn id(&self, text: &str) -> Option<usize> {
        self.ids.get(text).copied()
    }

    pub(crate) fn find(&self, text: &str) -> Option<&Postcode> {
        self.read.get(self.id(text)?)
    }

    /// All places, by number.
    pub(crate) fn all(&self) -> &[Postcode] {
        &self.read
    }
}

/// Where the van is based, from a day on; oldest first.
#[derive(Debug, Clone, Default)]
pub(crate) struct Base(Vec<(Date, Postcode)>);

/// How far back places count towards the base.
const BASE_WINDOW_DAYS: i64 = 90;

impl Base {
    fn new<'a>(
        sizes: &Sizes<'a>,
        readings: &'a [Reading],
        fills: &'a [Fill],
        places: &mut Places<'a>,
        days: &mut Days,
        as_of: Date,
    ) -> Base {
        let mut visits: Vec<(Date, usize)> = Vec::new();
        let stops = readings
            .iter()
            .map(|r| (r.taken_at, r.postcode.as_deref()))
            .chain(fills.iter().map(|f| (f.started_at, f.postcode.as_deref())));
        for (at, text) in stops {
            if let Some(id) = text.and_then(|text| places.add(text)) {
                visits.push((days.date(at), id));
            }
        }
        let listed: Vec<(Date, Postcode)> = sizes
            .0
            .iter()
            .filter_map(|row| {
                let place = Postcode::read(row.base_postcode.as_deref()?)?;
                Some((row.from.unwrap_or(Date::MIN), place))
            })
            .collect();
        if !listed.is_empty() {
            return Base(listed);
        }
        visits.sort();
        Base::from_visits(&visits, places.all(), as_of)
    }

    /// The district visited most in the 90 days up to each day.
    fn from_visits(visits: &[(Date, usize)], places: &[Postcode], as_of: Date) -> Base {
        let mut names: Vec<&str> = places
            .iter()
            .filter_map(Postcode::district_or_area)
            .collect();
        names.sort_unstable();
        names.dedup();
        let number = |place: usize| {
            let name = places.get(place)?.district_or_area()?;
            names.binary_search(&name).ok()
        };
        let mut counts = vec![0usize; names.len()];
        let mut based: Vec<(Date, usize)> = Vec::new();
        let mut oldest = 0;
        let last = visits.last().map(|_| (as_of, usize::MAX));
        for (day, place) in visits.iter().copied().chain(last) {
            while let Some((past, old)) = visits.get(oldest)
                && *past < days_after(day, -BASE_WINDOW_DAYS)
            {
                if let Some(count) = number(*old).and_then(|n| counts.get_mut(n)) {
                    *count = count.saturating_sub(1);
                }
                oldest += 1;
            }
            if let Some(count) = number(place).and_then(|n| counts.get_mut(n)) {
                *count += 1;
            }
            let present = based.last().map(|(_, n)| *n);
            let held = present.and_then(|n| counts.get(n)).copied().unwrap_or(0);
            // The first of equals by name; the present base stays in a tie.
            let best = counts
                .iter()
                .enumerate()
                .max_by_key(|(n, count)| (**count, std::cmp::Reverse(*n)));
            if let Some((n, count)) = best
                && *count > held
                && present != Some(n)
            {
                based.push((day, n));
            }
        }
        Base(
            based
                .into_iter()
                .filter_map(|(day, n)| Some((day, Postcode::read(names.get(n)?)?)))
                .collect(),
        )
    }

    /// The base on `day`; before the first known one, that one.
    pub(crate) fn on(&self, day: Date) -> Option<&Postcode> {
        self.index(day)
            .and_then(|n| self.0.get(n))
            .map(|(_, place)| place)
    }

    /// Position in [`Base::all`] of the base on `day`.
    pub(crate) fn index(&self, day: Date) -> Option<usize> {
        let held = self.0.partition_point(|(from, _)| *from <= day);
        (!self.0.is_empty()).then_some(held.saturating_sub(1))
    }

    pub(crate) fn all(&self) -> impl Iterator<Item = &Postcode> {
        self.0.iter().map(|(_, place)| place)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use jiff::civil::date;

    fn places(texts: &[&'static str]) -> Vec<Postcode> {
        texts.iter().map(|t| Postcode::read(t).unwrap()).collect()
    }

    fn district(base: &Base, day: Date) -> &str {
        base.on(day).unwrap().district.as_deref().unwrap()
    }

    #[test]
    fn without_a_list_the_base_follows_where_the_van_fills() {
        let places = places(&["QA1 1AA", "QA1 2BB", "QB2"]);
        let visits: Vec<(Date, usize)> = (0..200)
            .map(|n| {
                let day = days_after(date(2026, 1, 1), n);
                (day, if n < 100 { (n % 2) as usize } else { 2 })
            })
            .collect();
        let base = Base::from_visits(&visits, &places, date(2026, 8, 1));
        assert_eq!(district(&base, date(2025, 1, 1)), "QA1");
        assert_eq!(district(&base, date(2026, 4, 20)), "QA1");
        assert_eq!(district(&base, date(2026, 7, 1)), "QB2");
    }

    #[test]
    fn a_listed_size_holds_from_its_day_on_and_blanks_do_not_erase() {
        let row = |from, membranes, tank_litres| Van {
            van: "QV-1".into(),
            from,
            base_postcode: None,
            tank_litres,
            membranes,
            resin_litres: None,
            in_service_on: None,
            out_of_service_on: None,
        };
        let rows = [
            row(None, Some(1), Some(400.0)),
            row(Some(date(2026, 5, 1)), Some(2), None),
        ];
        let sizes = Sizes::up_to(&rows, date(2026, 12, 1));
        assert_eq!(sizes.on(date(2026, 4, 30), |r| r.membranes), Some(1));
        assert_eq!(sizes.on(date(2026, 5, 1), |r| r.membranes), Some(2));
        assert_eq!(sizes.on(date(2026, 5, 1), |r| r.tank_litres), Some(400.0));
        let earlier = Sizes::up_to(&rows, date(2026, 4, 30));
        assert_eq!(earlier.on(date(2026, 4, 30), |r| r.membranes), Some(1));
    }

    #[test]
    fn a_van_put_back_into_service_is_in_service() {
        let row = |from, put_in, out| Van {
            van: "QV-1".into(),
            from,
            base_postcode: None,
            tank_litres: None,
            membranes: None,
            resin_litres: None,
            in_service_on: put_in,
            out_of_service_on: out,
        };
        let rows = [
            row(None, Some(date(2024, 1, 1)), Some(date(2025, 1, 1))),
            row(Some(date(2025, 6, 1)), Some(date(2025, 6, 1)), None),
        ];
        let on = |day| Sizes::up_to(&rows, day).standing(day);
        assert_eq!(on(date(2024, 12, 31)), Standing::InService);
        assert_eq!(on(date(2025, 1, 1)), Standing::Retired(date(2025, 1, 1)));
        assert_eq!(on(date(2025, 7, 1)), Standing::InService);
        assert_eq!(on(date(2023, 12, 31)), Standing::NotYet);
    }
}
