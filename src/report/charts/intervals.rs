//! The table of suggested intervals per district, beside the rule of thumb.

use crate::advise::{AreaAssessment, Assessment};
use crate::report::canvas::{Align, Canvas};
use crate::report::look;
use crate::report::panel::heading;
use crate::report::rect::Rect;
use crate::report::words;

const ROW: f64 = 30.0;
/// A head may take a second line, px.
const SECOND_LINE: f64 = 20.0;

/// The finding: how far the suggestions spread around the rule of thumb.
pub fn title(assessment: &Assessment) -> String {
    let rule = assessment.fleet.rule_membrane_months;
    let months: Vec<(f64, &str)> = assessment
        .areas
        .iter()
        .filter_map(|a| Some((a.suggested.membrane_days? / 30.44, a.postcode.as_str())))
        .collect();
    let shortest = months.iter().min_by(|a, b| a.0.total_cmp(&b.0));
    let longest = months.iter().max_by(|a, b| a.0.total_cmp(&b.0));
    let apart = |months: f64| (months.max(0.1) / rule.max(0.1)).ln().abs();
    match (shortest, longest) {
        (Some(short), Some(long)) if long.0 - short.0 >= 2.0 => {
            let (most, other) = if apart(short.0) >= apart(long.0) {
                (short, long)
            } else {
                (long, short)
            };
            // as the table rounds them
            let alike = months.iter().filter(|m| m.0.round() == most.0.round());
            let alike: Vec<String> = alike.map(|m| m.1.to_owned()).collect();
            let differ = if alike.len() == 1 {
                "differs"
            } else {
                "differ"
            };
            format!(
                "{} {differ} most: RO membrane every {:.0} months, the usual interval is {rule:.0}; {:.0} in {}",
                words::list(&alike),
                most.0,
                other.0,
                other.1
            )
        }
        // as the table says it, so that title and rows agree
        (Some(short), Some(long)) if short.0.round() < long.0.round() => format!(
            "RO membranes: {:.0} to {:.0} months everywhere; the usual interval is {rule:.0}",
            short.0, long.0
        ),
        (Some(short), Some(_)) => format!(
            "RO membranes: about {:.0} months {}; the usual interval is {rule:.0}",
            short.0,
            match assessment.areas.as_slice() {
                [one] => format!("in {}", one.postcode),
                _ => "everywhere".to_owned(),
            }
        ),
        _ => "No interval yet: not enough readings".to_owned(),
    }
}

/// The column heads, in the order of [`cells`].
pub const HEADS: [&str; 6] = [
    "District",
    "Hardness",
    "Membrane",
    "Pre-filters",
    "Resin",
    "Saves",
];

/// One district's row in words.
pub fn cells(area: &AreaAssessment, currency: Option<&str>) -> [String; 6] {
    let unknown = || "–".to_owned();
    [
        area.postcode.clone(),
        area.hardness_mg_l_caco3
            .map_or_else(unknown, |h| format!("{h:.0} mg/L")),
        area.suggested
            .membrane_days
            .map_or_else(unknown, words::days_as_interval),
        area.suggested
            .prefilter_days
            .map_or_else(unknown, words::days_as_interval),
        match area.suggested.resin_litres {
            Some(l) => format!("{} L", words::thousands(words::two_figures(l))),
            None if area.resin_life_litres.p50.is_some() => "at the limit".to_owned(),
            None => unknown(),
        },
        area.saving_per_van_year
            .map_or_else(unknown, |m| words::money(m, currency)),
    ]
}

/// The usual intervals' row, to stand under the districts.
pub fn usual_cells(assessment: &Assessment) -> [String; 6] {
    [
        "Usual".to_owned(),
        String::new(),
        format!("{:.0} months", assessment.fleet.rule_membrane_months),
        format!("{:.0} weeks", assessment.fleet.rule_prefilter_weeks),
        "at the limit".to_owned(),
        String::new(),
    ]
}

/// Draws the table with its title; districts that do not fit are counted.
pub fn draw(canvas: &mut Canvas, area: Rect, assessment: &Assessment) {
    let currency = assessment.fleet.currency.as_deref();
    let currency = currency.map(str::trim).filter(|c| !c.is_empty());
    let unit = format!(
        "Suggested; DI resin in litres of water; saving per van per year{}",
        currency.map_or(String::new(), |c| format!(", {c}"))
    );
    let rest = heading(canvas, area, &title(assessment), &unit);
    // head, rule of thumb and a possible last line take three rows
    let room = ((rest.height() - 3.0 * ROW - SECOND_LINE) / ROW).max(1.0) as usize;
    let with_money = assessment
        .areas
        .iter()
        .any(|a| a.saving_per_van_year.is_some());
    let shares: &[f64] = if with_money {
        &[0.0, 0.132, 0.295, 0.482, 0.668, 0.872]
    } else {
        &[0.0, 0.2, 0.4, 0.62, 0.83]
    };
    let mut y = rest.y0 + 12.0;
    let heads = HEADS.iter().zip(shares).enumerate();
    let heads: Vec<(f64, Vec<String>)> = heads
        .map(|(i, (head, share))| {
            let next = shares.get(i + 1).copied().unwrap_or(1.0);
            let room = (next - share) * area.width() - 8.0;
            let at = area.x0 + 8.0 + share * (area.width() - 8.0);
            (at, canvas.wrapped(head, &look::SMALL_BOLD, room))
        })
        .collect();
    let two = heads.iter().any(|(_, lines)| lines.len() > 1);
    for (x, lines) in &heads {
        for (n, line) in lines.iter().take(2).enumerate() {
            let at = (*x, y + 20.0 + SECOND_LINE * n as f64);
            canvas.text(line, at, &look::SMALL_BOLD, Align::Left);
        }
    }
    y += if two { ROW + SECOND_LINE } else { ROW };
    let mut row = |canvas: &mut Canvas, texts: &[String], shade: bool| {
        if shade {
            canvas.fill(
                Rect {
                    y0: y,
                    y1: y + ROW,
                    ..area
                },
                look::SHADE,
            );
        }
        for (i, (text, share)) in texts.iter().zip(shares).enumerate() {
            let next = shares.get(i + 1).copied().unwrap_or(1.0);
            let face = if i == 0 {
                look::SMALL_BOLD
            } else {
                look::SMALL.inked(look::TEXT)
            };
            let room = (next - share) * area.width() - 8.0;
            let text = canvas.shortened(text, &face, room);
            canvas.text(
                &text,
                (area.x0 + 8.0 + share * (area.width() - 8.0), y + 20.0),
                &face,
                Align::Left,
            );
        }
        y += ROW;
    };
    for (i, area) in assessment.areas.iter().take(room).enumerate() {
        // the currency stands above: the column is narrow
        row(canvas, &cells(area, None), i % 2 == 0);
    }
    let more = assessment.areas.len().saturating_sub(room);
    if more > 0 {
        let text = format!(
            "and {} more, each on its own page",
            words::count(more, "district", "districts")
        );
        canvas.text(&text, (area.x0 + 8.0, y + 20.0), &look::SMALL, Align::Left);
        y += ROW;
    }
    canvas.fill(
        Rect {
            y0: y + 1.0,
            y1: y + 2.5,
            ..area
        },
        look::RULE,
    );
    y += 4.0;
    let rule = usual_cells(assessment);
    for (text, share) in rule.iter().zip(shares) {
        let at = (area.x0 + 8.0 + share * (area.width() - 8.0), y + 20.0);
        canvas.text(text, at, &look::SMALL, Align::Left);
    }
}
