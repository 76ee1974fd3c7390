//! Whether recovery is held or the reject valve fixed: behind a fixed one warm water
//! raises recovery, and salt passage with it, which is no part of salt passage at usual
//! recovery.

use crate::lives::ValveSeen;
use crate::water::{log_mean_factor, polarisation_factor, water_temperature_factor};

/// Middle of the year at a tap, °C.
const USUAL_C: f64 = 11.5;
/// Where nobody noted what goes to drain (common practice, no source: 25-50 %).
const USUAL_RECOVERY: f64 = 0.35;
/// How far a plant of either kind strays from it, per °C (judgement).
const STRAYS: f64 = 0.007;
/// `ln` odds that one van's or all other vans' records may bring.
const MOST_OWN: f64 = 6.0;
const MOST_OTHERS: f64 = 4.0;

/// What the fleet's vans tell of their valves.
#[derive(Debug, Clone, Copy, Default)]
pub struct Valves {
    ln_odds: f64,
}

impl Valves {
    pub fn of(seen: impl Iterator<Item = ValveSeen>) -> Valves {
        Valves {
            ln_odds: seen.map(|valve| ln_odds(&valve)).sum(),
        }
    }

    /// What a degree does to `ln` salt passage through recovery on a van, and how surely
    /// that is known.
    pub fn through_recovery(&self, own: Option<ValveSeen>, recovery: Option<f64>) -> (f64, f64) {
        let of_own = own.map_or(0.0, |valve| ln_odds(&valve));
        let others = (self.ln_odds - of_own).clamp(-MOST_OTHERS, MOST_OTHERS);
        let fixed = 1.0 / (1.0 + (-(of_own + others)).exp());
        let recovery = recovery.unwrap_or(USUAL_RECOVERY).clamp(0.1, 0.7);
        let effect = fixed_valve_per_c(recovery);
        let unsure = effect * (fixed * (1.0 - fixed)).sqrt();
        (fixed * effect, unsure.hypot(0.1 * effect))
    }
}

/// `ln` odds of a fixed valve against recovery held: the reject flow over the permeate
/// falls as fast as warmth raises the permeate, or it does not fall.
fn ln_odds(valve: &ValveSeen) -> f64 {
    let warmer = water_temperature_factor(USUAL_C + 0.5) / water_temperature_factor(USUAL_C - 0.5);
    let variance = valve.sd * valve.sd + STRAYS * STRAYS;
    let away = |from: f64| (valve.per_c - from).powi(2) / (2.0 * variance);
    (away(0.0) - away(-warmer.ln())).clamp(-MOST_OWN, MOST_OWN)
}

/// What a degree does to `ln` salt passage behind a fixed reject valve, through the feed
/// side's mean concentration and the layer at the membrane.
fn fixed_valve_per_c(recovery: f64) -> f64 {
    let ln_side = |y: f64| (log_mean_factor(y) * polarisation_factor(y)).ln();
    let at = |c: f64| {
        let made = recovery * water_temperature_factor(c) / water_temperature_factor(USUAL_C);
        made / (made + 1.0 - recovery)
    };
    ln_side(at(USUAL_C + 0.5)) - ln_side(at(USUAL_C - 0.5))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fixed_valve_adds_about_a_per_cent_a_degree() {
        // Recovery 0.25 to 0.35 from 5 to 18 °C adds 1 % per °C (derived, see the notes
        // on normalisation).
        let effect = fixed_valve_per_c(0.33);
        assert!((0.008..0.014).contains(&effect), "{effect}");
    }

    #[test]
    fn vans_that_tell_decide_for_those_that_do_not() {
        let fixed = ValveSeen {
            per_c: -0.035,
            sd: 0.004,
        };
        let held = ValveSeen {
            per_c: 0.001,
            sd: 0.004,
        };
        let none = Valves::default().through_recovery(None, None);
        let of_fixed = Valves::of([fixed; 4].into_iter()).through_recovery(None, None);
        let of_held = Valves::of([held; 4].into_iter()).through_recovery(None, None);
        assert!(of_held.0 < 0.1 * of_fixed.0, "{of_held:?} {of_fixed:?}");
        assert!(of_held.1 < none.1 && of_fixed.1 < none.1);
        assert!(of_held.0 < none.0 && none.0 < of_fixed.0);
        // A van's own records speak louder than all others'.
        let odd = Valves::of([held; 4].into_iter()).through_recovery(Some(fixed), None);
        assert!(odd.0 > 0.6 * of_fixed.0, "{odd:?}");
    }
}
