//! What a user sees, tested on the finished binary: an empty folder per test.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod layers;
mod run;
mod starting;
