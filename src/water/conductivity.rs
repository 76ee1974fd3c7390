//! What a handheld meter does: conductivity, brought to 25 °C, times a factor.

/// ppm per µS/cm at 25 °C on the sodium-chloride ("500") scale, the usual one
/// of trade meters (public meter manuals; prevalence is common practice, no source).
pub const PPM_PER_US_CM: f64 = 0.5;

/// Share of a reading that a handheld meter scatters by, beside its last digit
/// (common practice, no source).
const METER_SCATTER: f64 = 0.05;

/// Scatter of the last digit, ppm: rounding to 1 ppm (0.29) and drift
/// (common practice, no source).
const METER_FLOOR_PPM: f64 = 0.4;

/// ppm from conductivity at 25 °C in µS/cm, by [`PPM_PER_US_CM`].
pub fn ppm_from_us_cm(us_cm: f64) -> f64 {
    us_cm * PPM_PER_US_CM
}

/// Standard deviation of `ln(ppm)` of one handheld reading of `ppm`.
///
/// `sqrt(0.05² + (0.4/ppm)²)`: at 12 ppm 6 %, at 2 ppm 21 %, infinite at 0
/// (common practice, no source).
pub fn reading_noise_sd_ln(ppm: f64) -> f64 {
    if ppm <= 0.0 {
        return f64::INFINITY;
    }
    METER_SCATTER.hypot(METER_FLOOR_PPM / ppm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_low_reading_is_worth_less_than_a_high_one() {
        assert!((reading_noise_sd_ln(12.0) - 0.060_092_521).abs() < 1e-8);
        assert!((reading_noise_sd_ln(2.0) - 0.206_155_281).abs() < 1e-8);
        assert!(reading_noise_sd_ln(0.0).is_infinite());
    }

    #[test]
    fn half_the_microsiemens_are_the_ppm() {
        // public meter manual, NaCl scale: 640 µS/cm reads 320 ppm
        assert!((ppm_from_us_cm(640.0) - 320.0).abs() < 1e-9);
    }
}
