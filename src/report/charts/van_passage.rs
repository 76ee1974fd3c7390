//! One van's rejection over time: readings, fit, forecast and the limit, with
//! the work done on the van in lanes below.

use crate::calendar::Date;

use crate::advise::{Item, VanAssessment};
use crate::report::answers::FEW_READINGS;
use crate::report::axis::{Axis, day_number, nice_top};
use crate::report::canvas::Canvas;
use crate::report::charts::key::{self, Key};
use crate::report::charts::path::Path;
use crate::report::charts::{services, van_time};
use crate::report::look::{self, Shape};
use crate::report::panel::{frame_from, heading, instead};
use crate::report::rect::Rect;
use crate::report::table::{MONTH_HEADS, Table, by_month};
use crate::report::words::{self, MEMBRANE_TDS, TAP_TDS};

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
            van_time::days_shown(van, as_of),
            |v| words::percent(1.0 - v, 1),
        ),
    }
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, van: &VanAssessment, as_of: Date, limit: f64) {
    let series = &van.series;
    let unit = "Rejection, % (at 25 °C)";
    let rest = heading(canvas, area, &title(van, as_of, limit), unit);
    if series.salt_passage.is_empty() && series.salt_passage_path.is_empty() {
        let text = format!(
            "{} and {MEMBRANE_TDS} have not been read together on this van yet.",
            words::capital(TAP_TDS)
        );
        return instead(canvas, rest, &text);
    }
    let fitted = van.membrane.fitted_on;
    let x = van_time::axis(van, as_of, area.width());
    let (from, to) = (x.low, x.high);
    let within = |day: Date| (from..=to).contains(&day_number(day));
    let readings: Vec<(f64, f64, bool)> = series
        .salt_passage
        .iter()
        .filter(|(day, _)| within(*day))
        .map(|(day, passage)| {
            let earlier = fitted.is_some_and(|f| *day < f);
            (day_number(*day), rejection(*passage), earlier)
        })
        .collect();
    let items = services::lanes(&series.services, (from, to));
    let changes = series.services.iter();
    let changes = changes.filter(|s| s.item == Item::Membrane && within(s.date));
    let new_ones: Vec<f64> = changes.map(|s| day_number(s.date)).collect();

    let mut keys = vec![(Key::Dot(look::MEMBRANE_READING), "reading")];
    if readings.iter().any(|(_, _, earlier)| *earlier) {
        keys.push((Key::Dot(look::EARLIER), "earlier membrane"));
    }
    if !series.salt_passage_path.is_empty() {
        keys.push((Key::Range(look::MEMBRANE), "likely range (4 in 5)"));
        keys.push((Key::Dashes(look::MEMBRANE), "forecast"));
    }
    if !new_ones.is_empty() {
        keys.push((Key::Dotted(look::MEMBRANE), "new membrane"));
    }
    if items.iter().any(|item| {
        let mut marks = series.services.iter();
        marks.any(|s| s.item == *item && s.inferred && within(s.date))
    }) {
        let text = "not recorded; worked out from the readings";
        keys.push((Key::Mark(Shape::Ring, look::MUTED), text));
    }
    let rest = key::draw(canvas, rest, &keys);

    let lanes = items.len() as f64 * services::LANE;
    let inner = Rect {
        y1: rest.y1 - lanes,
        ..rest
    };
    let y = axis(readings.iter().map(|r| r.1), limit);
    let Some(panel) = frame_from(canvas, inner, &x, &y, "", van_time::LEFT) else {
        return;
    };
    let path = Path {
        bands: &series.salt_passage_path,
        value: rejection,
        ink: look::MEMBRANE,
    };
    path.range(&panel);
    for day in new_ones {
        panel.upright(day, look::MEMBRANE, 1.5, (3.0, 4.0));
    }
    for (day, rejection, earlier) in readings {
        let ink = if earlier {
            look::EARLIER
        } else {
            look::MEMBRANE_READING
        };
        panel.reading((day, rejection), ink);
    }
    path.middle(&panel, as_of);
    panel.limit(rejection(limit), &limit_name(limit));
    panel.today(day_number(as_of), "today");
    services::draw(canvas, &panel, (area.x0, rest.y1 - lanes), &series.services);
}

/// Rejection in percent from salt passage as a fraction.
pub fn rejection(salt_passage: f64) -> f64 {
    100.0 * (1.0 - salt_passage)
}

/// The limit as it is named in charts.
pub fn limit_name(limit: f64) -> String {
    let decimals = usize::from((limit * 100.0).fract().abs() > 1e-6);
    format!("limit {}", words::percent(1.0 - limit, decimals))
}

/// Rejection from below the limit to 100 %: as low as readings go, but one
/// splashed reading must not flatten all others.
pub fn axis(readings: impl Iterator<Item = f64>, limit: f64) -> Axis {
    let lowest = readings.fold(100.0, f64::min);
    let depth = (100.0 - lowest).min(limit * 200.0).max(limit * 130.0);
    let bottom = 100.0 - nice_top(depth, 5);
    Axis::numbers((bottom, 100.0), 5, |v, d| format!("{v:.d$}"))
}
