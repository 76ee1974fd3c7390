//! The resin vessel of a van, and what its resin services did to it.

use crate::calendar::Date;

use super::history_as_of::{Dated, HistoryAsOf};
use super::median::median_of;
use super::sizes::Sizes;
use crate::store::records::Item;

/// A resin service with less than this share of the vessel is a top-up.
const TOP_UP_BELOW: f64 = 0.6;
/// A quantity up to this share of the vessel is taken for what went in; more
/// is a bag, of which the vessel takes its part.
const FULL_UP_TO: f64 = 1.1;
/// Litres of resin where nothing tells (common practice, no source).
const USUAL_RESIN_LITRES: f64 = 11.0;

/// A resin vessel, L.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Vessel {
    pub litres: f64,
    /// Whether the van's own list or services tell.
    pub known: bool,
}

impl Vessel {
    fn is_topped_up_with(&self, litres: f64) -> bool {
        litres > 0.0 && litres < TOP_UP_BELOW * self.litres
    }

    /// Whether resin services with so much in all only added to what was there.
    fn is_topped_up_by(&self, quantity: Option<f64>) -> bool {
        self.known && quantity.is_some_and(|litres| self.is_topped_up_with(litres))
    }

    /// Resin after a full change with `quantity`.
    pub(crate) fn filled_with(&self, quantity: Option<f64>) -> f64 {
        quantity
            .filter(|litres| *litres >= TOP_UP_BELOW * self.litres)
            .filter(|litres| *litres <= FULL_UP_TO * self.litres)
            .unwrap_or(self.litres)
    }
}

/// The vessel of one van over time.
#[derive(Debug, Clone)]
pub(crate) struct Vessels<'a> {
    sizes: &'a Sizes<'a>,
    unlisted: Vessel,
}

impl<'a> Vessels<'a> {
    /// `fleet_median`: vessel of the fleet's other vans, L.
    pub(crate) fn new(seen: &'a HistoryAsOf<'_>, fleet_median: Option<f64>) -> Vessels<'a> {
        let unlisted = match by_services(&seen.services) {
            Some(litres) => Vessel {
                litres,
                known: true,
            },
            None => Vessel {
                litres: fleet_median.unwrap_or(USUAL_RESIN_LITRES),
                known: false,
            },
        };
        Vessels {
            sizes: &seen.sizes,
            unlisted,
        }
    }

    /// The vessel on a day: by the list, else by the last full resin service,
    /// else the fleet's median, else a usual size.
    pub(crate) fn on(&self, day: Date) -> Vessel {
        self.sizes
            .on(day, |row| row.resin_litres)
            .map_or(self.unlisted, |litres| Vessel {
                litres,
                known: true,
            })
    }

    /// Resin services parted into full changes and top-ups, each oldest first.
    /// Several of one day are judged together: two half bags fill a vessel.
    pub(crate) fn changes_and_top_ups<'s>(
        &self,
        services: &'s [Dated<'s>],
    ) -> (Vec<&'s Dated<'s>>, Vec<&'s Dated<'s>>) {
        let resin: Vec<&Dated<'_>> = services
            .iter()
            .filter(|dated| dated.service.item == Item::Resin)
            .collect();
        let (mut full, mut top_ups) = (Vec::new(), Vec::new());
        for day in resin.chunk_by(|a, b| a.date == b.date) {
            let quantity = day
                .iter()
                .map(|dated| dated.service.quantity)
                .sum::<Option<f64>>();
            let vessel = day.first().map(|dated| self.on(dated.date));
            let only_added = vessel.is_some_and(|vessel| vessel.is_topped_up_by(quantity));
            if only_added {
                top_ups.extend_from_slice(day);
            } else {
                full.extend_from_slice(day);
            }
        }
        (full, top_ups)
    }
}

/// The vessel by the van's own list or services, L; `None` if neither tells,
/// or if there is no resin.
pub(crate) fn known_litres(seen: &HistoryAsOf<'_>, day: Date) -> Option<f64> {
    seen.sizes
        .on(day, |row| row.resin_litres)
        .or_else(|| by_services(&seen.services))
        .filter(|litres| *litres > 0.0)
}

/// The last quantity of a resin service that was no top-up by the van's own habit, L.
fn by_services(services: &[Dated<'_>]) -> Option<f64> {
    let quantities = || {
        services
            .iter()
            .filter(|dated| dated.service.item == Item::Resin)
            .filter_map(|dated| dated.service.quantity.filter(|litres| *litres > 0.0))
    };
    let usual = Vessel {
        litres: median_of(quantities())?,
        known: true,
    };
    quantities().rfind(|litres| !usual.is_topped_up_with(*litres))
}
