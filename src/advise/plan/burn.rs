//! What a membrane lets through burns resin.

use crate::advise::prices::DecisionPrices;
use crate::fit::ResinUse;

/// The resin that a van's water uses up, as money.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResinBurn {
    /// Resin and the work of changing it, per litre of resin; 0 without resin.
    pub price_per_litre: f64,
    pub feed_ppm: f64,
    /// Salt passage at the tap's usual temperature over that at 25 °C.
    pub cold: f64,
    pub hardness_mg_l_caco3: f64,
    pub resin_use: ResinUse,
}

impl ResinBurn {
    /// `vessel_litres` 0: no resin on board.
    pub fn of(
        prices: &DecisionPrices,
        vessel_litres: f64,
        feed_ppm: Option<f64>,
        hardness_mg_l_caco3: Option<f64>,
        resin_use: ResinUse,
    ) -> ResinBurn {
        let price_per_litre = if vessel_litres > 0.0 {
            prices.resin_per_litre + prices.labour / vessel_litres
        } else {
            0.0
        };
        ResinBurn {
            price_per_litre,
            feed_ppm: feed_ppm.unwrap_or(0.0),
            cold: 1.0,
            hardness_mg_l_caco3: hardness_mg_l_caco3.unwrap_or(0.0),
            resin_use,
        }
    }

    /// Litres of resin per litre of water at a salt passage (a fraction at 25 °C).
    pub fn litres_per_litre(&self, salt_passage: f64) -> f64 {
        self.resin_use.litres_per_litre(
            self.feed_ppm * (salt_passage * self.cold).min(1.0),
            self.hardness_mg_l_caco3,
        )
    }

    /// Money per litre of water at a salt passage.
    pub fn per_litre(&self, salt_passage: f64) -> f64 {
        self.price_per_litre * self.litres_per_litre(salt_passage)
    }
}
