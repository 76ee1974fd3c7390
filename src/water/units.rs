//! Everyday units into the ones the records use.

/// L in one imperial gallon (definition, UK Weights and Measures Act 1985).
const LITRES_PER_IMPERIAL_GALLON: f64 = 4.54609;
/// L in one US gallon: 231 cubic inches (definition, NIST SP 811).
const LITRES_PER_US_GALLON: f64 = 3.785_411_784;
/// bar in one pound-force per square inch: 6894.757 Pa (NIST SP 811).
const BAR_PER_PSI: f64 = 0.068_947_57;

/// Litres from imperial gallons.
pub fn litres_from_imperial_gallons(gallons: f64) -> f64 {
    gallons * LITRES_PER_IMPERIAL_GALLON
}

/// Litres from US gallons.
pub fn litres_from_us_gallons(gallons: f64) -> f64 {
    gallons * LITRES_PER_US_GALLON
}

/// Bar from pounds per square inch.
pub fn bar_from_psi(psi: f64) -> f64 {
    psi * BAR_PER_PSI
}

/// Bar from kilopascals.
pub fn bar_from_kpa(kpa: f64) -> f64 {
    kpa / 100.0
}

/// °C from °F.
pub fn celsius_from_fahrenheit(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gallons_are_imperial_or_us_and_never_mixed_up() {
        // unit definitions: 100 imperial gallons are 454.609 L
        assert!((litres_from_imperial_gallons(100.0) - 454.609).abs() < 1e-9);
        // NIST SP 811: 20 000 US gal = 75 708.23568 L
        assert!((litres_from_us_gallons(20_000.0) - 75_708.235_68).abs() < 1e-6);
    }

    #[test]
    fn pressures_become_bar() {
        // NIST SP 811: 45 psi = 3.10264 bar, 60 psi = 4.13685 bar
        assert!((bar_from_psi(45.0) - 3.102_640_781).abs() < 1e-6);
        assert!((bar_from_psi(60.0) - 4.136_85).abs() < 1e-5);
        assert!((bar_from_kpa(310.0) - 3.1).abs() < 1e-12);
    }

    #[test]
    fn fifty_fahrenheit_is_ten_celsius() {
        assert!((celsius_from_fahrenheit(50.0) - 10.0).abs() < 1e-12);
        assert!(celsius_from_fahrenheit(32.0).abs() < 1e-12);
    }
}
