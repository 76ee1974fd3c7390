//! The bundled font, and how wide text is in it.

use std::sync::OnceLock;

use plotters::style::{FontStyle, IntoFont, TextStyle, register_font};

use super::error::DrawError;
use super::look::Type;

/// Drawn pixels per page pixel, each way.
pub const FINE: u32 = 2;
/// The name under which the bundled font is known.
const FAMILY: &str = "page";
/// Height of the font's box over its em size: (1901 + 483) / 2048, from the
/// font's own horizontal header.
pub const BOX_PER_EM: f64 = 2384.0 / 2048.0;

/// Makes the font known to the drawing library, once.
///
/// # Errors
/// Where the library does not accept it.
pub fn register() -> Result<(), DrawError> {
    static DONE: OnceLock<Result<(), DrawError>> = OnceLock::new();
    DONE.get_or_init(|| {
        register_font(FAMILY, FontStyle::Normal, dejavu::sans::regular())
            .map_err(|_| DrawError::Font("DejaVu Sans"))?;
        register_font(FAMILY, FontStyle::Bold, dejavu::sans::bold())
            .map_err(|_| DrawError::Font("DejaVu Sans Bold"))
    })
    .clone()
}

/// The face as the library wants it, in drawn pixels.
pub fn style_of(face: &Type) -> TextStyle<'static> {
    let size = face.size * BOX_PER_EM * f64::from(FINE);
    let weight = if face.bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    };
    TextStyle::from((FAMILY, size, weight).into_font())
}

/// Width of `text` in page pixels.
pub fn width_of(text: &str, face: &Type) -> f64 {
    style_of(face)
        .font
        .layout_box(text)
        .map(|((x0, _), (x1, _))| f64::from(x1 - x0) / f64::from(FINE) + 1.0)
        .unwrap_or(text.chars().count() as f64 * face.size * 0.65)
}
