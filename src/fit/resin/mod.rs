//! How long a resin charge lasts: the load it takes until product water reaches the
//! limit.
//!
//! Load per litre of resin = (κ·∫permeate dV + share·CO2·V) / resin litres.
//! Carbon dioxide is unseen by the meter; the share of its prior value that counts is
//! learnt: 0 where mineral anions push it out again, 1 where the bed dies in one step,
//! more where litres count whatever is in them. Product over permeate follows one of
//! several curves: steps and rises, a plateau of carbonic acid before the rise, acid
//! above the permeate. How often each occurs is learnt too, so that what spent resin
//! lets through is what earlier charges here let through.
//!
//! Capacities are log-normal over charges, about the van's middle, that about the
//! district's, that about the fleet's. A charge changed early says that it would have
//! lasted longer, one that rose where it rose.

mod capacity;
mod charge;
mod curve;
mod entering;
mod follow;
mod forecast;
mod grid;
mod past;
mod shared;
#[cfg(test)]
mod tests;

pub use charge::{ChargeObservations, looks_of};
pub use entering::{KNOTS, PermeateAhead, PermeateDraw, knot_litres};
pub use forecast::{Running, forecast, new_charge_lives};
pub use shared::{ResinFit, VanCharges, fit_shared};
