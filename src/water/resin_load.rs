//! What uses up a resin charge: milliequivalents, not ppm or days.

/// meq/L per ppm on the 0.5 scale in what a membrane lets through (between
/// NaCl 0.016 and NaHCO3 0.021; derived from ionic conductivities, CRC Handbook).
pub const KAPPA_MEQ_PER_PPM: f64 = 0.0175;

/// meq per mg of carbon dioxide: one equivalent a mole on hydroxide-form anion
/// resin, 44.0095 g/mol.
pub const MEQ_PER_MG_CO2: f64 = 1.0 / 44.0095;

/// Median working capacity of mixed-bed resin, eq per litre (common practice,
/// near the suppliers' 9 000 to 10 000 grains per cubic foot).
pub const CAPACITY_MEDIAN_EQ_L: f64 = 0.45;

/// Standard deviation of its logarithm between charges (judgement).
pub const CAPACITY_SD_LN: f64 = 0.25;

/// Median capacity of the cation half per mixed litre, eq (40 parts cation to
/// 60 anion by volume; makers' data sheets 1.8–2.0 eq per cation litre). The
/// second event, when product climbs to permeate, hangs on it in hard water.
pub const CATION_CAPACITY_MEDIAN_EQ_L: f64 = 0.75;

/// Share of the ideal second event that a bed reaches in practice (judgement).
pub const SECOND_EVENT_SHARE: f64 = 0.6;

/// Standard deviation of its logarithm (judgement).
pub const SECOND_EVENT_SD_LN: f64 = 0.5;

/// Capacity in eq/L from a supplier's grains (as CaCO3) per cubic foot.
///
/// A grain is 64.79891 mg, a cubic foot 28.316846592 L (definitions), a
/// milliequivalent of CaCO3 50.04345 mg.
pub fn capacity_from_grains_per_ft3(grains: f64) -> f64 {
    grains * 64.79891 / 28.316_846_592 / 50.043_45 / 1000.0
}

/// Load on the anion half of the resin, meq per litre of water:
/// `κ·permeate + CO2`.
pub fn resin_load_meq_l(permeate_ppm: f64, co2_mmol_l: f64) -> f64 {
    KAPPA_MEQ_PER_PPM * permeate_ppm + co2_mmol_l
}

/// Litres of water that a litre of resin of `capacity_eq_l` treats under a load:
/// `1000·q/N`. `None` where nothing loads it.
///
/// With carbon dioxide in the load these are the litres until product water
/// leaves zero, not until a limit of 10 ppm.
pub fn litres_per_litre_of_resin(capacity_eq_l: f64, load_meq_l: f64) -> Option<f64> {
    (load_meq_l > 0.0).then(|| 1000.0 * capacity_eq_l / load_meq_l)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::water::co2_mmol_l;

    fn near(value: f64, expected: f64, tolerance: f64) {
        assert!(
            (value - expected).abs() <= tolerance,
            "{value} is not {expected}"
        );
    }

    #[test]
    fn suppliers_grains_become_equivalents() {
        // a supplier's sizing rule: 10 000 grains/ft³ new, 9 000 regenerated
        near(
            capacity_from_grains_per_ft3(10_000.0),
            0.457_273_011_9,
            1e-4,
        );
        near(capacity_from_grains_per_ft3(9_000.0), 0.411_545_710_7, 1e-4);
    }

    #[test]
    fn carbon_dioxide_counts_beside_what_the_meter_sees() {
        let chalk = resin_load_meq_l(320.0 * 0.04, co2_mmol_l(250.0, 7.3, 10.0, 1.0));
        near(chalk, 0.951_670_744_1, 1e-6);
        let worn = resin_load_meq_l(320.0 * 0.08, co2_mmol_l(250.0, 7.3, 10.0, 1.0));
        near(worn, 1.175_670_744, 1e-6);
        let soft = resin_load_meq_l(56.0 * 0.04, co2_mmol_l(22.0, 8.0, 10.0, 1.0));
        near(soft, 0.051_976_667, 1e-6);
        near(MEQ_PER_MG_CO2, 0.022_722_366_76, 1e-9);
    }

    #[test]
    fn a_litre_of_resin_lasts_far_longer_on_soft_water() {
        let near_some = |value: Option<f64>, expected: f64| {
            assert!(
                value.is_some_and(|v| (v - expected).abs() < 1e-4),
                "{value:?}"
            );
        };
        near_some(litres_per_litre_of_resin(0.46, 0.9517), 483.345_592_1);
        near_some(litres_per_litre_of_resin(0.46, 0.4196), 1_096.282_173);
        near_some(litres_per_litre_of_resin(0.46, 0.052), 8_846.153_846);
        assert_eq!(litres_per_litre_of_resin(0.46, 0.0), None);
    }

    #[test]
    fn leaving_carbon_dioxide_out_is_the_trap() {
        let ions_only = litres_per_litre_of_resin(0.46, resin_load_meq_l(12.8, 0.0));
        assert!(ions_only.is_some_and(|v| (v - 2_053.571_429).abs() < 1e-3));
    }
}
