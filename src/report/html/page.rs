//! The frame of the index: head, navigation, parts and script.

use std::collections::BTreeSet;
use std::io::{self, Read, Seek, Write};
use std::path::Path;

use maud::{Markup, PreEscaped, html};

use super::badge;
use super::script;
use crate::report::ReportPlan;
use crate::report::error::ReportError;
use crate::report::look::Ink;
use crate::report::pages;
use crate::report::parts::{VanLine, finding_and_visits};
use crate::report::svg;
use crate::report::words;

const STYLE: &str = include_str!("style.css");

/// So much text is gathered before it is written.
const GATHERED: usize = 256 * 1024;

/// The parts of the index as they are made, written to `body`.
pub struct Parts<'a, F> {
    /// What is told of where something cannot be written.
    path: &'a Path,
    body: &'a mut F,
    gathered: String,
    /// Anchors and headings.
    named: Vec<(&'static str, &'static str)>,
}

impl<'a, F: Read + Write + Seek> Parts<'a, F> {
    pub fn new(path: &'a Path, body: &'a mut F) -> Parts<'a, F> {
        Parts {
            path,
            body,
            gathered: String::with_capacity(GATHERED),
            named: Vec::new(),
        }
    }

    fn told(&self, done: io::Result<()>) -> Result<(), ReportError> {
        done.map_err(|source| ReportError::CannotWrite {
            path: self.path.to_owned(),
            source,
        })
    }

    fn flush(&mut self) -> Result<(), ReportError> {
        let done = self.body.write_all(self.gathered.as_bytes());
        self.gathered.clear();
        self.told(done)
    }

    /// Adds text to the part that was begun.
    pub fn push(&mut self, text: &str) -> Result<(), ReportError> {
        self.gathered.push_str(text);
        if self.gathered.len() >= GATHERED {
            self.flush()?;
        }
        Ok(())
    }

    pub fn begin(&mut self, id: &'static str, heading: &'static str) -> Result<(), ReportError> {
        self.named.push((id, heading));
        self.push(&format!(
            "<section id=\"{id}\" aria-labelledby=\"{id}-heading\">\n<h2 id=\"{id}-heading\">{heading}</h2>\n"
        ))
    }

    pub fn end(&mut self) -> Result<(), ReportError> {
        self.push("</section>\n")
    }

    /// Adds a whole part: its anchor, its heading and what stands under it.
    pub fn add(
        &mut self,
        id: &'static str,
        heading: &'static str,
        body: Markup,
    ) -> Result<(), ReportError> {
        self.begin(id, heading)?;
        self.push(&body.into_string())?;
        self.end()
    }

    /// Writes the whole page to `out`: its frame, and the parts within.
    pub fn write_page(
        mut self,
        plan: &ReportPlan<'_>,
        lines: &[VanLine<'_>],
        inks: &BTreeSet<Ink>,
        out: &mut F,
    ) -> Result<(), ReportError> {
        self.flush()?;
        let mut write = || {
            out.write_all(head(plan, lines, &self.named, inks).as_bytes())?;
            self.body.rewind()?;
            io::copy(self.body, out)?;
            let script = script::TEXT;
            writeln!(out, "</main>\n<script>{script}</script>\n</body>\n</html>")
        };
        let done = write();
        self.told(done)
    }
}

/// All up to the first part: what follows `<main>` is written piece by piece.
fn head(
    plan: &ReportPlan<'_>,
    lines: &[VanLine<'_>],
    parts: &[(&'static str, &'static str)],
    inks: &BTreeSet<Ink>,
) -> String {
    let title = format!("Fleet report, {}", words::month(plan.month));
    let mut inks = inks.clone();
    let badges = badge::definitions(&mut inks);
    let style = format!("{STYLE}{}", svg::style(&inks));
    let head = html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta http-equiv="Content-Security-Policy" content=(script::policy());
            title { (title) }
            style { (PreEscaped(style)) }
        }
    };
    let top = html! {
        a.skip href="#todo" { "Skip to what needs doing" }
        (badges)
        header {
            h1 { (title) }
            p.lead {
                (finding_and_visits(lines)) ". "
                span.quiet { (words::capital(&pages::as_of(plan.assessment))) "." }
            }
        }
        nav aria-label="Parts of the report" {
            ul { @for (id, heading) in parts { li { a href=(format!("#{id}")) { (heading) } } } }
        }
    };
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n{}\n<body>\n{}\n<main>\n",
        head.into_string(),
        top.into_string()
    )
}
