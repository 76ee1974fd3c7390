//! A chart in the index: its finding as a caption, the drawing with a text in
//! its place for who cannot see it, and its numbers as a table.

use std::collections::BTreeSet;

use maud::{Markup, PreEscaped, html};

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
    pub fn inks(&self) -> &BTreeSet<Ink> {
        &self.inks
    }

    /// Takes over the inks of charts that were made elsewhere.
    pub fn join(&mut self, other: Charts) {
        self.inks.extend(other.inks);
    }

    /// A chart, ready to stand in the index.
    ///
    /// # Errors
    /// Where it could not be drawn.
    pub fn figure(
        &mut self,
        chart: Chart,
        paint: impl FnOnce(&mut Canvas),
    ) -> Result<Markup, ReportError> {
        let sketch =
            draw_untitled(chart.size, paint).map_err(|source| ReportError::CannotDraw {
                page: chart.title.clone(),
                source,
            })?;
        let mut drawing = String::new();
        svg::draw(&mut drawing, &sketch, &mut self.inks);
        Ok(html! {
            figure {
                figcaption { (chart.title) }
                div.drawing role="img" aria-label=(chart.alternative) { (PreEscaped(drawing)) }
                @if !chart.table.rows.is_empty() {
                    details {
                        summary { "The numbers of this chart" }
                        (lists::table(&chart.table))
                    }
                }
            }
        })
    }
}
