//! What water cost and will cost: only from the fleet's own prices.

use crate::calendar::Date;

use crate::advise::{Assessment, Item, Money, PartYears, rounded};
use crate::report::canvas::Canvas;
use crate::report::charts::{expected_by_van, per_1000_litres, spent_by_month};
use crate::report::pages::{place, section, sentences, sheet, table};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// Height that the words take at most beside the table, px.
const WORDS: f64 = 250.0;
/// Heights of a row of the table and of what stands over and under them, px.
const ROW: f64 = 36.0;
const TABLE: f64 = 90.0;

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

/// A year's costs as the page shows them, last and next: all to the same unit, three
/// figures of the greater year, so that sums and differences hold.
fn shown(money: &Money, part: &PartYears) -> (Option<f64>, Option<f64>) {
    let year = |of: fn(&PartYears) -> Option<f64>| money.years.iter().filter_map(of).sum::<f64>();
    let most = year(|p| p.last_at_prices).max(year(|p| p.next_cost));
    let round = |amount: f64| rounded(amount, most / 10.0);
    (part.last_at_prices.map(round), part.next_cost.map(round))
}

/// The coming twelve months beside the last twelve, part by part.
pub fn years(money: &Money) -> Table {
    let say = |amount: Option<f64>| {
        let money = amount.map(|a| words::money_as_it_is(a, money.currency.as_deref()));
        money.unwrap_or_else(|| "–".to_owned())
    };
    let pieces = |n: f64, item: Item| match item {
        Item::Resin => format!("{} L", words::thousands(words::two_figures(n))),
        _ => words::thousands(n),
    };
    let mut rows: Vec<Vec<String>> = money
        .years
        .iter()
        .map(|p| {
            let (last, next) = shown(money, p);
            vec![
                words::capital(part(p.item)),
                pieces(p.last, p.item),
                say(last),
                pieces(p.next, p.item),
                say(next),
            ]
        })
        .collect();
    let (last, next): (Vec<_>, Vec<_>) = money.years.iter().map(|p| shown(money, p)).unzip();
    let sum = |year: Vec<Option<f64>>| {
        let known: Vec<f64> = year.into_iter().flatten().collect();
        say((!known.is_empty()).then(|| known.iter().sum()))
    };
    if rows.len() > 1 {
        rows.push(vec![
            "Total".to_owned(),
            String::new(),
            sum(last),
            String::new(),
            sum(next),
        ]);
    }
    Table {
        caption: "The last 12 months and the next, at today's prices, rounded".to_owned(),
        heads: vec!["Part", "Last 12 months", "Cost", "Next 12 months", "Cost"],
        rows,
    }
}

fn part(item: Item) -> &'static str {
    match item {
        Item::Membrane => "RO membranes",
        Item::Prefilter => "pre-filter sets",
        _ => "DI resin",
    }
}

/// Why the coming twelve months differ from the last twelve.
pub fn why_it_differs(money: &Money) -> Vec<String> {
    let say = |amount: f64| words::money(amount, money.currency.as_deref());
    let mut more: Vec<(f64, Item)> = money
        .years
        .iter()
        .filter_map(|p| {
            let (last, next) = shown(money, p);
            Some((next? - last?, p.item))
        })
        .filter(|(more, _)| more.abs() >= 1.0)
        .collect();
    more.sort_by(|a, b| b.0.abs().total_cmp(&a.0.abs()));
    let parts: Vec<String> = more
        .into_iter()
        .map(|(more, item)| {
            let side = if more > 0.0 { "more" } else { "less" };
            let more = words::money_as_it_is(more.abs(), money.currency.as_deref());
            format!("{} {more} {side}", part(item))
        })
        .collect();
    let mut said = Vec::new();
    if !parts.is_empty() {
        said.push(format!(
            "Next year against last year, at today's prices: {}.",
            words::list(&parts)
        ));
    }
    let spent = &money.spent.last_12_months;
    let at_prices: f64 = money.years.iter().filter_map(|p| p.last_at_prices).sum();
    if spent.total > 0.0 && at_prices > 0.0 && spent.without_cost > 0 {
        said.push(format!(
            "Recorded for the last 12 months: {}, as {} of {} jobs have no cost recorded.",
            say(spent.total),
            spent.without_cost,
            spent.services
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
    let right = Rect {
        x0: split + 20.0,
        ..body
    };
    let vans = f64::from(expected_by_van::height_of(money));
    let districts = f64::from(per_1000_litres::height_of(assessment));
    let mut below = right;
    if per_1000_litres::any(assessment) {
        // the second chart follows what the first one takes
        let split = right.y0 + (vans + 20.0).min(580.0);
        let first = Rect {
            y1: split - 20.0,
            ..right
        };
        expected_by_van::draw(canvas, first, money);
        per_1000_litres::draw(canvas, Rect { y0: split, ..right }, assessment);
        below.y0 = split + districts;
    } else {
        expected_by_van::draw(canvas, right, money);
        below.y0 += vans;
    }
    let mut said = bought(money);
    said.extend(expected_by_van::in_words(money));
    said.extend(why_it_differs(money));
    let years = years(money);
    let words_beside = below.height() > WORDS;
    let mut lower = Rect {
        y0: left.y0 + 450.0,
        ..left
    };
    if words_beside {
        // the chart takes what the table under it leaves
        let rows = years.rows.len() as f64;
        lower.y0 = (left.y1 - TABLE - ROW * rows).min(left.y0 + 680.0);
    }
    let upper = Rect {
        y1: lower.y0 - 20.0,
        ..left
    };
    spent_by_month::draw(canvas, upper, money);
    if !years.rows.is_empty() {
        let shares = [0.0, 0.25, 0.46, 0.63, 0.84];
        lower.y0 = table(canvas, lower, &years, &shares);
    }
    let at = if words_beside { below } else { lower };
    let y = section(canvas, at, at.y0, "In words");
    sentences(canvas, at, y, &said);
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::report::fixture::assessment;

    #[test]
    fn differences_and_sums_are_those_of_the_figures_shown() {
        let mut money = assessment().money;
        money.currency = None;
        let part = |item, last, next| PartYears {
            item,
            last: 6.0,
            last_at_prices: Some(last),
            next: 11.0,
            next_cost: Some(next),
        };
        money.years = vec![
            part(Item::Membrane, 1003.08, 1914.61),
            part(Item::Prefilter, 1845.48, 1876.6),
            part(Item::Resin, 3459.88, 2896.72),
        ];
        let cost = |column: usize| -> Vec<f64> {
            let cells = years(&money).rows.into_iter();
            let cells = cells.map(|row| row[column].replace(',', ""));
            cells.map(|cell| cell.parse().unwrap()).collect()
        };
        let (last, next) = (cost(2), cost(4));
        assert_eq!(last, [1000.0, 1850.0, 3460.0, 6310.0]);
        assert_eq!(next, [1910.0, 1880.0, 2900.0, 6690.0]);
        assert_eq!(
            why_it_differs(&money)[0],
            "Next year against last year, at today's prices: RO membranes 910 more, DI resin 560 less and pre-filter sets 30 more."
        );
    }
}
