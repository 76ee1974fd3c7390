//! What to order: for the jobs of the coming weeks by make and size, less the
//! shelf, and what is likely in each of the coming months.

use crate::calendar::{Date, parse_date};

use crate::advise::{Assessment, Item, MonthOfParts, Order, Span, orders, unused_stock};
use crate::report::DUE_WEEKS;
use crate::report::canvas::{Align, Canvas};
use crate::report::look;
use crate::report::order;
use crate::report::pages::{place, section, sheet};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// What is ordered first, in one line.
pub fn lead(assessment: &Assessment) -> String {
    let weeks = words::count(DUE_WEEKS as usize, "week", "weeks");
    let now = orders(assessment, DUE_WEEKS);
    let now = now.iter().filter(|o| is_now(o, assessment)).count();
    match now {
        0 => format!("Nothing to order today for the jobs of the next {weeks}"),
        n => format!(
            "{} to order now, for the jobs of the next {weeks}",
            words::count(n, "part", "parts")
        ),
    }
}

fn is_now(order: &Order, assessment: &Assessment) -> bool {
    order.order_by.is_some_and(|day| day <= assessment.as_of)
}

/// What to order for the jobs on the work list.
pub fn list(assessment: &Assessment) -> Table {
    let rows = orders(assessment, DUE_WEEKS);
    let rows = rows.iter().map(|line| {
        let vans = line.vans.iter();
        let vans: Vec<String> = vans
            .map(|v| format!("{} ({})", v.van, words::day_near(v.on, assessment.as_of)))
            .collect();
        vec![
            order::order_by(line, assessment),
            words::capital(&order::part(line)),
            order::to_order(line),
            amount(line, line.needed),
            amount(line, line.on_shelf),
            vans.join(", "),
        ]
    });
    Table {
        caption: format!("To order for the jobs of the next {DUE_WEEKS} weeks"),
        heads: vec!["Order by", "Part", "To order", "Needed", "Shelf", "For"],
        rows: rows.collect(),
    }
}

fn amount(order: &Order, x: f64) -> String {
    match order.item {
        Item::Resin => format!("{} L", words::figures(x)),
        _ => words::figures(x),
    }
}

/// What is likely to be ordered in each of the coming months.
pub fn by_month(assessment: &Assessment) -> Table {
    let rows = assessment.parts_to_order.iter().map(|m: &MonthOfParts| {
        let month = parse_date(&format!("{}-01", m.month));
        vec![
            month.map_or_else(|| m.month.clone(), words::month),
            likely(&m.membranes),
            likely(&m.prefilter_sets),
            likely(&m.resin_litres),
        ]
    });
    Table {
        caption: "Likely to order, month by month".to_owned(),
        heads: vec!["Order in", "Membranes", "Pre-filters", "Resin, L"],
        rows: rows.collect(),
    }
}

fn likely(span: &Span<f64>) -> String {
    match (span.p10, span.p90) {
        (Some(a), Some(b)) if a.round() == b.round() => words::thousands(b),
        (Some(a), Some(b)) => format!("{} to {}", words::thousands(a), words::thousands(b)),
        _ => "–".to_owned(),
    }
}

/// Names on the shelf that no job uses, in a sentence.
pub fn unused(assessment: &Assessment) -> Option<String> {
    let unused = unused_stock(assessment, &orders(assessment, DUE_WEEKS));
    (!unused.is_empty()).then(|| {
        format!(
            "On the shelf, and no job of these weeks needs it: {}.",
            words::list(&unused)
        )
    })
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, month: Date) {
    let place = place(month, assessment);
    let body = sheet(canvas, "What to order", &lead(assessment), &place);
    let split = body.x0 + 0.68 * body.width();
    let left = Rect {
        x1: split - 24.0,
        ..body
    };
    let right = Rect {
        x0: split + 24.0,
        ..body
    };
    let shares = [0.0, 0.13, 0.40, 0.58, 0.67, 0.77];
    let mut y = table(canvas, left, &list(assessment), &shares);
    if let Some(said) = unused(assessment) {
        y = canvas.paragraph(&said, (left.x0, y + 20.0), &look::BODY, left.width(), 3);
    }
    let ordering = &assessment.ordering;
    let said = format!(
        "Order by: the last working day that leaves {} for delivery. Resin in bags of {} L. Stock and both of these are set in the settings.",
        words::count(ordering.order_days.max(0) as usize, "day", "days"),
        words::figures(ordering.resin_bag_litres)
    );
    let at = (left.x0, y + 14.0);
    canvas.paragraph(&said, at, &look::SMALL, left.width(), 3);
    table(
        canvas,
        right,
        &by_month(assessment),
        &[0.0, 0.34, 0.57, 0.80],
    );
}

/// Draws a table with its caption; columns begin at `shares` of the width. Gives
/// where it ends.
fn table(canvas: &mut Canvas, area: Rect, table: &Table, shares: &[f64]) -> f64 {
    let mut y = section(canvas, area, area.y0, &table.caption);
    if table.rows.is_empty() {
        canvas.text("Nothing.", (area.x0, y), &look::BODY, Align::Left);
        return y + look::BODY.leading();
    }
    let room = |i: usize| {
        let from = shares.get(i).copied().unwrap_or(1.0);
        let to = shares.get(i + 1).copied().unwrap_or(1.0);
        (
            area.x0 + from * area.width(),
            (to - from) * area.width() - 12.0,
        )
    };
    for (i, head) in table.heads.iter().enumerate() {
        let (x, width) = room(i);
        let head = canvas.shortened(head, &look::SMALL_BOLD, width);
        canvas.text(&head, (x, y), &look::SMALL_BOLD, Align::Left);
    }
    y += 10.0;
    let face = look::BODY;
    for (n, row) in table.rows.iter().enumerate() {
        let cells = row.iter().enumerate().map(|(i, cell)| (room(i), cell));
        let cells: Vec<((f64, f64), Vec<String>)> = cells
            .map(|(at, cell)| (at, canvas.wrapped(cell, &face, at.1)))
            .collect();
        let lines = cells
            .iter()
            .map(|(_, lines)| lines.len())
            .max()
            .unwrap_or(1);
        let height = lines as f64 * face.leading() + 10.0;
        let left = table.rows.len() - n;
        if y + height > area.y1 - if left > 1 { face.leading() } else { 0.0 } {
            let more = format!(
                "and {} more in the index",
                words::count(left, "row", "rows")
            );
            canvas.text(&more, (area.x0, y + 20.0), &look::SMALL, Align::Left);
            return y + 20.0 + face.leading();
        }
        canvas.fill(
            Rect {
                y0: y,
                y1: y + 1.0,
                ..area
            },
            look::GRID,
        );
        for ((x, _), lines) in &cells {
            for (k, line) in lines.iter().enumerate() {
                let baseline = y + 20.0 + k as f64 * face.leading();
                canvas.text(line, (*x, baseline), &face, Align::Left);
            }
        }
        y += height;
    }
    y + face.leading()
}
