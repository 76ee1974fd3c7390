//! Meters are parts too: each probe has a gain that is near 1 when all is well, drifts
//! by a few per cent a year, and now and then steps or creeps away.
//!
//! A gain shows where two things that hang together come apart. A tap that reads unlike
//! the other vans' at the same base, while its own water after the membrane goes on as it
//! did, is the tap's meter; where both move together it is the water; where the tap stays
//! and what comes through jumps, it is the membrane, its pressure, or the meter behind it,
//! told apart by flow, pressure, what the resin takes up, and how often each happens in
//! this fleet. [`explain`] weighs these for one van, [`taps`] gathers what the vans of a
//! district tell each other, this module puts both together.

mod evidence;
mod explain;
mod gain;
mod pattern;
mod pressure;
mod taps;

use std::sync::Arc;

use explain::VanEvidence;
pub use explain::{Beside, Break, BreakKind};
pub use gain::{Behind, Meter, Probe, VanMeters, Why};
pub use pressure::PressureLoss;
use taps::FleetTaps;
pub use taps::VanTaps;

use crate::lives::{Cut, VanLives};

/// Breaks a year of a van of each of its meters, and of the pressure (common practice, no
/// source: a probe lasts some years in a van, and mostly fails for all to see).
const METER_BREAKS: f64 = 0.04;
const PRESSURE_BREAKS: f64 = 0.01;
/// Share of a meter's breaks that come at once, and of those of the pressure or a seal.
const METER_AT_ONCE: f64 = 0.5;
const STEP_AT_ONCE: f64 = 0.9;

/// Spread of how far a meter that breaks is off, and of what a seal lets through more, ln
/// (judgement: a meter mostly by half as much again, a seal by twice as much).
const METER_SIZE_SD: f64 = 0.4;
const SEAL_SIZE_SD: f64 = 0.7;

/// What a fleet tells of how often things happen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rates {
    /// Times a year that a seal gives: salt passage steps up and stays up.
    pub seal: f64,
    /// Spread of what taps of one district read for good, ln.
    pub tap_spread: f64,
}

/// Seals that gave, in so many years, before the fleet has told anything (common practice,
/// no source: one in some tens of years).
const SEAL_PRIOR: (f64, f64) = (0.5, 20.0);
/// Bounds of the spread of taps in a district, ln: probes alone differ by 3 to 5 %.
const TAP_SPREAD: (f64, f64) = (0.05, 0.15);

impl Rates {
    /// What the fleet tells of how often things happen.
    fn learn(vans: &[&VanEvidence]) -> Rates {
        let years: f64 = vans.iter().map(|v| v.passage_years).sum();
        let steps: f64 = vans.iter().map(|v| v.steps_up()).sum();
        let others = (METER_BREAKS * METER_AT_ONCE + PRESSURE_BREAKS * STEP_AT_ONCE) * years;
        let mut offsets: Vec<f64> = vans
            .iter()
            .filter_map(|v| v.offset.filter(|o| o.others >= 2))
            .map(|o| o.mean.abs())
            .collect();
        // The middle of the distances from 0 is 0.674 standard deviations.
        let middle = crate::stats::robust::median_in_place(&mut offsets).unwrap_or(0.0) / 0.674;
        Rates {
            seal: (SEAL_PRIOR.0 + (steps - others).max(0.0)) / (SEAL_PRIOR.1 + years),
            tap_spread: middle.clamp(TAP_SPREAD.0, TAP_SPREAD.1),
        }
    }
}

/// What every van of a fleet tells of its meters, by its number.
#[derive(Debug, Clone, Default)]
pub struct FleetMeters {
    vans: Vec<Arc<VanMeters>>,
}

impl FleetMeters {
    /// `taps`: of every van of the fleet, by its number, and whether others learn from it.
    ///
    /// # Errors
    /// Where lives cannot be read back.
    pub fn learn<C: Cut>(
        fleet: &C,
        taps: &[(Option<&VanTaps>, bool)],
    ) -> Result<FleetMeters, C::Error> {
        let among = FleetTaps::of(taps.iter().filter_map(|(taps, _)| *taps));
        let all: Vec<usize> = (0..fleet.vans()).collect();
        let evidence = fleet.each(&all, |number, van: &VanLives| {
            let own = taps.get(number).and_then(|(taps, _)| *taps);
            let others = own.and_then(|own| among.beside(own));
            explain::explain(van, others.as_ref(), &among.pattern)
        })?;
        let heard = evidence
            .iter()
            .zip(taps)
            .filter(|(_, (_, is_heard))| *is_heard);
        let heard: Vec<&VanEvidence> = heard.map(|(told, _)| told).collect();
        let rates = Rates::learn(&heard);
        let vans = evidence.iter();
        Ok(FleetMeters {
            vans: vans.map(|v| Arc::new(VanMeters::of(v, &rates))).collect(),
        })
    }

    /// Of a van by its number.
    pub fn van(&self, number: usize) -> Arc<VanMeters> {
        self.vans.get(number).cloned().unwrap_or_default()
    }
}
