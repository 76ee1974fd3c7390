//! When each van was read: a row of days for every van, so that gaps show.

use crate::calendar::Date;

use crate::advise::VanAssessment;
use crate::report::answers::named;
use crate::report::axis::{Axis, day_number, days_after};
use crate::report::canvas::Canvas;
use crate::report::look::{self, Shape};
use crate::report::panel::{Rows, heading, rows_that_fit};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// Days shown back.
const BACK: i32 = 182;
/// Height of a row of many and of few, px.
const ROW: (f64, f64) = (22.0, 34.0);
/// So many rows are few.
const FEW: usize = 12;
/// A van not read for longer than this stands out, days.
const LATE: f64 = 21.0;

/// All days on which the van was read, oldest first, each once.
pub fn days_read(van: &VanAssessment) -> Vec<Date> {
    let series = &van.series;
    let lists = [&series.salt_passage, &series.product_ppm, &series.feed_ppm];
    let mut days: Vec<Date> = lists.iter().flat_map(|l| l.iter().map(|p| p.0)).collect();
    days.extend(series.last_reading_on);
    days.sort_unstable();
    days.dedup();
    days
}

/// Days since the van was last read; `None` if it never was.
pub fn days_since(van: &VanAssessment, as_of: Date) -> Option<f64> {
    let last = van.series.last_reading_on?;
    Some(day_number(as_of) - day_number(last))
}

/// The vans, those longest not read first.
pub fn by_need(vans: &[VanAssessment], as_of: Date) -> Vec<&VanAssessment> {
    let mut list: Vec<&VanAssessment> = vans.iter().collect();
    let since = |v: &VanAssessment| days_since(v, as_of).unwrap_or(f64::INFINITY);
    list.sort_by(|a, b| {
        since(b)
            .total_cmp(&since(a))
            .then_with(|| a.van.cmp(&b.van))
    });
    list
}

fn row(vans: usize) -> f64 {
    if vans <= FEW { ROW.1 } else { ROW.0 }
}

/// The height that a chart of so many vans takes, px.
pub fn height_of(vans: usize) -> f64 {
    100.0 + row(vans) * vans as f64
}

/// The finding: who was not read lately.
pub fn title(vans: &[VanAssessment], as_of: Date) -> String {
    let late: Vec<String> = by_need(vans, as_of)
        .into_iter()
        .filter(|v| days_since(v, as_of).is_none_or(|d| d > LATE))
        .map(|v| v.van.clone())
        .collect();
    let week = vans
        .iter()
        .filter(|v| days_since(v, as_of).is_some_and(|d| d <= 7.0))
        .count();
    match (vans.len(), late.len()) {
        (0, _) => "There are no vans yet".to_owned(),
        (all, 0) if week == all => format!(
            "{} read in the last week",
            match all {
                1 => "The van was".to_owned(),
                n => format!("All {n} vans were"),
            }
        ),
        (all, 0) => {
            format!("{week} of {all} vans were read in the last week, all in the last three weeks")
        }
        (_, n) if n > 3 => format!("No reading for three weeks on {n} vans"),
        _ => format!("No reading for three weeks: {}", named(&late)),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(vans: &[VanAssessment], as_of: Date) -> String {
    format!(
        "{}. One row per van with a dot on every day it was read in the last half year, those longest not read at the top.",
        title(vans, as_of)
    )
}

/// The numbers of the chart.
pub fn table(vans: &[VanAssessment], as_of: Date) -> Table {
    let from = days_after(as_of, -BACK);
    Table {
        caption: "When each van was last read".to_owned(),
        heads: vec![
            "Van",
            "Last read",
            "Days ago",
            "Days read in the last half year",
        ],
        rows: by_need(vans, as_of)
            .into_iter()
            .map(|v| {
                let last = v.series.last_reading_on;
                let never = || "never".to_owned();
                vec![
                    v.van.clone(),
                    last.map_or_else(never, words::day),
                    days_since(v, as_of).map_or("–".to_owned(), |d| format!("{d:.0}")),
                    days_read(v)
                        .iter()
                        .filter(|d| **d >= from)
                        .count()
                        .to_string(),
                ]
            })
            .collect(),
    }
}

/// Draws the chart with its title; as many rows as fit.
pub fn draw(canvas: &mut Canvas, area: Rect, vans: &[VanAssessment], as_of: Date) {
    let unit = "a dot for every day on which a van was read; longest not read at the top";
    let rest = heading(canvas, area, &title(vans, as_of), unit);
    let list = by_need(vans, as_of);
    if list.is_empty() {
        return;
    }
    let (fits, rest) = rows_that_fit(rest, row(list.len()), list.len());
    let shown = list.get(..fits).unwrap_or_default();
    let face = look::SMALL;
    let (from, to) = (days_after(as_of, -BACK), days_after(as_of, 3));
    let x = Axis::days(from, to, 7);
    let left_out = list.len() - shown.len();
    let names = shown.iter().map(|v| v.van.clone());
    // those that stand out are bold, and wider
    let widest = (&look::SMALL_BOLD, 0.25);
    let Some(rows) = Rows::framed(canvas, rest, names, widest, (&x, ""), row(list.len())) else {
        return;
    };
    let panel = &rows.panel;
    for (i, van) in shown.iter().enumerate() {
        let late = days_since(van, as_of).is_none_or(|d| d > LATE);
        let face = if late { look::SMALL_BOLD } else { face };
        let middle = rows.named(i, &face);
        let line = Rect {
            y0: middle - 0.5,
            y1: middle + 0.5,
            ..panel.plot
        };
        canvas.fill(line, look::GRID);
        for day in days_read(van) {
            let at = day_number(day);
            if panel.x().holds(at) {
                let spot = (panel.x_px(at), middle);
                canvas.mark(Shape::Circle, spot, 3.6, look::WATER);
            }
        }
    }
    if left_out > 0 {
        rows.left_out(&format!(
            "and {} read more lately",
            words::count(left_out, "van", "vans")
        ));
    }
}
