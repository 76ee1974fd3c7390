//! Prices that decide when to replace, and those that may be shown.

use crate::calendar::Date;
use serde::Serialize;

use crate::lives::{FleetLives, Item, VanLives};
use crate::settings::Settings;

/// What a decision needs. Where neither the settings nor the fleet's own costs
/// tell, a typical proportion decides the day (judgement, never shown as money).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DecisionPrices {
    pub membrane: f64,
    pub prefilter: f64,
    pub resin_per_litre: f64,
    pub labour: f64,
    /// A van off the road for a day when a limit is passed unplanned.
    pub lost_day: f64,
    /// Whether every part's price is the fleet's own, so that money may be shown.
    pub own: bool,
    pub known: KnownPrices,
}

/// What the fleet itself said of prices.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct KnownPrices {
    pub membrane: Option<KnownPrice>,
    pub prefilter: Option<KnownPrice>,
    pub resin_per_litre: Option<KnownPrice>,
    pub labour_per_visit: Option<KnownPrice>,
    pub lost_day: Option<KnownPrice>,
    pub water_per_m3: Option<KnownPrice>,
    pub drain_per_m3: Option<KnownPrice>,
}

/// A price with where it came from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct KnownPrice {
    pub price: f64,
    pub from: PriceSource,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PriceSource {
    Settings,
    /// The median of what the fleet's own services cost.
    Services,
}

const TYPICAL_MEMBRANE: f64 = 180.0;
const TYPICAL_PREFILTER: f64 = 30.0;
const TYPICAL_RESIN_PER_LITRE: f64 = 6.0;
const TYPICAL_LABOUR: f64 = 20.0;
/// A lost day as a multiple of a membrane's price where nobody said: an
/// unplanned end then costs about twice a planned one (judgement).
pub const LOST_DAY_PER_MEMBRANE: f64 = 1.2;

impl KnownPrices {
    pub fn of(settings: &Settings, lives: &FleetLives) -> KnownPrices {
        let vans = lives.vans.iter().chain(&lives.retired);
        let paid: Vec<Paid> = vans.flat_map(Paid::of_van).collect();
        KnownPrices::of_paid(settings, &|| paid.iter())
    }

    /// The same from what the services cost.
    pub fn of_paid<'a, I: Iterator<Item = &'a Paid>>(
        settings: &Settings,
        services: &dyn Fn() -> I,
    ) -> KnownPrices {
        let p = &settings.prices;
        let set = |price: Option<f64>| {
            price.map(|price| KnownPrice {
                price,
                from: PriceSource::Settings,
            })
        };
        let paid = |item, per_quantity| {
            own_cost(services(), item, per_quantity).map(|price| KnownPrice {
                price,
                from: PriceSource::Services,
            })
        };
        KnownPrices {
            membrane: set(p.membrane).or_else(|| paid(Item::Membrane, false)),
            prefilter: set(p.prefilter).or_else(|| paid(Item::Prefilter, false)),
            resin_per_litre: set(p.resin_per_litre).or_else(|| paid(Item::Resin, true)),
            labour_per_visit: set(p.labour_per_visit),
            lost_day: set(p.lost_day),
            water_per_m3: set(p.water_per_m3),
            drain_per_m3: set(p.drain_per_m3),
        }
    }

    /// Names of the prices that nobody gave.
    pub fn missing(&self) -> Vec<&'static str> {
        [
            ("membrane", self.membrane),
            ("prefilter", self.prefilter),
            ("resin_per_litre", self.resin_per_litre),
            ("labour_per_visit", self.labour_per_visit),
            ("lost_day", self.lost_day),
            ("water_per_m3", self.water_per_m3),
            ("drain_per_m3", self.drain_per_m3),
        ]
        .into_iter()
        .filter(|(_, price)| price.is_none())
        .map(|(name, _)| name)
        .collect()
    }
}

