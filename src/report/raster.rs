//! A sketch as pixels, through the drawing library, in our own memory.
//!
//! Shapes are drawn at twice the size and averaged down, because the library
//! places whole pixels only. The bundled font is the only one ever used, so a
//! page comes out the same on every machine. The first error the library
//! gives is the one returned.

use plotters::backend::{BitMapBackend, DrawingBackend};
use plotters::style::{Color, RGBColor, ShapeStyle};

use super::error::DrawError;
use super::font::{BOX_PER_EM, FINE, style_of};
use super::look::{Ink, Type};
use super::rect::Rect;
use super::strokes::{Sketch, Stroke};

/// A finished picture: RGB rows from the top.
#[derive(Debug, Clone)]
pub struct Picture {
    pub width: u32,
    pub height: u32,
    pub pixels: Vec<u8>,
}

/// Draws the sketch on white paper.
///
/// # Errors
/// The first thing the drawing library could not do.
pub fn picture(sketch: &Sketch) -> Result<Picture, DrawError> {
    let (width, height) = sketch.size;
    let fine = (width * FINE, height * FINE);
    let mut pixels = vec![255_u8; fine.0 as usize * fine.1 as usize * 3];
    let mut paper = Paper {
        backend: BitMapBackend::with_buffer(&mut pixels, fine),
        fault: None,
    };
    for stroke in &sketch.strokes {
        paper.draw(stroke);
    }
    let fault = paper.fault.take();
    drop(paper);
    let picture = Picture {
        width,
        height,
        pixels: average_down(&pixels, width as usize),
    };
    fault.map_or(Ok(picture), Err)
}

struct Paper<'a> {
    backend: BitMapBackend<'a>,
    fault: Option<DrawError>,
}

impl Paper<'_> {
    fn keep(&mut self, done: Result<(), impl std::fmt::Display>) {
        if let (Err(fault), None) = (done, &self.fault) {
            self.fault = Some(DrawError::Library(fault.to_string()));
        }
    }

    fn draw(&mut self, stroke: &Stroke) {
        match stroke {
            Stroke::Fill { area, ink } => self.fill(*area, *ink),
            Stroke::Line { points, ink, width } => self.line(points, *ink, *width),
            Stroke::Dashes {
                points,
                ink,
                width,
                dash,
            } => self.dashes(points, *ink, *width, *dash),
            Stroke::Polygon { corners, ink } => self.polygon(corners, *ink),
            Stroke::Disc { at, radius, ink } => self.disc(*at, *radius, *ink),
            Stroke::Text {
                text,
                area,
                baseline,
                face,
            } => self.text(text, (area.x0, *baseline), face),
        }
    }

    fn fill(&mut self, area: Rect, ink: Ink) {
        let (from, to) = (
            fine_point(&(area.x0, area.y0)),
            (fine_px(area.x1) - 1, fine_px(area.y1) - 1),
        );
        let done = self.backend.draw_rect(from, to, &fill_of(ink), true);
        self.keep(done);
    }

    fn line(&mut self, points: &[(f64, f64)], ink: Ink, width: f64) {
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

    fn dashes(&mut self, points: &[(f64, f64)], ink: Ink, width: f64, (dash, gap): (f64, f64)) {
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

    fn polygon(&mut self, corners: &[(f64, f64)], ink: Ink) {
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

    fn text(&mut self, text: &str, (x, baseline): (f64, f64), face: &Type) {
        // the library puts the baseline half the font's box below the anchor
        let drop = (face.size * BOX_PER_EM * f64::from(FINE) / 2.0).floor() as i32;
        let anchor = (fine_px(x), fine_px(baseline) - drop);
        let mut style = style_of(face);
        style.color = rgb(face.ink).to_backend_color();
        let done = self.backend.draw_text(text, &style, anchor);
        self.keep(done);
    }
}

fn rgb(ink: Ink) -> RGBColor {
    RGBColor(ink.0, ink.1, ink.2)
}

fn fill_of(ink: Ink) -> ShapeStyle {
    rgb(ink).filled()
}

fn fine_px(at: f64) -> i32 {
    (at * f64::from(FINE)).round() as i32
}

fn fine_point(&(x, y): &(f64, f64)) -> (i32, i32) {
    (fine_px(x), fine_px(y))
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
