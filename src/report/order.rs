//! What to order: for the jobs of the coming weeks by make and size, and for each
//! of the coming months.

use comfy_table::{ContentArrangement, Table, presets};
use serde::Serialize;

use super::axis::days_after;
use super::due::weekday;
use super::error::ReportError;
use super::export::{harmless, row};
use super::text::{Screen, push_wrapped};
use super::words;
use crate::advise::{Assessment, Item, MonthOfParts, Order, Span, State, unused_stock};

/// `RO membrane, 4040 low pressure`.
pub fn part(order: &Order) -> String {
    words::named(order.item, order.part.as_deref())
}

/// `2`, of resin `22 L`.
fn amount(order: &Order, x: f64) -> String {
    match order.item {
        Item::Resin => format!("{} L", (x * 10.0).round() / 10.0),
        _ => format!("{x:.0}"),
    }
}

/// What to buy: `2`, of resin `22 L: 1 bag of 25 L`; nothing where the shelf does.
pub fn to_order(order: &Order) -> String {
    match order.bags {
        _ if order.to_order <= 0.0 => "–".to_owned(),
        Some(bags) => format!(
            "{}: {} of {} L",
            amount(order, order.to_order),
            words::count(bags.bags as usize, "bag", "bags"),
            bags.litres_each
        ),
        None => amount(order, order.to_order),
    }
}

/// Whether it has to be ordered today, or had to be before.
pub fn is_now(order: &Order, assessment: &Assessment) -> bool {
    order.order_by.is_some_and(|day| day <= assessment.as_of)
}

/// By when: `now`, a day, or nothing where the shelf does.
pub fn order_by(order: &Order, assessment: &Assessment) -> String {
    match order.order_by {
        None => "–".to_owned(),
        Some(_) if is_now(order, assessment) => "now".to_owned(),
        Some(day) => weekday(day),
    }
}

/// What has to be ordered now, each part in a few words: `9 × pre-filter set, 5 micron`.
pub fn now(orders: &[Order], assessment: &Assessment) -> Vec<String> {
    let now = orders.iter().filter(|o| is_now(o, assessment));
    now.map(|order| match order.bags {
        Some(bags) => format!(
            "{} of {} L {}",
            words::count(bags.bags as usize, "bag", "bags"),
            bags.litres_each,
            part(order)
        ),
        None => format!("{:.0} × {}", order.to_order, part(order)),
    })
    .collect()
}

/// Whether what is ordered today comes too late for the first visit, in a sentence.
pub fn misses(orders: &[Order], assessment: &Assessment) -> Option<String> {
    let first = orders.iter().filter_map(|o| o.needed_on).min()?;
    let arrives = days_after(assessment.as_of, assessment.ordering.order_days.max(0));
    (first < arrives).then(|| {
        format!(
            "Ordered today, it comes {}: too late for {}.",
            words::weekday_near(arrives, assessment.as_of),
            words::weekday_near(first, assessment.as_of)
        )
    })
}

/// The first vans that it is for.
fn whom(order: &Order) -> String {
    const NAMED: usize = 3;
    let mut vans: Vec<&str> = order.vans.iter().map(|v| v.van.as_str()).collect();
    vans.dedup();
    let named: Vec<String> = vans.iter().take(NAMED).map(|van| shortened(van)).collect();
    match vans.len().checked_sub(NAMED) {
        Some(more @ 1..) => format!("{} and {more} more", named.join(", ")),
        _ => named.join(", "),
    }
}

fn shortened(van: &str) -> String {
    match van.char_indices().nth(14) {
        Some((end, _)) => format!("{}…", van.get(..end).unwrap_or(van)),
        None => van.to_owned(),
    }
}

fn table(heads: &[&str], screen: Screen) -> Table {
    let mut table = Table::new();
    table
        .load_style(presets::NOTHING)
        .set_content_arrangement(ContentArrangement::Dynamic)
        .set_width(u16::try_from(screen.width).unwrap_or(u16::MAX))
        .set_header(heads.to_vec());
    table
}

