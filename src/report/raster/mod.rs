//! A sketch as pixels: one byte each, the place of a colour in the page's own
//! palette. Soft edges are shades between an ink and what it is laid on.

mod coverage;
mod shades;
mod sprites;

use coverage::{Point, Shape};
use shades::{FULL, InkNumber, Shades};
use sprites::{Sprite, Sprites, circle};

use super::error::DrawError;
use super::font::Fonts;
use super::look::{Ink, Type};
use super::rect::Rect;
use super::strokes::{Sketch, Stroke};

/// What is thinner than this lies on whole pixels, px.
const HAIRLINE: f64 = 2.0;
/// A dot of a larger radius is drawn as a shape of its own, px.
const LARGEST_DOT: f64 = 16.0;

/// A finished picture.
#[derive(Debug, Clone, Copy)]
pub struct Picture<'a> {
    pub width: u32,
    pub height: u32,
    /// Rows from the top, each led by a 0 as PNG wants it.
    pub rows: &'a [u8],
    /// The palette.
    pub colours: &'a [Ink],
}

#[cfg(test)]
impl Picture<'_> {
    /// The pixels' inks, row by row.
    pub fn inks(&self) -> impl Iterator<Item = Ink> {
        let rows = self.rows.chunks_exact(self.width as usize + 1);
        let places = rows.flat_map(|row| row.iter().skip(1));
        places.filter_map(|place| self.colours.get(usize::from(*place)).copied())
    }
}

/// What draws: a sheet of paper and all that is worth keeping from page to page.
/// A page depends on its sketch alone, not on those before it.
pub struct Brush {
    /// Pixels in a row and rows.
    size: (usize, usize),
    rows: Vec<u8>,
    shades: Shades,
    sprites: Sprites,
    shape: Shape,
    path: Vec<Point>,
}

impl Brush {
    pub fn new() -> Brush {
        Brush {
            size: (0, 0),
            rows: Vec::new(),
            shades: Shades::new(),
            sprites: Sprites::default(),
            shape: Shape::default(),
            path: Vec::new(),
        }
    }

