//! How good earlier forecasts were, in a few words.

use super::words;
use crate::backtest::{Backtest, PartScore};

/// A sentence or two for the first page.
pub fn in_short(result: &Backtest) -> Vec<String> {
    let told = |score: &PartScore, one: &str, many: &str| {
        let within = score.within?;
        let parts = words::count(score.parts, one, many);
        Some(format!(
            "{} of past forecasts for {parts} came true in range (target 80 %).",
            words::percent(within, 0)
        ))
    };
    let mut said: Vec<String> = [
        told(&result.membrane, "RO membrane", "RO membranes"),
        told(&result.resin, "resin refill", "resin refills"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if said.is_empty() {
        said.push(
            "Too few parts have reached their limit yet to say how good forecasts are here."
                .to_owned(),
        );
    }
    said
}
