//! What a user sees, tested on the finished binary: an empty folder per test.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod by_month;
mod charges;
mod deciding;
// the world in which plans are tried, which a bench runs without its tests
#[allow(dead_code)]
#[path = "../../benches/money/driven.rs"]
mod driven;
mod forecasting;
mod in_turn;
mod ingesting;
mod keeping;
mod layers;
mod looking;
mod mending;
mod meters;
mod month;
mod pictures;
mod run;
mod sample;
mod schema;
mod sheets;
mod spreading;
mod starting;
