//! Any mess in, nothing lost: faults and pollution of every known kind put
//! before the reading, each with the outcome that a careful clerk would choose.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod catalogue;
mod faults;
mod pollution;
mod store;
