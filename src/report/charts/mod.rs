//! One chart a file: a title that says its finding, and the drawing.

pub mod expected_by_van;
pub mod forecast_beside;
pub mod intervals;
pub mod key;
pub mod life_by_hardness;
pub mod lives_by_district;
pub mod path;
pub mod per_1000_litres;
pub mod read_when;
pub mod rejection_now;
pub mod services;
pub mod small_passage;
pub mod spent_by_month;
pub mod to_do;
pub mod van_evidence;
pub mod van_passage;
pub mod van_product;
pub mod van_time;
pub mod van_weeks;