    /// Draws the sketch on white paper.
    ///
    /// # Errors
    /// Where the bundled font cannot be read.
    pub fn picture(&mut self, sketch: &Sketch) -> Result<Picture<'_>, DrawError> {
        let fonts = Fonts::bundled()?;
        let (width, height) = sketch.size;
        self.size = (width as usize, height as usize);
        self.rows.clear();
        self.rows.resize((self.size.0 + 1) * self.size.1, 0);
        // known before anything is drawn, so that no shade takes their place
        self.shades.begin(sketch.strokes.iter().map(Stroke::ink));
        for stroke in &sketch.strokes {
            self.draw(stroke, fonts);
        }
        Ok(Picture {
            width,
            height,
            rows: &self.rows,
            colours: self.shades.colours(),
        })
    }

    fn draw(&mut self, stroke: &Stroke, fonts: &Fonts) {
        let ink = self.shades.number_of(stroke.ink());
        match stroke {
            Stroke::Fill { area, .. } => self.fill(*area, ink),
            Stroke::Line { points, width, .. } => {
                let width = snap(points, *width, &mut self.path);
                self.shape.line(&self.path, width);
                self.lay_shape(ink);
            }
            Stroke::Dashes {
                points,
                width,
                dash,
                ..
            } => {
                let width = snap(points, *width, &mut self.path);
                dashes(&self.path, *dash, |a, b| self.shape.line(&[a, b], width));
                self.lay_shape(ink);
            }
            Stroke::Polygon { corners, .. } => {
                self.shape.outline(corners);
                self.lay_shape(ink);
            }
            Stroke::Disc { at, radius, .. } if *radius > LARGEST_DOT => {
                self.shape.outline(&circle(*at, *radius));
                self.lay_shape(ink);
            }
            Stroke::Disc { at, radius, .. } => {
                let (sprite, spot) = self.sprites.dot(*radius, *at);
                self.lay_sprite(&sprite, spot, ink);
            }
            Stroke::Text {
                text,
                area,
                baseline,
                face,
            } => self.text(text, (area.x0, *baseline), face, ink, fonts),
        }
    }

    fn lay_shape(&mut self, ink: InkNumber) {
        let (rows, shades, width) = (&mut self.rows, &mut self.shades, self.size.0);
        self.shape.fill(self.size, |y, from, to, share| {
            if let Some(stretch) = stretch_of(rows, width, y, from, to) {
                shades.blend_evenly(ink, stretch, share);
            }
        });
    }

    fn fill(&mut self, area: Rect, ink: InkNumber) {
        let (width, height) = self.size;
        let (x0, x1) = whole_if_thin(area.x0, area.x1, width);
        let (y0, y1) = whole_if_thin(area.y0, area.y1, height);
        for (top, bottom, high) in alike(y0, y1) {
            for (left, right, wide) in alike(x0, x1) {
                let share = (high * wide * f64::from(FULL)).round() as u8;
                for y in top..bottom {
                    if let Some(stretch) = stretch_of(&mut self.rows, width, y, left, right) {
                        self.shades.blend_evenly(ink, stretch, share);
                    }
                }
            }
        }
    }

    fn text(
        &mut self,
        text: &str,
        (x, baseline): Point,
        face: &Type,
        ink: InkNumber,
        fonts: &Fonts,
    ) {
        let letters = self.sprites.face(face.size, face.bold);
        let mut ruler = fonts.ruler(face);
        let y = baseline.round() as i32;
        for letter in text.chars() {
            let begins = x + ruler.push(letter);
            let (sprite, pixel) = self.sprites.letter(letters, letter, begins, fonts);
            self.lay_sprite(&sprite, (pixel, y), ink);
        }
    }

    /// What reaches over the sheet's edge is cut.
    fn lay_sprite(&mut self, sprite: &Sprite, (x, y): (i32, i32), ink: InkNumber) {
        let left = i64::from(x) + i64::from(sprite.left);
        let top = i64::from(y) + i64::from(sprite.top);
        let hidden = usize::try_from(-left).unwrap_or(0);
        let from = usize::try_from(left).unwrap_or(0);
        let to = (from + sprite.width.saturating_sub(hidden)).min(self.size.0);
        for (y, shares) in (top..).zip(self.sprites.rows(sprite)) {
            let Ok(y) = usize::try_from(y) else { continue };
            let stretch = stretch_of(&mut self.rows, self.size.0, y, from, to);
            if let (Some(stretch), Some(shares)) = (stretch, shares.get(hidden..)) {
                self.shades.blend(ink, stretch, shares);
            }
        }
    }
}

/// Pixels `from` to `to` of row `y`; `None` below the last row and right of the last pixel.
fn stretch_of(
    rows: &mut [u8],
    width: usize,
    y: usize,
    from: usize,
    to: usize,
) -> Option<&mut [u8]> {
    let start = y * (width + 1) + 1;
    rows.get_mut(start + from..start + to)
}

/// The two edges of a box in one direction, within the sheet.
fn whole_if_thin(low: f64, high: f64, most: usize) -> (f64, f64) {
    let (low, high) = if high - low < HAIRLINE {
        let low = low.round();
        (low, low + (high - low).max(1.0))
    } else {
        (low, high)
    };
    let within = |at: f64| {
        if at.is_nan() {
            0.0
        } else {
            at.clamp(0.0, most as f64)
        }
    };
    (within(low), within(high))
}

/// The pixels from `low` to `high` in stretches that are covered alike: first,
/// after the last, and how much of each: at most three.
fn alike(low: f64, high: f64) -> impl Iterator<Item = (usize, usize, f64)> + Clone {
    let (first, last) = (low.ceil(), high.floor());
    let stretches = if first > last {
        // both edges within one pixel
        [(last, first, high - low), (0.0, 0.0, 0.0), (0.0, 0.0, 0.0)]
    } else {
        [
            (first - 1.0, first, first - low),
            (first, last, 1.0),
            (last, last + 1.0, high - last),
        ]
    };
    stretches
        .into_iter()
        .filter(|(from, to, share)| *share > 0.0 && from < to)
        .map(|(from, to, share)| (from as usize, to as usize, share))
}

/// Copies a line to `path` and gives its width. A level or upright one is made
/// and moved to cover whole pixels.
fn snap(points: &[Point], width: f64, path: &mut Vec<Point>) -> f64 {
    path.clear();
    path.extend_from_slice(points);
    let Some(&(x, y)) = points.first() else {
        return width;
    };
    let (level, upright) = (
        points.iter().all(|p| p.1 == y),
        points.iter().all(|p| p.0 == x),
    );
    if !level && !upright {
        return width;
    }
    let width = width.round().max(1.0);
    let whole = |at: f64| (at - width / 2.0).round() + width / 2.0;
    for point in path {
        *point = match level {
            true => (point.0, whole(y)),
            false => (whole(x), point.1),
        };
    }
    width
}

