//! What a user sees, tested on the finished binary: an empty folder per test.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod charges;
mod deciding;
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
