//! Chemistry and units: plain functions that know nothing of files, vans or
//! statistics. Each names its unit and its source.

mod carbon_dioxide;
mod concentrate;
mod conductivity;
mod hardness;
mod hardness_from_feed;
mod resin_load;
mod salt_passage;
mod scaling;
mod temperature;
mod units;

pub use carbon_dioxide::co2_prior_median_mmol_l;
pub use concentrate::{concentration_factor, log_mean_factor, polarisation_factor};
pub use conductivity::ppm_from_us_cm;
pub use hardness::HardnessUnit;
pub use hardness_from_feed::{
    HARDNESS_PER_PPM_MAX, HARDNESS_PER_PPM_MEDIAN, hardness_from_feed_ppm,
};
pub use resin_load::KAPPA_MEQ_PER_PPM;
pub use salt_passage::{Conditions, UsualOperation, salt_passage_at_25};
pub use scaling::langelier_rise_in_concentrate;
pub use temperature::{THETA_MEAN_PER_C, tap_temperature_c, water_temperature_factor};
pub use units::{
    bar_from_kpa, bar_from_psi, celsius_from_fahrenheit, litres_from_imperial_gallons,
    litres_from_us_gallons,
};
