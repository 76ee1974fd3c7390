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

    /// What is the same at every salt passage.
    pub fn line(&self) -> BurnLine {
        let at = |salt_passage: f64| self.litres_per_litre(salt_passage);
        let pure = at(0.0);
        BurnLine {
            price_per_litre: self.price_per_litre,
            pure,
            tap: self
                .resin_use
                .litres_per_litre(self.feed_ppm, self.hardness_mg_l_caco3)
                - pure,
            cold: self.cold,
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
    #[cfg(test)]
    pub fn per_litre(&self, salt_passage: f64) -> f64 {
        self.price_per_litre * self.litres_per_litre(salt_passage)
    }
}

/// Litres of resin per litre of water as a line over salt passage, for loops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BurnLine {
    price_per_litre: f64,
    /// Where nothing but gas comes through, and what all of the tap's salts add.
    pure: f64,
    tap: f64,
    cold: f64,
}

impl BurnLine {
    /// As [`ResinBurn::litres_per_litre`].
    #[inline(always)]
    pub fn litres_per_litre(&self, salt_passage: f64) -> f64 {
        let passed = salt_passage * self.cold;
        self.pure + self.tap * if passed < 1.0 { passed } else { 1.0 }
    }

    /// As [`ResinBurn::per_litre`].
    #[inline(always)]
    pub fn per_litre(&self, salt_passage: f64) -> f64 {
        self.price_per_litre * self.litres_per_litre(salt_passage)
    }

    /// Money per litre of pure water, and beside it per litre times salt passage:
    /// exact while less comes through than the tap brings.
    pub fn per_litre_and_passage(&self) -> (f64, f64) {
        (
            self.price_per_litre * self.pure,
            self.price_per_litre * self.tap * self.cold,
        )
    }
}
