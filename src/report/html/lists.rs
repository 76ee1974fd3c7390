//! Sentences, lists and tables.

use std::fmt::Write;

use super::escape::escaped;
use crate::advise::Assessment;
use crate::report::charts::intervals as chart;
use crate::report::table::Table;

/// An answer: the first sentence stands out, the others follow as a list.
pub fn answer(out: &mut String, said: &[String]) {
    let Some((first, rest)) = said.split_first() else {
        return;
    };
    let _ = writeln!(out, "<p class=\"first\">{}</p>", escaped(first));
    sentences(out, rest);
}

/// Sentences as a list; none, no list.
pub fn sentences(out: &mut String, said: &[String]) {
    if said.is_empty() {
        return;
    }
    out.push_str("<ul>\n");
    for sentence in said {
        let _ = writeln!(out, "<li>{}</li>", escaped(sentence));
    }
    out.push_str("</ul>\n");
}

/// A table that can be scrolled where it is wider than the screen.
pub fn table(out: &mut String, table: &Table) {
    open(out, &table.caption, &table.heads);
    for row in &table.rows {
        cells(out, row);
    }
    close(out);
}

/// Suggested intervals per district, and the rule of thumb.
pub fn intervals(out: &mut String, assessment: &Assessment) {
    let currency = assessment.fleet.currency.as_deref();
    open(
        out,
        "Suggested intervals per district beside the rule of thumb; resin in litres of water a filling; saving per van and year",
        &chart::HEADS,
    );
    for area in &assessment.areas {
        cells(out, &chart::cells(area, currency));
    }
    cells(out, &chart::rule_cells(assessment));
    close(out);
}

fn open(out: &mut String, caption: &str, heads: &[&str]) {
    let caption = escaped(caption);
    let _ = write!(
        out,
        "<div class=\"wide\" role=\"group\" aria-label=\"{caption}\" tabindex=\"0\">\n<table>\n<caption>{caption}</caption>\n<thead>\n<tr>"
    );
    for head in heads {
        let _ = write!(out, "<th scope=\"col\">{}</th>", escaped(head));
    }
    out.push_str("</tr>\n</thead>\n<tbody>\n");
}

fn cells(out: &mut String, row: &[String]) {
    let Some((first, rest)) = row.split_first() else {
        return;
    };
    let _ = write!(out, "<tr><th scope=\"row\">{}</th>", escaped(first));
    for cell in rest {
        let _ = write!(out, "<td>{}</td>", escaped(cell));
    }
    out.push_str("</tr>\n");
}

fn close(out: &mut String) {
    out.push_str("</tbody>\n</table>\n</div>\n");
}
