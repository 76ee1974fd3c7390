//! The evidence for an alarm: each reading over what usual membranes of the same
//! water let through after as many litres, with the moment of the alarm.

use crate::calendar::Date;

use crate::advise::{AlarmLevel, VanAssessment};
use crate::report::axis::{Axis, day_number, days_after, nice_top};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::key::{self, Key};
use crate::report::charts::van_time;
use crate::report::look;
use crate::report::panel::{frame_from, heading, instead};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// The finding: how far its newest readings are from usual, and since when.
pub fn title(van: &VanAssessment) -> String {
    let Some(alarm) = &van.membrane.alarm else {
        return "This RO membrane declines as usual for its water".to_owned();
    };
    let newest = points(van);
    let newest = newest.get(newest.len().saturating_sub(3)..).unwrap_or(&[]);
    let middle = {
        let mut values: Vec<f64> = newest.iter().map(|p| p.over).collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied()
    };
    let what = match alarm.level {
        AlarmLevel::Raised => "alarm since",
        AlarmLevel::Pending => "perhaps, since",
    };
    let since = words::day(alarm.since);
    match middle {
        Some(over) => {
            format!("Salt passage {over:.1} times normal for its age ({what} {since})")
        }
        None => format!("Declining too fast for its water ({what} {since})"),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(van: &VanAssessment) -> String {
    format!(
        "{}. {} divided by what is normal after as many litres.",
        title(van),
        words::count(points(van).len(), "reading", "readings")
    )
}

/// A reading over the usual, with the range of usual ones over their middle.
struct Over {
    date: Date,
    over: f64,
    low: f64,
    high: f64,
}

fn points(van: &VanAssessment) -> Vec<Over> {
    let readings = &van.series.salt_passage;
    let mut from = 0;
    let mut out = Vec::with_capacity(van.series.usual_passage.len());
    for usual in &van.series.usual_passage {
        // Both are in order of date; several readings of a day keep their order.
        let found = readings
            .get(from..)
            .and_then(|rest| rest.iter().position(|r| r.0 == usual.x));
        let Some(n) = found else { continue };
        let Some(reading) = readings.get(from + n) else {
            continue;
        };
        from += n + 1;
        if usual.p50 > 0.0 {
            out.push(Over {
                date: usual.x,
                over: reading.1 / usual.p50,
                low: usual.p10 / usual.p50,
                high: usual.p90 / usual.p50,
            });
        }
    }
    out
}

/// The numbers of the chart, reading by reading.
pub fn table(van: &VanAssessment) -> Table {
    Table {
        caption: format!(
            "{}: salt passage divided by what is normal for its age",
            van.van
        ),
        heads: vec!["Day", "Times normal", "Normal lies between"],
        rows: points(van)
            .iter()
            .map(|p| {
                vec![
                    words::day(p.date),
                    format!("{:.2}", p.over),
                    format!("{:.2} and {:.2}", p.low, p.high),
                ]
            })
            .collect(),
    }
}

/// Draws the chart with its title, over the days of the van's other charts.
pub fn draw(canvas: &mut Canvas, area: Rect, van: &VanAssessment, as_of: Date) {
    draw_over(canvas, area, van, van_time::axis(van, as_of, area.width()));
}

/// Draws it from the membrane's first reading to today.
pub fn draw_record(canvas: &mut Canvas, area: Rect, van: &VanAssessment, as_of: Date) {
    let first = van.series.usual_passage.first().map_or(as_of, |b| b.x);
    let (from, to) = (days_after(first, -7), days_after(as_of, 7));
    draw_over(canvas, area, van, Axis::days(from, to, 6));
}

fn draw_over(canvas: &mut Canvas, area: Rect, van: &VanAssessment, x: Axis) {
    let unit =
        "Reading ÷ normal for a membrane of this age (1 = normal); tinted: 8 of 10 membranes";
    let rest = heading(canvas, area, &title(van), unit);
    let points = points(van);
    if points.is_empty() {
        return instead(canvas, rest, "No reading of this RO membrane yet.");
    };
    let keys = [
        (Key::Dot(look::MEMBRANE_READING), "reading"),
        (Key::Dot(look::MEMBRANE), "outside the range"),
        (Key::Range(look::MEMBRANE), "range of 8 in 10 membranes"),
    ];
    let rest = key::draw(canvas, rest, &keys);
    let highest = points
        .iter()
        .map(|p| p.over.max(p.high))
        .fold(1.5, f64::max);
    let top = nice_top(highest.min(4.0), 5);
    let y = Axis::numbers((0.0, top), 5, |v, d| format!("{v:.d$}"));
    let Some(panel) = frame_from(canvas, rest, &x, &y, "", van_time::LEFT) else {
        return;
    };
    let band: Vec<(f64, f64, f64)> = points
        .iter()
        .map(|p| (day_number(p.date), p.low, p.high))
        .collect();
    panel.band(&band, look::MEMBRANE);
    panel.line(&[(x.low, 1.0), (x.high, 1.0)], look::MEMBRANE_READING, 1.5);
    for point in &points {
        let outside = point.over > point.high;
        let ink = if outside {
            look::MEMBRANE
        } else {
            look::MEMBRANE_READING
        };
        panel.reading((day_number(point.date), point.over), ink);
    }
    if let Some(alarm) = &van.membrane.alarm {
        let since = day_number(alarm.since).clamp(x.low, x.high);
        panel.upright(since, look::LIMIT, 2.0, (9.0, 5.0));
        let at = panel.x_px(since);
        let name = match alarm.level {
            AlarmLevel::Raised => "alarm",
            AlarmLevel::Pending => "noticed",
        };
        let face = look::SMALL_BOLD.inked(look::LIMIT);
        let left = at - canvas.width_of(name, &face) - 8.0 > panel.plot.x0;
        let (spot, align) = if left {
            (at - 6.0, Align::Right)
        } else {
            (at + 6.0, Align::Left)
        };
        panel.note(name, (spot, panel.plot.y0 + 16.0), &face, align);
    }
}
