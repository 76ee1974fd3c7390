//! Today's answers beside other ones, for the terminal and for scripts.

use crate::calendar::Date;
use serde::Serialize;

use super::error::ReportError;
use super::text::{Screen, push_wrapped};
use super::words;
use crate::advise::what_if::WhatIf;
use crate::advise::{CostPer1000Litres, Span};

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    as_of: Date,
    what_if: &'a [WhatIf],
}

/// Every question with its answers as JSON.
///
/// # Errors
/// [`ReportError::CannotSerialise`].
pub fn json(as_of: Date, list: &[WhatIf]) -> Result<String, ReportError> {
    let document = Document {
        schema: "litrewise/what-if/1",
        as_of,
        what_if: list,
    };
    let mut text = serde_json::to_string_pretty(&document).map_err(ReportError::CannotSerialise)?;
    text.push('\n');
    Ok(text)
}

/// A line of the table: what, today, changed.
type Line = (&'static str, String, String);

/// The table for the terminal.
pub fn text(list: &[WhatIf], currency: Option<&str>, screen: Screen) -> String {
    let mut out = String::new();
    for (i, what_if) in list.iter().enumerate() {
        if i > 0 {
            out.push('\n');
        }
        push_wrapped(
            &mut out,
            &format!("What if: {}", what_if.asked),
            ("", "  "),
            screen,
        );
        for note in &what_if.notes {
            push_wrapped(&mut out, note, ("  ", "  "), screen);
        }
        if what_if.vans.is_empty() && what_if.areas.is_empty() {
            out.push_str("  Nothing would change.\n");
            continue;
        }
        out.push_str(&format!("\n{:<36}{:<19}  {}\n", "", "today", "changed"));
        for van in &what_if.vans {
            let (a, b) = (&van.answers.today, &van.answers.changed);
            let lines: [Line; 8] = [
                ("base", text_of(&a.postcode), text_of(&b.postcode)),
                (
                    "membrane, replace on",
                    day(a.membrane_replace_on),
                    day(b.membrane_replace_on),
                ),
                (
                    "membrane, at the limit",
                    likely(&a.membrane_limit_on),
                    likely(&b.membrane_limit_on),
                ),
                (
                    "the next membrane after",
                    interval(a.next_membrane_days),
                    interval(b.next_membrane_days),
                ),
                (
                    "and with its resin 1000 L",
                    price(a.next_membrane_per_1000_l, currency),
                    price(b.next_membrane_per_1000_l, currency),
                ),
                (
                    "resin, change on",
                    day(a.resin_replace_on),
                    day(b.resin_replace_on),
                ),
                (
                    "pre-filters, change on",
                    day(a.prefilter_replace_on),
                    day(b.prefilter_replace_on),
                ),
                (
                    "cost of the coming year",
                    cost(a.cost.as_ref(), currency),
                    cost(b.cost.as_ref(), currency),
                ),
            ];
            push_lines(&mut out, &van.van, &lines);
        }
        for area in &what_if.areas {
            let (a, b) = (&area.answers.today, &area.answers.changed);
            let of = |f: &dyn Fn(&crate::advise::what_if::AreaAnswers) -> Option<String>| {
                let side = |x: &Option<_>| x.as_ref().and_then(f).unwrap_or_else(unknown);
                (side(a), side(b))
            };
            let membrane = of(&|x| x.membrane_days.map(words::days_as_interval));
            let resin = of(&|x| {
                x.resin_litres
                    .map(|l| format!("{} L", words::thousands(words::two_figures(l))))
            });
            let filters = of(&|x| x.prefilter_days.map(words::days_as_interval));
            let per_1000 = of(&|x| x.cost_per_1000_litres.map(|c| per_1000(&c, currency)));
            let lines: [Line; 4] = [
                ("membrane every", membrane.0, membrane.1),
                ("resin every (water)", resin.0, resin.1),
                ("pre-filters every", filters.0, filters.1),
                ("cost of 1000 L", per_1000.0, per_1000.1),
            ];
            push_lines(&mut out, &area.postcode, &lines);
        }
        let fleet = [(
            "cost of the coming year",
            cost(what_if.fleet_cost.today.as_ref(), currency),
            cost(what_if.fleet_cost.changed.as_ref(), currency),
        )];
        push_lines(&mut out, "all vans", &fleet);
    }
    out
}

/// The lines that differ, under a name.
fn push_lines(out: &mut String, name: &str, lines: &[Line]) {
    let mut first = true;
    for (what, today, changed) in lines.iter().filter(|l| l.1 != l.2) {
        let head = if first { name } else { "" };
        first = false;
        let short: String = head.chars().take(9).collect();
        out.push_str(&format!("{short:<10}{what:<26}{today:<19}  {changed}\n"));
    }
}

fn unknown() -> String {
    "–".to_owned()
}

fn text_of(text: &Option<String>) -> String {
    text.clone().unwrap_or_else(unknown)
}

fn day(day: Option<Date>) -> String {
    day.map_or_else(unknown, words::day)
}

fn cost(span: Option<&Span<f64>>, currency: Option<&str>) -> String {
    match span.map(|s| (s.p10, s.p90)) {
        Some((Some(a), Some(b))) => format!(
            "{} to {}",
            words::money(a, currency),
            words::money(b, currency)
        ),
        _ => unknown(),
    }
}

fn per_1000(cost: &CostPer1000Litres, currency: Option<&str>) -> String {
    price(Some(cost.total), currency)
}

/// To the hundredth, written as other money is.
fn price(amount: Option<f64>, currency: Option<&str>) -> String {
    match (amount, currency.map(str::trim).filter(|c| !c.is_empty())) {
        (Some(x), Some(unit)) if unit.chars().count() == 1 => format!("{unit}{x:.2}"),
        (Some(x), Some(unit)) => format!("{x:.2} {unit}"),
        (Some(x), None) => format!("{x:.2}"),
        (None, _) => unknown(),
    }
}

fn interval(days: Option<f64>) -> String {
    days.map_or_else(unknown, words::days_as_interval)
}

/// The middle estimate, as coarse as its span.
fn likely(span: &Span<Date>) -> String {
    span.p50
        .map_or_else(unknown, |d| words::date_at(d, words::grain(span)))
}
