//! How membranes decline and how long resin lasts, learnt from the fleet's lives.
//!
//! The per-van step turns lives into looks; the fleet step finds the shared
//! numbers; then each van is forecast on its own. Nothing depends on the
//! number of threads.

mod areas;
mod fitted_fleet;
mod horizon;
mod membrane;
mod meters;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod proving;
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing)]
mod published;
mod resin;
mod short;
#[cfg(test)]
mod tests;
mod types;
mod usage;
mod valves;
mod van;

use rayon::prelude::*;

use crate::lives::FleetLives;
use crate::settings::Settings;

pub use areas::Based;
pub use fitted_fleet::FittedFleet;
use fitted_fleet::Membranes;
pub use horizon::{HORIZON_DAYS, middle_of, span_of};
pub use meters::{Behind, Beside, Break, BreakKind, Meter, PressureLoss, Probe, VanMeters, Why};
pub use types::*;
pub use van::{Charted, Glance, Plant, VanForecast};

/// What the fleet step asks of every van.
fn glances(lives: &FleetLives, settings: &Settings) -> Vec<Glance> {
    let vans = lives.vans.par_iter().chain(&lives.retired);
    vans.map(|van| Glance::of(van, settings)).collect()
}

/// What became of every element and charge on record.
pub fn outcomes(lives: &FleetLives, settings: &Settings) -> Vec<PartOutcome> {
    let glances = glances(lives, settings);
    let glances: Vec<&Glance> = glances.iter().collect();
    let Ok(membranes) = Membranes::learn(lives, &glances, settings);
    let vans = lives.vans.par_iter().chain(&lives.retired);
    vans.enumerate()
        .flat_map_iter(|(number, van)| {
            membranes.with(number, van, &glances, |known| {
                van::outcomes(van, known, &membranes.fit, settings)
            })
        })
        .collect()
}

/// Fits the fleet and forecasts every van in service.
pub fn fit(lives: &FleetLives, settings: &Settings) -> FleetFit {
    fit_ahead(lives, lives, &[], settings)
}

/// The same where the future is otherwise: learnt from `lives`, forecast for
/// `changed`, whose vans are the same in the same order with what holds from now
/// on. `ahead` belongs to those vans; where it ends nothing is otherwise.
pub fn fit_ahead(
    lives: &FleetLives,
    changed: &FleetLives,
    ahead: &[Assumptions],
    settings: &Settings,
) -> FleetFit {
    let glances = glances(lives, settings);
    let Ok(fitted) = FittedFleet::of(lives, glances.iter().collect(), settings);
    let otherwise = |number: usize| ahead.get(number).copied().unwrap_or_default();
    let vans = changed.vans.par_iter().enumerate();
    let forecasts: Vec<VanForecast> = vans
        .map(|(number, van)| fitted.forecast(number, van, otherwise(number)))
        .collect();
    let based = forecasts
        .iter()
        .enumerate()
        .map(|(number, forecast)| Based {
            forecast,
            ahead: otherwise(number),
            number,
        });
    let Ok(areas) = fitted.areas(changed, Based::by_district(based));
    let all = lives.vans.iter().chain(&lives.retired).enumerate();
    let charted: Vec<Charted> = all
        .map(|(number, van)| {
            let mut charted = fitted.charted(number, van, forecasts.get(number));
            if let Some(changed) = changed.vans.get(number) {
                charted.resin_litres = Some(changed.resin_litres);
            }
            charted
        })
        .collect();
    FleetFit {
        fleet: fitted.told(areas, &charted),
        vans: forecasts.into_iter().map(|f| f.fit).collect(),
    }
}
