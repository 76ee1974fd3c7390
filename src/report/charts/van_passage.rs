//! One van's salt passage over time: readings, fit, forecast and the limit,
//! with the work done on the van in lanes below.

use jiff::civil::Date;

use crate::advise::{Item, VanAssessment};
use crate::report::answers::FEW_READINGS;
use crate::report::axis::{Axis, day_number, days_after, nice_top};
use crate::report::canvas::Canvas;
use crate::report::charts::path::Path;
use crate::report::charts::services;
use crate::report::look;
use crate::report::panel::{frame, heading};
use crate::report::rect::Rect;
use crate::report::table::{MONTH_HEADS, Table, by_month};
use crate::report::words::{self, MEMBRANE_TDS, TAP_TDS};

/// The forecast is shown at most so far ahead, days.
const AHEAD: i32 = 3 * 365;
/// The past is shown at most so far back, days.
const BACK: i32 = 3 * 365;

/// The finding: when the limit is reached, or what is known instead.
pub fn title(van: &VanAssessment, as_of: Date, limit: f64) -> String {
    let membrane = &van.membrane;
    let share = words::rejection_limit(limit);
    let known = membrane.state != crate::advise::State::Unknown;
    let said = finding(van, as_of, &share, known);
    if known && membrane.readings < FEW_READINGS {
        let n = words::count(membrane.readings, "reading", "readings");
        return format!("{said} (mostly from typical trade figures, {n} so far)");
    }
    said
}

fn finding(van: &VanAssessment, as_of: Date, share: &str, known: bool) -> String {
    let membrane = &van.membrane;
    match (membrane.limit_on.p50, membrane.salt_passage.p50) {
        (Some(day), _) if day <= as_of => format!(
            "Rejection fell below its limit of {share}, {}",
            words::when(&membrane.limit_on, known)
        ),
        (Some(_), _) => format!(
            "Rejection falls to its limit of {share} {}",
            words::when(&membrane.limit_on, known)
        ),
        (None, Some(_)) if known => format!(
            "Rejection falls to its limit of {share} {}",
            words::when(&membrane.limit_on, known).replacen("not within", "not within the next", 1)
        ),
        _ => "No forecast for this RO membrane: not enough readings".to_owned(),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(van: &VanAssessment, as_of: Date, limit: f64) -> String {
    let now = words::rejection(&van.membrane.salt_passage)
        .map_or(String::new(), |said| format!(" Today: {said}."));
    format!(
        "{}.{now} {} over time, with the fit, the forecast and the limit.",
        title(van, as_of, limit),
        words::count(van.series.salt_passage.len(), "reading", "readings")
    )
}

/// The numbers of the chart, by the month.
pub fn table(van: &VanAssessment, as_of: Date) -> Table {
    let series = &van.series;
    Table {
        caption: format!("{}: rejection of the RO membrane", van.van),
        heads: MONTH_HEADS.to_vec(),
        rows: by_month(
            &series.salt_passage,
            &series.salt_passage_path,
            days_shown(van, as_of),
            |v| words::percent(1.0 - v, 1),
        ),
    }
}

/// First and last day shown.
fn days_shown(van: &VanAssessment, as_of: Date) -> (Date, Date) {
    let series = &van.series;
    let first_point = series.salt_passage.first().map(|p| p.0);
    let first_fit = series.salt_passage_path.first().map(|b| b.x);
    let seen = first_point.into_iter().chain(first_fit);
    let earliest = seen.chain(van.membrane.fitted_on).min().unwrap_or(as_of);
    let from = earliest
        .max(days_after(as_of, -BACK))
        .min(days_after(as_of, -60));
    let last = series.salt_passage_path.last().map_or(as_of, |b| b.x);
    let wanted = van
        .membrane
        .limit_on
        .p90
        .map_or(last, |d| days_after(d, 30));
    let to = last
        .min(wanted)
        .min(days_after(as_of, AHEAD))
        .max(days_after(as_of, 45));
    (from, to)
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, van: &VanAssessment, as_of: Date, limit: f64) {
    let series = &van.series;
    let mut unit = "Salt passage of the RO membrane, % at 25 °C (100 % less rejection)".to_owned();
    if series.services.iter().any(|s| s.inferred) {
        unit.push_str("; a ring below: job not recorded, worked out from the readings");
    }
    let rest = heading(canvas, area, &title(van, as_of, limit), &unit);
    if series.salt_passage.is_empty() && series.salt_passage_path.is_empty() {
        let text = format!(
            "{} and {MEMBRANE_TDS} have not been read together on this van yet.",
            words::capital(TAP_TDS)
        );
        let at = (rest.x0, rest.y0 + 40.0);
        canvas.paragraph(&text, at, &look::BODY, rest.width(), 3);
        return;
    }
    let (from, to) = days_shown(van, as_of);
    let shown = (day_number(from), day_number(to));
    let items = services::lanes(&series.services, shown);
    let lanes = items.len() as f64 * services::LANE;
    let highest = series.salt_passage.iter().map(|p| p.1).fold(0.0, f64::max);
    let y_top = nice_top(highest.min(limit * 2.0).max(limit * 1.3) * 100.0, 6);
    let x = Axis::days(from, to, 9);
    let y = Axis::numbers((0.0, y_top), 6, |v, d| format!("{v:.d$}"));
    let names = (services::names_width(canvas, &items) - 22.0).max(0.0);
    let inner = Rect {
        x0: rest.x0 + names,
        y1: rest.y1 - lanes,
        ..rest
    };
    let Some(panel) = frame(canvas, inner, &x, &y, "") else {
        return;
    };
    let path = Path {
        bands: &series.salt_passage_path,
        scale: 100.0,
        ink: look::MEMBRANE,
    };
    path.range(&panel);
    for mark in series.services.iter().filter(|s| s.item == Item::Membrane) {
        let ink = look::MEMBRANE.tint(0.5);
        panel.upright(day_number(mark.date), ink, 1.5, (3.0, 4.0));
    }
    let fitted = van.membrane.fitted_on;
    for (day, passage) in &series.salt_passage {
        let earlier = fitted.is_some_and(|f| *day < f);
        let ink = if earlier {
            look::RULE
        } else {
            look::MEMBRANE.tint(0.6)
        };
        panel.reading((day_number(*day), passage * 100.0), ink);
    }
    path.middle(&panel, as_of);
    let name = format!(
        "limit {}",
        words::percent(limit, usize::from((limit * 100.0).fract() > 1e-6))
    );
    panel.limit(limit * 100.0, &name);
    panel.today(day_number(as_of), &words::day(as_of));
    services::draw(canvas, &panel, (area.x0, rest.y1 - lanes), &series.services);
}
