//! What water cost and will cost: only from the fleet's own prices.

use crate::calendar::Date;

use crate::advise::{Assessment, Item, Money};
use crate::report::canvas::Canvas;
use crate::report::charts::{expected_by_van, per_1000_litres, spent_by_month};
use crate::report::pages::{place, section, sentences, sheet};
use crate::report::rect::Rect;
use crate::report::words;

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
        return vec!["No costs recorded for this year.".to_owned()];
    }
    let parts = [
        ("membranes", spent.membranes),
        ("resin", spent.resin),
        ("pre-filters", spent.prefilters),
        ("other jobs", spent.other),
    ];
    let named: Vec<String> = parts
        .into_iter()
        .filter(|(_, sum)| *sum > 0.0)
        .map(|(what, sum)| format!("{} for {what}", say(sum)))
        .collect();
    let mut said = vec![format!("This year: {}.", words::list(&named))];
    if spent.without_cost > 0 {
        said.push(format!(
            "{} of {} no cost recorded and {} not counted.",
            spent.without_cost,
            words::count(spent.services, "job has", "jobs have"),
            if spent.without_cost == 1 { "is" } else { "are" },
        ));
    }
    said
}

/// The coming twelve months beside the last twelve, and why they differ.
pub fn years(money: &Money) -> Vec<String> {
    let say = |amount: f64| words::money(amount, money.currency.as_deref());
    let pieces = |n: f64, item: Item| match item {
        Item::Resin => format!("{} L", words::thousands(words::two_figures(n))),
        _ => words::thousands(n),
    };
    let parts: Vec<String> = money
        .years
        .iter()
        .map(|p| {
            let what = match p.item {
                Item::Membrane => "RO membranes",
                Item::Prefilter => "pre-filter sets",
                _ => "of DI resin",
            };
            let (next, last) = (pieces(p.next, p.item), pieces(p.last, p.item));
            format!("{next} {what} ({last})")
        })
        .collect();
    if parts.is_empty() {
        return Vec::new();
    }
    let mut said = vec![format!(
        "Expected in the next 12 months, with the last 12 in brackets: {}.",
        parts.join(", ")
    )];
    let spent = &money.spent.last_12_months;
    let at_prices: f64 = money.years.iter().filter_map(|p| p.last_at_prices).sum();
    if spent.total > 0.0 && at_prices > 0.0 {
        let missing = match spent.without_cost {
            0 => String::new(),
            n => format!(" ({n} of {} jobs have no cost recorded)", spent.services),
        };
        said.push(format!(
            "The last 12 months: {} recorded{missing}; all its parts at today's prices come to {}.",
            say(spent.total),
            say(at_prices)
        ));
    }
    said
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, month: Date) {
    let money = &assessment.money;
    let lead = match &money.currency {
        Some(currency) => format!("From your own prices and costs, in {currency}"),
        None => "From your own prices and costs (set prices.currency to show £)".to_owned(),
    };
    let place = place(month, assessment);
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
    let lower = Rect {
        y0: upper.y1 + 20.0,
        ..left
    };
    let mut said = bought(money);
    said.extend(expected_by_van::in_words(money));
    said.extend(years(money));
    let y = section(canvas, lower, lower.y0, "In words");
    sentences(canvas, lower, y, &said);
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
