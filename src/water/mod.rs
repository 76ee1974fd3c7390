//! Chemistry and units: plain functions that know nothing of files, vans or
//! statistics. Each names its unit and its source.

mod blend;
mod carbon_dioxide;
mod chlorine;
mod concentrate;
mod conductivity;
mod hardness;
mod hardness_from_feed;
mod resin_load;
mod salt_passage;
mod scaling;
mod temperature;
mod units;

pub use blend::blended;
pub use carbon_dioxide::{
    CO2_PRIOR_SD_LN, activity_coefficient, carbonic_acid_ppm, co2_mmol_l, co2_prior_median_mmol_l,
    pk1_carbonic,
};
pub use chlorine::{
    CHLORINE_TOLERANCE_HIGH_PPM_HOURS, CHLORINE_TOLERANCE_LOW_PPM_HOURS, chlorine_dose_ppm_hours,
    chlorine_taken_up_mg,
};
pub use concentrate::{
    FeedSide, OSMOTIC_BAR_PER_MG_L, concentrate_over_feed, concentration_factor, log_mean_factor,
    net_driving_pressure_bar, osmotic_pressure_bar, polarisation_factor, recovery_from_flows,
};
pub use conductivity::{
    ALPHA_NATURAL_WATER, PPM_PER_US_CM, at_25_c, ppm_from_us_cm, reading_noise_sd_ln,
    us_cm_from_ppm,
};
pub use hardness::{HardnessUnit, hardness_from_ions, uk_class, usgs_class};
pub use hardness_from_feed::{
    HARDNESS_PER_PPM_MAX, HARDNESS_PER_PPM_MEDIAN, HARDNESS_PER_PPM_SD_LN, hardness_from_feed_ppm,
};
pub use resin_load::{
    CAPACITY_MEDIAN_EQ_L, CAPACITY_SD_LN, CATION_CAPACITY_MEDIAN_EQ_L, KAPPA_MEQ_PER_PPM,
    MEQ_PER_MG_CO2, SECOND_EVENT_SD_LN, SECOND_EVENT_SHARE, capacity_from_grains_per_ft3,
    litres_per_litre_of_resin, resin_load_meq_l,
};
pub use salt_passage::{
    CannotTell, Conditions, KnownBy, Normalised, PRESSURE_EXPONENT, UsualOperation, salt_passage,
    salt_passage_at_25, salt_passage_from_flow,
};
pub use scaling::{langelier_index, langelier_rise_in_concentrate};
pub use temperature::{
    TAP_TEMPERATURE_SD_C, THETA_MEAN_PER_C, THETA_RECOVERY_SHARE_PER_C, THETA_SD_PER_C,
    salt_temperature_factor, tap_temperature_c, theta_from_activation_energies,
    water_temperature_factor,
};
pub use units::{
    bar_from_kpa, bar_from_psi, celsius_from_fahrenheit, litres_from_imperial_gallons,
    litres_from_us_gallons,
};
