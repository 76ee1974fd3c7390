//! The one door to the drawing library: everything a page is made of goes
//! through [`Canvas`], which draws into our own memory.
//!
//! Shapes are drawn at twice the size and averaged down, because the library
//! places whole pixels only. The bundled font is the only one ever used, so a
//! page comes out the same on every machine. Drawing calls do not return
//! errors one by one: the first is kept and returned by [`draw`].

use std::sync::OnceLock;

use plotters::backend::{BitMapBackend, DrawingBackend};
use plotters::style::{Color, FontStyle, IntoFont, RGBColor, ShapeStyle, TextStyle, register_font};

use super::error::DrawError;
use super::look::{Ink, PAPER, Shape, Type};
use super::rect::Rect;

/// Drawn pixels per page pixel, each way.
const FINE: u32 = 2;
/// The name under which the bundled font is known.
const FAMILY: &str = "page";
/// Height of the font's box over its em size: (1901 + 483) / 2048, from the
/// font's own horizontal header.
const BOX_PER_EM: f64 = 2384.0 / 2048.0;

/// A finished picture: RGB rows from the top.
#[derive(Debug, Clone)]
pub struct Picture {
    pub width: u32,
    pub height: u32,
    pub pixels: Vec<u8>,
    /// What was written where, to be tested for collisions.
    #[cfg(test)]
    pub texts: Vec<(Rect, String)>,
}

/// Where a text's anchor lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    Left,
    Middle,
    Right,
}

/// Something to draw on, in page pixels.
pub struct Canvas<'a> {
    backend: BitMapBackend<'a>,
    size: (u32, u32),
    fault: Option<DrawError>,
    #[cfg(test)]
    texts: Vec<(Rect, String)>,
}

/// Draws a picture of that size on white paper.
///
/// # Errors
/// The first thing the drawing library could not do.
pub fn draw(
    (width, height): (u32, u32),
    paint: impl FnOnce(&mut Canvas<'_>),
) -> Result<Picture, DrawError> {
    register_fonts()?;
    let fine = (width * FINE, height * FINE);
    let mut pixels = vec![255_u8; fine.0 as usize * fine.1 as usize * 3];
    let mut picture = Picture {
        width,
        height,
        pixels: Vec::new(),
        #[cfg(test)]
        texts: Vec::new(),
    };
    let fault = {
        let mut canvas = Canvas {
            backend: BitMapBackend::with_buffer(&mut pixels, fine),
            size: (width, height),
            fault: None,
            #[cfg(test)]
            texts: Vec::new(),
        };
        paint(&mut canvas);
        #[cfg(test)]
        picture.texts.append(&mut canvas.texts);
        canvas.fault.take()
    };
    picture.pixels = average_down(&pixels, width as usize);
    fault.map_or(Ok(picture), Err)
}

fn register_fonts() -> Result<(), DrawError> {
    static DONE: OnceLock<Result<(), DrawError>> = OnceLock::new();
    DONE.get_or_init(|| {
        register_font(FAMILY, FontStyle::Normal, dejavu::sans::regular())
            .map_err(|_| DrawError::Font("DejaVu Sans"))?;
        register_font(FAMILY, FontStyle::Bold, dejavu::sans::bold())
            .map_err(|_| DrawError::Font("DejaVu Sans Bold"))
    })
    .clone()
}

/// Averages blocks of 2 x 2 pixels. Most of a page is paper, so stretches of
/// paper are told by whole slices before any pixel is looked at.
fn average_down(fine: &[u8], width: usize) -> Vec<u8> {
    const STRETCH: usize = 32;
    const PAPER_FINE: [u8; STRETCH * 6] = [255; STRETCH * 6];
    let row = width * 2 * 3;
    let mut out = Vec::with_capacity(fine.len() / 4);
    for pair in fine.chunks_exact(row * 2) {
        let (upper, lower) = pair.split_at(row);
        for (a, b) in upper.chunks(STRETCH * 6).zip(lower.chunks(STRETCH * 6)) {
            let paper = PAPER_FINE.get(..a.len()).unwrap_or_default();
            if a == paper && b == paper {
                out.extend_from_slice(PAPER_FINE.get(..a.len() / 2).unwrap_or_default());
            } else {
                average_stretch(a, b, &mut out);
            }
        }
    }
    out
}

fn average_stretch(upper: &[u8], lower: &[u8], out: &mut Vec<u8>) {
    for (a, b) in upper.chunks_exact(6).zip(lower.chunks_exact(6)) {
        let (&[r0, g0, b0, r1, g1, b1], &[r2, g2, b2, r3, g3, b3]) = (a, b) else {
            continue;
        };
        let mean = |w, x, y, z| {
            ((u16::from(w) + u16::from(x) + u16::from(y) + u16::from(z) + 2) / 4) as u8
        };
        out.extend_from_slice(&[
            mean(r0, r1, r2, r3),
            mean(g0, g1, g2, g3),
            mean(b0, b1, b2, b3),
        ]);
    }
}

fn rgb(ink: Ink) -> RGBColor {
    RGBColor(ink.0, ink.1, ink.2)
}

fn fill_of(ink: Ink) -> ShapeStyle {
    rgb(ink).filled()
}

fn style_of(face: &Type) -> TextStyle<'static> {
    let size = face.size * BOX_PER_EM * f64::from(FINE);
    let weight = if face.bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    };
    let mut style = TextStyle::from((FAMILY, size, weight).into_font());
    style.color = rgb(face.ink).to_backend_color();
    style
}

