//! Hardness of a place on a day: published, else estimated from the feed, else assumed.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::postcode::Postcode;
use super::types::{HardnessAt, HardnessBasis};
use crate::store::records::Hardness;
use crate::water::{HARDNESS_PER_PPM_MAX, HARDNESS_PER_PPM_MEDIAN, hardness_from_feed_ppm};

/// Values that hold from a day on, oldest first.
type Dated = Vec<(Date, f64)>;

/// What is known about the fleet's water, place by place.
#[derive(Debug, Clone)]
pub struct HardnessTable {
    /// mg/L CaCO3 by area, district or sector, from the supplier.
    published: BTreeMap<String, Dated>,
    /// Median feed, ppm, by district and by area.
    feed_ppm: BTreeMap<String, f64>,
    /// Hardness over feed ppm in this fleet.
    ratio: f64,
    /// The fleet's median, mg/L CaCO3.
    assumed: Option<f64>,
}

/// Hardness of one place over time; the first value also holds before its day.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct HardnessSeries(Vec<(Date, HardnessAt)>);

impl HardnessSeries {
    /// Hardness on `day`: the newest value not after it, else the oldest.
    pub fn on(&self, day: Date) -> Option<HardnessAt> {
        let after = self.0.partition_point(|(from, _)| *from <= day);
        self.0.get(after.saturating_sub(1)).map(|(_, at)| *at)
    }

    fn dated(values: Dated, basis: HardnessBasis) -> HardnessSeries {
        HardnessSeries(
            values
                .into_iter()
                .map(|(from, mg_l_caco3)| (from, HardnessAt { mg_l_caco3, basis }))
                .collect(),
        )
    }

    fn always(mg_l_caco3: f64, basis: HardnessBasis) -> HardnessSeries {
        HardnessSeries::dated(vec![(Date::MIN, mg_l_caco3)], basis)
    }
}

/// What one van tells about the water of its places.
#[derive(Debug, Clone, Default)]
pub struct WaterSeen {
    /// Median feed by district (or area where only that is known), ppm.
    pub feed_ppm: Vec<(String, f64)>,
    /// Where the van is based on the as-of day.
    pub base: Option<Postcode>,
    /// Median feed over all places, ppm.
    pub own_feed_ppm: Option<f64>,
}

impl HardnessTable {
    /// The supplier's rows alone.
    pub fn published(rows: &[Hardness]) -> HardnessTable {
        let mut published: BTreeMap<String, Dated> = BTreeMap::new();
        for row in rows {
            let value = row.hardness * row.unit.mg_l_caco3();
            if let Some(place) = Postcode::read(&row.postcode)
                && let Some(key) = place.finest()
                && value.is_finite()
                && value >= 0.0
            {
                published
                    .entry(key.to_owned())
                    .or_default()
                    .push((row.as_of.unwrap_or(Date::MIN), value));
            }
        }
        for dated in published.values_mut() {
            dated.sort_by_key(|(from, _)| *from);
        }
        HardnessTable {
            published,
            feed_ppm: BTreeMap::new(),
            ratio: HARDNESS_PER_PPM_MEDIAN,
            assumed: None,
        }
    }

    /// The supplier's rows, and what the fleet's vans have seen up to `as_of`.
    pub fn new(rows: &[Hardness], seen: &[WaterSeen], as_of: Date) -> HardnessTable {
        let mut table = HardnessTable::published(rows);
        table.feed_ppm = feed_by_place(seen);
        table.ratio = table.ratio_from_places_with_both(as_of);
        let mut bases: Vec<f64> = seen
            .iter()
            .filter_map(|van| {
                table
                    .known(van.base.as_ref(), van.own_feed_ppm)
                    .on(as_of)
                    .map(|at| at.mg_l_caco3)
            })
            .collect();
        table.assumed = median(&mut bases).or_else(|| {
            let mut newest: Vec<f64> = table
                .published
                .values()
                .filter_map(|dated| on(dated, as_of))
                .collect();
            median(&mut newest)
        });
        table
    }

    /// Hardness of a place over time. `own_feed_ppm`, the van's own median
    /// feed, serves where the place is not known. Empty only if nothing in the
    /// fleet tells.
    pub fn at(&self, place: Option<&Postcode>, own_feed_ppm: Option<f64>) -> HardnessSeries {
        let known = self.known(place, own_feed_ppm);
        match self.assumed {
            Some(value) if known.0.is_empty() => {
                HardnessSeries::always(value, HardnessBasis::Assumed)
            }
            _ => known,
        }
    }

    /// Hardness over feed ppm used for estimates.
    pub fn ratio(&self) -> f64 {
        self.ratio
    }

