//! One van's water after the resin over time: readings, the resin giving out,
//! forecast and limit.

use crate::calendar::Date;

use crate::advise::{Item, State, VanAssessment};
use crate::report::axis::{Axis, day_number, nice_top};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::key::{self, Key};
use crate::report::charts::van_time;
use crate::report::look::{self, Shape};
use crate::report::panel::{TODAY_ROW, frame_from, heading, instead};
use crate::report::rect::Rect;
use crate::report::table::{MONTH_HEADS, Table, by_month};
use crate::report::words::{self, PRODUCT_TDS};

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
        "{}. Litres left as a bar with its likely range; {} of {PRODUCT_TDS} in ppm over time, with the limit of {limit} ppm.",
        title(van, as_of, limit),
        words::count(van.series.product_ppm.len(), "reading", "readings")
    )
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
            van_time::days_shown(van, as_of),
            |v| format!("{v:.1}"),
        ),
    }
}

/// Height of the bar of litres left with its scale, px.
const BAR: f64 = 66.0;

/// Draws the chart with its title: the litres left as a bar, the readings over
/// time below.
pub fn draw(canvas: &mut Canvas, area: Rect, van: &VanAssessment, as_of: Date, limit: f64) {
    let series = &van.series;
    let unit = "Bar: litres left in the resin. Below: product TDS, ppm";
    let rest = heading(canvas, area, &title(van, as_of, limit), unit);
    let x = van_time::axis(van, as_of, area.width());
    let changes = series.services.iter().filter(|s| s.item == Item::Resin);
    let changes = changes.map(|s| day_number(s.date));
    // lines are drawn only where there are readings to draw them through
    let drawn = |day: &f64| x.holds(*day) && !series.product_ppm.is_empty();
    let new_ones: Vec<f64> = changes.filter(drawn).collect();
    let mut keys = Vec::new();
    if let Some(low) = van.resin.litres_left.p10 {
        if low > 0.0 {
            keys.push((Key::Bar(look::RESIN), "very likely left"));
        }
        keys.push((Key::Range(look::RESIN), "likely range (4 in 5)"));
    }
    if van.resin.litres_left.p50.is_some() {
        keys.push((Key::Mark(Shape::Diamond, look::TEXT), "best estimate"));
    }
    if !new_ones.is_empty() {
        keys.push((Key::Dotted(look::RESIN), "new resin"));
    }
    let rest = key::draw(canvas, rest, &keys);
    let rest = litres_left(canvas, rest, van);
    if series.product_ppm.is_empty() {
        let text = format!(
            "{} has not been read on this van yet.",
            words::capital(PRODUCT_TDS)
        );
        return instead(canvas, rest, &text);
    }
    let shown = series.product_ppm.iter();
    let shown = shown.map(|(day, ppm)| (day_number(*day), *ppm));
    let shown: Vec<(f64, f64)> = shown.filter(|(day, _)| x.holds(*day)).collect();
    let highest = shown.iter().map(|p| p.1).fold(0.0, f64::max);
    let top = nice_top(highest.min(limit * 2.5).max(limit * 1.4), 4);
    let y = Axis::numbers((0.0, top), 4, |v, d| format!("{v:.d$}"));
    let rest = Rect {
        y0: rest.y0 + TODAY_ROW,
        ..rest
    };
    let Some(panel) = frame_from(canvas, rest, &x, &y, "", van_time::LEFT) else {
        return;
    };
    for day in new_ones {
        panel.upright(day, look::RESIN, 1.5, (3.0, 4.0));
    }
    for point in shown {
        panel.reading(point, look::RESIN_READING);
    }
    panel.limit(limit, &format!("limit {limit} ppm"));
    panel.today_above(day_number(as_of), "today");
}

/// The litres left as a bar: solid as far as is all but sure, a tint over the
/// likely range. Gives the room below it.
fn litres_left(canvas: &mut Canvas, area: Rect, van: &VanAssessment) -> Rect {
    let left = &van.resin.litres_left;
    let Some(low) = left.p10 else { return area };
    // where no end can be told the bar runs on beyond the edge
    let known = left.p90.or(left.p50.map(|l| l * 1.4)).unwrap_or(low * 1.4);
    let top = nice_top(known.max(100.0), 6);
    let x = Axis::numbers((0.0, top), 6, |v, _| words::thousands(v));
    let strip = Rect {
        y1: area.y0 + BAR,
        ..area
    };
    let below = Rect {
        y0: strip.y1,
        ..area
    };
    let rows = Axis::bare(0.0, 1.0);
    let Some(panel) = frame_from(canvas, strip, &x, &rows, "", van_time::LEFT) else {
        return below;
    };
    let middle = (panel.plot.y0 + panel.plot.y1) / 2.0;
    let at = (panel.plot.x0 - 8.0, middle + look::SMALL.below_middle());
    canvas.text("litres left", at, &look::SMALL, Align::Right);
    panel.bar((0.0, 0.2), (low, 0.8), look::RESIN);
    panel.range_bar((low, left.p90), (0.2, 0.8), look::RESIN);
    if let Some(best) = left.p50.filter(|best| x.holds(*best)) {
        let spot = (panel.x_px(best), middle);
        canvas.mark(Shape::Diamond, spot, 9.5, look::PAPER);
        canvas.mark(Shape::Diamond, spot, 8.0, look::TEXT);
    }
    below
}
