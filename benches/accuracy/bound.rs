//! The observer who knows the invented world and lacks only the part's own draw.

use jiff::civil::Date;
use litrewise::demo::WeightedDays;

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
    let day = i64::from((as_of - proving.simulated.first_day).get_days());
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
    let day = i64::from((as_of - proving.simulated.first_day).get_days());
    let found = proving
        .histories
        .get(van)
        .and_then(|h| h.charge_limit(number, element, day, particles, proving.seed));
    match found {
        Some((days, litres)) => (Some(three(days, CAP_DAYS)), Some(three(litres, cap_litres))),
        None => (None, None),
    }
}

/// Weighted quantiles, capped.
fn three(mut draws: WeightedDays, cap: f64) -> Three {
    draws.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = draws.iter().map(|d| d.1).sum();
    [0.1, 0.5, 0.9].map(|p| {
        let mut below = 0.0;
        for (value, weight) in &draws {
            below += weight;
            if below >= p * total {
                return value.min(cap);
            }
        }
        cap
    })
}
