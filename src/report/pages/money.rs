//! What water cost and will cost: only from the fleet's own prices.

use jiff::civil::Date;

use crate::advise::{Assessment, Money, MonthOfParts, Span};
use crate::report::canvas::Canvas;
use crate::report::charts::{expected_by_van, per_1000_litres, spent_by_month};
use crate::report::pages::{place, section, sentences, sheet};
use crate::report::rect::Rect;
use crate::report::words;

/// Months of parts to order that are told in words.
const MONTHS: usize = 3;

/// Whether there is anything to show: a cost on record, or a price.
pub fn worth_a_page(money: &Money) -> bool {
    let spent = &money.spent;
    money.expected.is_some()
        || [&spent.this_year, &spent.last_year]
            .into_iter()
            .any(spent_by_month::any_cost)
}

/// What the year took, by what was bought.
pub fn bought(money: &Money) -> Vec<String> {
    let spent = &money.spent.this_year;
    let say = |amount: f64| words::money(amount, money.currency.as_deref());
    if !spent_by_month::any_cost(spent) {
        return vec!["No costs are on record for this year.".to_owned()];
    }
    let parts = [
        ("membranes", spent.membranes),
        ("resin", spent.resin),
        ("pre-filters", spent.prefilters),
        ("other work", spent.other),
    ];
    let named: Vec<String> = parts
        .into_iter()
        .filter(|(_, sum)| *sum > 0.0)
        .map(|(what, sum)| format!("{} for {what}", say(sum)))
        .collect();
    let mut said = vec![format!("This year: {}.", words::list(&named))];
    if spent.without_cost > 0 {
        said.push(format!(
            "{} of {} on record without a cost.",
            spent.without_cost,
            words::count(spent.services, "service is", "services are"),
        ));
    }
    said
}

/// What to order in the coming months.
pub fn to_order(months: &[MonthOfParts]) -> Vec<String> {
    let said: Vec<String> = months
        .iter()
        .take(MONTHS)
        .filter_map(|m| {
            let month: Date = format!("{}-01", m.month).parse().ok()?;
            let parts = [
                amount(&m.membranes, "membrane", "membranes"),
                amount(&m.prefilter_sets, "pre-filter set", "pre-filter sets"),
                amount(&m.resin_litres, "L of resin", "L of resin"),
            ];
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            (!parts.is_empty()).then(|| format!("{}: {}.", words::month(month), parts.join(", ")))
        })
        .collect();
    if said.is_empty() {
        return vec!["Nothing, as far as can be told.".to_owned()];
    }
    said
}

fn amount(span: &Span<f64>, one: &str, many: &str) -> Option<String> {
    let (low, high) = (span.p10?.round(), span.p90?.round());
    let noun = if high == 1.0 { one } else { many };
    match high {
        0.0 => None,
        _ if low == high => Some(format!("{} {noun}", words::thousands(high))),
        _ => Some(format!(
            "{} to {} {noun}",
            words::thousands(low),
            words::thousands(high)
        )),
    }
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, month: Date) {
    let money = &assessment.money;
    let lead = match &money.currency {
        Some(currency) => format!("From your own prices and costs, in {currency}"),
        None => "From your own prices and costs, in your own currency".to_owned(),
    };
    let place = place(month, assessment.as_of);
    let body = sheet(canvas, "Money", &lead, &place);
    let split = body.x0 + 860.0;
    let left = Rect {
        x1: split - 20.0,
        ..body
    };
    let upper = Rect {
        y1: left.y0 + 440.0,
        ..left
    };
    spent_by_month::draw(canvas, upper, money);
    let mut lower = Rect {
        y0: upper.y1 + 20.0,
        ..left
    };
    let mut said = bought(money);
    said.extend(expected_by_van::in_words(money));
    let y = section(canvas, lower, lower.y0, "In words");
    lower.y0 = sentences(canvas, lower, y, &said) + 10.0;
    let y = section(canvas, lower, lower.y0, "Parts to order");
    sentences(canvas, lower, y, &to_order(&assessment.parts_to_order));
    let right = Rect {
        x0: split + 20.0,
        ..body
    };
    if per_1000_litres::any(assessment) {
        let split = right.y0 + 560.0;
        expected_by_van::draw(
            canvas,
            Rect {
                y1: split - 20.0,
                ..right
            },
            money,
        );
        per_1000_litres::draw(canvas, Rect { y0: split, ..right }, assessment);
    } else {
        expected_by_van::draw(canvas, right, money);
    }
}
