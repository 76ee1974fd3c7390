//! A display list as pixels: drawn by `tiny-skia`, letters from a cache of
//! their own, then one byte a pixel: the place of its colour in a palette.

use std::collections::HashMap;

use tiny_skia::{FillRule, LineJoin, Mask, Paint, Path, PathBuilder, Pixmap, Transform};
use ttf_parser::{GlyphId, OutlineBuilder};

use super::display_list::{DisplayList, Stroke};
use super::error::DrawError;
use super::font::Fonts;
use super::look::{Ink, PAPER, Type};
use super::rect::Rect;

type Point = (f64, f64);

/// What is thinner than this lies on whole pixels, px.
const HAIRLINE: f64 = 2.0;
/// Places within a pixel for which a glyph is kept.
const GLYPH_PLACES: f64 = 2.0;
/// Places within a pixel, each way, for which a dot is kept.
const DOT_PLACES: f64 = 4.0;
/// A dot of a larger radius is drawn as a shape of its own, px.
const LARGEST_DOT: f64 = 16.0;
/// Levels of coverage of a stamp's edge: more would only fill the palette.
const LEVELS: u32 = 15;

/// A finished picture.
#[derive(Debug, Clone, Copy)]
pub struct Picture<'a> {
    pub width: u32,
    pub height: u32,
    /// Rows from the top, a place in `colours` for every pixel.
    pub pixels: &'a [u8],
    /// The palette; paper is its first colour.
    pub colours: &'a [Ink],
}

#[cfg(test)]
impl Picture<'_> {
    /// The pixels' inks, row by row.
    pub fn inks(&self) -> impl Iterator<Item = Ink> {
        let places = self.pixels.iter();
        places.filter_map(|place| self.colours.get(usize::from(*place)).copied())
    }
}

/// Draws pictures. What is kept from one to the next changes none of them.
#[derive(Default)]
pub struct Renderer {
    sheet: Option<Pixmap>,
    stamps: HashMap<StampKey, Option<Stamp>>,
    palette: Palette,
    pixels: Vec<u8>,
}

/// What is drawn over and over: letters, and dots of readings.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum StampKey {
    Glyph {
        glyph: GlyphId,
        bold: bool,
        size_bits: u64,
        /// In `GLYPH_PLACES`, to the right.
        place: u8,
    },
    Dot {
        radius_bits: u64,
        /// In `DOT_PLACES`, to the right and down.
        place: (u8, u8),
    },
}

/// The coverage of a shape, its upper left corner counted from the pixel where
/// it is drawn.
struct Stamp {
    left: i32,
    top: i32,
    coverage: Mask,
}