    fn known(&self, place: Option<&Postcode>, own_feed_ppm: Option<f64>) -> HardnessSeries {
        let Some(place) = place else {
            return own_feed_ppm.map_or_else(HardnessSeries::default, |ppm| self.estimate(ppm));
        };
        let dated = self.dated(place);
        if !dated.is_empty() {
            return HardnessSeries::dated(dated, HardnessBasis::Table);
        }
        let feed = [place.district.as_deref(), place.area.as_deref()]
            .into_iter()
            .flatten()
            .find_map(|key| self.feed_ppm.get(key));
        feed.map_or_else(HardnessSeries::default, |ppm| self.estimate(*ppm))
    }

    fn estimate(&self, feed_ppm: f64) -> HardnessSeries {
        HardnessSeries::always(
            hardness_from_feed_ppm(feed_ppm, self.ratio),
            HardnessBasis::Estimated,
        )
    }

    /// Published values, finest part first; where only finer ones exist, their mean.
    fn dated(&self, place: &Postcode) -> Dated {
        let parts = [
            place.sector.as_deref(),
            place.district.as_deref(),
            place.area.as_deref(),
        ];
        if let Some(dated) = parts
            .into_iter()
            .flatten()
            .find_map(|key| self.published.get(key))
        {
            return dated.clone();
        }
        match (&place.district, &place.area) {
            (Some(district), _) => self.mean_of_sectors(district),
            (None, Some(area)) => self.mean_of_districts(area),
            (None, None) => Dated::new(),
        }
    }

    fn mean_of_sectors(&self, district: &str) -> Dated {
        let prefix = format!("{district} ");
        mean(
            self.published
                .range(prefix.clone()..)
                .take_while(|(key, _)| key.starts_with(&prefix))
                .map(|(_, dated)| dated.clone())
                .collect(),
        )
    }

    /// Mean over an area's districts, each its own value or its sectors' mean.
    fn mean_of_districts(&self, area: &str) -> Dated {
        let mut districts: BTreeMap<&str, bool> = BTreeMap::new();
        for (key, _) in self
            .published
            .range(area.to_owned()..)
            .take_while(|(key, _)| key.starts_with(area))
        {
            let begins_with_digit = key
                .as_bytes()
                .get(area.len())
                .is_some_and(u8::is_ascii_digit);
            if begins_with_digit {
                let district = key.split(' ').next().unwrap_or(key);
                *districts.entry(district).or_default() |= district == key;
            }
        }
        mean(
            districts
                .into_iter()
                .map(|(district, itself)| match self.published.get(district) {
                    Some(dated) if itself => dated.clone(),
                    _ => self.mean_of_sectors(district),
                })
                .collect(),
        )
    }

    /// Geometric mean of hardness over feed where both are known, drawn
    /// towards the prior as if that were one more place.
    fn ratio_from_places_with_both(&self, as_of: Date) -> f64 {
        let logs: Vec<f64> = self
            .feed_ppm
            .iter()
            .filter_map(|(key, feed)| {
                let place = Postcode::read(key)?;
                place.district.as_ref()?;
                let hardness = on(&self.dated(&place), as_of)?;
                // Softened or mistyped entries say nothing about natural water.
                let ratio = hardness / feed;
                (0.1..=2.0).contains(&ratio).then(|| ratio.ln())
            })
            .collect();
        let sum: f64 = logs.iter().sum();
        let mean = (HARDNESS_PER_PPM_MEDIAN.ln() + sum) / (1.0 + logs.len() as f64);
        mean.exp().min(HARDNESS_PER_PPM_MAX)
    }
}

/// The vans' medians by district and by area: a median of medians, so that one
/// van with a wrong meter, or with very many readings, does not decide.
fn feed_by_place(seen: &[WaterSeen]) -> BTreeMap<String, f64> {
    let mut by_place: BTreeMap<String, Vec<f64>> = BTreeMap::new();
    for (key, ppm) in seen.iter().flat_map(|van| &van.feed_ppm) {
        if let Some(place) = Postcode::read(key) {
            for part in [place.district, place.area].into_iter().flatten() {
                by_place.entry(part).or_default().push(*ppm);
            }
        }
    }
    by_place
        .into_iter()
        .filter_map(|(key, mut values)| Some((key, median(&mut values)?)))
        .collect()
}

/// Mean of several dated values, on every day on which one of them changes.
fn mean(several: Vec<Dated>) -> Dated {
    let mut days: Vec<Date> = several.iter().flatten().map(|(from, _)| *from).collect();
    days.sort();
    days.dedup();
    days.into_iter()
        .map(|day| {
            let values: Vec<f64> = several.iter().filter_map(|dated| on(dated, day)).collect();
            (day, values.iter().sum::<f64>() / values.len().max(1) as f64)
        })
        .collect()
}

