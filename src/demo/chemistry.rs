//! The chemistry that the simulated plant obeys.

/// mg/L CaCO3 in one meq/L.
pub const MG_CACO3_PER_MEQ: f64 = 50.043;

/// Ions in meq/L per ppm on the 0.5 scale (limiting conductivities of a usual
/// permeate; NaCl 0.016, calcium bicarbonate 0.019).
pub const MEQ_PER_PPM: f64 = 0.0175;

/// First dissociation constant of carbonic acid, as pK1.
///
/// Source: Plummer and Busenberg 1982, Geochim Cosmochim Acta 46:1011.
pub fn pk1(water_c: f64) -> f64 {
    let t = water_c + 273.15;
    356.309_4 + 0.060_919_64 * t - 21_834.37 / t - 126.833_9 * t.log10() + 1_684_915.0 / (t * t)
}

/// Dissolved carbon dioxide, mmol/L, from alkalinity (mg/L CaCO3) and pH.
pub fn co2_mmol_l(alkalinity_mg_l_caco3: f64, ph: f64, water_c: f64) -> f64 {
    const GAMMA: f64 = 0.90; // Davies, ionic strength 0.01
    alkalinity_mg_l_caco3 / MG_CACO3_PER_MEQ * GAMMA * 10f64.powf(pk1(water_c) - ph)
}

/// What carbonic acid alone shows on the meter, ppm (0.5 scale) at 25 °C.
pub fn carbonic_acid_ppm(co2_mmol_l: f64) -> f64 {
    let k1 = 10f64.powf(-pk1(25.0)) * 1000.0; // mmol/L
    let ions = (k1 * co2_mmol_l).sqrt(); // [H+] = [HCO3-], weak acid
    // Limiting conductivities at 25 °C, S cm²/mol: H+ 349.8, HCO3- 44.5 (CRC).
    0.5 * (349.8 + 44.5) * ions
}

/// Langelier index: above 0 calcium carbonate can settle.
///
/// `calcium` and `alkalinity` in mg/L as CaCO3, `dissolved` in mg/L.
/// Source: the usual `pHs = (9.3 + A + B) − (C + D)` form; for reverse
/// osmosis see ASTM D3739.
pub fn langelier(ph: f64, calcium: f64, alkalinity: f64, dissolved: f64, water_c: f64) -> f64 {
    let a = (dissolved.max(1.0).log10() - 1.0) / 10.0;
    let b = -13.12 * (water_c + 273.0).log10() + 34.55;
    let c = calcium.max(0.1).log10() - 0.4;
    let d = alkalinity.max(0.1).log10();
    ph - ((9.3 + a + b) - (c + d))
}

/// How much more water a membrane passes than at 25 °C.
///
/// Source: the exponential form printed in element design equations, 3020 K
/// below 25 °C and 2640 K above.
pub fn water_temperature_factor(water_c: f64) -> f64 {
    let k = if water_c < 25.0 { 3020.0 } else { 2640.0 };
    (k * (1.0 / 298.15 - 1.0 / (273.15 + water_c))).exp()
}

/// How much more salt a membrane passes than at 25 °C: a little steeper than
/// water, by its activation (in K; 3620 is 5 kJ/mol above water's, the middle of
/// what engineers assume).
pub fn salt_temperature_factor(water_c: f64, activation_k: f64) -> f64 {
    (activation_k * (1.0 / 298.15 - 1.0 / (273.15 + water_c))).exp()
}

/// Feed-side mean over feed concentration, log-mean form of ASTM D4516.
pub fn log_mean_factor(recovery: f64) -> f64 {
    if recovery < 1e-6 {
        1.0
    } else {
        (1.0 / (1.0 - recovery)).ln() / recovery
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn carbon_dioxide_of_a_chalk_tap_matches_the_published_constants() {
        // Plummer & Busenberg 1982: pK1 6.463 at 10 °C, 6.352 at 25 °C.
        assert!((pk1(10.0) - 6.463).abs() < 0.002);
        assert!((pk1(25.0) - 6.352).abs() < 0.002);
        // Alkalinity 250, pH 7.3, 10 °C without activity correction: 0.728 mmol/L.
        assert!((co2_mmol_l(250.0, 7.3, 10.0) / 0.90 - 0.728).abs() < 0.005);
    }

    #[test]
    fn escaped_carbon_dioxide_reads_two_to_four_ppm() {
        // 0.3–0.8 mmol/L carbonic acid: 2.2–3.7 ppm (derived from pK1 and the
        // CRC limiting conductivities).
        assert!((carbonic_acid_ppm(0.3) - 2.25).abs() < 0.15);
        assert!((carbonic_acid_ppm(0.8) - 3.7).abs() < 0.2);
    }

    #[test]
    fn chalk_tap_is_at_saturation_and_its_concentrate_far_above() {
        let tap = langelier(7.4, 260.0, 235.0, 370.0, 10.0);
        assert!((tap + 0.05).abs() < 0.03, "{tap}");
        let half = 2f64;
        let drain = langelier(7.4 + half.log10(), 520.0, 470.0, 740.0, 10.0);
        assert!((drain - 0.82).abs() < 0.05, "{drain}");
    }

    #[test]
    fn cold_water_factor_is_that_of_the_printed_tables() {
        // Printed inverse factors: 1.711 at 10 °C, 1.422 at 15 °C, 0.971 at 26 °C.
        assert!((1.0 / water_temperature_factor(10.0) - 1.711).abs() < 0.005);
        assert!((1.0 / water_temperature_factor(15.0) - 1.422).abs() < 0.005);
        assert!((1.0 / water_temperature_factor(26.0) - 0.971).abs() < 0.002);
    }
}
