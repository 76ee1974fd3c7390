//! States, dates, intervals and money: the finished assessment.

mod alarm;
mod areas;
mod assess;
mod assessment;
mod due;
mod habits;
mod last_list;
mod membrane;
mod meters;
mod missing;
mod money;
mod orders;
mod plan;
mod prefilter;
mod prices;
mod rank;
mod records;
mod resin;
mod series;
mod sharpen;
mod since;
mod visits;
pub mod what_if;

use crate::calendar::{Date, DateExt};

use crate::settings::Settings;

pub use assess::{Glance, assess, assess_in_turn, assess_undrawn};
pub use assessment::*;
pub use due::{Job, Task, jobs, stood_still};
pub use last_list::{ListedJob, Outcome, last_list};
pub use membrane::alarm_of;
pub use meters::{DOUBTED, HOW as METER_CHECK, name as meter_name};
pub use missing::{Missing, missing};
pub use orders::{Order, orders, unused_stock};
pub use prices::DecisionPrices;
pub use rank::Rank;
pub use sharpen::{Gain, best_reading};
#[cfg(test)]
pub use since::MonthCost;
pub use since::{Effect, Moved, Since, Turn, Work, since};
pub use visits::{Visit, visits};

/// `value` rounded to the power of ten nearest below a tenth of a spread of
/// `width`, finer than which nothing is known; a spread of zero leaves it whole.
pub fn rounded(value: f64, width: f64) -> f64 {
    let unit = if width > 0.0 && width.is_finite() {
        10_f64.powf((width / 10.0).log10().floor()).max(1.0)
    } else {
        1.0
    };
    (value / unit).round() * unit
}

/// The state that a suggested day alone gives, if any.
fn state_by_date(replace_on: Option<Date>, as_of: Date, settings: &Settings) -> Option<State> {
    let day = replace_on?;
    if day < as_of {
        Some(State::Overdue)
    } else if day <= lead_end(as_of, settings) {
        Some(State::Due)
    } else {
        None
    }
}

/// Last day within the notice that a replacement needs.
fn lead_end(as_of: Date, settings: &Settings) -> Date {
    add_days(as_of, f64::from(settings.running.lead_days))
}

/// `date` plus whole days; the calendar's end where it would run over.
fn add_days(date: Date, days: f64) -> Date {
    date.plus_days(days.clamp(-400_000.0, 400_000.0) as i64)
}

/// Rounds to a multiple of `step`: what is printed claims no more than is known.
fn round_to(value: f64, step: f64) -> f64 {
    // Dividing by the inverse keeps 0.1 steps free of binary dust.
    if step < 1.0 {
        (value * (1.0 / step).round()).round() / (1.0 / step).round()
    } else {
        (value / step).round() * step + 0.0
    }
}

/// A day as people write it: `4 August 2026`.
fn in_words(date: Date) -> String {
    date.format("%-d %B %Y").to_string()
}

/// A forecast day, as coarse as its span: day (under 3 weeks), month (under 6
/// months), else year.
fn around(date: Date, span: &Span<Date>) -> String {
    let days = span.p10.zip(span.p90).map(|(a, b)| b.days_since(a));
    match days {
        Some(days) if days < 21 => format!("around {}", in_words(date)),
        Some(days) if days < 183 => date.format("in %B %Y").to_string(),
        _ => date.format("in %Y").to_string(),
    }
}

/// Litres as people write them: `5,900 L`.
fn litres_in_words(litres: f64) -> String {
    let digits = format!("{litres:.0}");
    let mut out = String::with_capacity(digits.len() + 4);
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out + " L"
}
