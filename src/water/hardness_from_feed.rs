//! Hardness where no supplier's table tells it: from what the meter reads at
//! the tap.

/// Median of hardness (mg/L CaCO3) per feed ppm on the 0.5 scale, unsoftened
/// tap water. Judgement between the charge-balance bound and soft water; close
/// to the published rule "conductivity is about twice the hardness" (Ohio State
/// University extension page).
pub const HARDNESS_PER_PPM_MEDIAN: f64 = 0.78;

/// No natural water has more: calcium and magnesium bicarbonate alone reach
/// 1.06 to 1.13 (charge balance with limiting ionic conductivities, CRC Handbook).
pub const HARDNESS_PER_PPM_MAX: f64 = 1.13;

/// Hardness in mg/L as CaCO3 from the median feed reading, by the ratio `r`
/// (mg/L per ppm, [`HARDNESS_PER_PPM_MEDIAN`] unless the fleet has learnt its
/// own), never above the physical bound.
pub fn hardness_from_feed_ppm(median_feed_ppm: f64, r: f64) -> f64 {
    r.min(HARDNESS_PER_PPM_MAX) * median_feed_ppm
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hardness_from_the_feed_is_a_share_of_the_meter_reading() {
        assert!((hardness_from_feed_ppm(338.0, HARDNESS_PER_PPM_MEDIAN) - 263.64).abs() < 1e-9);
    }

    #[test]
    fn no_ratio_passes_the_charge_balance_bound() {
        assert!((hardness_from_feed_ppm(100.0, 1.9) - 113.0).abs() < 1e-9);
    }
}