/// Both lists for the terminal, and what is left out of them.
pub fn text(orders: &[Order], assessment: &Assessment, weeks: u32, screen: Screen) -> String {
    let weeks = words::count(weeks as usize, "week", "weeks");
    let mut out = format!("To order for the jobs of the next {weeks}\n");
    if orders.is_empty() {
        out.push_str("  nothing\n");
    } else {
        let heads = ["order by", "part", "needed", "on shelf", "to order", "for"];
        let mut list = table(&heads, screen);
        for order in orders {
            list.add_row([
                order_by(order, assessment),
                part(order),
                amount(order, order.needed),
                amount(order, order.on_shelf),
                to_order(order),
                whom(order),
            ]);
        }
        out.push_str(&list.trim_fmt());
        out.push('\n');
    }
    for name in unused_stock(assessment, orders) {
        let said = format!("On the shelf, and no job of this time needs it: {name}.");
        push_wrapped(&mut out, &said, ("", "  "), screen);
    }
    out.push_str("\nLikely in the coming months (low to high, four times in five)\n");
    let heads = ["order in", "membranes", "pre-filter sets", "DI resin, L"];
    let mut list = table(&heads, screen);
    let cell = |s: &Span<f64>| match (s.p10, s.p90) {
        (Some(a), Some(b)) if a == b => format!("{a:.0}"),
        (Some(a), Some(b)) => format!("{a:.0} to {b:.0}"),
        _ => "–".to_owned(),
    };
    for m in &assessment.parts_to_order {
        list.add_row([
            m.month.clone(),
            cell(&m.membranes),
            cell(&m.prefilter_sets),
            cell(&m.resin_litres),
        ]);
    }
    out.push_str(&list.trim_fmt());
    out.push('\n');
    let untold: Vec<String> = assessment
        .vans
        .iter()
        .flat_map(|v| {
            [
                (v.series.has_membrane, v.membrane.state, Item::Membrane),
                (v.series.has_resin, v.resin.state, Item::Resin),
                (v.series.has_membrane, v.prefilter.state, Item::Prefilter),
            ]
            .into_iter()
            .filter(|(aboard, state, _)| *aboard && *state == State::Unknown)
            .map(|(_, _, item)| format!("{} {}", v.van, words::item(item)))
        })
        .collect();
    if !untold.is_empty() {
        let said = format!("Left out, as there is no forecast: {}.", untold.join(", "));
        push_wrapped(&mut out, &said, ("", "  "), screen);
    }
    out
}

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    as_of: crate::calendar::Date,
    weeks: u32,
    order: &'a [Order],
    unused_stock: Vec<String>,
    months: &'a [MonthOfParts],
}

/// Both lists as JSON.
///
/// # Errors
/// [`ReportError::CannotSerialise`]
pub fn json(orders: &[Order], assessment: &Assessment, weeks: u32) -> Result<String, ReportError> {
    let document = Document {
        schema: "litrewise/parts/1",
        as_of: assessment.as_of,
        weeks,
        unused_stock: unused_stock(assessment, orders),
        order: orders,
        months: &assessment.parts_to_order,
    };
    let text = serde_json::to_string_pretty(&document);
    Ok(text.map_err(ReportError::CannotSerialise)? + "\n")
}

/// The order as CSV, one row for each make.
pub fn csv(orders: &[Order]) -> String {
    let heads = [
        "item",
        "part",
        "needed",
        "on_shelf",
        "to_order",
        "unit",
        "bags",
        "litres_each",
        "needed_on",
        "order_by",
        "vans",
    ];
    let mut out = row(heads.map(str::to_owned).into_iter());
    let day = |day: Option<crate::calendar::Date>| day.map_or(String::new(), |d| d.to_string());
    for order in orders {
        let vans: Vec<&str> = order.vans.iter().map(|v| v.van.as_str()).collect();
        let bags = order.bags;
        let cells = [
            order.item.word().to_owned(),
            harmless(order.part.as_deref().unwrap_or_default()),
            order.needed.to_string(),
            order.on_shelf.to_string(),
            order.to_order.to_string(),
            match order.item {
                Item::Resin => "L",
                Item::Prefilter => "sets",
                _ => "pieces",
            }
            .to_owned(),
            bags.map_or(String::new(), |b| b.bags.to_string()),
            bags.map_or(String::new(), |b| b.litres_each.to_string()),
            day(order.needed_on),
            day(order.order_by),
            harmless(&vans.join("; ")),
        ];
        out.push_str(&row(cells.into_iter()));
    }
    out
}

/// The parts of the coming months as CSV.
pub fn months_csv(months: &[MonthOfParts]) -> String {
    let mut heads = vec!["month".to_owned()];
    for part in ["membranes", "prefilter_sets", "resin_litres"] {
        heads.extend(["low", "middle", "high"].map(|end| format!("{part}_{end}")));
    }
    let mut out = row(heads.into_iter());
    for m in months {
        let numbers = [&m.membranes, &m.prefilter_sets, &m.resin_litres]
            .into_iter()
            .flat_map(|s| [s.p10, s.p50, s.p90])
            .map(|x| x.map_or(String::new(), |x| format!("{x:.0}")));
        out.push_str(&row(std::iter::once(m.month.clone()).chain(numbers)));
    }
    out
}
