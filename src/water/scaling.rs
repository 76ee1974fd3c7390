//! Whether water lays down or dissolves calcium carbonate.

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
    fn the_concentrate_of_a_quarter_recovery_gains_a_third_of_a_unit() {
        near(langelier_rise_in_concentrate(0.25), 0.374_816_21);
    }
}
