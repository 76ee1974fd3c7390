//! A van's history cut into component lives with their exposure.

mod changes;
mod charges;
mod cut;
mod days;
mod elements;
mod entering;
#[cfg(test)]
mod fixture;
mod hardness_table;
mod health;
mod litres;
mod looks;
mod passage;
mod postcode;
mod prefilters;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic)]
mod promises;
mod recovery;
mod remarks;
mod seen;
mod types;
mod usage;
mod van;

pub use cut::cut;
pub use hardness_table::{HardnessSeries, HardnessTable, WaterSeen};
pub use postcode::Postcode;
pub use types::*;
