//! Chemistry and units: plain functions that know nothing of files.

mod hardness;

pub use hardness::HardnessUnit;
