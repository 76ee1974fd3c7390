//! Prices that decide when to replace, and those that may be shown.

use crate::lives::FleetLives;
use crate::lives::Item;
use crate::settings::Settings;

/// What a decision needs. Where neither the settings nor the fleet's own costs
/// tell, a typical proportion decides the day (judgement, never shown as money).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DecisionPrices {
    pub membrane: f64,
    pub prefilter: f64,
    pub resin_per_litre: f64,
    pub labour: f64,
    /// A day's lost round when a limit is passed unplanned.
    pub lost_round: f64,
    /// Whether every part's price is the fleet's own, so that money may be shown.
    pub own: bool,
}

const TYPICAL_MEMBRANE: f64 = 180.0;
const TYPICAL_PREFILTER: f64 = 30.0;
const TYPICAL_RESIN_PER_LITRE: f64 = 6.0;
const TYPICAL_LABOUR: f64 = 20.0;
/// A lost round as a multiple of a membrane's price where nobody said: an
/// unplanned end then costs about twice a planned one (judgement).
const LOST_ROUND_PER_MEMBRANE: f64 = 1.2;

impl DecisionPrices {
    pub fn of(settings: &Settings, lives: &FleetLives) -> DecisionPrices {
        let p = &settings.prices;
        let membrane = p
            .membrane
            .or_else(|| own_cost(lives, Item::Membrane, false));
        let prefilter = p
            .prefilter
            .or_else(|| own_cost(lives, Item::Prefilter, false));
        let resin = p
            .resin_per_litre
            .or_else(|| own_cost(lives, Item::Resin, true));
        let own = membrane.is_some() && prefilter.is_some() && resin.is_some();
        // Own part prices with nothing said of labour: that then counts as
        // nothing rather than as somebody else's.
        let unless_own = |typical: f64| if own { 0.0 } else { typical };
        let membrane_price = membrane.unwrap_or(TYPICAL_MEMBRANE);
        DecisionPrices {
            membrane: membrane_price,
            prefilter: prefilter.unwrap_or(TYPICAL_PREFILTER),
            resin_per_litre: resin.unwrap_or(TYPICAL_RESIN_PER_LITRE),
            labour: p.labour_per_visit.unwrap_or(unless_own(TYPICAL_LABOUR)),
            lost_round: p
                .lost_round
                .unwrap_or(LOST_ROUND_PER_MEMBRANE * membrane_price),
            own,
        }
    }
}

/// Median cost of the fleet's own services of that kind; per litre for resin.
fn own_cost(lives: &FleetLives, item: Item, per_quantity: bool) -> Option<f64> {
    let mut costs: Vec<f64> = lives
        .vans
        .iter()
        .chain(&lives.retired)
        .flat_map(|v| &v.services)
        .filter(|s| s.item == item)
        .filter_map(|s| {
            let cost = s.cost.filter(|c| *c > 0.0)?;
            if per_quantity {
                Some(cost / s.quantity.filter(|q| *q > 0.0)?)
            } else {
                Some(cost)
            }
        })
        .collect();
    costs.sort_by(f64::total_cmp);
    costs.get(costs.len() / 2).copied()
}
