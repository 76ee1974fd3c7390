//! How an invented world behaves: what is fixed in the sample, and what each
//! proving ground draws anew so that no forecast can be tuned to one world.

use super::random::{Random, Stream};

/// The constants of an invented world. Spreads are standard deviations of logarithms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nature {
    /// Makers' tolerance of salt permeability, and how differently elements age.
    pub salt_sd: f64,
    pub temper_sd: f64,
    /// Slow wandering of an element's pace, ln.
    pub pace_sd: f64,
    /// Share of elements that age much faster than they should, and how much.
    pub weak_share: f64,
    pub weak_factor: f64,
    /// Growth of ln salt passage per 1000 L that every water brings, and per
    /// unit of supersaturation.
    pub fouling: f64,
    pub scaling: f64,
    /// What has settled offers a surface for more.
    pub convexity: f64,
    /// Activation of salt transport, K.
    pub salt_activation_k: f64,
    /// Chance that a seal starts to leak, per day.
    pub leak_per_day: f64,
    /// Capacity to the first leak, eq per L of resin, and spread over charges.
    pub anion_eq_l: f64,
    pub quality_sd: f64,
    /// Share of the ideal capacity at which mineral ions break through.
    pub second_share: f64,
    /// The bed dies in one step: no plateau, carbon dioxide counts in full.
    pub one_step: bool,
    /// Batches: spread of ageing and of resin quality that a delivery shares.
    pub element_batch_sd: f64,
    pub resin_batch_sd: f64,
    /// Spread of the districts' water about the map's.
    pub district_sd: f64,
}

impl Nature {
    /// The sample's world.
    pub const SAMPLE: Nature = Nature {
        salt_sd: 0.12,
        temper_sd: 0.22,
        pace_sd: 0.3,
        weak_share: 0.0,
        weak_factor: 1.0,
        fouling: 0.005,
        scaling: 0.010,
        convexity: 0.2,
        salt_activation_k: 3620.0,
        leak_per_day: 0.0,
        anion_eq_l: 0.46,
        quality_sd: 0.15,
        second_share: 0.6,
        one_step: false,
        element_batch_sd: 0.0,
        resin_batch_sd: 0.0,
        district_sd: 0.0,
    };

    /// A world of its own for every seed.
    pub fn proving(seed: u64) -> Nature {
        let mut random = Random::stream(seed, Stream::World, 0);
        Nature {
            salt_sd: random.between(0.08, 0.25),
            temper_sd: random.between(0.12, 0.35),
            pace_sd: random.between(0.1, 0.45),
            weak_share: random.between(0.03, 0.10),
            weak_factor: random.between(1.8, 3.0),
            fouling: 0.005 * random.spread(0.3),
            scaling: 0.010 * random.spread(0.3),
            convexity: random.between(0.0, 0.6),
            salt_activation_k: random.between(3000.0, 4400.0),
            leak_per_day: random.between(0.03, 0.10) / 1000.0,
            anion_eq_l: 0.46 * random.spread(0.15),
            quality_sd: random.between(0.08, 0.25),
            second_share: random.between(0.45, 0.85),
            one_step: random.chance(0.25),
            element_batch_sd: random.between(0.0, 0.15),
            resin_batch_sd: random.between(0.0, 0.12),
            district_sd: 0.2,
        }
    }
}

/// What all parts of one delivery share, ln.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Batch {
    pub element: f64,
    pub resin: f64,
}

impl Batch {
    /// The delivery of which a part fitted on that day comes: one every half year.
    pub fn on(nature: &Nature, seed: u64, day: i64) -> Batch {
        let delivery = day.div_euclid(182) + 1000;
        let mut random = Random::stream(seed, Stream::Batch, delivery as u64);
        Batch {
            element: nature.element_batch_sd * random.normal(),
            resin: nature.resin_batch_sd * random.normal(),
        }
    }
}
