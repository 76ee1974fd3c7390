//! What to order: for the jobs of the coming weeks by make and size, less the
//! shelf, and what is likely in each of the coming months.

use std::collections::BTreeMap;

use crate::calendar::{Date, parse_date};

use crate::advise::{Assessment, Item, MonthOfParts, Order, Span, Visit, unused_stock};
use crate::report::axis::days_after;
use crate::report::canvas::Canvas;
use crate::report::due;
use crate::report::order;
use crate::report::pages::{place, sentences, sheet, table};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;
use crate::report::{DUE_WEEKS, ReportPlan};

/// What is ordered first, in one line.
pub fn lead(orders: &[Order], assessment: &Assessment) -> String {
    let weeks = words::count(DUE_WEEKS as usize, "week", "weeks");
    let now = orders.iter().filter(|o| order::is_now(o, assessment));
    let now = now.count();
    match now {
        0 => format!("Nothing to order today for the jobs of the next {weeks}"),
        n => format!(
            "{} to order now, for the jobs of the next {weeks}",
            words::count(n, "part", "parts")
        ),
    }
}

/// What to order for the jobs on the work list.
pub fn list(orders: &[Order], assessment: &Assessment) -> Table {
    let rows = orders.iter().map(|line| {
        let mut by_day: BTreeMap<Date, Vec<&str>> = BTreeMap::new();
        for van in &line.vans {
            by_day.entry(van.on).or_default().push(&van.van);
        }
        let vans = by_day.into_iter().map(|(day, vans)| {
            let day = words::weekday_near(day, assessment.as_of);
            format!("{day}: {}", vans.join(", "))
        });
        let vans: Vec<String> = vans.collect();
        vec![
            order::order_by(line, assessment),
            words::capital(&order::part(line)),
            order::to_order(line),
            amount(line, line.needed),
            amount(line, line.on_shelf),
            vans.join("; "),
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
fn unused(orders: &[Order], assessment: &Assessment) -> Option<String> {
    let unused = unused_stock(assessment, orders);
    (!unused.is_empty()).then(|| {
        format!(
            "On the shelf, and no job of these weeks needs it: {}.",
            words::list(&unused)
        )
    })
}

/// What each visit takes: what to load, and for which vans.
pub fn by_visit(visits: &[Visit], assessment: &Assessment) -> Table {
    let rows = visits.iter().filter_map(|visit| {
        let takes = visit.vans().into_iter().filter_map(|van| {
            let jobs = visit.jobs.iter().filter(|job| job.van == van);
            let parts: Vec<String> = jobs
                .filter_map(|job| due::takes(job).or_else(|| Some(due::tools(job).join(", "))))
                .collect();
            (!parts.is_empty()).then(|| format!("{van}: {}", parts.join(" + ")))
        });
        let takes: Vec<String> = takes.collect();
        (!takes.is_empty()).then(|| {
            vec![
                words::weekday_near(visit.day, assessment.as_of),
                visit.base.clone().unwrap_or_else(|| "–".to_owned()),
                takes.join("; "),
            ]
        })
    });
    Table {
        caption: "What each visit takes".to_owned(),
        heads: vec!["Visit", "Base", "To load"],
        rows: rows.collect(),
    }
}

/// Parts that are needed before what is ordered today arrives, in a sentence.
fn too_late(orders: &[Order], assessment: &Assessment) -> Option<String> {
    let days = assessment.ordering.order_days.max(0);
    let arrives = days_after(assessment.as_of, days);
    let late = orders.iter();
    let late = late.filter(|o| o.needed_on.is_some_and(|day| day < arrives));
    let late: Vec<String> = late
        .filter_map(|o| {
            let day = words::weekday_near(o.needed_on?, assessment.as_of);
            Some(format!("{} ({day})", order::part(o)))
        })
        .collect();
    (!late.is_empty()).then(|| {
        format!(
            "Needed before what is ordered today arrives ({}): {}. Fetch them, or put the visit off.",
            words::days(days),
            words::list(&late)
        )
    })
}

/// How to read the list, in sentences.
pub fn notes(orders: &[Order], assessment: &Assessment) -> Vec<String> {
    let ordering = &assessment.ordering;
    let mut said: Vec<String> = too_late(orders, assessment).into_iter().collect();
    said.extend(unused(orders, assessment));
    said.push(format!(
        "Order by: the last working day that leaves {} for delivery. Resin in bags of {} L. Both, and what is on the shelf, are in the settings.",
        words::days(ordering.order_days.max(0)),
        words::figures(ordering.resin_bag_litres)
    ));
    said
}

/// Why a month's figure is not the sum of its visits' parts.
pub fn note_on_months(assessment: &Assessment) -> String {
    format!(
        "Counted in the month in which it has to be ordered, {} before the day that is best for each part alone. Visits do some jobs earlier, so their parts add up differently.",
        words::days(assessment.ordering.order_days.max(0))
    )
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, plan: &ReportPlan<'_>) {
    let (orders, assessment) = (&plan.orders, plan.assessment);
    let place = place(plan.month, assessment);
    let lead = lead(orders, assessment);
    let body = sheet(canvas, "What to order", &lead, &place);
    let split = body.x0 + 0.68 * body.width();
    let left = Rect {
        x1: split - 20.0,
        ..body
    };
    let right = Rect {
        x0: split + 20.0,
        ..body
    };
    // the visits take what the order and its notes leave, and never less than a third
    let upper = Rect {
        y1: left.y0 + 0.62 * left.height(),
        ..left
    };
    let shares = [0.0, 0.11, 0.36, 0.53, 0.61, 0.67];
    let y = table(canvas, upper, &list(orders, assessment), &shares);
    let y = sentences(canvas, left, y, &notes(orders, assessment));
    let visits = Rect {
        y0: y + 6.0,
        ..left
    };
    table(
        canvas,
        visits,
        &by_visit(&plan.visits, assessment),
        &[0.0, 0.13, 0.21],
    );
    let months = by_month(assessment);
    let y = table(canvas, right, &months, &[0.0, 0.33, 0.58, 0.80]);
    sentences(canvas, right, y, &[note_on_months(assessment)]);
}
