//! Mixing waters.

/// What a mixture holds: `Σ amount·value / Σ amount`.
///
/// For hardness, milliequivalents and (nearly) conductivity; not for pH, carbon
/// dioxide or saturation indices. `parts`: (amount, value), amounts in any one
/// unit. `None` where the amounts do not add up to more than 0. Mass balance.
pub fn blended(parts: &[(f64, f64)]) -> Option<f64> {
    let amount: f64 = parts.iter().map(|part| part.0).sum();
    if amount > 0.0 {
        Some(parts.iter().map(|part| part.0 * part.1).sum::<f64>() / amount)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blending_is_a_mass_balance() {
        let near = |value: Option<f64>, expected: f64| {
            assert!(
                value.is_some_and(|v| (v - expected).abs() < 1e-9),
                "{value:?}"
            );
        };
        near(blended(&[(0.6, 280.0), (0.4, 90.0)]), 204.0);
        near(blended(&[(300.0, 4.0), (100.0, 25.0)]), 9.25);
    }

    #[test]
    fn nothing_mixed_holds_nothing_known() {
        assert_eq!(blended(&[]), None);
        assert_eq!(blended(&[(0.0, 300.0)]), None);
    }
}
