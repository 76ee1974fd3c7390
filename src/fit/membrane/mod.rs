//! How a membrane's salt passage climbs with what it has drunk.
//!
//! `ln SP25 = start + rate·E + wander along E + noise`, with exposure `E` =
//! Σ litres/1000·(hardness/200)^γ. Each element has a start and a rate of its
//! own; the rates are log-normal over the fleet. The fleet's shared numbers are
//! the most probable ones given all elements and the priors of common
//! practice, with their curvature as uncertainty (Lu & Meeker 1993 for mixed
//! degradation; Ye & Chen 2014 for the wandering path).

mod abreast;
mod course;
mod forecast;
mod kin;
mod looks;
mod shared;
mod step;
mod told;
mod typical;
mod watch;

pub use course::{Course, CourseSums};
pub use forecast::{
    ElementDraws, Growth, InUse, NewElement, draws_of, forecast, new_element_courses,
    new_element_lives,
};
pub use kin::{Kin, van_share};
pub use looks::{Aboard, ElementLooks, looks_of, teaches};
pub use shared::{SharedFit, chosen, fit_shared};
pub use told::{Told, told};
pub use typical::{lives_by_part, typical_lives};
pub use watch::watch;
