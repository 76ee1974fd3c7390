//! The bundled font: how wide text is in it, and the outlines of its letters.
//! No other font is ever used, so a page comes out the same on every machine.

use std::sync::OnceLock;

use ttf_parser::{Face, GlyphId, OutlineBuilder};

use super::error::DrawError;
use super::look::Type;

/// Text is measured in so many parts of a pixel.
const FINE: f32 = 2.0;

/// A font, ready to be asked.
pub struct Font {
    face: Face<'static>,
    units_per_em: f32,
}

/// The upright font and the bold one.
pub struct Fonts {
    regular: Font,
    bold: Font,
}

impl Fonts {
    /// The bundled fonts, read once.
    ///
    /// # Errors
    /// Where one of them cannot be read.
    pub fn bundled() -> Result<&'static Fonts, DrawError> {
        static READ: OnceLock<Result<Fonts, DrawError>> = OnceLock::new();
        READ.get_or_init(|| {
            Ok(Fonts {
                regular: Font::read(dejavu::sans_condensed::regular(), "DejaVu Sans Condensed")?,
                bold: Font::read(dejavu::sans_condensed::bold(), "DejaVu Sans Condensed Bold")?,
            })
        })
        .as_ref()
        .map_err(Clone::clone)
    }

    pub fn of(&self, bold: bool) -> &Font {
        if bold { &self.bold } else { &self.regular }
    }

    /// A ruler for text of that face.
    pub fn ruler(&self, face: &Type) -> Ruler<'_> {
        let font = self.of(face.bold);
        Ruler {
            font,
            scale: face.size as f32 * FINE / font.units_per_em,
            at: 0.0,
            before: None,
        }
    }

    /// Width of `text` in page pixels.
    pub fn width_of(&self, text: &str, face: &Type) -> f64 {
        self.ruler(face).with(text).width()
    }
}

impl Font {
    fn read(bytes: &'static [u8], name: &'static str) -> Result<Font, DrawError> {
        let face = Face::parse(bytes, 0).map_err(|_| DrawError::Font(name))?;
        Ok(Font {
            units_per_em: f32::from(face.units_per_em()),
            face,
        })
    }

    /// What is added to the distance between two glyphs, in the font's units.
    fn kerning(&self, first: GlyphId, second: GlyphId) -> i16 {
        let tables = self.face.tables().kern.iter().flat_map(|k| k.subtables);
        tables
            .filter(|table| table.horizontal && !table.variable)
            .find_map(|table| table.glyphs_kerning(first, second))
            .unwrap_or_default()
    }

    /// Tells `pen` a glyph's outline in the font's units, y upwards.
    pub fn outline(&self, glyph: GlyphId, pen: &mut dyn OutlineBuilder) {
        self.face.outline_glyph(glyph, pen);
    }

    /// Pixels in a unit of the font at that size.
    pub fn pixels_per_unit(&self, size: f64) -> f32 {
        size as f32 / self.units_per_em
    }
}

/// Measures text letter by letter, so that longer text goes on where shorter
/// text ended.
#[derive(Clone, Copy)]
pub struct Ruler<'a> {
    font: &'a Font,
    scale: f32,
    at: f32,
    before: Option<GlyphId>,
}

impl Ruler<'_> {
    /// Goes on by a letter; gives its glyph and where it begins, px from the
    /// text's start. Glyph 0 stands for what the font does not have.
    pub fn push(&mut self, letter: char) -> (GlyphId, f64) {
        let face = &self.font.face;
        let glyph = face.glyph_index(letter).unwrap_or_default();
        let kerning = self.before.map_or(0, |b| self.font.kerning(b, glyph));
        self.before = Some(glyph);
        let advance = face.glyph_hor_advance(glyph).unwrap_or_default();
        let begins = self.at + self.scale * f32::from(kerning);
        self.at = begins + self.scale * f32::from(advance);
        (glyph, f64::from(begins / FINE))
    }

    /// The ruler after `text` too.
    pub fn with(mut self, text: &str) -> Self {
        for letter in text.chars() {
            self.push(letter);
        }
        self
    }

    /// Width of what was measured, px: half pixels and one of air.
    pub fn width(&self) -> f64 {
        f64::from(self.at.trunc() / FINE) + 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::look;

    #[test]
    fn letters_that_fit_into_one_another_stand_closer() -> Result<(), DrawError> {
        let fonts = Fonts::bundled()?;
        let wide = fonts.width_of("A", &look::PAGE_TITLE) + fonts.width_of("V", &look::PAGE_TITLE);
        assert!(fonts.width_of("AV", &look::PAGE_TITLE) < wide - 2.0);
        Ok(())
    }
}
