//! Quantiles of draws, with "never, or more than ten years ahead" beyond every date.

use crate::calendar::{Date, DateExt};

use super::Span;

/// Ten years and the odd leap days: what lies beyond counts as never.
pub const HORIZON_DAYS: f64 = 3653.0;

/// A number whose order among others is that of the value: quicker to compare.
fn key(value: f64) -> i64 {
    let bits = value.to_bits() as i64;
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// The way back from [`key`].
fn value(key: i64) -> f64 {
    f64::from_bits((key ^ (((key >> 63) as u64) >> 1) as i64) as u64)
}

/// The middle value, the upper one of two; `None` without values.
pub fn middle_of(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut keys: Vec<i64> = values.map(key).collect();
    let middle = keys.len() / 2;
    if middle < keys.len() {
        Some(value(*keys.select_nth_unstable(middle).1))
    } else {
        None
    }
}

/// The values nearest to the quantiles of ascending shares; `None` without values.
pub fn nearest_of<const N: usize>(
    values: impl Iterator<Item = f64>,
    shares: [f64; N],
) -> Option<[f64; N]> {
    let mut keys: Vec<i64> = values.map(key).collect();
    let last = keys.len().checked_sub(1)?;
    let mut from = 0;
    let places = shares.map(|p| (p * last as f64).round() as usize);
    for place in places {
        if let Some(rest) = keys.get_mut(from..)
            && let Some(nth) = place.checked_sub(from)
            && nth < rest.len()
        {
            rest.select_nth_unstable(nth);
            from = place + 1;
        }
    }
    Some(places.map(|place| keys.get(place).map_or(f64::NAN, |k| value(*k))))
}

/// Puts values in order.
pub fn sort(values: &mut [f64]) {
    values.sort_unstable_by_key(|v| key(*v));
}

/// Equally likely positive values spread by a power about their middle, on the
/// log scale.
pub struct Spreading {
    middle: Option<f64>,
    power: f64,
}

impl Spreading {
    pub fn about_middle(values: impl Iterator<Item = f64>, power: f64) -> Spreading {
        let middle = middle_of(values).filter(|m| *m > 0.0 && m.is_finite());
        Spreading { middle, power }
    }

    /// Where a value goes. Without a positive, finite middle nothing moves; nor
    /// does what is not positive and finite itself.
    pub fn of(&self, value: f64) -> f64 {
        match self.middle {
            Some(middle) if value > 0.0 && value.is_finite() => {
                middle * (value / middle).powf(self.power)
            }
            _ => value,
        }
    }
}

/// Quantiles of draws in any order; a quantile that is infinite is `None`.
pub fn span_of(draws: impl Iterator<Item = f64>) -> Span<f64> {
    /// So few are put in order sooner than parted.
    const FEW: usize = 100;
    let mut keys = Vec::with_capacity(draws.size_hint().1.unwrap_or(0));
    keys.extend(draws.map(key));
    let count = keys.len();
    if count <= FEW {
        keys.sort_unstable();
        return span_at(count, |i| keys.get(i).map(|k| value(*k)));
    }
    // Three places and their neighbours in order are all that is asked for.
    let mut from = 0;
    for p in [0.1, 0.5, 0.9] {
        let at = place(p, count) as usize;
        for place in [at, at + 1] {
            if let Some(rest) = keys.get_mut(from..)
                && let Some(nth) = place.checked_sub(from)
                && nth < rest.len()
            {
                rest.select_nth_unstable(nth);
                from = place + 1;
            }
        }
    }
    span_at(count, |i| keys.get(i).map(|k| value(*k)))
}

/// The same for draws in ascending order.
pub fn span_of_sorted(sorted: &[f64]) -> Span<f64> {
    span_at(sorted.len(), |i| sorted.get(i).copied())
}

/// Quantiles of so many draws, of which `draw` gives one by its place in order.
fn span_at(count: usize, draw: impl Fn(usize) -> Option<f64>) -> Span<f64> {
    let at = |p: f64| {
        let position = place(p, count);
        let low = draw(position.floor() as usize)?;
        let high = draw(position.ceil() as usize)?;
        let value = if low.is_finite() && high.is_finite() {
            low + (high - low) * position.fract()
        } else {
            high
        };
        value.is_finite().then_some(value)
    };
    Span {
        p10: at(0.1),
        p50: at(0.5),
        p90: at(0.9),
    }
}

/// Where among so many values in order the quantile lies: each stands for the
/// middle of its share (Hazen).
fn place(p: f64, count: usize) -> f64 {
    (p * count as f64 - 0.5).clamp(0.0, (count as f64 - 1.0).max(0.0))
}

/// Quantiles of days from the as-of day, as dates not before `earliest`.
pub fn day_span(sorted_days: &[f64], as_of: Date, earliest: Option<Date>) -> Span<Date> {
    let span = span_of_sorted(sorted_days);
    let date = |days: Option<f64>| {
        let days = days.filter(|d| *d <= HORIZON_DAYS)?;
        let date = as_of.checked_plus_days(days.floor() as i64)?;
        Some(earliest.map_or(date, |e| date.max(e)))
    };
    Span {
        p10: date(span.p10),
        p50: date(span.p50),
        p90: date(span.p90),
    }
}
