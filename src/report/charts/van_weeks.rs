//! One van's litres of purified tap water, week by week.

use crate::calendar::{Date, DateExt, Datelike};

use crate::advise::VanAssessment;
use crate::report::axis::{Axis, day_number, nice_top};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::van_time;
use crate::report::look;
use crate::report::panel::{frame_from, heading, instead};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// The finding: what is usual, and whether the last four weeks differ.
pub fn title(van: &VanAssessment) -> String {
    let Some(usual) = van.series.litres_per_week.filter(|l| l.is_finite()) else {
        return if van.series.weeks.is_empty() {
            "No tank fills recorded for this van".to_owned()
        } else {
            "Litres purified week by week".to_owned()
        };
    };
    let usual = words::thousands(words::two_figures(usual));
    if van.series.weeks.is_empty() {
        return format!("No tank fills recorded: {usual} L a week assumed");
    }
    let n = van.series.weeks.len();
    let last: Vec<f64> = van
        .series
        .weeks
        .iter()
        .skip(n.saturating_sub(4))
        .map(|w| w.litres)
        .collect();
    if last.len() == 4 && last.iter().all(|l| *l == 0.0) {
        return format!("No fills in the last four weeks; expected use {usual} L a week");
    }
    format!("Expected use: about {usual} L a week")
}

/// What a reader who cannot see the chart needs.
pub fn alternative(van: &VanAssessment) -> String {
    format!(
        "{}. Litres purified from tap water in each of the last {}.",
        title(van),
        words::count(van.series.weeks.len().min(105), "week", "weeks")
    )
}

/// The numbers of the chart.
pub fn table(van: &VanAssessment, as_of: Date) -> Table {
    let (from, _) = van_time::days_shown(van, as_of);
    let weeks = van.series.weeks.iter().filter(|w| w.monday >= from);
    Table {
        caption: format!("{}: litres purified from tap water", van.van),
        heads: vec!["Week from", "Litres"],
        rows: weeks
            .map(|w| vec![words::day(w.monday), words::thousands(w.litres)])
            .collect(),
    }
}

/// Draws the chart with its title; `month` is shaded.
pub fn draw(
    canvas: &mut Canvas,
    area: Rect,
    van: &VanAssessment,
    as_of: Date,
    month: Option<Date>,
) {
    let unit = "Litres purified from tap water, each week";
    let rest = heading(canvas, area, &title(van), unit);
    if van.series.weeks.is_empty() {
        let text =
            "Litres cannot be counted without tank fills, and dates are wide: note each fill.";
        return instead(canvas, rest, text);
    }
    let x = van_time::axis(van, as_of, area.width());
    let weeks = van.series.weeks.iter();
    let shown: Vec<_> = weeks.filter(|w| x.holds(day_number(w.monday))).collect();
    let most = shown.iter().map(|w| w.litres).fold(100.0, f64::max);
    let top = nice_top(most * 1.05, 5);
    let y = Axis::numbers((0.0, top), 5, |v, _| words::thousands(v));
    let Some(panel) = frame_from(canvas, rest, &x, &y, "", van_time::LEFT) else {
        return;
    };
    if let Some(month) = month {
        let end = day_number(month.last_of_month()) + 1.0;
        panel.bar((day_number(month), 0.0), (end, top), look::WATER.tint(0.14));
    }
    for week in shown {
        let from = day_number(week.monday);
        panel.bar((from, 0.0), (from + 6.0, week.litres), look::WATER);
    }
    if let Some(month) = month {
        let name = words::month_short(month.month());
        let at = (panel.x_px(day_number(month) + 15.0), panel.plot.y0 + 16.0);
        let paper = canvas.box_of(name, at, &look::SMALL, Align::Middle);
        canvas.fill(paper, look::WATER.tint(0.14));
        canvas.text(name, at, &look::SMALL, Align::Middle);
    }
}
