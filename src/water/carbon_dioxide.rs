//! Carbon dioxide: invisible to the meter, passes the membrane, loads the resin.

/// Usual carbon dioxide of a tap water by its hardness (mg/L CaCO3), mmol/L:
/// `0.5·(H/285)^1.7` (weak prior of our own).
pub fn co2_prior_median_mmol_l(hardness_mg_l_caco3: f64) -> f64 {
    0.5 * (hardness_mg_l_caco3.max(0.0) / 285.0).powf(1.7)
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
    fn harder_water_is_expected_to_carry_more() {
        near(co2_prior_median_mmol_l(285.0), 0.5, 1e-12);
        near(co2_prior_median_mmol_l(200.0), 0.273_832_338_3, 1e-7);
        near(co2_prior_median_mmol_l(0.0), 0.0, 1e-12);
    }
}
