//! How membranes decline and how long resin lasts, learnt from the fleet's lives.

mod types;

pub use types::*;