fn fine_px(at: f64) -> i32 {
    (at * f64::from(FINE)).round() as i32
}

fn fine_point(&(x, y): &(f64, f64)) -> (i32, i32) {
    (fine_px(x), fine_px(y))
}

impl Canvas<'_> {
    /// The whole page.
    pub fn page(&self) -> Rect {
        Rect::at(0.0, 0.0, f64::from(self.size.0), f64::from(self.size.1))
    }

    fn keep(&mut self, done: Result<(), impl std::fmt::Display>) {
        if let (Err(fault), None) = (done, &self.fault) {
            self.fault = Some(DrawError::Library(fault.to_string()));
        }
    }

    /// A filled box.
    pub fn fill(&mut self, area: Rect, ink: Ink) {
        if area.width() <= 0.0 || area.height() <= 0.0 {
            return;
        }
        let (from, to) = (
            fine_point(&(area.x0, area.y0)),
            (fine_px(area.x1) - 1, fine_px(area.y1) - 1),
        );
        let done = self.backend.draw_rect(from, to, &fill_of(ink), true);
        self.keep(done);
    }

    /// A line through `points` (in order; fewer than two draw nothing).
    pub fn line(&mut self, points: &[(f64, f64)], ink: Ink, width: f64) {
        if points.len() < 2 {
            return;
        }
        let mut path: Vec<(i32, i32)> = points.iter().map(fine_point).collect();
        // the library cannot give a width to a step of no length
        path.dedup();
        if path.len() < 2 {
            return;
        }
        let stroke = fine_px(width).max(1) as u32;
        let done = self.backend.draw_path(path, &rgb(ink).stroke_width(stroke));
        self.keep(done);
    }

    /// A dashed line through `points`: `dash` px drawn, `gap` px left out.
    pub fn dashes(&mut self, points: &[(f64, f64)], ink: Ink, width: f64, (dash, gap): (f64, f64)) {
        let mut left = dash;
        let mut drawing = true;
        for pair in points.windows(2) {
            let &[(mut x, mut y), (x1, y1)] = pair else {
                continue;
            };
            let mut rest = (x1 - x).hypot(y1 - y);
            while rest > 1e-6 {
                let step = left.min(rest);
                let share = step / rest;
                let next = (x + (x1 - x) * share, y + (y1 - y) * share);
                if drawing {
                    self.line(&[(x, y), next], ink, width);
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

    /// A filled polygon; fewer than three corners draw nothing.
    pub fn polygon(&mut self, corners: &[(f64, f64)], ink: Ink) {
        if corners.len() < 3 {
            return;
        }
        let corners: Vec<(i32, i32)> = corners.iter().map(fine_point).collect();
        let done = self.backend.fill_polygon(corners, &fill_of(ink));
        self.keep(done);
    }

    fn disc(&mut self, (x, y): (f64, f64), radius: f64, ink: Ink) {
        let corners: Vec<(f64, f64)> = (0..24)
            .map(|i| {
                let turn = f64::from(i) / 24.0 * std::f64::consts::TAU;
                (x + radius * turn.cos(), y + radius * turn.sin())
            })
            .collect();
        self.polygon(&corners, ink);
    }

    /// A marker about `2 * radius` px wide, with a thin edge of paper.
    pub fn mark(&mut self, shape: Shape, (x, y): (f64, f64), radius: f64, ink: Ink) {
        let r = radius;
        match shape {
            Shape::Circle => self.disc((x, y), r, ink),
            Shape::Ring => {
                self.disc((x, y), r, ink);
                self.disc((x, y), (r - 1.8).max(r * 0.45), PAPER);
            }
            Shape::Eye => {
                self.disc((x, y), r, ink);
                self.disc((x, y), r * 0.72, PAPER);
                self.disc((x, y), r * 0.34, ink);
            }
            Shape::Square => self.fill(Rect::at(x, y, 0.0, 0.0).inset(-r * 0.88), ink),
            Shape::Diamond => {
                let d = r * 1.15;
                self.polygon(&[(x, y - d), (x + d, y), (x, y + d), (x - d, y)], ink);
            }
            Shape::Triangle => {
                let (half, up, down) = (r * 1.08, r * 1.05, r * 0.85);
                self.polygon(
                    &[(x, y - up), (x + half, y + down), (x - half, y + down)],
                    ink,
                );
            }
            Shape::Cross => {
                let d = r * 0.82;
                let width = (r * 0.62).max(2.0);
                self.line(&[(x - d, y - d), (x + d, y + d)], ink, width);
                self.line(&[(x - d, y + d), (x + d, y - d)], ink, width);
            }
        }
    }

    /// Width of `text` in px.
    pub fn width_of(&self, text: &str, face: &Type) -> f64 {
        style_of(face)
            .font
            .layout_box(text)
            .map(|((x0, _), (x1, _))| f64::from(x1 - x0) / f64::from(FINE) + 1.0)
            .unwrap_or(text.chars().count() as f64 * face.size * 0.65)
    }

    /// The box that `text` takes if written at that anchor and baseline.
    pub fn box_of(&self, text: &str, (x, baseline): (f64, f64), face: &Type, align: Align) -> Rect {
        let width = self.width_of(text, face);
        let x0 = match align {
            Align::Left => x,
            Align::Middle => x - width / 2.0,
            Align::Right => x - width,
        };
        Rect::at(x0, baseline - face.size * 0.76, width, face.size)
    }

    /// Writes `text` with its baseline at `y` and gives the box it takes.
    pub fn text(&mut self, text: &str, at: (f64, f64), face: &Type, align: Align) -> Rect {
        let area = self.box_of(text, at, face, align);
        if text.trim().is_empty() {
            return area;
        }
        // the library puts the baseline half the font's box below the anchor
        let drop = (face.size * BOX_PER_EM * f64::from(FINE) / 2.0).floor() as i32;
        let anchor = (fine_px(area.x0), fine_px(at.1) - drop);
        let done = self.backend.draw_text(text, &style_of(face), anchor);
        self.keep(done);
        #[cfg(test)]
        self.texts.push((area, text.to_owned()));
        area
    }

    /// `text`, cut with an ellipsis if it is wider than `width` px.
    pub fn shortened(&self, text: &str, face: &Type, width: f64) -> String {
        if self.width_of(text, face) <= width {
            return text.to_owned();
        }
        let mut kept: Vec<char> = text.chars().collect();
        while !kept.is_empty() {
            kept.pop();
            let cut: String = kept.iter().collect::<String>().trim_end().to_owned() + "…";
            if self.width_of(&cut, face) <= width {
                return cut;
            }
        }
        String::new()
    }

    /// `text` in lines no wider than `width` px; a word that is too long on
    /// its own is broken.
    pub fn wrapped(&self, text: &str, face: &Type, width: f64) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = String::new();
        for word in text.split_whitespace() {
            let longer = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            if self.width_of(&longer, face) <= width {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for letter in word.chars() {
                line.push(letter);
                if self.width_of(&line, face) > width && line.chars().count() > 1 {
                    line.pop();
                    lines.push(std::mem::take(&mut line));
                    line.push(letter);
                }
            }
        }
        if !line.is_empty() {
            lines.push(line);
        }
        lines
    }

    /// Writes `text` in lines of at most `width` px from the first baseline
    /// on, at most `most` lines (the last one cut), and gives the baseline
    /// after the last one.
    pub fn paragraph(
        &mut self,
        text: &str,
        (x, first): (f64, f64),
        face: &Type,
        width: f64,
        most: usize,
    ) -> f64 {
        let lines = self.wrapped(text, face, width);
        let mut baseline = first;
        for (i, line) in lines.iter().take(most).enumerate() {
            if i + 1 == most && lines.len() > most {
                let cut = self.shortened(&format!("{line}…"), face, width);
                self.text(&cut, (x, baseline), face, Align::Left);
            } else {
                self.text(line, (x, baseline), face, Align::Left);
            }
            baseline += face.leading();
        }
        baseline
    }
}
