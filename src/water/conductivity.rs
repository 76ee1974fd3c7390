//! What a handheld meter does: conductivity, brought to 25 °C, times a factor.

/// ppm per µS/cm at 25 °C on the sodium-chloride ("500") scale, the usual one
/// of trade meters (public meter manuals; prevalence is common practice, no source).
pub const PPM_PER_US_CM: f64 = 0.5;

/// Rise of conductivity per °C at 25 °C, natural water: 0.0187, range
/// 0.0175–0.0198 (Hayashi 2004, Environ Monit Assess 96:119).
pub const ALPHA_NATURAL_WATER: f64 = 0.0187;

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

/// Conductivity at 25 °C in µS/cm from ppm, by [`PPM_PER_US_CM`].
pub fn us_cm_from_ppm(ppm: f64) -> f64 {
    ppm / PPM_PER_US_CM
}

/// Conductivity at 25 °C (µS/cm) from one read uncompensated at `water_c`.
///
/// `alpha` per °C, see [`ALPHA_NATURAL_WATER`]. Linear rule, error below 2 %
/// from 10 °C up (Hayashi 2004).
pub fn at_25_c(us_cm: f64, water_c: f64, alpha: f64) -> f64 {
    us_cm / (1.0 + alpha * (water_c - 25.0))
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
    fn ppm_and_microsiemens_go_there_and_back() {
        // public meter manual, NaCl scale: 640 µS/cm reads 320 ppm
        assert!((ppm_from_us_cm(640.0) - 320.0).abs() < 1e-9);
        assert!((us_cm_from_ppm(ppm_from_us_cm(677.3)) - 677.3).abs() < 1e-9);
    }

    #[test]
    fn cold_water_conducts_less_than_the_same_water_at_25() {
        // Hayashi 2004 mean coefficient; instrument default 2 %/°C; logger manual 1.91 %/°C
        assert!((at_25_c(500.0, 10.0, ALPHA_NATURAL_WATER) - 694.927_032_7).abs() < 1e-6);
        assert!((at_25_c(500.0, 10.0, 0.02) - 714.285_714_3).abs() < 1e-6);
        assert!((at_25_c(300.0, 5.0, 0.0191) - 485.436_893_2).abs() < 1e-6);
    }

    #[test]
    fn a_low_reading_is_worth_less_than_a_high_one() {
        assert!((reading_noise_sd_ln(12.0) - 0.060_092_521).abs() < 1e-8);
        assert!((reading_noise_sd_ln(2.0) - 0.206_155_281).abs() < 1e-8);
        assert!(reading_noise_sd_ln(0.0).is_infinite());
    }
}
