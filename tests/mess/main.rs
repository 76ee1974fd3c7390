//! Any mess in, nothing lost: faults and pollution of every known kind put
//! before the reading, each with the outcome that a careful clerk would choose.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod catalogue;
#[cfg(unix)]
mod crash;
mod crates;
mod faults;
mod pollution;
mod properties;
#[path = "../it/run.rs"]
#[allow(dead_code)]
mod run;
mod store;
mod untrusted;
