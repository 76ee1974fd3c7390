//! The table of vans, to be sorted and filtered by whoever reads it.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::badge::shape;
use super::escape::escaped;
use crate::advise::{Assessment, State};
use crate::report::axis::day_number;
use crate::report::parts::VanLine;
use crate::report::words;

/// The columns: head, and whether it is sorted by number.
const COLUMNS: [(&str, bool); 6] = [
    ("Van", false),
    ("District", false),
    ("State", true),
    ("Days left", true),
    ("To do", false),
    ("Membrane holds back", true),
];

/// Whole days until the first part of the van is to be changed; negative where
/// that day has passed, `None` where none is to be.
pub fn days_left(line: &VanLine<'_>, assessment: &Assessment) -> Option<f64> {
    let first = line.parts.iter().filter_map(|p| p.replace_on).min()?;
    Some(day_number(first) - day_number(assessment.as_of))
}

fn days_in_words(days: Option<f64>) -> String {
    match days {
        None => "–".to_owned(),
        Some(days) if days < 0.0 => format!("{:.0} over", -days),
        Some(days) => format!("{days:.0}"),
    }
}

/// Writes controls and table.
pub fn table(out: &mut String, assessment: &Assessment, lines: &[VanLine<'_>]) {
    if lines.is_empty() {
        out.push_str("<p>Read in readings, fills and services first: <kbd>litrewise template</kbd> shows what to write down.</p>\n");
        return;
    }
    controls(out, lines);
    out.push_str(
        "<div class=\"wide\" role=\"group\" aria-label=\"Every van\" tabindex=\"0\">\n<table id=\"vans-table\">\n\
         <caption>Every van, most urgent first</caption>\n<thead>\n<tr>",
    );
    for (head, numeric) in COLUMNS {
        let _ = write!(
            out,
            "<th scope=\"col\" data-numeric=\"{}\">{head}</th>",
            u8::from(numeric)
        );
    }
    out.push_str("</tr>\n</thead>\n<tbody>\n");
    for line in lines {
        row(out, assessment, line);
    }
    out.push_str("</tbody>\n</table>\n</div>\n");
}

/// Hidden until the script shows them: without it they would do nothing.
fn controls(out: &mut String, lines: &[VanLine<'_>]) {
    let mut states: Vec<State> = lines.iter().map(|l| l.state).collect();
    states.sort_by_key(|s| words::urgency(*s));
    states.dedup();
    let districts: BTreeSet<&str> = lines.iter().map(|l| district(l)).collect();
    out.push_str(
        "<div id=\"controls\" class=\"controls\" role=\"group\" aria-label=\"Which vans are shown\" hidden>\n\
         <label>Van <input id=\"by-name\" type=\"search\" autocomplete=\"off\"></label>\n\
         <label>State <select id=\"by-state\"><option value=\"\">all</option>",
    );
    for state in states {
        let word = words::state(state);
        let _ = write!(
            out,
            "<option value=\"{}\">{word}</option>",
            words::urgency(state)
        );
    }
    out.push_str(
        "</select></label>\n<label>District <select id=\"by-district\"><option value=\"\">all</option>",
    );
    for name in districts {
        let name = escaped(name);
        let _ = write!(out, "<option value=\"{name}\">{name}</option>");
    }
    out.push_str(
        "</select></label>\n<label>Days left <select id=\"by-days\"><option value=\"\">any</option>\
         <option value=\"-1\">overdue</option><option value=\"14\">14 or fewer</option>\
         <option value=\"30\">30 or fewer</option><option value=\"90\">90 or fewer</option></select></label>\n\
         <button id=\"show-all\" type=\"button\">Show all</button>\n\
         <p id=\"shown\" role=\"status\"></p>\n</div>\n",
    );
}

fn district<'a>(line: &'a VanLine<'_>) -> &'a str {
    line.van.postcode.as_deref().unwrap_or("–")
}

fn row(out: &mut String, assessment: &Assessment, line: &VanLine<'_>) {
    let days = days_left(line, assessment);
    let key = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
    let passage = &line.van.membrane.salt_passage;
    let holds = words::holds_back(passage);
    let holds = holds
        .as_deref()
        .map_or("–", |h| h.strip_prefix("holds back ").unwrap_or(h));
    let (place, name, district) = (line.place, escaped(&line.van.van), escaped(district(line)));
    let urgency = words::urgency(line.state);
    let _ = writeln!(
        out,
        "<tr data-van=\"{place}\" data-state=\"{urgency}\" data-district=\"{district}\" data-days=\"{}\">\
         <th scope=\"row\"><a href=\"#van-{place}\">{name}</a></th><td>{district}</td>\
         <td class=\"state\" data-key=\"{urgency}\">{} {}</td><td data-key=\"{}\">{}</td><td>{}</td>\
         <td data-key=\"{}\">{holds}</td></tr>",
        key(days),
        shape(line.state),
        words::state(line.state),
        key(days),
        days_in_words(days),
        escaped(&line.to_do_beside_state(assessment.as_of)),
        key(passage.p50.map(|p| 1.0 - p)),
    );
}
