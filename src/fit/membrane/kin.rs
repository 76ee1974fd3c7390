//! What the other elements of the same van tell: reject valve, pump and habits
//! stay when an element goes, so that elements of one van age alike.

use super::shared::SharedFit;
use super::told::Told;
use crate::stats::drift;

/// What is believed before any van has had two elements: the share of the
/// elements' variance that is the van's, and how many pairs that is worth
/// (judgement).
const SHARE_BEFORE: f64 = 0.25;
const WORTH_PAIRS: f64 = 8.0;

/// What one element's readings say of its own `ln` rate, against what its
/// district would make of it.
#[derive(Debug, Clone, Copy)]
struct Own {
    /// Posterior mean beyond the district's.
    shift: f64,
    /// How much of the truth that shift shows, between 0 and 1.
    shown: f64,
}

fn own(fit: &SharedFit, told: &Told) -> Own {
    let shared = &fit.best.shared;
    let (addition, unsure) = fit.best.district(told.district.as_ref());
    let (mean, sd) = (shared.ln_rate + addition, shared.rate_sd.hypot(unsure));
    let posterior = drift::rate_posterior(&told.as_made, mean, sd);
    let first: f64 = posterior
        .ln_rate
        .iter()
        .zip(&posterior.weight)
        .map(|(u, w)| u * w)
        .sum();
    let second: f64 = posterior
        .ln_rate
        .iter()
        .zip(&posterior.weight)
        .map(|(u, w)| (u - first).powi(2) * w)
        .sum();
    Own {
        shift: first - mean,
        shown: (1.0 - second / (sd * sd)).clamp(0.0, 1.0),
    }
}

/// The share of the variance of `ln` rates that elements of one van have in
/// common, from all vans that had several. `vans`: what each van's elements tell.
pub fn van_share<'a>(fit: &SharedFit, vans: impl Iterator<Item = &'a [Option<Told>]>) -> f64 {
    let variance = fit.best.shared.rate_sd.powi(2);
    let mut together = SHARE_BEFORE * variance * WORTH_PAIRS;
    let mut weight = WORTH_PAIRS;
    for told in vans.filter(|told| told.len() > 1) {
        let own: Vec<Own> = told.iter().flatten().map(|told| own(fit, told)).collect();
        for (i, a) in own.iter().enumerate() {
            for b in own.iter().skip(i + 1) {
                // One van with many elements must not decide alone.
                let worth = 2.0 / own.len() as f64;
                let bound = 2.0 * variance;
                together += worth * (a.shift * b.shift).clamp(-bound, bound);
                weight += worth * a.shown * b.shown;
            }
        }
    }
    (together / weight / variance).clamp(0.0, 0.8)
}

/// What the van's other elements make of the next one's `ln` rate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kin {
    /// Added to its mean.
    pub shift: f64,
    /// Its variance over that without kin.
    pub variance: f64,
}

impl Kin {
    pub const NONE: Kin = Kin {
        shift: 0.0,
        variance: 1.0,
    };

    /// From what the van's other elements tell.
    pub fn of(fit: &SharedFit, others: &[Option<Told>]) -> Kin {
        let variance = fit.best.shared.rate_sd.powi(2);
        let of_van = fit.van_share * variance;
        if of_van <= 0.0 {
            return Kin::NONE;
        }
        let (mut precision, mut sum) = (1.0 / of_van, 0.0);
        for own in others.iter().flatten().map(|told| own(fit, told)) {
            if own.shown < 0.05 {
                continue;
            }
            // What the readings alone say: the shift undone of its shrinking.
            let noise = variance * (1.0 - own.shown) / own.shown;
            let weight = 1.0 / (variance - of_van + noise);
            precision += weight;
            sum += weight * own.shift / own.shown;
        }
        Kin {
            shift: sum / precision,
            variance: (variance - of_van + 1.0 / precision) / variance,
        }
    }
}
