//! The normal distribution function and its inverse, to nearly full double precision.
//!
//! `erfc` comes from `libm`; everything else is built on it.
//! Arguments outside a function's domain give NaN, as in the standard library.

mod normal;

pub use normal::{ln_normal_cdf, normal_cdf, normal_quantile};

#[cfg(test)]
mod tests;
