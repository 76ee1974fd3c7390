//! Limits, prices, how the fleet runs and when it is worked on: defaults, then `litrewise.toml`, then the
//! environment, then flags, resolved once.

mod keys;
mod load;
mod set;
mod show;
mod work;

use std::collections::BTreeMap;

use crate::calendar::TimeZone;

pub use keys::{SECTIONS, Value};
pub use load::{Effective, FILE_NAME, Overrides, SettingsError, load, load_with_origins};
pub use set::with_value;
pub use show::{as_text, as_toml, listed};
pub use work::{Work, WorkingDays};

/// Everything that can be set, complete.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The fleet's time zone; days begin and end there.
    pub time_zone: TimeZone,
    pub limits: Limits,
    pub prices: Prices,
    pub usual_interval: UsualInterval,
    pub running: Running,
    pub work: Work,
    /// On the shelf: pieces, or litres of resin, by kind of part or by make.
    pub stock: BTreeMap<String, f64>,
}

/// Where a membrane or a resin charge is at its end.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Limits {
    /// Salt passage as a fraction at 25 °C.
    pub salt_passage: f64,
    /// Product water, ppm.
    pub product_ppm: f64,
}

/// Prices in the fleet's own currency; `None` where nobody said.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Prices {
    pub currency: Option<String>,
    /// One membrane element.
    pub membrane: Option<f64>,
    /// One set of pre-filters.
    pub prefilter: Option<f64>,
    pub resin_per_litre: Option<f64>,
    /// 1000 L from the tap, and 1000 L to the drain.
    pub water_per_m3: Option<f64>,
    pub drain_per_m3: Option<f64>,
    /// Labour and travel for one visit to a base, whatever is changed.
    pub labour_per_visit: Option<f64>,
    /// A van off the road for a day, unplanned.
    pub lost_day: Option<f64>,
}

/// The intervals that the suggestion is compared with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualInterval {
    pub membrane_months: f64,
    pub prefilter_weeks: f64,
}

/// How this fleet runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Running {
    /// Notice needed before a replacement, days.
    pub lead_days: i32,
    /// From ordering a part to having it, days.
    pub order_days: i32,
    /// Longest pre-filter interval, days.
    pub prefilter_days: f64,
    /// Free chlorine a pre-filter set takes up, g.
    pub prefilter_chlorine_g: f64,
    /// Free chlorine in the tap water, mg/L.
    pub chlorine_mg_l: f64,
    /// Share of the feed that becomes permeate where no flow tells, 0..1.
    pub recovery: f64,
    /// False alarms of a failing membrane allowed in a healthy year of one van.
    pub false_alarms_per_van_year: f64,
    /// Size of the bags that resin is bought in, L.
    pub resin_bag_litres: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            time_zone: TimeZone::LONDON,
            limits: Limits {
                salt_passage: 0.10,
                product_ppm: 10.0,
            },
            prices: Prices::default(),
            usual_interval: UsualInterval {
                membrane_months: 21.0,
                prefilter_weeks: 12.0,
            },
            running: Running {
                lead_days: 14,
                order_days: 7,
                prefilter_days: 84.0,
                prefilter_chlorine_g: 40.0,
                chlorine_mg_l: 0.4,
                recovery: 0.30,
                false_alarms_per_van_year: 0.01,
                // The trade's common bag (common practice, no source).
                resin_bag_litres: 25.0,
            },
            work: Work::default(),
            stock: BTreeMap::new(),
        }
    }
}