impl Renderer {
    /// Draws the list on white paper.
    ///
    /// # Errors
    /// Where the bundled font cannot be read, or the page has no room at all.
    pub fn picture(&mut self, list: &DisplayList) -> Result<Picture<'_>, DrawError> {
        let fonts = Fonts::bundled()?;
        let (width, height) = list.size;
        let kept = self.sheet.take();
        let mut sheet = kept
            .filter(|kept| (kept.width(), kept.height()) == list.size)
            .or_else(|| Pixmap::new(width, height))
            .ok_or(DrawError::Size(width, height))?;
        sheet.data_mut().fill(255);
        for stroke in &list.strokes {
            self.draw(&mut sheet, stroke, fonts);
        }
        let inks = list.strokes.iter().map(Stroke::ink);
        self.palette.index(sheet.data(), inks, &mut self.pixels);
        self.sheet = Some(sheet);
        Ok(Picture {
            width,
            height,
            pixels: &self.pixels,
            colours: &self.palette.colours,
        })
    }

    fn draw(&mut self, sheet: &mut Pixmap, stroke: &Stroke, fonts: &Fonts) {
        let paint = paint(stroke.ink());
        match stroke {
            Stroke::Fill { area, .. } => fill(sheet, *area, &paint),
            Stroke::Line { points, width, .. } => line(sheet, points, *width, None, &paint),
            Stroke::Dashes {
                points,
                width,
                dash,
                ..
            } => line(sheet, points, *width, Some(*dash), &paint),
            Stroke::Polygon { corners, .. } => {
                if let Some(path) = path_through(corners, true) {
                    sheet.fill_path(
                        &path,
                        &paint,
                        FillRule::Winding,
                        Transform::identity(),
                        None,
                    );
                }
            }
            Stroke::Disc { at, radius, .. } if *radius <= LARGEST_DOT => {
                self.dot(sheet, *at, *radius, stroke.ink());
            }
            Stroke::Disc { at, radius, .. } => {
                let circle = PathBuilder::from_circle(at.0 as f32, at.1 as f32, *radius as f32);
                if let Some(path) = circle {
                    sheet.fill_path(
                        &path,
                        &paint,
                        FillRule::Winding,
                        Transform::identity(),
                        None,
                    );
                }
            }
            Stroke::Text {
                text,
                area,
                baseline,
                face,
            } => self.text(sheet, text, (area.x0, *baseline), face, fonts),
        }
    }

    fn text(
        &mut self,
        sheet: &mut Pixmap,
        text: &str,
        (x, baseline): Point,
        face: &Type,
        fonts: &Fonts,
    ) {
        let mut ruler = fonts.ruler(face);
        let y = baseline.round() as i32;
        for letter in text.chars() {
            let (glyph, begins) = ruler.push(letter);
            let (pixel, place) = pixel_and_place(x + begins, GLYPH_PLACES);
            let key = StampKey::Glyph {
                glyph,
                bold: face.bold,
                size_bits: face.size.to_bits(),
                place,
            };
            let stamp = self.stamps.entry(key).or_insert_with(|| {
                let font = fonts.of(face.bold);
                let mut pen = Pen {
                    path: PathBuilder::new(),
                    scale: font.pixels_per_unit(face.size),
                    shift: f32::from(place) / GLYPH_PLACES as f32,
                };
                font.outline(glyph, &mut pen);
                Stamp::new(pen.path.finish()?)
            });
            if let Some(stamp) = stamp {
                stamp.lay_on(sheet, (pixel, y), face.ink);
            }
        }
    }

    fn dot(&mut self, sheet: &mut Pixmap, (x, y): Point, radius: f64, ink: Ink) {
        let ((x, right), (y, down)) = (
            pixel_and_place(x, DOT_PLACES),
            pixel_and_place(y, DOT_PLACES),
        );
        let key = StampKey::Dot {
            radius_bits: radius.to_bits(),
            place: (right, down),
        };
        let stamp = self.stamps.entry(key).or_insert_with(|| {
            let part = |place: u8| f32::from(place) / DOT_PLACES as f32;
            Stamp::new(PathBuilder::from_circle(
                part(right),
                part(down),
                radius as f32,
            )?)
        });
        if let Some(stamp) = stamp {
            stamp.lay_on(sheet, (x, y), ink);
        }
    }
}

/// The pixel in which `at` lies, and the nearest of so many places within it.
fn pixel_and_place(at: f64, places: f64) -> (i32, u8) {
    let fine = (at * places).round();
    let place = fine.rem_euclid(places);
    (((fine - place) / places) as i32, place as u8)
}

fn paint(Ink(r, g, b): Ink) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(r, g, b, 255);
    paint
}

fn fill(sheet: &mut Pixmap, area: Rect, paint: &Paint<'_>) {
    let (width, height) = (f64::from(sheet.width()), f64::from(sheet.height()));
    let (x0, x1) = whole_if_thin(area.x0, area.x1, width);
    let (y0, y1) = whole_if_thin(area.y0, area.y1, height);
    // one that has no area is refused here
    let area = tiny_skia::Rect::from_ltrb(x0 as f32, y0 as f32, x1 as f32, y1 as f32);
    if let Some(area) = area {
        sheet.fill_rect(area, paint, Transform::identity(), None);
    }
}

/// The two edges of a box in one direction, within the sheet.
fn whole_if_thin(low: f64, high: f64, most: f64) -> (f64, f64) {
    let (low, high) = if high - low < HAIRLINE {
        let low = low.round();
        (low, low + (high - low).round().max(1.0))
    } else {
        (low, high)
    };
    let within = |at: f64| {
        if at.is_nan() {
            0.0
        } else {
            at.clamp(0.0, most)
        }
    };
    (within(low), within(high))
}

