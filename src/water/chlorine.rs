//! Chlorine: what a pre-filter takes up, and what a membrane can bear.

/// Free chlorine exposure after which polyamide begins to pass salt, ppm·hours:
/// 200 to 1000 (a membrane maker's manual).
pub const CHLORINE_TOLERANCE_LOW_PPM_HOURS: f64 = 200.0;
pub const CHLORINE_TOLERANCE_HIGH_PPM_HOURS: f64 = 1000.0;

/// Exposure in ppm·hours of a membrane that made `litres` at `permeate_lpm`
/// with `chlorine_mg_l` free chlorine in its feed.
pub fn chlorine_dose_ppm_hours(chlorine_mg_l: f64, litres: f64, permeate_lpm: f64) -> f64 {
    chlorine_mg_l * litres / permeate_lpm / 60.0
}

/// Free chlorine in mg that a pre-filter saw while `litres` of permeate were made
/// at a `recovery` (a fraction): it sees the feed, permeate over recovery.
pub fn chlorine_taken_up_mg(litres: f64, recovery: f64, chlorine_mg_l: f64) -> f64 {
    litres / recovery * chlorine_mg_l
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dead_carbon_filter_harms_slowly() {
        // 300 L a day at 1.6 L/min on 5 days, 0.4 mg/L: 6.25 ppm·h a week
        let week = chlorine_dose_ppm_hours(0.4, 300.0 * 5.0, 1.6);
        assert!((week - 6.25).abs() < 1e-9);
        assert!((CHLORINE_TOLERANCE_LOW_PPM_HOURS / week - 32.0).abs() < 1e-9);
        assert!((CHLORINE_TOLERANCE_HIGH_PPM_HOURS / week - 160.0).abs() < 1e-9);
    }

    #[test]
    fn pre_filters_see_the_feed_not_the_permeate() {
        let mg = chlorine_taken_up_mg(300.0 * 60.0, 0.4, 0.5);
        assert!((mg - 22_500.0).abs() < 1e-6);
    }
}
