//! The table of vans, to be sorted and filtered by whoever reads it.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::badge::shape;
use crate::advise::{Assessment, Rank, State};
use crate::report::axis::day_number;
use crate::report::parts::VanLine;
use crate::report::words;

/// The columns: head, and whether it is sorted by number.
const COLUMNS: [(&str, bool); 6] = [
    ("Van", false),
    ("District", false),
    ("State", true),
    ("Days left", true),
    ("To do, and why", false),
    ("Rejection", true),
];

/// Whole days until the first part of the van is to be changed; negative where
/// that day has passed, `None` where none is to be.
pub fn days_left(line: &VanLine<'_>, assessment: &Assessment) -> Option<f64> {
    // what is to be checked is for now, whenever the part itself is due
    let jobs = line.jobs.iter().map(|job| job.own_day);
    let planned = line.parts.iter().filter_map(|p| p.replace_on);
    let first = jobs.min().or_else(|| planned.min())?;
    Some(day_number(first) - day_number(assessment.as_of))
}

fn days_in_words(days: Option<f64>) -> String {
    match days {
        None => "–".to_owned(),
        Some(0.0) => "now".to_owned(),
        Some(days) if days < 0.0 => format!("{:.0} late", -days),
        Some(days) => format!("{days:.0}"),
    }
}

/// Controls and table.
pub fn table(assessment: &Assessment, lines: &[VanLine<'_>]) -> Markup {
    if lines.is_empty() {
        return html! {
            p {
                "Take in readings, fills and services first: "
                kbd { "litrewise template" } " shows what to write down."
            }
        };
    }
    html! {
        (controls(lines))
        div.wide role="group" aria-label="Every van" tabindex="0" {
            table #vans-table {
                caption { "Every van, what harms the glass first" }
                thead { tr {
                    @for (head, numeric) in COLUMNS {
                        th scope="col" data-numeric=(u8::from(numeric)) { (head) }
                    }
                } }
                tbody { @for line in lines { (row(assessment, line)) } }
            }
        }
    }
}

/// Hidden until the script shows them: without it they would do nothing.
fn controls(lines: &[VanLine<'_>]) -> Markup {
    let mut states: Vec<State> = lines.iter().map(|l| l.state).collect();
    states.sort_by_key(|s| Rank::from(*s));
    states.dedup();
    let districts: BTreeSet<&str> = lines.iter().map(|l| district(l)).collect();
    let days = [
        ("", "any"),
        ("-1", "overdue"),
        ("14", "14 or fewer"),
        ("30", "30 or fewer"),
        ("90", "90 or fewer"),
    ];
    html! {
        div #controls .controls role="group" aria-label="Which vans are shown" hidden {
            label { "Van " input #by-name type="search" autocomplete="off"; }
            label { "State " select #by-state {
                option value="" { "all" }
                @for state in states { option value=(Rank::from(state) as u8) { (words::state(state)) } }
            } }
            label { "District " select #by-district {
                option value="" { "all" }
                @for name in districts { option value=(name) { (name) } }
            } }
            label { "Days left " select #by-days {
                @for (value, word) in days { option value=(value) { (word) } }
            } }
            button #show-all type="button" { "Show all" }
            button #print-all type="button" { "Print everything" }
            p #shown role="status" {}
        }
    }
}

fn district<'a>(line: &'a VanLine<'_>) -> &'a str {
    line.van.postcode.as_deref().unwrap_or("–")
}

fn row(assessment: &Assessment, line: &VanLine<'_>) -> Markup {
    let days = days_left(line, assessment);
    let key = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
    let passage = &line.van.membrane.salt_passage;
    let rejection = words::rejection_now(passage).unwrap_or_else(|| "–".to_owned());
    let urgency = Rank::from(line.state) as u8;
    let why = line.why(assessment.fleet.currency.as_deref());
    html! {
        tr data-van=(line.place) data-state=(urgency) data-district=(district(line)) data-days=(key(days)) {
            th.name scope="row" { a href=(format!("#van-{}", line.place)) { (line.van.van) } }
            td { (district(line)) }
            td.state data-key=(urgency) { (shape(line.state)) " " (words::state(line.state)) }
            td data-key=(key(days)) { (days_in_words(days)) }
            td {
                (line.to_do(assessment.as_of))
                @if !why.is_empty() { br; span.quiet { (why) } }
            }
            td data-key=(key(passage.p50.map(|p| 1.0 - p))) { (rejection) }
        }
    }
}