fn line(
    sheet: &mut Pixmap,
    points: &[Point],
    width: f64,
    dash: Option<(f64, f64)>,
    paint: &Paint<'_>,
) {
    let (points, width) = snapped(points, width);
    let Some(path) = path_through(&points, false) else {
        return;
    };
    let stroke = tiny_skia::Stroke {
        width: width as f32,
        line_join: LineJoin::Bevel,
        dash: dash
            .and_then(|(on, off)| tiny_skia::StrokeDash::new(vec![on as f32, off as f32], 0.0)),
        ..tiny_skia::Stroke::default()
    };
    sheet.stroke_path(&path, paint, &stroke, Transform::identity(), None);
}

/// A level or upright line is made and moved to cover whole pixels.
fn snapped(points: &[Point], width: f64) -> (Vec<Point>, f64) {
    let mut points = points.to_vec();
    let Some(&(x, y)) = points.first() else {
        return (points, width);
    };
    let level = points.iter().all(|p| p.1 == y);
    let upright = points.iter().all(|p| p.0 == x);
    if !level && !upright {
        return (points, width);
    }
    let width = width.round().max(1.0);
    let whole = |at: f64| (at - width / 2.0).round() + width / 2.0;
    for point in &mut points {
        *point = match level {
            true => (point.0, whole(y)),
            false => (whole(x), point.1),
        };
    }
    (points, width)
}

/// `None` where a point is not finite or the path has no length.
fn path_through(points: &[Point], closed: bool) -> Option<Path> {
    let mut path = PathBuilder::with_capacity(points.len() + 1, points.len());
    let (first, rest) = points.split_first()?;
    path.move_to(first.0 as f32, first.1 as f32);
    for point in rest {
        path.line_to(point.0 as f32, point.1 as f32);
    }
    if closed {
        path.close();
    }
    path.finish()
}

impl Stamp {
    /// The shape of a path about the origin.
    fn new(path: Path) -> Option<Stamp> {
        let bounds = path.bounds();
        let (left, top) = (bounds.left().floor(), bounds.top().floor());
        let width = (bounds.right().ceil() - left).max(1.0);
        let height = (bounds.bottom().ceil() - top).max(1.0);
        let mut coverage = Mask::new(width as u32, height as u32)?;
        let to_corner = Transform::from_translate(-left, -top);
        coverage.fill_path(&path, FillRule::Winding, true, to_corner);
        for share in coverage.data_mut() {
            let level = (u32::from(*share) * LEVELS + 127) / 255;
            *share = (level * 255 / LEVELS) as u8;
        }
        Some(Stamp {
            left: left as i32,
            top: top as i32,
            coverage,
        })
    }

    /// What reaches over the sheet's edge is cut.
    fn lay_on(&self, sheet: &mut Pixmap, (x, y): (i32, i32), Ink(r, g, b): Ink) {
        let (width, height) = (sheet.width() as usize, sheet.height() as usize);
        let left = i64::from(x) + i64::from(self.left);
        let top = i64::from(y) + i64::from(self.top);
        let hidden = usize::try_from(-left).unwrap_or(0);
        let Ok(from) = usize::try_from(left.max(0)) else {
            return;
        };
        let rows = self
            .coverage
            .data()
            .chunks_exact(self.coverage.width() as usize);
        for (y, shares) in (top..).zip(rows) {
            let Some(y) = usize::try_from(y).ok().filter(|y| *y < height) else {
                continue;
            };
            let row = sheet
                .data_mut()
                .get_mut((y * width + from.min(width)) * 4..(y + 1) * width * 4);
            let shares = shares.get(hidden..).unwrap_or_default();
            for (pixel, share) in row.unwrap_or_default().chunks_exact_mut(4).zip(shares) {
                if *share > 0 {
                    for (under, over) in pixel.iter_mut().zip([r, g, b]) {
                        *under = mixed(*under, over, *share);
                    }
                }
            }
        }
    }
}

fn mixed(under: u8, over: u8, share: u8) -> u8 {
    let (under, over, share) = (u32::from(under), u32::from(over), u32::from(share));
    ((over * share + under * (255 - share) + 127) / 255) as u8
}

/// Draws a glyph's outline at the origin, y down.
struct Pen {
    path: PathBuilder,
    scale: f32,
    shift: f32,
}

impl Pen {
    fn px(&self, x: f32, y: f32) -> (f32, f32) {
        (x * self.scale + self.shift, -y * self.scale)
    }
}

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.px(x, y);
        self.path.move_to(x, y);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.px(x, y);
        self.path.line_to(x, y);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let ((x1, y1), (x, y)) = (self.px(x1, y1), self.px(x, y));
        self.path.quad_to(x1, y1, x, y);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let ((x1, y1), (x2, y2), (x, y)) = (self.px(x1, y1), self.px(x2, y2), self.px(x, y));
        self.path.cubic_to(x1, y1, x2, y2, x, y);
    }

    fn close(&mut self) {
        self.path.close();
    }
}

