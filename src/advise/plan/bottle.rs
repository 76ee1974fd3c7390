//! The DI vessel that fits a van's use of water.

use serde::Serialize;

use crate::advise::prices::DecisionPrices;

/// Sizes that the trade sells for vans, L of resin (common practice, no source).
const SIZES: [f64; 4] = [7.0, 11.0, 18.0, 25.0];
/// Resin that lies longer is not worth carrying about (judgement).
const LONGEST_DAYS: f64 = 365.0;
/// A bottle dearer by less is as good: the smaller one weighs less.
const AS_GOOD: f64 = 1.03;
/// Another vessel is suggested only where it costs less than this share of the
/// present one's year.
const WORTH_IT: f64 = 0.90;

/// The bottle that costs least a year, the smaller of equals.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bottle {
    pub litres: f64,
    /// Days between changes.
    pub change_every_days: f64,
    /// Whether the change falls on every so-manieth pre-filter visit and needs
    /// none of its own.
    pub with_prefilters: bool,
}

/// What the choice hangs on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Round {
    pub litres_per_day: f64,
    /// Litres of water that a litre of resin is used for.
    pub litres_per_litre: f64,
    pub prefilter_days: f64,
    /// The vessel on board, L of resin.
    pub vessel_litres: f64,
}

/// `None` where the use or the resin's life cannot be told, where another vessel
/// saves little over the one on board, and without a price for labour: the
/// smallest vessel would then always cost least.
pub fn best(round: &Round, prices: &DecisionPrices) -> Option<Bottle> {
    let (present, _) = yearly(round.vessel_litres, round, prices)?;
    if prices.labour <= 0.0 {
        return None;
    }
    let priced: Vec<(f64, Bottle)> = SIZES
        .iter()
        .filter_map(|&litres| yearly(litres, round, prices))
        .collect();
    let lowest = priced.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    priced
        .into_iter()
        .find(|p| p.0 <= AS_GOOD * lowest)
        .filter(|p| p.0 <= WORTH_IT * present && p.1.litres != round.vessel_litres)
        .map(|p| p.1)
}

/// Yearly cost with a bottle: its change has a visit of its own, or waits for
/// none: it is then changed at the last pre-filter visit before its time.
fn yearly(litres: f64, round: &Round, prices: &DecisionPrices) -> Option<(f64, Bottle)> {
    let days = (litres * round.litres_per_litre / round.litres_per_day).min(LONGEST_DAYS);
    if !(days >= 1.0 && round.prefilter_days >= 1.0) {
        return None;
    }
    let resin = prices.resin_per_litre * litres * 365.25;
    let alone = (
        (resin + prices.labour * 365.25) / days,
        Bottle {
            litres,
            change_every_days: days.floor(),
            with_prefilters: false,
        },
    );
    let visits = (days / round.prefilter_days).floor();
    if visits < 1.0 {
        return Some(alone);
    }
    let together = visits * round.prefilter_days;
    let joined = (
        resin / together,
        Bottle {
            litres,
            change_every_days: together,
            with_prefilters: true,
        },
    );
    Some(if joined.0 <= alone.0 { joined } else { alone })
}