/// Gives the ends of every dash along a path.
fn dashes(path: &[Point], (dash, gap): (f64, f64), mut draw: impl FnMut(Point, Point)) {
    let mut left = dash;
    let mut drawing = true;
    for pair in path.windows(2) {
        let &[(mut x, mut y), (x1, y1)] = pair else {
            continue;
        };
        let mut rest = (x1 - x).hypot(y1 - y);
        while rest > 1e-6 {
            let step = left.min(rest);
            let share = step / rest;
            let next = (x + (x1 - x) * share, y + (y1 - y) * share);
            if drawing {
                draw((x, y), next);
            }
            (x, y) = next;
            rest -= step;
            left -= step;
            if left <= 1e-6 {
                drawing = !drawing;
                left = if drawing { dash } else { gap };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::canvas::{Align, Canvas, draw};
    use crate::report::look;

    const RED: Ink = Ink(200, 0, 0);

    fn drawn(brush: &mut Brush, paint: impl FnOnce(&mut Canvas)) -> Vec<Ink> {
        let sketch = draw((40, 20), paint).expect("the font");
        let picture = brush.picture(&sketch).expect("the font");
        assert_eq!(picture.rows.len(), 41 * 20);
        picture.inks().collect()
    }

    fn row(pixels: &[Ink], y: usize) -> &[Ink] {
        &pixels[40 * y..40 * (y + 1)]
    }

    #[test]
    fn boxes_are_sharp_on_whole_pixels_and_soft_between() {
        let brush = &mut Brush::new();
        let pixels = drawn(brush, |c| c.fill(Rect::at(2.0, 3.0, 4.0, 5.0), RED));
        assert_eq!(pixels.iter().filter(|p| **p == RED).count(), 20);
        assert_eq!(pixels.iter().filter(|p| **p == look::PAPER).count(), 780);
        let pixels = drawn(brush, |c| c.fill(Rect::at(2.5, 3.0, 4.0, 5.0), RED));
        let half = row(&pixels, 5)[2];
        assert!(
            half.1.abs_diff(128) < 8 && row(&pixels, 5)[6] == half,
            "{half:?}"
        );
        assert_eq!(row(&pixels, 5)[3..6], [RED; 3]);
    }

    #[test]
    fn hairlines_take_one_row_and_all_of_it() {
        let brush = &mut Brush::new();
        let pixels = drawn(brush, |c| c.fill(Rect::at(0.0, 4.5, 40.0, 1.0), RED));
        assert_eq!(pixels.iter().filter(|p| **p == RED).count(), 40);
        assert_eq!(pixels.iter().filter(|p| **p == look::PAPER).count(), 760);
        let pixels = drawn(brush, |c| c.line(&[(0.0, 9.3), (40.0, 9.3)], RED, 2.0));
        assert_eq!(pixels.iter().filter(|p| **p == RED).count(), 80);
        let pixels = drawn(brush, |c| {
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
        let alone = drawn(&mut Brush::new(), paint);
        let brush = &mut Brush::new();
        drawn(brush, |c| c.mark(look::Shape::Cross, (9.0, 9.0), 8.0, RED));
        assert_eq!(drawn(brush, paint), alone);
    }

    #[test]
    fn what_reaches_over_the_edge_is_cut() {
        let brush = &mut Brush::new();
        for at in [
            (-3.0, -2.0),
            (39.0, 19.0),
            (-1e12, 5.0),
            (5.0, 1e12),
            (f64::NAN, 5.0),
        ] {
            let pixels = drawn(brush, |c| {
                c.mark(look::Shape::Circle, at, 6.0, RED);
                c.mark(look::Shape::Circle, at, 60.0, RED);
                c.mark(look::Shape::Diamond, at, 6.0, RED);
                c.fill(Rect::at(at.0, at.1, 9.0, 9.0), RED);
                c.text("Wide", at, &look::PAGE_TITLE, Align::Middle);
            });
            assert_eq!(pixels.len(), 800);
        }
    }
}
