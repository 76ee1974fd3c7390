//! A van's history cut into component lives with their exposure.
//!
//! [`cut`] goes through a van as a careful clerk would: what was known by the
//! as-of day (`seen`, `sizes`, `base`), what the meters said (`looks`), how much
//! water each fill made (`litres`) and how hard it was (`hardness_table`), when
//! parts were changed (`changes`, and `recovery` where nobody wrote it down).
//! Then it cuts `elements`, `charges` and `prefilters`, and says what a person
//! should put right (`remarks`, `health`).

mod base;
mod by_month;
mod changes;
mod charges;
mod completeness;
mod cut;
mod days;
mod elements;
mod entering;
mod fills;
#[cfg(test)]
pub(crate) mod fixture;
mod hardness_table;
mod health;
mod history_as_of;
mod laid;
mod levels;
mod litres;
mod median;
mod observations;
mod passage;
mod postcode;
mod prefilters;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::panic)]
mod promises;
mod published;
mod recovery;
mod remarks;
mod season;
mod sizes;
mod slips;
mod there;
mod types;
mod usage;
mod valve;
mod van;
mod vessel;

pub use crate::store::DistrictMonth;
pub use by_month::by_district_and_month;
pub use completeness::{Gap, missing};
pub use cut::{cut, cut_in_turn};
pub use laid::{InTurnError, LaidLives};
pub use season::TapSeason;
pub use there::water_in;
pub use types::*;
pub use valve::ValveSeen;
