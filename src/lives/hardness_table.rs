//! Hardness of a place on a day: published, else estimated from the feed, else assumed.

use std::collections::BTreeMap;

use crate::calendar::Date;

use super::median::{median, median_of};
use super::postcode::Postcode;
use super::published::{Dated, Published, value_on};
use super::types::{HardnessAt, HardnessBasis};
use crate::store::records::Hardness;
use crate::water::{HARDNESS_PER_PPM_MAX, HARDNESS_PER_PPM_MEDIAN, hardness_from_feed_ppm};

/// What is known about the fleet's water, place by place.
#[derive(Debug, Clone)]
pub(crate) struct HardnessTable {
    published: Published,
    /// Median feed, ppm, by district and by area.
    feed_ppm: BTreeMap<String, f64>,
    /// Hardness over feed ppm in this fleet.
    ratio: f64,
    /// The fleet's median, mg/L CaCO3.
    assumed: Option<f64>,
}

/// Hardness of one place over time; the first value also holds before its day.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct HardnessSeries(Vec<(Date, HardnessAt)>);

impl HardnessSeries {
    /// Hardness on `day`: the newest value not after it, else the oldest.
    pub(crate) fn on(&self, day: Date) -> Option<HardnessAt> {
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
pub(crate) struct WaterSeen {
    /// Median feed by district (or area where only that is known), ppm.
    pub feed_ppm: Vec<(String, f64)>,
    /// Where the van is based on the as-of day.
    pub base: Option<Postcode>,
    /// Median feed over all places, ppm.
    pub own_feed_ppm: Option<f64>,
}

impl HardnessTable {
    /// The supplier's rows, and what the fleet's vans have seen up to `as_of`.
    pub(crate) fn new(rows: &[Hardness], seen: &[WaterSeen], as_of: Date) -> HardnessTable {
        let mut table = HardnessTable {
            published: Published::new(rows),
            feed_ppm: feed_by_place(seen),
            ratio: HARDNESS_PER_PPM_MEDIAN,
            assumed: None,
        };
        table.ratio = table.ratio_from_places_with_both(as_of);
        let bases = seen.iter().filter_map(|van| {
            let here = table.known(van.base.as_ref(), van.own_feed_ppm);
            here.on(as_of).map(|at| at.mg_l_caco3)
        });
        table.assumed = median_of(bases).or_else(|| median_of(table.published.all_on(as_of)));
        table
    }

    /// Hardness of a place over time. `own_feed_ppm`, the van's own median
    /// feed, serves where the place is not known. Empty only if nothing in the
    /// fleet tells.
    pub(crate) fn at(&self, place: Option<&Postcode>, own_feed_ppm: Option<f64>) -> HardnessSeries {
        let known = self.known(place, own_feed_ppm);
        match self.assumed {
            Some(value) if known.0.is_empty() => {
                HardnessSeries::always(value, HardnessBasis::Assumed)
            }
            _ => known,
        }
    }

    /// What the tap of a place reads, ppm: the vans' median there, else what goes with
    /// its hardness on `day`.
    pub(crate) fn feed_ppm(&self, place: &Postcode, day: Date) -> Option<f64> {
        let read = place
            .district
            .as_deref()
            .and_then(|key| self.feed_ppm.get(key));
        read.copied().or_else(|| {
            let hardness = self.known(Some(place), None).on(day)?;
            Some(hardness.mg_l_caco3 / self.ratio)
        })
    }

    /// Hardness over feed ppm used for estimates.
    pub(crate) fn ratio(&self) -> f64 {
        self.ratio
    }

    fn known(&self, place: Option<&Postcode>, own_feed_ppm: Option<f64>) -> HardnessSeries {
        let Some(place) = place else {
            return own_feed_ppm.map_or_else(HardnessSeries::default, |ppm| self.estimate(ppm));
        };
        let dated = self.published.of(place);
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

    /// Geometric mean of hardness over feed where both are known, drawn
    /// towards the prior as if that were one more place.
    fn ratio_from_places_with_both(&self, as_of: Date) -> f64 {
        let logs: Vec<f64> = self
            .feed_ppm
            .iter()
            .filter_map(|(key, feed)| {
                let place = Postcode::read(key)?;
                place.district.as_ref()?;
                let hardness = value_on(&self.published.of(&place), as_of)?;
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::date;
    use crate::lives::fixture::published;

    const DAY: Date = date(2026, 6, 1);

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
                .map(|n| published(&format!("QA{n}"), hardness))
                .collect();
            HardnessTable::new(&rows, &seen, DAY).ratio()
        };
        assert!((table(60.0) - (0.1 * 0.78f64.ln() + 0.9 * 0.6f64.ln()).exp()).abs() < 1e-12);
        assert_eq!(table(180.0), 1.13);
    }
}
