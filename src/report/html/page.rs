//! The frame of the index: head, navigation, parts and script.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::badge;
use super::escape::escaped;
use super::script;
use crate::report::ReportPlan;
use crate::report::look::Ink;
use crate::report::parts::{VanLine, finding};
use crate::report::svg;
use crate::report::words;

const STYLE: &str = include_str!("style.css");

/// A part of the index: its anchor, its heading and what stands under it.
#[derive(Debug)]
pub struct Part {
    id: &'static str,
    heading: &'static str,
    body: String,
}

impl Part {
    pub fn new(id: &'static str, heading: &'static str, body: String) -> Part {
        Part { id, heading, body }
    }
}

/// The whole page.
pub fn whole(
    plan: &ReportPlan<'_>,
    lines: &[VanLine<'_>],
    parts: &[Part],
    inks: &BTreeSet<Ink>,
) -> String {
    let title = format!("Fleet report, {}", words::month(plan.month));
    let room: usize = parts.iter().map(|p| p.body.len()).sum();
    let mut out = String::with_capacity(room + 32 * 1024);
    let mut inks = inks.clone();
    let mut badges = String::new();
    badge::definitions(&mut badges, &mut inks);
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{}\">\n\
         <title>{title}</title>\n<style>\n{STYLE}{}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#todo\">Skip to what needs doing</a>\n{badges}<header>\n\
         <h1>{title}</h1>\n<p class=\"lead\">{}. <span class=\"quiet\">As of {}.</span></p>\n</header>\n",
        script::policy(),
        svg::style(&inks),
        escaped(&finding(lines)),
        words::day(plan.assessment.as_of),
    );
    out.push_str("<nav aria-label=\"Parts of the report\">\n<ul>\n");
    for part in parts {
        let _ = writeln!(
            out,
            "<li><a href=\"#{}\">{}</a></li>",
            part.id, part.heading
        );
    }
    out.push_str("</ul>\n</nav>\n<main>\n");
    for part in parts {
        let _ = write!(
            out,
            "<section id=\"{0}\" aria-labelledby=\"{0}-heading\">\n<h2 id=\"{0}-heading\">{1}</h2>\n{2}</section>\n",
            part.id, part.heading, part.body
        );
    }
    let _ = write!(
        out,
        "</main>\n<script>{}</script>\n</body>\n</html>\n",
        script::TEXT
    );
    out
}
