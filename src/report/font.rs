//! The bundled font: how wide text is in it, and the outlines of its letters.
//! No other font is ever used, so a page comes out the same on every machine.

use std::sync::OnceLock;

use ttf_parser::{Face, GlyphId, OutlineBuilder};

use super::error::DrawError;
use super::look::Type;

/// Text is measured in so many parts of a pixel.
const FINE: f32 = 2.0;
/// Letters below this code have their glyphs in a table.
pub const COMMON: usize = 0x180;
/// The letters whose distances to one another are in a table: ASCII's.
const FIRST: usize = 32;
const AFTER: usize = 127;

/// A font with what is asked of it for every letter in tables.
pub struct Font {
    face: Face<'static>,
    units_per_em: f32,
    glyphs: Vec<Glyph>,
    kerning: Vec<i16>,
}

#[derive(Debug, Clone, Copy)]
struct Glyph {
    id: u16,
    /// Distance to the next letter, in the font's units.
    advance: u16,
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
                regular: Font::read(dejavu::sans::regular(), "DejaVu Sans")?,
                bold: Font::read(dejavu::sans::bold(), "DejaVu Sans Bold")?,
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
        let mut font = Font {
            units_per_em: f32::from(face.units_per_em()),
            face,
            glyphs: Vec::new(),
            kerning: Vec::new(),
        };
        let common = (0..COMMON as u32).map(|code| char::from_u32(code).unwrap_or(' '));
        font.glyphs = common.map(|letter| font.look_up(letter)).collect();
        let ascii = || font.glyphs.iter().take(AFTER).skip(FIRST);
        let pairs = ascii().flat_map(|a| ascii().map(|b| font.look_up_kerning(a.id, b.id)));
        font.kerning = pairs.collect();
        Ok(font)
    }

    fn look_up(&self, letter: char) -> Glyph {
        // glyph 0 stands for what the font does not have
        let id = self.face.glyph_index(letter).unwrap_or_default();
        let advance = self.face.glyph_hor_advance(id).unwrap_or_default();
        Glyph { id: id.0, advance }
    }

    fn look_up_kerning(&self, first: u16, second: u16) -> i16 {
        let (first, second) = (GlyphId(first), GlyphId(second));
        let tables = self.face.tables().kern.iter().flat_map(|k| k.subtables);
        tables
            .filter(|table| table.horizontal && !table.variable)
            .find_map(|table| table.glyphs_kerning(first, second))
            .unwrap_or_default()
    }

    fn glyph(&self, letter: char) -> Glyph {
        let common = self.glyphs.get(letter as usize);
        common.copied().unwrap_or_else(|| self.look_up(letter))
    }

    /// What is added to the distance between two letters, in the font's units.
    fn kerning(&self, first: char, second: char) -> i16 {
        let (a, b) = (first as usize, second as usize);
        let ascii = FIRST..AFTER;
        if ascii.contains(&a) && ascii.contains(&b) {
            let place = (a - FIRST) * (AFTER - FIRST) + b - FIRST;
            return self.kerning.get(place).copied().unwrap_or_default();
        }
        self.look_up_kerning(self.glyph(first).id, self.glyph(second).id)
    }

    /// Tells `pen` a letter's outline in the font's units, y upwards.
    pub fn outline(&self, letter: char, pen: &mut dyn OutlineBuilder) {
        self.face.outline_glyph(GlyphId(self.glyph(letter).id), pen);
    }

    /// Pixels in a unit of the font at that size.
    pub fn pixels_per_unit(&self, size: f64) -> f64 {
        size / f64::from(self.units_per_em)
    }
}

/// Measures text letter by letter, so that longer text goes on where shorter
/// text ended.
#[derive(Clone, Copy)]
pub struct Ruler<'a> {
    font: &'a Font,
    scale: f32,
    at: f32,
    before: Option<char>,
}

impl Ruler<'_> {
    /// Goes on by a letter; gives where it begins, px from the text's start.
    pub fn push(&mut self, letter: char) -> f64 {
        let kerning = self.before.map_or(0, |b| self.font.kerning(b, letter));
        self.before = Some(letter);
        let advance = f32::from(self.font.glyph(letter).advance);
        let begins = self.at + self.scale * f32::from(kerning);
        self.at = begins + self.scale * advance;
        f64::from(begins / FINE)
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
    fn a_ruler_that_goes_on_measures_like_one_that_begins_anew() -> Result<(), DrawError> {
        let fonts = Fonts::bundled()?;
        let text = "AVATAR Type 10 % – été, “quoted” ☂";
        let mut going_on = fonts.ruler(&look::SMALL);
        for (end, letter) in text.char_indices() {
            let upto = text.get(..end).unwrap_or_default();
            assert_eq!(going_on.width(), fonts.width_of(upto, &look::SMALL));
            going_on.push(letter);
        }
        // A and V stand closer than their widths
        let wide = fonts.width_of("A", &look::PAGE_TITLE) + fonts.width_of("V", &look::PAGE_TITLE);
        assert!(fonts.width_of("AV", &look::PAGE_TITLE) < wide - 2.0);
        Ok(())
    }
}
