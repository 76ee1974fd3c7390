//! What pages and charts are drawn on: everything goes through [`Canvas`],
//! which notes strokes and knows how wide text is. `pixels` turns what was
//! noted into pixels, `svg` into a drawing for the index. For plotters a canvas
//! is a backend (`backend`).

use std::cell::RefCell;
use std::rc::Rc;

use super::display_list::{DisplayList, Stroke};
use super::error::DrawError;
use super::font::{Fonts, Ruler};
use super::look::{Ink, PAPER, Shape, Type};
use super::rect::Rect;

/// Where a text's anchor lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    Left,
    Middle,
    Right,
}

/// Something to draw on, in page pixels. Clones draw on the same page, in the
/// order in which they are told to.
#[derive(Clone)]
pub struct Canvas {
    list: Rc<RefCell<DisplayList>>,
    size: (u32, u32),
    titled: bool,
    fonts: &'static Fonts,
    /// Why a chart could not be drawn: the first reason.
    failed: Rc<RefCell<Option<String>>>,
}

/// What is drawn on white paper of that size.
///
/// # Errors
/// Where the bundled font cannot be read or a chart could not be drawn.
pub fn draw(size: (u32, u32), paint: impl FnOnce(&mut Canvas)) -> Result<DisplayList, DrawError> {
    on(size, true, paint)
}

/// The same for a drawing whose title stands outside it as text.
///
/// # Errors
/// As [`draw`].
pub fn draw_untitled(
    size: (u32, u32),
    paint: impl FnOnce(&mut Canvas),
) -> Result<DisplayList, DrawError> {
    on(size, false, paint)
}

fn on(
    size: (u32, u32),
    titled: bool,
    paint: impl FnOnce(&mut Canvas),
) -> Result<DisplayList, DrawError> {
    let mut canvas = Canvas {
        list: Rc::default(),
        size,
        titled,
        fonts: Fonts::bundled()?,
        failed: Rc::default(),
    };
    paint(&mut canvas);
    if let Some(why) = canvas.failed.take() {
        return Err(DrawError::Chart(why));
    }
    let mut list = canvas.list.take();
    list.size = size;
    Ok(list)
}

impl Canvas {
    /// The whole page.
    pub fn page(&self) -> Rect {
        let (width, height) = self.size;
        Rect::at(0.0, 0.0, f64::from(width), f64::from(height))
    }

    fn push(&self, stroke: Stroke) {
        self.list.borrow_mut().strokes.push(stroke);
    }

    /// What `result` holds; a failure makes the whole page fail.
    pub fn kept<T, E: std::fmt::Display>(&self, result: Result<T, E>) -> Option<T> {
        result
            .map_err(|why| {
                self.failed
                    .borrow_mut()
                    .get_or_insert_with(|| why.to_string());
            })
            .ok()
    }

    /// Whether charts write their title themselves.
    pub fn is_titled(&self) -> bool {
        self.titled
    }

    /// A filled box.
    pub fn fill(&mut self, area: Rect, ink: Ink) {
        if area.width() > 0.0 && area.height() > 0.0 {
            self.push(Stroke::Fill { area, ink });
        }
    }

    /// A line through `points` (in order; fewer than two draw nothing).
    pub fn line(&mut self, points: &[(f64, f64)], ink: Ink, width: f64) {
        if points.len() >= 2 {
            self.push(Stroke::Line {
                points: points.to_vec(),
                ink,
                width,
            });
        }
    }

    /// A dashed line through `points`: `dash.0` px drawn, `dash.1` px left out.
    pub fn dashes(&mut self, points: &[(f64, f64)], ink: Ink, width: f64, dash: (f64, f64)) {
        if points.len() >= 2 {
            self.push(Stroke::Dashes {
                points: points.to_vec(),
                ink,
                width,
                dash,
            });
        }
    }

    /// A filled polygon; fewer than three corners draw nothing.
    pub fn polygon(&mut self, corners: &[(f64, f64)], ink: Ink) {
        if corners.len() >= 3 {
            self.push(Stroke::Polygon {
                corners: corners.to_vec(),
                ink,
            });
        }
    }

    /// A filled circle.
    pub fn disc(&mut self, at: (f64, f64), radius: f64, ink: Ink) {
        self.push(Stroke::Disc { at, radius, ink });
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
        self.fonts.width_of(text, face)
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
        if !text.trim().is_empty() {
            self.push(Stroke::Text {
                text: text.to_owned(),
                area,
                baseline: at.1,
                face: *face,
            });
        }
        area
    }

    /// `text`, cut with an ellipsis if it is wider than `width` px.
    pub fn shortened(&self, text: &str, face: &Type, width: f64) -> String {
        let fits = |ruler: Ruler<'_>| ruler.width() <= width;
        let mut ruler = self.fonts.ruler(face);
        if fits(ruler.with(text)) {
            return text.to_owned();
        }
        // beginnings without spaces at their end
        let mut beginnings = vec![(0, ruler)];
        for (start, letter) in text.char_indices() {
            // letters that stand closer never take back an em
            if ruler.width() > width + face.size {
                break;
            }
            ruler.push(letter);
            if !letter.is_whitespace() {
                beginnings.push((start + letter.len_utf8(), ruler));
            }
        }
        let mut longest_first = beginnings.into_iter().rev();
        let longest = longest_first.find(|(_, ruler)| fits(ruler.with("…")));
        longest.map_or(String::new(), |(end, _)| {
            text.get(..end).unwrap_or_default().to_owned() + "…"
        })
    }

    /// `text` in lines no wider than `width` px; a word that is too long on
    /// its own is broken.
    pub fn wrapped(&self, text: &str, face: &Type, width: f64) -> Vec<String> {
        let empty = self.fonts.ruler(face);
        let mut lines = Vec::new();
        let (mut line, mut ruler) = (String::new(), empty);
        for word in text.split_whitespace() {
            let space = if line.is_empty() { "" } else { " " };
            let longer = ruler.with(space).with(word);
            if longer.width() <= width {
                line.push_str(space);
                line.push_str(word);
                ruler = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            ruler = empty;
            for letter in word.chars() {
                let mut longer = ruler;
                longer.push(letter);
                if longer.width() > width && !line.is_empty() {
                    lines.push(std::mem::take(&mut line));
                    longer = empty;
                    longer.push(letter);
                }
                line.push(letter);
                ruler = longer;
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
