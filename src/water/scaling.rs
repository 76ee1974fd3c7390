//! Whether water lays down or dissolves calcium carbonate.

/// Langelier saturation index: above 0 the water can lay down scale.
///
/// `tds_mg_l`, hardness by calcium and alkalinity both in mg/L as CaCO3.
/// `pH − pHs`, `pHs = (9.3 + A + B) − (C + D)` (public formula pages; for
/// concentrates see ASTM D3739).
pub fn langelier_index(
    ph: f64,
    tds_mg_l: f64,
    water_c: f64,
    calcium_caco3_mg_l: f64,
    alkalinity_caco3_mg_l: f64,
) -> f64 {
    let a = (tds_mg_l.log10() - 1.0) / 10.0;
    let b = -13.12 * (water_c + 273.0).log10() + 34.55;
    let c = calcium_caco3_mg_l.log10() - 0.4;
    let d = alkalinity_caco3_mg_l.log10();
    ph - ((9.3 + a + b) - (c + d))
}

/// Rise of the index from feed to concentrate at a recovery (a fraction):
/// calcium, alkalinity and pH each give `log10(1/(1 − Y))` (derived).
pub fn langelier_rise_in_concentrate(recovery: f64) -> f64 {
    3.0 * super::concentration_factor(recovery).log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(value: f64, expected: f64) {
        assert!(
            (value - expected).abs() <= 1e-6,
            "{value} is not {expected}"
        );
    }

    #[test]
    fn chalk_water_is_stable_at_the_tap_and_scales_in_the_concentrate() {
        near(
            langelier_index(7.4, 370.0, 10.0, 260.0, 235.0),
            -0.053_340_928,
        );
        near(
            langelier_index(7.701_03, 740.0, 10.0, 520.0, 470.0),
            0.819_646_064,
        );
    }

    #[test]
    fn warmer_water_scales_sooner() {
        near(
            langelier_index(7.4, 370.0, 20.0, 260.0, 235.0),
            0.144_524_217,
        );
    }

    #[test]
    fn the_concentrate_of_a_quarter_recovery_gains_a_third_of_a_unit() {
        near(langelier_rise_in_concentrate(0.25), 0.374_816_21);
    }
}
