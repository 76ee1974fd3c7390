//! What temperature does to water and salt transport, and how warm the tap is
//! when nobody measured.

/// Mean of `theta`, per °C: how much `ln` salt passage rises with each °C at
/// constant *pressure*, where water and salt transport both speed up and mostly
/// cancel (derived from activation energies 15 and 25 kJ/mol of a public
/// engineering note, and from the recovery of a fixed reject valve).
pub const THETA_MEAN_PER_C: f64 = 0.010;

/// The share of `theta` that a fixed reject valve causes: warm water raises
/// recovery. Falls away where recovery is measured and corrected for (derived).
pub const THETA_RECOVERY_SHARE_PER_C: f64 = 0.007;

/// Relative water permeability at `water_c`, 1 at 25 °C.
///
/// `exp(K·(1/298 − 1/(273 + T)))`, K = 3020 below 25 °C, 2640 above (public list
/// of element design equations; reproduces a public membrane table).
pub fn water_temperature_factor(water_c: f64) -> f64 {
    let k = if water_c < 25.0 { 3020.0 } else { 2640.0 };
    (k * (1.0 / 298.0 - 1.0 / (273.0 + water_c))).exp()
}

/// Relative salt permeability at `water_c`, 1 at 25 °C, for a given `theta` per °C.
///
/// Written as the water's factor times `exp(theta·(T − 25))`, so that at
/// constant pressure `SP ∝ salt/water = exp(theta·(T − 25))`: readings with and
/// without a flow then share one level.
pub fn salt_temperature_factor(water_c: f64, theta: f64) -> f64 {
    water_temperature_factor(water_c) * (theta * (water_c - 25.0)).exp()
}

/// Usual tap temperature on a day of the year (1 = 1 January), °C.
///
/// `11.5 + 6.5·cos(2π(d − 215)/365.25)`: cold early February, warm early August
/// (from memory, British-like climate; Agudelo-Vera et al. 2020, Water 12:1049
/// for the shape). Scatter: [`TAP_TEMPERATURE_SD_C`].
pub fn tap_temperature_c(day_of_year: f64) -> f64 {
    let phase = std::f64::consts::TAU * (day_of_year - 215.0) / 365.25;
    11.5 + 6.5 * phase.cos()
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
    fn the_water_factor_reproduces_the_public_table() {
        for (t, expected) in [
            (5.0, 0.482_351_988_6),
            (10.0, 0.584_411_51),
            (12.0, 0.629_856_640_6),
            (15.0, 0.703_362_464_6),
            (18.0, 0.783_661_051_1),
            (20.0, 0.841_188_885_8),
            (26.0, 1.030_072_27),
            (28.0, 1.092_311_708),
        ] {
            near(water_temperature_factor(t), expected, 1e-8);
        }
        // printed as its inverse in the same table
        for (t, printed) in [(10.0, 1.711), (12.0, 1.588), (15.0, 1.422), (26.0, 0.971)] {
            near(1.0 / water_temperature_factor(t), printed, 1e-3);
        }
        near(water_temperature_factor(25.0), 1.0, 1e-12);
    }

    #[test]
    fn at_constant_pressure_only_theta_is_left() {
        let left = salt_temperature_factor(10.0, 0.01) / water_temperature_factor(10.0);
        near(left, (-0.15_f64).exp(), 1e-12);
        near(salt_temperature_factor(25.0, 0.03), 1.0, 1e-12);
    }

    #[test]
    fn the_tap_is_coldest_in_early_february() {
        near(tap_temperature_c(33.0), 5.000_375_68, 1e-6);
        near(tap_temperature_c(215.0), 18.0, 1e-12);
    }
}
