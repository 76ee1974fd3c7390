//! How long a resin charge lasts: the ionic load it takes until product water
//! reaches the limit.
//!
//! Load per litre of resin = (κ·∫permeate dV + share·CO2·V) / resin litres.
//! Carbon dioxide is unseen by the meter; the share of its prior value that
//! counts towards the limit is learnt from finished charges: 0 where mineral
//! anions push it out again and the climb to the limit comes late, 1 where the
//! bed dies in one step. Capacities are log-normal over charges, censored where
//! a charge was changed before the limit, drawn together by district. The last
//! stretch follows the logistic breakthrough curve (Chu 2010).

mod capacity;
mod charge;
mod entering;
mod follow;
mod forecast;
mod shared;

pub use charge::{ChargeLooks, looks_of};
pub use entering::{PermeateAhead, PermeateDraw};
pub use forecast::{Running, forecast, new_charge_lives};
pub use shared::{ResinDraw, ResinFit, fit_shared};
