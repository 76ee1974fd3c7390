//! How good the forecasts were on the fleet's own past: every month is
//! forecast again with what was known then, and held against what came.
//!
//! Most parts are changed before their limit, so that the end is not seen: such
//! a forecast counts as far as it can be judged. Where a forecast put the truth
//! on its own scale (0 earliest, 1 latest) is estimated with the part still
//! running (Kaplan–Meier); a good forecast spreads evenly over that scale.

mod beside;
mod money;
mod replay;
mod score;
mod words;

use crate::calendar::Date;
use serde::Serialize;

use crate::lives::Fleet;
use crate::settings::Settings;

pub use beside::Beside;
pub use money::Plans;
pub use score::{Ahead, PartScore};

/// The result: how forecasts and the rule of thumb did.
#[derive(Debug, Clone, Serialize)]
pub struct Backtest {
    pub schema: &'static str,
    pub as_of: Date,
    /// Month-ends from which the past was forecast again.
    pub looks: usize,
    pub membrane: PartScore,
    pub resin: PartScore,
    /// Salt passage three months ahead, the membranes that were changed included.
    pub salt_passage_ahead: Ahead,
    /// Membranes by the suggested days and by the rule of thumb; `None` while
    /// none has reached its limit.
    pub plans: Option<Plans>,
    /// The same in sentences.
    pub words: Vec<String>,
    /// Parts whose limit was seen, each with one forecast made some time
    /// before; in order of the day it came.
    #[serde(skip)]
    pub membranes_beside: Vec<Beside>,
    #[serde(skip)]
    pub resin_beside: Vec<Beside>,
}

#[cfg(test)]
impl Backtest {
    /// A result that holds nothing but forecasts beside what came.
    pub fn of_beside(as_of: Date, beside: Vec<Beside>) -> Backtest {
        Backtest {
            schema: "litrewise/backtest/1",
            as_of,
            looks: 22,
            membrane: score::of(&[], f64::NAN),
            resin: score::of(&[], f64::NAN),
            salt_passage_ahead: score::ahead(&[]),
            plans: None,
            words: vec!["22 month-ends of your own past were forecast again.".to_owned(); 4],
            membranes_beside: beside.clone(),
            resin_beside: beside,
        }
    }
}

/// Replays the past up to the end of `as_of`. `first_day`: of the first row;
/// `progress` hears how many of how many month-ends are forecast again.
pub fn run(
    fleet: &Fleet,
    (first_day, as_of): (Date, Date),
    settings: &Settings,
    progress: &dyn Fn(usize, usize),
) -> Backtest {
    let past = replay::replay(fleet, (first_day, as_of), settings, progress);
    let mut result = Backtest {
        schema: "litrewise/backtest/1",
        as_of,
        looks: past.looks,
        membrane: score::of(&past.membrane, settings.usual_interval.membrane_months),
        resin: score::of(&past.resin, f64::NAN),
        salt_passage_ahead: score::ahead(&past.ahead),
        plans: money::plans(&past, settings),
        words: Vec::new(),
        membranes_beside: beside::of(&past.membrane, beside::MEMBRANE_DAYS),
        resin_beside: beside::of(&past.resin, beside::RESIN_DAYS),
    };
    result.words = words::of(&result, settings);
    result
}
