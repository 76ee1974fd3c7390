//! How a membrane's salt passage climbs with what it has drunk.
//!
//! Several laws compete ([`law`]). Under each an element has parameters of its own that
//! lie about the fleet's; its readings, gathered into cells ([`cells`]), move them
//! ([`element`]). What elements share is learnt step by step, robustly, and the laws are
//! weighed by how well each forecasts the fleet's own past with the future left out
//! ([`fleet`]). [`usual`] holds an element against the others.

mod cells;
mod element;
mod element_likelihood;
mod fleet;
mod forecast;
mod law;
mod observations;
mod shared;
mod step;
mod trajectory;
mod typical;
mod usual;

pub use element_likelihood::{ElementLikelihood, element_likelihood};
pub use fleet::Numbers;
pub use forecast::{
    ElementDraws, InUse, NewElement, draws_of, forecast, new_element_courses, new_element_lives,
    usual_exposures,
};
#[cfg(test)]
pub use law::Law;
pub use law::PACE;
pub use observations::{ElementObservations, VanConditions, is_usable_for_fit, looks_of};
pub use shared::{DRAWS, SharedFit, chosen, fit_shared};
pub use trajectory::{Trajectory, TrajectorySums};
pub use typical::lives_by_part;
