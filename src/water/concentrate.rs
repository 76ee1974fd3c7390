//! Balances around the membrane: recovery, concentration on the feed side,
//! osmotic and net driving pressure.
//!
//! `recovery` is a fraction, permeate flow over feed flow, 0 ≤ recovery < 1.

/// bar of osmotic pressure per mg/L of dissolved salts: 1 psi per 100 mg/L
/// (membrane makers' manuals).
pub const OSMOTIC_BAR_PER_MG_L: f64 = 0.0007;

/// Recovery, a fraction, from permeate and concentrate flow in one unit.
pub fn recovery_from_flows(permeate: f64, concentrate: f64) -> f64 {
    permeate / (permeate + concentrate)
}

/// How many times stronger the concentrate is than the feed where nothing
/// passes: `1/(1 − Y)`. Mass balance.
pub fn concentration_factor(recovery: f64) -> f64 {
    1.0 / (1.0 - recovery)
}

/// Mean concentration along the feed side over that of the feed:
/// `ln(1/(1 − Y))/Y`, 1 at no recovery (ASTM D4516, feed-side log mean).
pub fn log_mean_factor(recovery: f64) -> f64 {
    if recovery.abs() < 1e-9 {
        return 1.0;
    }
    -(-recovery).ln_1p() / recovery
}

/// Concentration at the membrane's face over that in the feed channel,
/// `exp(0.7·Y)` per element (from memory; fitted at recoveries up to 0.2, so a
/// guess at 0.25–0.5).
pub fn polarisation_factor(recovery_per_element: f64) -> f64 {
    (0.7 * recovery_per_element).exp()
}

/// Osmotic pressure in bar of water with `mg_l` dissolved salts.
pub fn osmotic_pressure_bar(mg_l: f64) -> f64 {
    mg_l * OSMOTIC_BAR_PER_MG_L
}

/// What is known on the feed side of an element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FeedSide {
    pub feed_bar: f64,
    /// Pressure drop from feed to concentrate, bar.
    pub drop_bar: f64,
    /// Back-pressure on the permeate, bar.
    pub permeate_bar: f64,
    /// Dissolved salts of the feed, mg/L.
    pub feed_mg_l: f64,
    /// A fraction.
    pub recovery: f64,
    /// A fraction.
    pub salt_passage: f64,
}

/// Net driving pressure in bar: feed pressure, less half the drop, the
/// back-pressure and the osmotic difference (ASTM D4516, flow equation).
pub fn net_driving_pressure_bar(side: &FeedSide) -> f64 {
    let feed_side = osmotic_pressure_bar(side.feed_mg_l) * log_mean_factor(side.recovery);
    let permeate = osmotic_pressure_bar(side.feed_mg_l) * side.salt_passage;
    side.feed_bar - side.drop_bar / 2.0 - side.permeate_bar - (feed_side - permeate)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value} is not {expected}"
        );
    }

    #[test]
    fn recovery_is_permeate_over_feed() {
        near(recovery_from_flows(1.4, 2.6), 0.35, 1e-12);
        // two parts to waste for one part made
        near(recovery_from_flows(1.0, 2.0), 1.0 / 3.0, 1e-12);
    }

    #[test]
    fn the_feed_side_mean_is_the_log_mean_of_astm_d4516() {
        for (y, expected) in [
            (0.25, 1.150_728_29),
            (0.4, 1.277_064_059),
            (0.5, 1.386_294_361),
            (0.75, 1.848_392_481),
        ] {
            near(log_mean_factor(y), expected, 1e-8);
        }
        near(
            log_mean_factor(0.5) / log_mean_factor(0.25),
            1.204_710_42,
            1e-8,
        );
        near(log_mean_factor(0.0), 1.0, 1e-12);
    }

    #[test]
    fn polarisation_follows_the_makers_rule() {
        near(polarisation_factor(0.5), 1.419_067_549, 1e-9);
    }

    #[test]
    fn net_driving_pressure_of_a_mains_fill() {
        // osmotic: 1 psi per 100 mg/L, public manual: 0.276 bar at 400 mg/L
        near(osmotic_pressure_bar(400.0), 0.275_790_4, 0.02);
        let at_base = FeedSide {
            feed_bar: 4.0,
            drop_bar: 0.3,
            permeate_bar: 0.1,
            feed_mg_l: 350.0,
            recovery: 0.3,
            salt_passage: 0.05,
        };
        near(net_driving_pressure_bar(&at_base), 3.470_965_462, 1e-6);
        let away = FeedSide {
            feed_bar: 3.2,
            recovery: 0.4,
            ..at_base
        };
        near(net_driving_pressure_bar(&away), 2.649_369_305, 1e-6);
    }

    #[test]
    fn what_stays_behind_concentrates() {
        for (y, expected) in [(0.25, 4.0 / 3.0), (0.4, 5.0 / 3.0), (0.5, 2.0), (0.75, 4.0)] {
            near(concentration_factor(y), expected, 1e-12);
        }
    }
}
