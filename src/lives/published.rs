//! What suppliers publish on hardness, by part of the postcode.

use std::collections::BTreeMap;

use crate::calendar::Date;

use super::postcode::Postcode;
use crate::store::records::Hardness;

/// Values that hold from a day on, oldest first.
pub(crate) type Dated = Vec<(Date, f64)>;

/// mg/L CaCO3 by area, district or sector.
#[derive(Debug, Clone)]
pub(crate) struct Published(BTreeMap<String, Dated>);

impl Published {
    pub(crate) fn new(rows: &[Hardness]) -> Published {
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
        Published(published)
    }

    /// Every entry's value on a day.
    pub(crate) fn all_on(&self, day: Date) -> impl Iterator<Item = f64> {
        self.0
            .values()
            .filter_map(move |dated| value_on(dated, day))
    }

    /// Published values, finest part first; where only finer ones exist, their mean.
    pub(crate) fn of(&self, place: &Postcode) -> Dated {
        let parts = [
            place.sector.as_deref(),
            place.district.as_deref(),
            place.area.as_deref(),
        ];
        if let Some(dated) = parts.into_iter().flatten().find_map(|key| self.0.get(key)) {
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
            self.0
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
            .0
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
                .map(|(district, itself)| match self.0.get(district) {
                    Some(dated) if itself => dated.clone(),
                    _ => self.mean_of_sectors(district),
                })
                .collect(),
        )
    }
}

/// Mean of several dated values, on every day on which one of them changes.
fn mean(several: Vec<Dated>) -> Dated {
    let mut days: Vec<Date> = several.iter().flatten().map(|(from, _)| *from).collect();
    days.sort();
    days.dedup();
    days.into_iter()
        .map(|day| {
            let values: Vec<f64> = several
                .iter()
                .filter_map(|dated| value_on(dated, day))
                .collect();
            (day, values.iter().sum::<f64>() / values.len().max(1) as f64)
        })
        .collect()
}

/// The newest value not after `day`, else the oldest.
pub(crate) fn value_on(dated: &Dated, day: Date) -> Option<f64> {
    let after = dated.partition_point(|(from, _)| *from <= day);
    dated.get(after.saturating_sub(1)).map(|(_, value)| *value)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::calendar::date;
    use crate::lives::fixture::published as row;

    fn at(table: &Published, place: &str, day: Date) -> Option<f64> {
        value_on(&table.of(&Postcode::read(place).unwrap()), day)
    }

    const DAY: Date = date(2026, 6, 1);

    #[test]
    fn qa1_is_not_qa12() {
        let table = Published::new(&[row("QA12", 300.0)]);
        assert_eq!(at(&table, "QA1", DAY), None);
        assert_eq!(at(&table, "QA1 2CD", DAY), None);
        assert_eq!(at(&table, "QA12 1AB", DAY), Some(300.0));
    }

    #[test]
    fn the_finest_published_part_wins() {
        let table = Published::new(&[row("QA", 100.0), row("QA1", 200.0), row("QA1 2", 210.0)]);
        assert_eq!(at(&table, "QA1 2CD", DAY), Some(210.0));
        assert_eq!(at(&table, "QA1 3CD", DAY), Some(200.0));
        assert_eq!(at(&table, "qa2", DAY), Some(100.0));
    }

    #[test]
    fn where_only_finer_parts_are_published_their_mean_counts() {
        let table = Published::new(&[
            row("QA1 2", 100.0),
            row("QA1 4", 200.0),
            row("QA3", 300.0),
            row("QAB", 999.0),
        ]);
        assert_eq!(at(&table, "QA1", DAY), Some(150.0));
        assert_eq!(at(&table, "QA", DAY), Some(225.0));
        assert_eq!(at(&table, "QA7", DAY), None);
    }

    #[test]
    fn the_newest_as_of_not_after_the_day_counts_else_the_oldest() {
        let table = Published::new(&[
            Hardness {
                as_of: Some(date(2025, 1, 1)),
                ..row("QA1", 250.0)
            },
            Hardness {
                as_of: Some(date(2026, 1, 1)),
                ..row("QA1", 280.0)
            },
        ]);
        assert_eq!(at(&table, "QA1", date(2024, 5, 1)), Some(250.0));
        assert_eq!(at(&table, "QA1", date(2025, 12, 31)), Some(250.0));
        assert_eq!(at(&table, "QA1", date(2026, 1, 1)), Some(280.0));
    }
}
