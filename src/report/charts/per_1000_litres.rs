//! What a thousand litres of pure water cost, district by district, beside
//! what they would cost by the rule of thumb.

use crate::advise::{AreaAssessment, Assessment, CostPer1000Litres};
use crate::report::axis::{Axis, nice_top};
use crate::report::canvas::Canvas;
use crate::report::look::{self, Shape};
use crate::report::panel::{Rows, heading, instead, rows_that_fit};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// Distance between two rows, px.
const PITCH: f64 = 30.0;
/// At most so many districts: the dearest.
const MOST: usize = 12;

/// Districts with a known cost, the dearest first.
fn known(assessment: &Assessment) -> Vec<(&AreaAssessment, CostPer1000Litres)> {
    let areas = assessment.areas.iter();
    let mut list: Vec<_> = areas
        .filter_map(|a| Some((a, a.cost_per_1000_litres?)))
        .collect();
    list.sort_by(|a, b| {
        b.1.total
            .total_cmp(&a.1.total)
            .then_with(|| a.0.postcode.cmp(&b.0.postcode))
    });
    list
}

/// Whether there is anything to draw.
pub fn any(assessment: &Assessment) -> bool {
    !known(assessment).is_empty()
}

/// The finding: where water is cheapest and dearest.
pub fn title(assessment: &Assessment) -> String {
    let list = known(assessment);
    let say = |amount: f64| words::money(amount, assessment.money.currency.as_deref());
    match list.as_slice() {
        [] => "Set prices to see what 1,000 L cost".to_owned(),
        [(dear, most), .., (cheap, least)] if say(most.total) != say(least.total) => format!(
            "1,000 L of pure water cost {} in {}, {} in {}",
            say(least.total),
            cheap.postcode,
            say(most.total),
            dear.postcode
        ),
        [(_, cost), ..] => format!("1,000 L of pure water cost about {}", say(cost.total)),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(assessment: &Assessment) -> String {
    format!(
        "{}. One bar per district, the dearest at the top, with a ring at the cost of the usual intervals.",
        title(assessment)
    )
}

/// The numbers of the chart.
pub fn table(assessment: &Assessment) -> Table {
    let currency = assessment.money.currency.as_deref();
    let say = |amount: f64| words::money(amount, currency);
    Table {
        caption: "Cost of 1,000 L of pure water, failures on the road included".to_owned(),
        heads: vec![
            "District",
            "Membrane",
            "Resin",
            "Pre-filters",
            "In all",
            "Usual intervals",
        ],
        rows: known(assessment)
            .into_iter()
            .map(|(area, cost)| {
                let rule = area.rule_cost_per_1000_litres;
                vec![
                    area.postcode.clone(),
                    say(cost.membrane),
                    say(cost.resin),
                    say(cost.prefilters),
                    say(cost.total),
                    rule.map_or(words::UNKNOWN.to_owned(), |r| say(r.total)),
                ]
            })
            .collect(),
    }
}

/// The height that the chart takes without its title, px.
pub fn height_of(assessment: &Assessment) -> u32 {
    (100.0 + PITCH * known(assessment).len() as f64) as u32
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, assessment: &Assessment) {
    let unit = "bar: if the suggestions are followed; ring: at the usual intervals";
    let rest = heading(canvas, area, &title(assessment), unit);
    let all = known(assessment);
    let (fits, rest) = rows_that_fit(rest, PITCH, all.len());
    let shown = all.get(..fits.min(MOST)).unwrap_or_default();
    if shown.is_empty() {
        let text = "litrewise settings --write shows where prices go; costs of services count too.";
        return instead(canvas, rest, text);
    }
    let rule = |a: &AreaAssessment| a.rule_cost_per_1000_litres.map(|r| r.total);
    let most = shown
        .iter()
        .flat_map(|(a, cost)| [Some(cost.total), rule(a)])
        .flatten();
    let top = nice_top(most.fold(1.0, f64::max), 5);
    let face = look::SMALL;
    let x = Axis::numbers((0.0, top), 5, |v, d| format!("{v:.d$}"));
    let names = shown.iter().map(|(a, _)| a.postcode.clone());
    let Some(rows) = Rows::framed(canvas, rest, names, (&face, 0.3), (&x, ""), PITCH) else {
        return;
    };
    let panel = &rows.panel;
    for (i, (district, cost)) in shown.iter().enumerate() {
        let middle = rows.named(i, &face);
        let bar = Rect {
            x0: panel.plot.x0,
            x1: panel.x_px(cost.total),
            y0: middle - 8.0,
            y1: middle + 8.0,
        };
        canvas.fill(bar, look::WATER);
        if let Some(rule) = rule(district) {
            canvas.mark(Shape::Ring, (panel.x_px(rule), middle), 7.0, look::MEMBRANE);
        }
    }
    if all.len() > shown.len() {
        let n = all.len() - shown.len();
        rows.left_out(&format!("and {}", words::count(n, "district", "districts")));
    }
}
