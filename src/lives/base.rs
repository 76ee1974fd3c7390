//! Where a van is based on each day.

use std::collections::BTreeMap;

use crate::calendar::Date;

use super::days::{Days, days_after};
use super::postcode::Postcode;
use super::sizes::Sizes;
use crate::store::records::{Fill, Reading};

/// The places named in a van's rows, read once each.
#[derive(Debug, Clone, Default)]
pub(crate) struct Places<'a> {
    ids: BTreeMap<&'a str, usize>,
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
    pub(crate) fn new<'a>(
        sizes: &Sizes<'a>,
        readings: &'a [Reading],
        fills: &'a [Fill],
        places: &mut Places<'a>,
        days: &Days,
        as_of: Date,
    ) -> Base {
        let listed: Vec<(Date, Postcode)> = sizes
            .rows()
            .iter()
            .filter_map(|row| {
                let place = Postcode::read(row.base_postcode.as_deref()?)?;
                Some((row.from.unwrap_or(Date::MIN), place))
            })
            .collect();
        let mut visits: Vec<(Date, usize)> = Vec::new();
        let stops = readings
            .iter()
            .map(|r| (r.taken_at, r.postcode.as_deref()))
            .chain(fills.iter().map(|f| (f.started_at, f.postcode.as_deref())));
        for (at, text) in stops {
            if let Some(id) = text.and_then(|text| places.add(text))
                && listed.is_empty()
            {
                visits.push((days.date(at), id));
            }
        }
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

    /// Since when the van has been based where it is on `day`; `None` where it always
    /// was.
    pub(crate) fn since(&self, day: Date) -> Option<Date> {
        let until_now = self.0.get(..=self.index(day)?)?;
        let here = until_now.last()?.1.district_or_area();
        let elsewhere = until_now
            .iter()
            .rposition(|(_, place)| place.district_or_area() != here)?;
        until_now.get(elsewhere + 1).map(|(from, _)| *from)
    }

    pub(crate) fn all(&self) -> impl Iterator<Item = &Postcode> {
        self.0.iter().map(|(_, place)| place)
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::date;

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
}
