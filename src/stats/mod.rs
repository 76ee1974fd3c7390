//! Pure mathematics: it knows nothing of water or vans.
//!
//! Plain slices go in, plain structs come out. Whatever is drawn at random is
//! seeded, and floats are ordered with `total_cmp`.

// matrix subscripts read best as subscripts
#![allow(clippy::needless_range_loop)]

pub mod dense;
mod error;
pub mod life_table;
pub mod passage;
pub mod path_costs;
pub mod random;
pub mod robust;
mod root;
pub mod special;
pub mod wide;

pub use random::Rng;

#[cfg(test)]
pub(crate) mod test_data;
