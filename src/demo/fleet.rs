//! What a simulation gives: the rows people would have written down, and
//! beside them the truth that no reading shows.

use jiff::civil::{Date, DateTime};

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
    /// Oldest first; the last one is in use on the last day.
    pub elements: Vec<TrueElement>,
    pub charges: Vec<TrueCharge>,
    /// The plant as it stands on the last day.
    pub plant: Plant,
}

#[derive(Debug, Clone)]
pub struct TrueElement {
    /// `None`: fitted before the simulation.
    pub fitted_on: Option<Date>,
    pub removed_on: Option<Date>,
    pub litres: f64,
    /// Noise-free salt passage at 25 °C, usual pressure and recovery, on the last day.
    pub salt_passage: f64,
    /// First day on which that was 0.10 or more.
    pub reached_limit_on: Option<Date>,
}

#[derive(Debug, Clone)]
pub struct TrueCharge {
    /// `None`: filled before the simulation.
    pub changed_on: Option<Date>,
    pub removed_on: Option<Date>,
    pub litres: f64,
    /// Litres at which product water first was 10 ppm or more.
    pub reached_limit_at_litres: Option<f64>,
}
