//! When parts are best changed, and what that costs.

pub mod membrane;
