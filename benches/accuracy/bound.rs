//! The observer who knows the invented world and lacks only the part's own draw.

use litrewise::inside::calendar::{Date, DateExt};

use crate::cases::{CAP_DAYS, Three};
use crate::fleet::ProvingFleet;

pub fn element(
    proving: &ProvingFleet,
    van: usize,
    number: usize,
    as_of: Date,
    particles: usize,
) -> Option<Three> {
    if particles == 0 {
        return None;
    }
    let day = i64::from(as_of.days_since(proving.simulated.first_day));
    let days = proving
        .histories
        .get(van)?
        .element_limit(number, day, particles, proving.seed)?;
    Some(three(days, CAP_DAYS))
}

/// Days and litres left.
pub fn charge(
    proving: &ProvingFleet,
    van: usize,
    number: usize,
    element: Option<usize>,
    as_of: Date,
    particles: usize,
    cap_litres: f64,
) -> (Option<Three>, Option<Three>) {
    if particles == 0 {
        return (None, None);
    }
    let day = i64::from(as_of.days_since(proving.simulated.first_day));
    let found = proving
        .histories
        .get(van)
        .and_then(|h| h.charge_limit(number, element, day, particles, proving.seed));
    match found {
        Some((days, litres)) => (Some(three(days, CAP_DAYS)), Some(three(litres, cap_litres))),
        None => (None, None),
    }
}

/// Quantiles of equally likely values, capped.
fn three(mut draws: Vec<f64>, cap: f64) -> Three {
    draws.sort_by(f64::total_cmp);
    [0.1, 0.5, 0.9].map(|p| {
        // The first value with at least that share at or below it.
        let first = (p * draws.len() as f64).ceil() as usize;
        draws
            .get(first.saturating_sub(1))
            .map_or(cap, |value| value.min(cap))
    })
}