/// The newest value not after `day`, else the oldest.
fn on(dated: &Dated, day: Date) -> Option<f64> {
    let after = dated.partition_point(|(from, _)| *from <= day);
    dated.get(after.saturating_sub(1)).map(|(_, value)| *value)
}

/// Median; sorts `values`. `None` for an empty slice.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    let upper = *values.get(middle)?;
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    values.get(middle - 1).map(|lower| (lower + upper) / 2.0)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::water::HardnessUnit;
    use jiff::civil::date;

    fn row(postcode: &str, hardness: f64, as_of: Option<Date>) -> Hardness {
        Hardness {
            postcode: postcode.into(),
            as_of,
            hardness,
            unit: HardnessUnit::MgLCaco3,
            source: None,
        }
    }

    fn at(table: &HardnessTable, place: &str, day: Date) -> Option<f64> {
        let place = Postcode::read(place).unwrap();
        table.at(Some(&place), None).on(day).map(|h| h.mg_l_caco3)
    }

    const DAY: Date = date(2026, 6, 1);

    #[test]
    fn qa1_is_not_qa12() {
        let table = HardnessTable::published(&[row("QA12", 300.0, None)]);
        assert_eq!(at(&table, "QA1", DAY), None);
        assert_eq!(at(&table, "QA1 2CD", DAY), None);
        assert_eq!(at(&table, "QA12 1AB", DAY), Some(300.0));
    }

    #[test]
    fn the_finest_published_part_wins() {
        let table = HardnessTable::published(&[
            row("QA", 100.0, None),
            row("QA1", 200.0, None),
            row("QA1 2", 210.0, None),
        ]);
        assert_eq!(at(&table, "QA1 2CD", DAY), Some(210.0));
        assert_eq!(at(&table, "QA1 3CD", DAY), Some(200.0));
        assert_eq!(at(&table, "qa2", DAY), Some(100.0));
    }

    #[test]
    fn where_only_finer_parts_are_published_their_mean_counts() {
        let table = HardnessTable::published(&[
            row("QA1 2", 100.0, None),
            row("QA1 4", 200.0, None),
            row("QA3", 300.0, None),
            row("QAB", 999.0, None),
        ]);
        assert_eq!(at(&table, "QA1", DAY), Some(150.0));
        assert_eq!(at(&table, "QA", DAY), Some(225.0));
        assert_eq!(at(&table, "QA7", DAY), None);
    }

    #[test]
    fn the_newest_as_of_not_after_the_day_counts_else_the_oldest() {
        let table = HardnessTable::published(&[
            row("QA1", 250.0, Some(date(2025, 1, 1))),
            row("QA1", 280.0, Some(date(2026, 1, 1))),
        ]);
        assert_eq!(at(&table, "QA1", date(2024, 5, 1)), Some(250.0));
        assert_eq!(at(&table, "QA1", date(2025, 12, 31)), Some(250.0));
        assert_eq!(at(&table, "QA1", date(2026, 1, 1)), Some(280.0));
    }

    #[test]
    fn hardness_is_estimated_from_feed_where_no_table_covers_the_place() {
        let seen = [
            WaterSeen {
                feed_ppm: vec![("QA1".into(), 300.0)],
                base: Postcode::read("QA1"),
                own_feed_ppm: Some(300.0),
            },
            WaterSeen {
                base: Postcode::read("QB2"),
                ..WaterSeen::default()
            },
        ];
        let table = HardnessTable::new(&[], &seen, DAY);
        let here = table.at(Postcode::read("QA1").as_ref(), None).on(DAY);
        assert_eq!(
            here,
            Some(HardnessAt {
                mg_l_caco3: 0.78 * 300.0,
                basis: HardnessBasis::Estimated
            })
        );
        let elsewhere = table.at(Postcode::read("QB2").as_ref(), None).on(DAY);
        assert_eq!(
            elsewhere.map(|h| (h.mg_l_caco3, h.basis)),
            Some((0.78 * 300.0, HardnessBasis::Assumed))
        );
    }

    #[test]
    fn the_ratio_is_learnt_from_places_with_both_but_never_beyond_charge_balance() {
        let seen: Vec<WaterSeen> = (1..=9)
            .map(|n| WaterSeen {
                feed_ppm: vec![(format!("QA{n}"), 100.0)],
                ..WaterSeen::default()
            })
            .collect();
        let table = |hardness: f64| {
            let rows: Vec<Hardness> = (1..=9)
                .map(|n| row(&format!("QA{n}"), hardness, None))
                .collect();
            HardnessTable::new(&rows, &seen, DAY).ratio()
        };
        assert!((table(60.0) - (0.1 * 0.78f64.ln() + 0.9 * 0.6f64.ln()).exp()).abs() < 1e-12);
        assert_eq!(table(180.0), 1.13);
    }
}