/// Colours that a PNG's palette holds.
const MOST_COLOURS: usize = 256;
/// Soft edges whose upper bits are equal share a colour: 16 steps a channel.
const CELLS: usize = 1 << 12;

/// Colours whose place is remembered, by the upper bits of a hash.
const REMEMBERED_BITS: u32 = 12;
/// Pixels that are skipped together where they are paper.
const TOGETHER: usize = 16;

/// The palette of the picture at hand. Paper and every ink have a place of their
/// own; of the colours of soft edges, those that look alike share one.
#[derive(Default)]
struct Palette {
    colours: Vec<Ink>,
    inks: usize,
    cells: Vec<Option<u8>>,
    remembered: Vec<Option<(Ink, u8)>>,
}

impl Palette {
    /// Turns RGBA into places in the palette.
    fn index(&mut self, rgba: &[u8], inks: impl Iterator<Item = Ink>, pixels: &mut Vec<u8>) {
        self.colours.clear();
        self.colours.push(PAPER);
        for ink in inks {
            if !self.colours.contains(&ink) && self.colours.len() < MOST_COLOURS {
                self.colours.push(ink);
            }
        }
        self.inks = self.colours.len();
        self.cells.clear();
        self.cells.resize(CELLS, None);
        self.remembered.clear();
        self.remembered.resize(1 << REMEMBERED_BITS, None);
        // paper is the palette's first colour
        pixels.clear();
        pixels.resize(rgba.len() / 4, 0);
        let (mut last, mut place) = (PAPER, 0);
        let stretches = rgba.chunks(4 * TOGETHER).zip(pixels.chunks_mut(TOGETHER));
        for (stretch, places) in stretches {
            if stretch == [255; 4 * TOGETHER] {
                continue;
            }
            for (pixel, own) in stretch.chunks_exact(4).zip(places) {
                let &[r, g, b, _] = pixel else { continue };
                let colour = Ink(r, g, b);
                // neighbours are mostly alike
                if colour != last {
                    (last, place) = (colour, self.remembered(colour));
                }
                *own = place;
            }
        }
    }

    fn remembered(&mut self, colour: Ink) -> u8 {
        let Ink(r, g, b) = colour;
        let hash = u32::from_be_bytes([0, r, g, b]).wrapping_mul(0x9e37_79b1);
        let slot = (hash >> (u32::BITS - REMEMBERED_BITS)) as usize;
        if let Some((known, place)) = self.remembered.get(slot).copied().flatten()
            && known == colour
        {
            return place;
        }
        let place = self.place_of(colour);
        if let Some(slot) = self.remembered.get_mut(slot) {
            *slot = Some((colour, place));
        }
        place
    }

    fn place_of(&mut self, colour: Ink) -> u8 {
        let mut own = self.colours.iter().take(self.inks);
        if let Some(place) = own.position(|ink| *ink == colour) {
            return place as u8;
        }
        let Ink(r, g, b) = colour;
        let cell = usize::from(r >> 4) << 8 | usize::from(g >> 4) << 4 | usize::from(b >> 4);
        if let Some(place) = self.cells.get(cell).copied().flatten() {
            return place;
        }
        let place = if self.colours.len() < MOST_COLOURS {
            self.colours.push(colour);
            self.colours.len() - 1
        } else {
            self.nearest(colour)
        } as u8;
        if let Some(slot) = self.cells.get_mut(cell) {
            *slot = Some(place);
        }
        place
    }

    fn nearest(&self, Ink(r, g, b): Ink) -> usize {
        let far = |ink: &Ink| {
            let step = |a: u8, b: u8| u32::from(a.abs_diff(b)).pow(2);
            step(ink.0, r) + step(ink.1, g) + step(ink.2, b)
        };
        let places = self.colours.iter().enumerate();
        places.min_by_key(|(_, ink)| far(ink)).map_or(0, |(i, _)| i)
    }
}

#[cfg(test)]
#[allow(clippy::expect_used)]
mod tests {
    use super::*;
    use crate::report::canvas::{Align, Canvas, draw};
    use crate::report::look;

