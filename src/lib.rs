//! `litrewise` turns a fleet's CSV readings into a store, fits how membranes
//! decline and how long resin lasts against the hardness of each van's water,
//! and renders the monthly report a fleet manager acts on.
//!
//! Data flows one way: `ingest` → `store` → `lives` → `fit` → `advise` →
//! `report`; `calendar`, `stats` and `water` are leaves.

pub mod advise;
pub mod backtest;
pub mod calendar;
pub mod cli;
pub mod demo;
pub mod fit;
pub mod ingest;
pub mod lives;
pub mod report;
pub mod settings;
pub mod stats;
pub mod store;
pub mod water;
