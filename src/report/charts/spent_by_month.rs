//! What jobs cost, month by month and part by part: the last two years from the
//! records, the coming one as expected.

use crate::calendar::{Date, DateExt};

use crate::advise::{Money, MonthSpent, SpentIn};
use crate::report::axis::{Axis, day_number, days_after, nice_top};
use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, Ink};
use crate::report::panel::{frame, heading, instead};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// What is expected is drawn in this share of its ink.
const EXPECTED: f64 = 0.5;
/// Height of the line with the keys, px.
const KEYS: f64 = 26.0;

/// Whether any service says what it cost.
pub fn any_cost(spent: &SpentIn) -> bool {
    spent.services > spent.without_cost
}

/// The finding: the last twelve months beside the coming ones.
pub fn title(money: &Money) -> String {
    let last = &money.spent.last_12_months;
    let say = |amount: f64| words::money(amount, money.currency.as_deref());
    let recorded = any_cost(last).then(|| format!("Last 12 months: {} recorded", say(last.total)));
    let ahead = money.expected.as_ref().and_then(|e| {
        let (low, high) = (say(e.fleet.p10?), say(e.fleet.p90?));
        Some(match low == high {
            true => format!("next 12: about {low}"),
            false => format!("next 12: likely {low} to {high}"),
        })
    });
    match (recorded, ahead) {
        (Some(recorded), Some(ahead)) => format!("{recorded}; {ahead}"),
        (Some(one), None) => one,
        (None, Some(ahead)) => words::capital(&ahead),
        (None, None) => "No costs recorded in the last 12 months".to_owned(),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(money: &Money) -> String {
    format!(
        "{}. A bar for each month, by part: recorded costs of the last 24 months, expected cost of parts in the next 12.",
        title(money)
    )
}

/// The numbers of the chart.
pub fn table(money: &Money) -> Table {
    let row = |month: &Month<'_>| {
        let sums = month.sums;
        let name = match month.expected {
            true => format!("{} (expected)", words::month(month.first)),
            false => words::month(month.first),
        };
        let sums = [
            sums.membranes,
            sums.resin,
            sums.prefilters,
            sums.other,
            sums.total,
        ];
        let sums = sums.map(words::thousands);
        std::iter::once(name).chain(sums).collect()
    };
    Table {
        caption: "Cost of jobs by month: recorded, then expected for parts".to_owned(),
        heads: vec![
            "Month",
            "RO membranes",
            "DI resin",
            "Pre-filters",
            "Other",
            "In all",
        ],
        rows: months(money).iter().map(row).collect(),
    }
}

/// A month of the chart.
struct Month<'a> {
    first: Date,
    sums: &'a MonthSpent,
    expected: bool,
}

/// Recorded months, then expected ones, oldest first.
fn months(money: &Money) -> Vec<Month<'_>> {
    let ahead = money.expected.iter().flat_map(|e| &e.months);
    let recorded = money.spent.months.iter().map(|m| (m, false));
    recorded
        .chain(ahead.map(|m| (m, true)))
        .filter_map(|(sums, expected)| {
            Some(Month {
                first: format!("{}-01", sums.month).parse().ok()?,
                sums,
                expected,
            })
        })
        .collect()
}

/// A month's sums with their inks, from the axis upwards.
fn stack(sums: &MonthSpent) -> [(f64, Ink, &'static str); 4] {
    [
        (sums.membranes, look::MEMBRANE, "RO membranes"),
        (sums.resin, look::RESIN, "DI resin"),
        (sums.prefilters, look::PREFILTER, "pre-filters"),
        (sums.other, look::RULE, "other jobs"),
    ]
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, money: &Money) {
    let unit = match money.expected {
        Some(_) => "Recorded cost each month; pale: expected cost of parts if the plan is followed",
        None => "Recorded cost each month",
    };
    let rest = heading(canvas, area, &title(money), unit);
    let months = months(money);
    let most = months.iter().map(|m| m.sums.total).fold(0.0, f64::max);
    let (Some(first), Some(last)) = (months.first(), months.last()) else {
        return;
    };
    if most <= 0.0 {
        let text = "Write down what parts and labour cost: the cost column of services.";
        return instead(canvas, rest, text);
    }
    keys(canvas, rest, &months);
    let plot = Rect {
        y0: rest.y0 + KEYS,
        ..rest
    };
    let top = nice_top(most * 1.05, 5);
    let x = Axis::days(first.first, days_after(last.first.last_of_month(), 1), 8);
    let y = Axis::numbers((0.0, top), 5, |v, _| words::thousands(v));
    let Some(panel) = frame(canvas, plot, &x, &y, "") else {
        return;
    };
    for month in &months {
        let end = month.first.last_of_month();
        let (from, to) = (day_number(month.first), day_number(end) + 1.0);
        let mut base = 0.0;
        for (sum, ink, _) in stack(month.sums) {
            let ink = if month.expected {
                ink.tint(EXPECTED)
            } else {
                ink
            };
            if sum > 0.0 {
                // a day's width of paper between two bars
                panel.bar((from + 1.0, base), (to - 1.0, base + sum), ink);
            }
            base += sum;
        }
    }
}

/// The inks of the parts that any month has, in one line.
fn keys(canvas: &mut Canvas, area: Rect, months: &[Month<'_>]) {
    let mut x = area.x0;
    let y = area.y0 + 14.0;
    let stacks: Vec<_> = months.iter().map(|m| stack(m.sums)).collect();
    for part in 0..4 {
        let of_part = stacks.iter().filter_map(|s| s.get(part));
        let Some((_, ink, name)) = of_part.clone().find(|p| p.0 > 0.0) else {
            continue;
        };
        let width = canvas.width_of(name, &look::SMALL);
        if x + 20.0 + width > area.x1 {
            break;
        }
        canvas.fill(Rect::at(x, y - 11.0, 13.0, 13.0), *ink);
        canvas.text(name, (x + 19.0, y), &look::SMALL, Align::Left);
        x += 19.0 + width + 26.0;
    }
}