impl KnownPrices {
    /// The price of a piece, or of a litre of resin.
    pub fn of_part(&self, item: Item) -> Option<f64> {
        let known = match item {
            Item::Membrane => self.membrane,
            Item::Resin => self.resin_per_litre,
            Item::Prefilter => self.prefilter,
            Item::Flush | Item::Probe | Item::Tank => None,
        };
        known.map(|k| k.price)
    }
}

impl DecisionPrices {
    pub fn of(settings: &Settings, lives: &FleetLives) -> DecisionPrices {
        DecisionPrices::of_known(KnownPrices::of(settings, lives))
    }

    pub fn of_known(known: KnownPrices) -> DecisionPrices {
        let price = |known: Option<KnownPrice>| known.map(|k| k.price);
        let own = known.membrane.is_some()
            && known.prefilter.is_some()
            && known.resin_per_litre.is_some();
        // Own part prices with nothing said of labour: that then counts as
        // nothing rather than as somebody else's.
        let unless_own = |typical: f64| if own { 0.0 } else { typical };
        let membrane = price(known.membrane).unwrap_or(TYPICAL_MEMBRANE);
        DecisionPrices {
            membrane,
            prefilter: price(known.prefilter).unwrap_or(TYPICAL_PREFILTER),
            resin_per_litre: price(known.resin_per_litre).unwrap_or(TYPICAL_RESIN_PER_LITRE),
            labour: price(known.labour_per_visit).unwrap_or(unless_own(TYPICAL_LABOUR)),
            lost_day: price(known.lost_day).unwrap_or(LOST_DAY_PER_MEMBRANE * membrane),
            own,
            known,
        }
    }

    /// What a visit less is worth where it decides whether jobs share one: the
    /// fleet's own price, else a typical share of a membrane's.
    pub fn saved_visit(&self) -> f64 {
        self.known
            .labour_per_visit
            .map_or(self.membrane * TYPICAL_LABOUR / TYPICAL_MEMBRANE, |k| {
                k.price
            })
    }

    /// Water and drain for a litre of pure water at a recovery, as far as known.
    pub fn water_per_litre(&self, recovery: f64) -> f64 {
        let per_litre = |known: Option<KnownPrice>| known.map_or(0.0, |k| k.price / 1000.0);
        let feed = 1.0 / recovery.clamp(0.01, 1.0);
        per_litre(self.known.water_per_m3) * feed
            + per_litre(self.known.drain_per_m3) * (feed - 1.0)
    }
}

/// A service on record, and what was paid for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paid {
    pub date: Date,
    pub item: Item,
    quantity: Option<f64>,
    /// What it took: pieces, litres of resin; the van's own size where the record
    /// does not say.
    pub pieces: f64,
    pub cost: Option<f64>,
}

impl Paid {
    /// What was put in where nobody wrote it down is left out.
    pub fn of_van(van: &VanLives) -> impl Iterator<Item = Paid> {
        let recorded = van.services.iter().filter(|s| !s.inferred);
        recorded.map(|s| Paid {
            date: s.date,
            item: s.item,
            quantity: s.quantity,
            pieces: s.quantity.filter(|q| *q > 0.0).unwrap_or(match s.item {
                Item::Resin => van.resin_litres,
                Item::Membrane => f64::from(van.membranes.max(1)),
                _ => 1.0,
            }),
            cost: s.cost,
        })
    }
}

/// Median cost of the fleet's own services of that kind; per litre for resin.
fn own_cost<'a>(
    services: impl Iterator<Item = &'a Paid>,
    item: Item,
    per_quantity: bool,
) -> Option<f64> {
    let mut costs: Vec<f64> = services
        .filter(|s| s.item == item)
        .filter_map(|s| {
            let cost = s.cost.filter(|c| *c > 0.0)?;
            if per_quantity {
                Some(cost / s.quantity.filter(|q| *q > 0.0)?)
            } else if item == Item::Membrane {
                // Several fitted at once were paid together.
                Some(cost / s.quantity.filter(|q| *q >= 1.0).unwrap_or(1.0))
            } else {
                Some(cost)
            }
        })
        .collect();
    costs.sort_by(f64::total_cmp);
    costs.get(costs.len() / 2).copied()
}
