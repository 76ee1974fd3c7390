//! One van's water after the resin over time: readings, the resin giving out,
//! forecast and limit.

use jiff::civil::Date;

use crate::advise::{Item, State, VanAssessment};
use crate::report::axis::{Axis, day_number, days_after, nice_top};
use crate::report::canvas::Canvas;
use crate::report::charts::path::Path;
use crate::report::look;
use crate::report::panel::{frame, heading};
use crate::report::rect::Rect;
use crate::report::table::{MONTH_HEADS, Table, by_month};
use crate::report::words::{self, PRODUCT_TDS};

/// Days shown back and at most ahead.
const BACK: i32 = 365;
const AHEAD: i32 = 183;

/// The finding: how much the resin can still do, or when it is at its limit.
pub fn title(van: &VanAssessment, as_of: Date, limit: f64) -> String {
    let resin = &van.resin;
    let known = resin.state != State::Unknown;
    if resin.limit_on.p50.is_some_and(|day| day <= as_of) {
        return format!(
            "{} probably at its limit of {limit} ppm or over it",
            words::capital(PRODUCT_TDS)
        );
    }
    match (resin.limit_on.p50, words::litres(&resin.litres_left)) {
        (_, Some(left)) => format!("Left in the DI resin: {left}"),
        (Some(_), None) => format!(
            "The DI resin reaches its limit {}",
            words::when(&resin.limit_on, known)
        ),
        (None, None) if known => "No limit in sight for the DI resin within ten years".to_owned(),
        _ => "No forecast for the DI resin: not enough readings".to_owned(),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(van: &VanAssessment, as_of: Date, limit: f64) -> String {
    format!(
        "{}. {} of {PRODUCT_TDS} in ppm over time, with the forecast and the limit of {limit} ppm.",
        title(van, as_of, limit),
        words::count(van.series.product_ppm.len(), "reading", "readings")
    )
}

/// First and last day shown.
fn days_shown(van: &VanAssessment, as_of: Date) -> (Date, Date) {
    let last = van.series.product_path.last().map_or(as_of, |b| b.x);
    let to = last
        .min(days_after(as_of, AHEAD))
        .max(days_after(as_of, 45));
    (days_after(as_of, -BACK), to)
}

/// The numbers of the chart, by the month.
pub fn table(van: &VanAssessment, as_of: Date) -> Table {
    let series = &van.series;
    Table {
        caption: format!("{}: {PRODUCT_TDS}, ppm", van.van),
        heads: MONTH_HEADS.to_vec(),
        rows: by_month(
            &series.product_ppm,
            &series.product_path,
            days_shown(van, as_of),
            |v| format!("{v:.1}"),
        ),
    }
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, van: &VanAssessment, as_of: Date, limit: f64) {
    let series = &van.series;
    let rest = heading(
        canvas,
        area,
        &title(van, as_of, limit),
        &format!("{}, ppm", words::capital(PRODUCT_TDS)),
    );
    if series.product_ppm.is_empty() && series.product_path.is_empty() {
        let text = format!(
            "{} has not been read on this van yet.",
            words::capital(PRODUCT_TDS)
        );
        canvas.paragraph(
            &text,
            (rest.x0, rest.y0 + 40.0),
            &look::BODY,
            rest.width(),
            3,
        );
        return;
    }
    let (from, to) = days_shown(van, as_of);
    let shown = |d: &Date| *d >= from && *d <= to;
    let highest = series
        .product_ppm
        .iter()
        .filter(|p| shown(&p.0))
        .map(|p| p.1)
        .fold(0.0, f64::max);
    let y_top = nice_top(highest.min(limit * 2.5).max(limit * 1.4), 6);
    let x = Axis::days(from, to, 6);
    let y = Axis::numbers((0.0, y_top), 6, |v, d| format!("{v:.d$}"));
    let Some(panel) = frame(canvas, rest, &x, &y, "") else {
        return;
    };

    let path = Path {
        bands: &series.product_path,
        scale: 1.0,
        ink: look::RESIN,
    };
    path.range(&panel);
    for mark in series.services.iter().filter(|s| s.item == Item::Resin) {
        let ink = look::RESIN.tint(0.6);
        panel.upright(day_number(mark.date), ink, 1.5, (3.0, 4.0));
    }
    for (day, ppm) in &series.product_ppm {
        panel.reading((day_number(*day), *ppm), look::RESIN.tint(0.6));
    }
    path.middle(&panel, as_of);
    panel.limit(limit, &format!("limit {limit} ppm"));
    panel.today(day_number(as_of), &words::day(as_of));
}
