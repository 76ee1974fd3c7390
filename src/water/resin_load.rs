//! What uses up a resin charge: milliequivalents, not ppm or days.

/// meq/L per ppm on the 0.5 scale in what a membrane lets through (between
/// NaCl 0.016 and NaHCO3 0.021; derived from ionic conductivities, CRC Handbook).
pub const KAPPA_MEQ_PER_PPM: f64 = 0.0175;
