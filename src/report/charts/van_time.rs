//! The days that the charts of a van show: the same for all of them, so that
//! they can be read one above the other.

use crate::calendar::Date;

use crate::advise::VanAssessment;
use crate::report::axis::{Axis, days_after};

/// Days shown back and ahead, at most and at least.
const BACK: (i32, i32) = (60, 730);
const AHEAD: (i32, i32) = (45, 365);
/// Room left of the plot for labels and names, px.
pub const LEFT: f64 = 108.0;
/// A label of a month takes so much room, px.
const LABEL: f64 = 100.0;

/// First and last day shown.
pub fn days_shown(van: &VanAssessment, as_of: Date) -> (Date, Date) {
    let series = &van.series;
    let seen = [
        series.salt_passage.first().map(|p| p.0),
        series.salt_passage_path.first().map(|b| b.x),
        series.product_ppm.first().map(|p| p.0),
        series.weeks.first().map(|w| w.monday),
    ];
    let earliest = seen.into_iter().flatten().min().unwrap_or(as_of);
    let from = earliest.clamp(days_after(as_of, -BACK.1), days_after(as_of, -BACK.0));
    let forecast = series.salt_passage_path.last().map_or(as_of, |b| b.x);
    let limit = van.membrane.limit_on.p90;
    let wanted = limit.map_or(forecast, |day| days_after(day, 30).min(forecast));
    let to = wanted.clamp(days_after(as_of, AHEAD.0), days_after(as_of, AHEAD.1));
    (from, to)
}

/// Those days as an axis of about that width, px.
pub fn axis(van: &VanAssessment, as_of: Date, width: f64) -> Axis {
    let (from, to) = days_shown(van, as_of);
    let labels = ((width - LEFT) / LABEL).clamp(2.0, 12.0);
    Axis::days(from, to, labels as usize)
}
