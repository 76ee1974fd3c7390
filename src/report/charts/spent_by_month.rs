//! What services cost, month by month, from the records.

use jiff::civil::Date;

use crate::advise::{Money, SpentIn};
use crate::report::axis::{Axis, day_number, days_after, nice_top};
use crate::report::canvas::Canvas;
use crate::report::look;
use crate::report::panel::{frame, heading};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// Years that differ by less are called alike.
const ALIKE: f64 = 0.1;

/// Whether any service says what it cost.
pub fn any_cost(spent: &SpentIn) -> bool {
    spent.services > spent.without_cost
}

/// The finding: this year beside the same days of last year.
pub fn title(money: &Money) -> String {
    let (now, before) = (&money.spent.this_year, &money.spent.last_year_to_the_day);
    let say = |amount: f64| words::money(amount, money.currency.as_deref());
    if !any_cost(now) {
        return "No costs are on record for this year".to_owned();
    }
    let total = say(now.total);
    if !any_cost(before) || before.total <= 0.0 {
        return format!("This year has cost {total} so far");
    }
    let change = now.total / before.total - 1.0;
    let percent = words::percent(change.abs(), 0);
    if change.abs() < ALIKE {
        format!("This year has cost {total} so far, much like last year to the day")
    } else if change > 0.0 {
        format!("This year has cost {total} so far, {percent} more than last year to the day")
    } else {
        format!("This year has cost {total} so far, {percent} less than last year to the day")
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(money: &Money) -> String {
    format!(
        "{}. Recorded costs of each of the last 24 months as bars.",
        title(money)
    )
}

/// The numbers of the chart.
pub fn table(money: &Money) -> Table {
    Table {
        caption: "Recorded costs by month, in your own currency".to_owned(),
        heads: vec!["Month", "Cost"],
        rows: months(money)
            .into_iter()
            .map(|(month, total)| vec![words::month(month), words::thousands(total)])
            .collect(),
    }
}

/// First days of months with their sums, oldest first.
fn months(money: &Money) -> Vec<(Date, f64)> {
    let months = money.spent.months.iter();
    months
        .filter_map(|m| Some((format!("{}-01", m.month).parse().ok()?, m.total)))
        .collect()
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, money: &Money) {
    let unit = "Recorded cost of services each month, own currency";
    let rest = heading(canvas, area, &title(money), unit);
    let months = months(money);
    let most = months.iter().map(|m| m.1).fold(0.0, f64::max);
    let (Some(first), Some(last)) = (months.first(), months.last()) else {
        return;
    };
    if most <= 0.0 {
        let text = "Note what parts and work cost in the cost column of services.";
        let at = (rest.x0, rest.y0 + 40.0);
        canvas.paragraph(text, at, &look::BODY, rest.width(), 3);
        return;
    }
    let top = nice_top(most * 1.05, 5);
    let end = last.0.last_of_month();
    let x = Axis::days(first.0, days_after(end, 1), 8);
    let y = Axis::numbers((0.0, top), 5, |v, _| words::thousands(v));
    let Some(panel) = frame(canvas, rest, &x, &y, "") else {
        return;
    };
    for (month, total) in months {
        let (from, to) = (day_number(month), day_number(month.last_of_month()) + 1.0);
        // a day's width of paper between two bars
        panel.bar((from + 1.0, 0.0), (to - 1.0, total), look::WATER);
    }
}
