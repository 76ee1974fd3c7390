//! A chart in the index: its finding as a caption, the drawing with a text in
//! its place for who cannot see it, and its numbers as a table.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::escape::escaped;
use super::lists;
use crate::report::canvas::{Canvas, draw_untitled};
use crate::report::error::ReportError;
use crate::report::look::Ink;
use crate::report::svg;
use crate::report::table::Table;

/// What is told of a chart.
#[derive(Debug)]
pub struct Chart {
    /// The finding.
    pub title: String,
    pub alternative: String,
    pub size: (u32, u32),
    pub table: Table,
}

/// All charts of an index: they share their inks.
#[derive(Debug, Default)]
pub struct Charts {
    inks: BTreeSet<Ink>,
}

impl Charts {
    pub fn new() -> Charts {
        Charts::default()
    }

    pub fn inks(&self) -> &BTreeSet<Ink> {
        &self.inks
    }

    /// Takes over the inks of charts that were made elsewhere.
    pub fn join(&mut self, other: Charts) {
        self.inks.extend(other.inks);
    }

    /// Adds a chart to `out`.
    pub fn add(
        &mut self,
        out: &mut String,
        chart: Chart,
        paint: impl FnOnce(&mut Canvas),
    ) -> Result<(), ReportError> {
        let sketch =
            draw_untitled(chart.size, paint).map_err(|source| ReportError::CannotDraw {
                page: chart.title.clone(),
                source,
            })?;
        let _ = write!(
            out,
            "<figure>\n<figcaption>{}</figcaption>\n<div class=\"drawing\" role=\"img\" aria-label=\"{}\">",
            escaped(&chart.title),
            escaped(&chart.alternative),
        );
        svg::draw(out, &sketch, &mut self.inks);
        out.push_str("</div>\n");
        if !chart.table.rows.is_empty() {
            out.push_str("<details>\n<summary>The numbers of this chart</summary>\n");
            lists::table(out, &chart.table);
            out.push_str("</details>\n");
        }
        out.push_str("</figure>\n");
        Ok(())
    }
}
