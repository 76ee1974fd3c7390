//! Carbon dioxide: invisible to the meter, passes the membrane, loads the resin.

/// Molar mass of CaCO3 over two equivalents, mg/meq.
const MG_CACO3_PER_MEQ: f64 = 50.043_45;

/// Standard deviation of the logarithm of a district's carbon dioxide around
/// [`co2_prior_median_mmol_l`] (judgement; no published prior found).
pub const CO2_PRIOR_SD_LN: f64 = 0.7;

/// Limiting molar conductivities of H⁺ and HCO3⁻ at 25 °C, S·cm²/mol (CRC Handbook).
const LAMBDA_H: f64 = 349.65;
const LAMBDA_HCO3: f64 = 44.5;

/// First dissociation constant of carbonic acid, `pK1`, at `water_c`
/// (Plummer & Busenberg 1982, Geochim Cosmochim Acta 46:1011).
pub fn pk1_carbonic(water_c: f64) -> f64 {
    let kelvin = water_c + 273.15;
    356.3094 + 0.060_919_64 * kelvin - 21_834.37 / kelvin - 126.8339 * kelvin.log10()
        + 1_684_915.0 / (kelvin * kelvin)
}

/// Activity coefficient of a monovalent ion at an ionic strength in mol/L,
/// Davies equation with A = 0.5 (from memory).
pub fn activity_coefficient(ionic_strength: f64) -> f64 {
    let root = ionic_strength.sqrt();
    let exponent = -0.5 * (root / (1.0 + root) - 0.3 * ionic_strength);
    10.0_f64.powf(exponent)
}

/// Dissolved carbon dioxide in mmol/L from alkalinity (mg/L CaCO3) and pH.
///
/// `gamma`: activity coefficient of bicarbonate, 1 for very dilute water, about
/// 0.90 in hard tap water. Equilibrium with [`pk1_carbonic`].
pub fn co2_mmol_l(alkalinity_caco3_mg_l: f64, ph: f64, water_c: f64, gamma: f64) -> f64 {
    let bicarbonate = alkalinity_caco3_mg_l / MG_CACO3_PER_MEQ;
    bicarbonate * gamma * 10.0_f64.powf(pk1_carbonic(water_c) - ph)
}

/// Usual carbon dioxide of a tap water by its hardness (mg/L CaCO3), mmol/L:
/// `0.5·(H/285)^1.7` (weak prior of our own; log-sd [`CO2_PRIOR_SD_LN`]).
pub fn co2_prior_median_mmol_l(hardness_mg_l_caco3: f64) -> f64 {
    0.5 * (hardness_mg_l_caco3.max(0.0) / 285.0).powf(1.7)
}

/// What a meter on the 0.5 scale shows for carbonic acid alone, ppm, at 25 °C:
/// the plateau on which product water rests once carbon dioxide breaks through.
///
/// Weak acid equilibrium, limiting conductivities of H⁺ and HCO3⁻.
pub fn carbonic_acid_ppm(co2_mmol_l: f64) -> f64 {
    let k1 = 10.0_f64.powf(-pk1_carbonic(25.0));
    let total = co2_mmol_l.max(0.0) / 1000.0;
    // h² + K1·h − K1·total = 0
    let hydrogen = (-k1 + (k1 * k1 + 4.0 * k1 * total).sqrt()) / 2.0;
    super::ppm_from_us_cm(hydrogen * 1000.0 * (LAMBDA_H + LAMBDA_HCO3))
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
    fn the_first_constant_is_that_of_plummer_and_busenberg() {
        for (t, expected) in [
            (5.0, 6.516_301_508),
            (10.0, 6.463_342_148),
            (15.0, 6.418_795_45),
            (25.0, 6.351_864_15),
        ] {
            near(pk1_carbonic(t), expected, 1e-6);
        }
    }

    #[test]
    fn alkalinity_and_ph_tell_carbon_dioxide() {
        near(co2_mmol_l(250.0, 7.3, 10.0, 1.0), 0.727_670_744_1, 1e-6);
        near(co2_mmol_l(250.0, 7.5, 10.0, 1.0), 0.459_129_200_4, 1e-6);
        near(co2_mmol_l(150.0, 7.6, 12.0, 1.0), 0.209_558_021_9, 1e-6);
        near(co2_mmol_l(22.0, 8.0, 10.0, 1.0), 0.012_776_667_32, 1e-7);
        near(co2_mmol_l(250.0, 7.3, 25.0, 1.0), 0.562_933_269_7, 1e-6);
        near(co2_mmol_l(250.0, 7.3, 10.0, 0.9045), 0.658_178_188_1, 1e-6);
        near(activity_coefficient(0.0098), 0.904_547_014_4, 3e-3);
    }

    #[test]
    fn at_25_degrees_it_agrees_with_the_laboratory_rule() {
        // Skougstad et al. 1979, USGS TWRI: 1.60·10^(6−pH)·HCO3 mg/L; 24.446 mg/L here
        let mg_l = co2_mmol_l(250.0, 7.3, 25.0, 1.0) * 44.0095;
        near(mg_l, 24.445_908_51, 0.5);
    }

    #[test]
    fn harder_water_is_expected_to_carry_more() {
        near(co2_prior_median_mmol_l(285.0), 0.5, 1e-12);
        near(co2_prior_median_mmol_l(200.0), 0.273_832_338_3, 1e-7);
        near(co2_prior_median_mmol_l(0.0), 0.0, 1e-12);
    }

    #[test]
    fn carbonic_acid_alone_reads_two_to_four_ppm() {
        near(carbonic_acid_ppm(0.3), 2.233_055_611, 1e-3);
        near(carbonic_acid_ppm(0.8), 3.673_875_935, 1e-3);
        near(carbonic_acid_ppm(0.0), 0.0, 1e-12);
    }
}