    const RED: Ink = Ink(200, 0, 0);

    fn drawn(renderer: &mut Renderer, paint: impl FnOnce(&mut Canvas)) -> Vec<Ink> {
        let list = draw((40, 20), paint).expect("the font");
        let picture = renderer.picture(&list).expect("the font");
        assert_eq!(picture.pixels.len(), 40 * 20);
        picture.inks().collect()
    }

    #[test]
    fn hairlines_take_one_row_and_all_of_it() {
        let renderer = &mut Renderer::default();
        let pixels = drawn(renderer, |c| c.fill(Rect::at(0.0, 4.5, 40.0, 1.0), RED));
        assert_eq!(pixels.iter().filter(|p| **p == RED).count(), 40);
        assert_eq!(pixels.iter().filter(|p| **p == look::PAPER).count(), 760);
        let pixels = drawn(renderer, |c| c.line(&[(0.0, 9.3), (40.0, 9.3)], RED, 2.0));
        assert_eq!(pixels.iter().filter(|p| **p == RED).count(), 80);
        let pixels = drawn(renderer, |c| {
            c.dashes(&[(7.7, 0.0), (7.7, 20.0)], RED, 1.6, (5.0, 5.0));
        });
        assert_eq!(pixels.iter().filter(|p| **p == RED).count(), 20);
    }

    #[test]
    fn a_page_does_not_depend_on_those_drawn_before() {
        let paint = |c: &mut Canvas| {
            c.mark(look::Shape::Eye, (10.3, 10.2), 7.0, look::MEMBRANE);
            c.line(&[(0.0, 0.0), (22.0, 9.0), (39.0, 19.0)], look::LIMIT, 2.6);
            c.text("Wé 7", (14.2, 15.0), &look::SMALL, Align::Left);
        };
        let alone = drawn(&mut Renderer::default(), paint);
        let renderer = &mut Renderer::default();
        drawn(renderer, |c| {
            c.mark(look::Shape::Cross, (9.0, 9.0), 8.0, RED)
        });
        assert_eq!(drawn(renderer, paint), alone);
    }

    #[test]
    fn what_reaches_over_the_edge_is_cut() {
        let renderer = &mut Renderer::default();
        for at in [
            (-3.0, -2.0),
            (39.0, 19.0),
            (-1e12, 5.0),
            (5.0, 1e12),
            (f64::NAN, 5.0),
        ] {
            let pixels = drawn(renderer, |c| {
                c.mark(look::Shape::Circle, at, 6.0, RED);
                c.mark(look::Shape::Circle, at, 60.0, RED);
                c.mark(look::Shape::Diamond, at, 6.0, RED);
                c.fill(Rect::at(at.0, at.1, 9.0, 9.0), RED);
                c.text("Wide", at, &look::PAGE_TITLE, Align::Middle);
            });
            assert_eq!(pixels.len(), 800);
        }
    }

    #[test]
    fn more_shades_than_a_palette_holds_still_give_every_ink_its_own_place() {
        let mut palette = Palette::default();
        let shades =
            (0..4096_u32).map(|i| Ink((i >> 8 << 4) as u8, (i >> 4 << 4) as u8, (i << 4) as u8));
        let rgba: Vec<u8> = shades
            .clone()
            .flat_map(|Ink(r, g, b)| [r, g, b, 255])
            .collect();
        let mut pixels = Vec::new();
        palette.index(&rgba, [RED, look::MEMBRANE].into_iter(), &mut pixels);
        assert_eq!(palette.colours.len(), 256);
        assert_eq!(
            palette.colours.get(..3),
            Some(&[PAPER, RED, look::MEMBRANE][..])
        );
        // what found no place of its own takes one near by, never a far one
        let far = |a: u8, b: u8| u32::from(a.abs_diff(b));
        for (shade, place) in shades.zip(&pixels).take(3000) {
            let own = palette.colours.get(usize::from(*place)).expect("a place");
            let nearest = palette
                .colours
                .iter()
                .map(|c| far(c.0, shade.0) + far(c.1, shade.1) + far(c.2, shade.2))
                .min();
            let off = far(own.0, shade.0) + far(own.1, shade.1) + far(own.2, shade.2);
            assert!(nearest.is_some_and(|n| off <= 2 * n), "{shade:?} {own:?}");
        }
    }
}
