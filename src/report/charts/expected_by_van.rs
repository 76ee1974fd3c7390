//! What the coming twelve months cost if the plan is followed, van by van.

use crate::advise::{Expected, Money, VanExpected};
use crate::report::axis::{Axis, nice_top};
use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, Shape};
use crate::report::panel::{Rows, heading, instead, rows_that_fit};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// Distance between two rows, px, and at most so many of them.
const PITCH: f64 = 26.0;
const MOST: usize = 30;

/// The finding: what the year will likely cost, and which van most.
pub fn title(money: &Money) -> String {
    let Some(expected) = &money.expected else {
        return "Set prices to see what the next 12 months cost".to_owned();
    };
    let said = total(money, expected);
    match dearest(expected)
        .first()
        .filter(|_| expected.vans.len() > 1)
    {
        Some(van) => format!("{said}; {} most", van.van),
        None => said,
    }
}

fn total(money: &Money, expected: &Expected) -> String {
    let say = |amount: f64| words::money(amount, money.currency.as_deref());
    let fleet = &expected.fleet;
    match (fleet.p10, fleet.p90) {
        (Some(low), Some(high)) if say(low) != say(high) => format!(
            "Next 12 months: likely between {} and {}",
            say(low),
            say(high)
        ),
        _ => match fleet.p50 {
            Some(middle) => format!("Next 12 months: about {}", say(middle)),
            None => "No forecast of what the next 12 months cost".to_owned(),
        },
    }
}

/// The same in a sentence, with what is left out.
pub fn in_words(money: &Money) -> Option<String> {
    let expected = money.expected.as_ref()?;
    let mut said = total(money, expected);
    if !expected.without.is_empty() {
        let names: Vec<String> = expected
            .without
            .iter()
            .map(|name| priced(name).to_owned())
            .collect();
        said.push_str(&format!(
            " (no price set for {}, so not counted)",
            words::list(&names)
        ));
    }
    Some(said + ".")
}

/// What a price is for.
fn priced(name: &str) -> &str {
    match name {
        "membrane" => "RO membranes",
        "prefilter" => "pre-filters",
        "resin_per_litre" => "DI resin",
        "labour_per_visit" => "labour",
        "water_per_m3" => "tap water",
        "drain_per_m3" => "waste water",
        other => other,
    }
}

/// The vans, the dearest first.
fn dearest(expected: &Expected) -> Vec<&VanExpected> {
    let mut vans: Vec<&VanExpected> = expected.vans.iter().collect();
    let middle = |v: &VanExpected| v.cost.p50.unwrap_or(0.0);
    vans.sort_by(|a, b| {
        middle(b)
            .total_cmp(&middle(a))
            .then_with(|| a.van.cmp(&b.van))
    });
    vans
}

/// What a reader who cannot see the chart needs.
pub fn alternative(money: &Money) -> String {
    format!(
        "{}. One bar per van, the dearest at the top, from the likely lowest to the likely highest cost.",
        title(money)
    )
}

/// The numbers of the chart.
pub fn table(money: &Money) -> Table {
    let say = |amount: Option<f64>| {
        amount.map_or(words::UNKNOWN.to_owned(), |a| {
            words::money(a, money.currency.as_deref())
        })
    };
    let vans = money.expected.as_ref().map(dearest).unwrap_or_default();
    Table {
        caption: "Cost of the next 12 months if the plan is followed".to_owned(),
        heads: vec!["Van", "Best estimate", "Likely between"],
        rows: vans
            .into_iter()
            .map(|v| {
                vec![
                    v.van.clone(),
                    say(v.cost.p50),
                    format!("{} and {}", say(v.cost.p10), say(v.cost.p90)),
                ]
            })
            .collect(),
    }
}

/// The height that the chart takes without its title, px.
pub fn height_of(money: &Money) -> u32 {
    let vans = money.expected.as_ref().map_or(0, |e| e.vans.len());
    (100.0 + PITCH * vans as f64) as u32
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, money: &Money) {
    let unit = "bar: likely range if the plan is followed; mark: best estimate";
    let rest = heading(canvas, area, &title(money), unit);
    let Some(expected) = &money.expected else {
        let text = "litrewise settings --write shows where prices go; costs of services count too.";
        return instead(canvas, rest, text);
    };
    let all = dearest(expected);
    let (fits, rest) = rows_that_fit(rest, PITCH, all.len());
    let shown = all.get(..fits.min(MOST)).unwrap_or_default();
    let most = shown.iter().filter_map(|v| v.cost.p90.or(v.cost.p50));
    let top = nice_top(most.fold(1.0, f64::max), 5);
    let face = look::SMALL;
    let x = Axis::numbers((0.0, top), 5, |v, _| words::thousands(v));
    let names = shown.iter().map(|v| v.van.clone());
    let Some(rows) = Rows::framed(canvas, rest, names, (&face, 0.25), (&x, ""), PITCH) else {
        return;
    };
    let panel = &rows.panel;
    for (i, van) in shown.iter().enumerate() {
        let middle = rows.named(i, &face);
        let Some(p50) = van.cost.p50 else {
            let at = (panel.plot.x0 + 8.0, middle + face.below_middle());
            canvas.text("no forecast", at, &face, Align::Left);
            continue;
        };
        let (low, high) = (van.cost.p10.unwrap_or(p50), van.cost.p90.unwrap_or(p50));
        let (from, to) = (panel.x_px(low), panel.x_px(high));
        canvas.line(&[(from, middle), (to, middle)], look::WATER, 3.0);
        for end in [from, to] {
            canvas.line(
                &[(end, middle - 6.0), (end, middle + 6.0)],
                look::WATER,
                2.0,
            );
        }
        canvas.mark(
            Shape::Diamond,
            (panel.x_px(p50), middle),
            6.5,
            look::MEMBRANE,
        );
    }
    if all.len() > shown.len() {
        let n = all.len() - shown.len();
        rows.left_out(&format!(
            "and {} that cost less",
            words::count(n, "van", "vans")
        ));
    }
}
