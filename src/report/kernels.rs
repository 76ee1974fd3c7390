//! The steps of drawing a van's page one by one, for benches.

use crate::calendar::Date;

use super::book::Page;
use super::display_list::DisplayList;
use super::error::DrawError;
use super::look::Ink;
use super::pixels::{Picture, Renderer};
use super::png_file::png_bytes;
use super::{ReportError, ReportPlan};
use crate::advise::Assessment;

/// A page before it becomes pixels.
pub struct LaidOut(DisplayList);

/// A page as pixels.
pub struct Drawn {
    size: (u32, u32),
    pixels: Vec<u8>,
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

/// What is kept from page to page.
#[derive(Default)]
pub struct Press(Renderer);

impl Press {
    /// Draws a page.
    ///
    /// # Errors
    /// Where the bundled font cannot be read.
    pub fn draw(&mut self, page: &LaidOut) -> Result<Drawn, DrawError> {
        let picture = self.0.picture(&page.0)?;
        Ok(Drawn {
            size: (picture.width, picture.height),
            pixels: picture.pixels.to_vec(),
            colours: picture.colours.to_vec(),
        })
    }

    /// Encodes a drawn page as a PNG.
    ///
    /// # Errors
    /// What the PNG library says.
    pub fn encode(page: &Drawn) -> Result<Vec<u8>, ReportError> {
        let picture = Picture {
            width: page.size.0,
            height: page.size.1,
            pixels: &page.pixels,
            colours: &page.colours,
        };
        png_bytes(&picture).map_err(cannot_encode)
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
        let picture = self.0.picture(&page.0).map_err(cannot_draw)?;
        png_bytes(&picture).map_err(cannot_encode)
    }
}

fn cannot_encode(source: png::EncodingError) -> ReportError {
    ReportError::CannotEncode {
        page: "drawn".to_owned(),
        source,
    }
}
