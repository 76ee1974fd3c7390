//! A van's history cut into component lives with their exposure.

mod types;

pub use types::*;
