//! Pure mathematics: it knows nothing of water or vans.
//!
//! Plain slices go in, plain structs come out. Whatever is drawn at random is
//! seeded, floats are ordered with `total_cmp`, and every iteration says why it
//! stopped ([`Stop`]).

// matrix subscripts read best as subscripts
#![allow(clippy::needless_range_loop)]

pub mod change;
pub mod curve;
pub mod dense;
pub mod drift;
mod error;
pub mod isotonic;
pub mod linear;
pub mod local_level;
pub mod mixed;
pub mod nonparametric;
pub mod optimise;
pub mod passage;
mod prior;
pub mod quadrature;
pub mod quantiles;
pub mod random;
pub mod replacement;
pub mod robust;
pub mod scores;
pub mod special;
pub mod survival;
pub mod vigil;
pub mod wide;

pub use error::{StatsError, Stop};
pub use prior::GaussianPrior;
pub use random::Rng;

#[cfg(test)]
mod degradation_tests;
#[cfg(test)]
pub(crate) mod test_data;
