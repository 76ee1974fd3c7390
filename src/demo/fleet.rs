//! What a simulation gives: the rows people would have written down, and
//! beside them the truth that no reading shows.

use crate::calendar::{Date, DateTime};

use super::plant::Plant;

/// A simulated fleet. Rows are sorted by van, then time.
#[derive(Debug, Clone)]
pub struct SimulatedFleet {
    pub first_day: Date,
    pub last_day: Date,
    pub readings: Vec<SimulatedReading>,
    pub fills: Vec<SimulatedFill>,
    pub services: Vec<SimulatedService>,
    pub vans: Vec<SimulatedVan>,
    pub hardness: Vec<SimulatedHardness>,
    /// One per van, in order of name.
    pub truth: Vec<TrueVan>,
    /// One per district in which a van is based on the last day, in order of
    /// name; empty unless the plan looks ahead.
    pub districts: Vec<TrueDistrict>,
}

/// As read off the meters, rounded as they show it.
#[derive(Debug, Clone)]
pub struct SimulatedReading {
    pub van: String,
    pub taken_at: DateTime,
    pub postcode: Option<String>,
    pub feed_ppm: Option<f64>,
    pub permeate_ppm: Option<f64>,
    pub product_ppm: Option<f64>,
    pub water_c: Option<f64>,
    pub feed_bar: Option<f64>,
    pub permeate_lpm: Option<f64>,
    pub concentrate_lpm: Option<f64>,
}

#[derive(Debug, Clone)]
pub struct SimulatedFill {
    pub van: String,
    pub started_at: DateTime,
    pub ended_at: Option<DateTime>,
    pub postcode: Option<String>,
    pub litres: Option<f64>,
    pub meter_litres: Option<f64>,
    pub reject_litres: Option<f64>,
    pub bought_in: bool,
}

#[derive(Debug, Clone)]
pub struct SimulatedService {
    pub van: String,
    pub done_at: Date,
    pub item: &'static str,
    pub quantity: Option<f64>,
    pub cost: Option<f64>,
    pub part: Option<&'static str>,
    pub note: Option<&'static str>,
}

#[derive(Debug, Clone)]
pub struct SimulatedVan {
    pub van: String,
    pub base_postcode: String,
    pub tank_litres: f64,
    pub membranes: u32,
    pub resin_litres: f64,
    pub in_service_on: Option<Date>,
    pub from: Option<Date>,
}

#[derive(Debug, Clone)]
pub struct SimulatedHardness {
    pub postcode: &'static str,
    pub hardness: f64,
    pub unit: &'static str,
    pub source: &'static str,
    pub as_of: Option<Date>,
}

/// What was really going on in a van.
#[derive(Debug, Clone)]
pub struct TrueVan {
    pub van: String,
    pub district: &'static str,
    /// Oldest first; those in use on the last day, and after it for as long as
    /// the plan looks ahead, are among them.
    pub elements: Vec<TrueElement>,
    pub charges: Vec<TrueCharge>,
    /// First day of another base, and the day from which a probe drifts.
    pub moves_on: Option<Date>,
    pub probe_drifts_from: Option<Date>,
    /// What that drift adds to `ln` of the salt passage that is read, per day.
    pub passage_drift_per_day: f64,
    /// Mains-fed litres of each day from the fleet's first one on, the days
    /// ahead of the records included.
    pub litres_by_day: Vec<f64>,
    /// The plant as it stands at the end.
    pub plant: Plant,
}

/// One element, followed until its limit even after it was taken out: it then
/// goes on drinking what the van drinks.
#[derive(Debug, Clone)]
pub struct TrueElement {
    /// `None`: fitted before the simulation.
    pub fitted_on: Option<Date>,
    /// `None`: not taken out within the records.
    pub removed_on: Option<Date>,
    /// Whether a service row tells of its fitting.
    pub recorded: bool,
    /// Litres made in the van, within the records.
    pub litres: f64,
    /// Noise-free salt passage at 25 °C, usual pressure and recovery, on the
    /// last day in the van within the records.
    pub salt_passage: f64,
    /// First day on which that was, or would be if left in, 0.10 or more;
    /// `None`: not as far as the plan looks ahead.
    pub limit_on: Option<Date>,
    /// Day on which a seal began to leak, if ever.
    pub leaks_from: Option<Date>,
    /// How fast it ages against a usual one in the same water.
    pub temper: f64,
    /// Share of its decline that chlorine did, up to its limit.
    pub chlorine_share: f64,
    /// The same every tenth day of the fleet, from the first such day on which
    /// it was fitted, until the limit: day of the fleet and fraction.
    pub passages: Vec<(i64, f64)>,
}

/// One charge, followed until its limit as [`TrueElement`] is, behind the
/// element that was in the van on its last day.
#[derive(Debug, Clone)]
pub struct TrueCharge {
    /// `None`: filled before the simulation.
    pub changed_on: Option<Date>,
    pub removed_on: Option<Date>,
    pub recorded: bool,
    /// Litres treated, within the records.
    pub litres: f64,
    /// Litres at which product water first was, or would be if left in, 10 ppm
    /// or more, and the day.
    pub limit_at_litres: Option<f64>,
    pub limit_on: Option<Date>,
    /// The same had the membranes before the last one stayed in, oldest first.
    pub earlier: Vec<EarlierLimit>,
}

/// When a charge would have reached its limit behind a membrane that was
/// taken out while the charge stayed.
#[derive(Debug, Clone)]
pub struct EarlierLimit {
    /// The day that membrane was taken out.
    pub before: Date,
    pub limit_at_litres: Option<f64>,
    pub limit_on: Option<Date>,
}

/// Whether a part fitted and taken out on those days is in the van on `day`.
fn in_van(fitted_on: Option<Date>, removed_on: Option<Date>, day: Date) -> bool {
    fitted_on.is_none_or(|d| d <= day) && removed_on.is_none_or(|d| d > day)
}

impl TrueElement {
    pub fn in_van_on(&self, day: Date) -> bool {
        in_van(self.fitted_on, self.removed_on, day)
    }
}

impl TrueCharge {
    pub fn in_van_on(&self, day: Date) -> bool {
        in_van(self.changed_on, self.removed_on, day)
    }

    /// Day and litres of the limit if everything that was in the van on that
    /// day stays in.
    pub fn limit_as_of(&self, day: Date) -> (Option<Date>, Option<f64>) {
        match self.earlier.iter().find(|e| day < e.before) {
            Some(e) => (e.limit_on, e.limit_at_litres),
            None => (self.limit_on, self.limit_at_litres),
        }
    }
}

/// Lives of the next new element and charge on the median van of a district, medians.
#[derive(Debug, Clone)]
pub struct TrueDistrict {
    pub postcode: &'static str,
    pub vans: usize,
    pub hardness_mg_l_caco3: f64,
    pub membrane_life_litres: Option<f64>,
    /// Elements that share the water on that van.
    pub membranes: u32,
    pub membrane_life_days: Option<f64>,
    pub resin_life_litres: Option<f64>,
}
