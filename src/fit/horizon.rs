//! Quantiles of draws, with "never, or more than ten years ahead" beyond every date.

use jiff::civil::Date;

use super::Span;

/// Ten years and the odd leap days: what lies beyond counts as never.
pub const HORIZON_DAYS: f64 = 3653.0;

/// The middle value, the upper one of two; `None` without values.
pub fn middle_of(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
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

/// Quantiles of draws; a quantile that is infinite is `None`.
pub fn span_of(draws: impl Iterator<Item = f64>) -> Span<f64> {
    let mut sorted: Vec<f64> = draws.collect();
    sorted.sort_by(f64::total_cmp);
    span_of_sorted(&sorted)
}

/// The same for draws in ascending order.
pub fn span_of_sorted(sorted: &[f64]) -> Span<f64> {
    let at = |p: f64| {
        let position = p * (sorted.len() as f64 - 1.0);
        let low = sorted.get(position.floor().max(0.0) as usize)?;
        let high = sorted.get(position.ceil().max(0.0) as usize)?;
        let value = if low.is_finite() && high.is_finite() {
            low + (high - low) * position.fract()
        } else {
            *high
        };
        value.is_finite().then_some(value)
    };
    Span {
        p10: at(0.1),
        p50: at(0.5),
        p90: at(0.9),
    }
}

/// Quantiles of days from the as-of day, as dates not before `earliest`.
pub fn day_span(sorted_days: &[f64], as_of: Date, earliest: Option<Date>) -> Span<Date> {
    let span = span_of_sorted(sorted_days);
    let date = |days: Option<f64>| {
        let days = days.filter(|d| *d <= HORIZON_DAYS)?;
        let date = as_of
            .checked_add(jiff::Span::new().days(days.floor() as i64))
            .ok()?;
        Some(earliest.map_or(date, |e| date.max(e)))
    };
    Span {
        p10: date(span.p10),
        p50: date(span.p50),
        p90: date(span.p90),
    }
}
