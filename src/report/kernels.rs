//! The steps of drawing a van's page one by one, for benches.

use jiff::civil::Date;

use super::book::Page;
use super::encode::Encoder;
use super::error::DrawError;
use super::look::Ink;
use super::raster::{Brush, Picture};
use super::strokes::Sketch;
use super::{ReportError, ReportPlan};
use crate::advise::Assessment;

/// What is kept from page to page.
pub struct Press {
    brush: Brush,
    encoder: Encoder,
}

/// A page before it becomes pixels.
pub struct LaidOut(Sketch);

/// A page as pixels.
pub struct Drawn {
    size: (u32, u32),
    rows: Vec<u8>,
    colours: Vec<Ink>,
}

/// Lays out the page of the van at that place among the assessment's.
///
/// # Errors
/// Where the bundled font cannot be read.
pub fn lay_out_van(
    assessment: &Assessment,
    place: usize,
    month: Date,
) -> Result<LaidOut, DrawError> {
    let plan = ReportPlan {
        assessment,
        since: None,
        backtest: None,
        month,
        out: std::path::Path::new("."),
    };
    Page::Van(place).sketch(&plan, &[]).map(LaidOut)
}

impl Press {
    pub fn new() -> Press {
        Press {
            brush: Brush::new(),
            encoder: Encoder::new(),
        }
    }

    /// Draws a page.
    ///
    /// # Errors
    /// Where the bundled font cannot be read.
    pub fn draw(&mut self, page: &LaidOut) -> Result<Drawn, DrawError> {
        let picture = self.brush.picture(&page.0)?;
        Ok(Drawn {
            size: (picture.width, picture.height),
            rows: picture.rows.to_vec(),
            colours: picture.colours.to_vec(),
        })
    }

    /// Encodes a drawn page as a PNG.
    ///
    /// # Errors
    /// What the PNG library says.
    pub fn encode(&mut self, page: &Drawn) -> Result<Vec<u8>, ReportError> {
        let picture = Picture {
            width: page.size.0,
            height: page.size.1,
            rows: &page.rows,
            colours: &page.colours,
        };
        self.encoder
            .png_bytes(&picture)
            .map_err(|source| ReportError::CannotEncode {
                page: "drawn".to_owned(),
                source,
            })
    }

    /// From the assessment to the PNG, as a report does it.
    ///
    /// # Errors
    /// Where the page could not be drawn or encoded.
    pub fn van_page(
        &mut self,
        assessment: &Assessment,
        place: usize,
        month: Date,
    ) -> Result<Vec<u8>, ReportError> {
        let cannot_draw = |source| ReportError::CannotDraw {
            page: "drawn".to_owned(),
            source,
        };
        let page = lay_out_van(assessment, place, month).map_err(cannot_draw)?;
        let picture = self.brush.picture(&page.0).map_err(cannot_draw)?;
        self.encoder
            .png_bytes(&picture)
            .map_err(|source| ReportError::CannotEncode {
                page: "drawn".to_owned(),
                source,
            })
    }
}

impl Default for Press {
    fn default() -> Press {
        Press::new()
    }
}
