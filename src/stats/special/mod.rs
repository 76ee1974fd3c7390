//! Distribution functions and their inverses, to nearly full double precision.
//!
//! `erfc` and `ln Γ` come from `libm`; everything else is built on them.
//! Arguments outside a function's domain give NaN, as in the standard library.

mod beta;
mod gamma;
mod normal;
mod root;

pub use beta::{
    beta_quantile, f_cdf, f_quantile, incomplete_beta, ln_beta, student_t_cdf, student_t_pdf,
    student_t_quantile,
};
pub use gamma::{
    chi_squared_cdf, chi_squared_quantile, gamma_p, gamma_q, gamma_quantile, ln_gamma,
};
pub use normal::{
    ln_normal_cdf, ln_normal_sf, normal_cdf, normal_hazard, normal_pdf, normal_quantile, normal_sf,
};

#[cfg(test)]
mod tests;
