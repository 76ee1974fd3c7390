//! The door to plotters: a [`Canvas`] is one of its backends. Coordinates reach
//! a backend as whole numbers, so here they are eighths of a pixel, and so are
//! widths of lines and sizes of type.

use std::convert::Infallible;

use plotters::style::text_anchor::{HPos, VPos};
use plotters::style::{Color, FontDesc, FontFamily, FontStyle, RGBColor, ShapeStyle, TextStyle};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind,
};

use super::canvas::{Align, Canvas};
use super::look::{Ink, Type};
use super::rect::Rect;

/// Parts of a pixel.
const FINE: f64 = 8.0;

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// Pixels in the backend's parts.
pub fn fine(px: f64) -> i32 {
    (px * FINE).round() as i32
}

/// The backend's parts in pixels.
pub fn px(parts: i32) -> f64 {
    f64::from(parts) / FINE
}

fn at((x, y): BackendCoord) -> (f64, f64) {
    (px(x), px(y))
}

/// A line of that width, px.
pub fn stroke(Ink(r, g, b): Ink, width: f64) -> ShapeStyle {
    ShapeStyle::from(RGBColor(r, g, b)).stroke_width(fine(width).unsigned_abs())
}

/// A filled shape.
pub fn filled(Ink(r, g, b): Ink) -> ShapeStyle {
    ShapeStyle::from(RGBColor(r, g, b)).filled()
}

/// Type as plotters takes it.
pub fn text_style(face: &Type) -> TextStyle<'static> {
    let style = if face.bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    };
    let Ink(r, g, b) = face.ink;
    let mut text = TextStyle::from(FontDesc::new(
        FontFamily::SansSerif,
        face.size * FINE,
        style,
    ));
    text.color = RGBColor(r, g, b).to_backend_color();
    text
}

/// All paper is white: what shines through is a tint.
fn ink(BackendColor { alpha, rgb }: BackendColor) -> Ink {
    Ink(rgb.0, rgb.1, rgb.2).tint(alpha)
}

fn face_of(style: &impl BackendTextStyle) -> Type {
    Type {
        size: style.size() / FINE,
        bold: matches!(style.style(), FontStyle::Bold),
        ink: ink(style.color()),
    }
}

fn corners_of(path: impl IntoIterator<Item = BackendCoord>) -> Vec<(f64, f64)> {
    path.into_iter().map(at).collect()
}

impl DrawingBackend for Canvas {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        let page = self.page();
        let parts = |px: f64| fine(px).unsigned_abs();
        (parts(page.width()), parts(page.height()))
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, point: BackendCoord, color: BackendColor) -> Drawn {
        let (x, y) = at(point);
        self.fill(Rect::at(x, y, px(1), px(1)), ink(color));
        Ok(())
    }

    fn draw_line<S: BackendStyle>(
        &mut self,
        from: BackendCoord,
        to: BackendCoord,
        style: &S,
    ) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_rect<S: BackendStyle>(
        &mut self,
        upper_left: BackendCoord,
        bottom_right: BackendCoord,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let ((x0, y0), (x1, y1)) = (at(upper_left), at(bottom_right));
        if fill {
            self.fill(Rect { x0, y0, x1, y1 }, ink(style.color()));
            return Ok(());
        }
        let corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)];
        self.line(&corners, ink(style.color()), width_of(style));
        Ok(())
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        path: I,
        style: &S,
    ) -> Drawn {
        if style.color().alpha > 0.0 {
            self.line(&corners_of(path), ink(style.color()), width_of(style));
        }
        Ok(())
    }

    fn draw_circle<S: BackendStyle>(
        &mut self,
        center: BackendCoord,
        radius: u32,
        style: &S,
        fill: bool,
    ) -> Drawn {
        let (center, radius) = (at(center), f64::from(radius) / FINE);
        self.disc(center, radius, ink(style.color()));
        if !fill {
            let paper = (radius - width_of(style)).max(0.0);
            self.disc(center, paper, super::look::PAPER);
        }
        Ok(())
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(
        &mut self,
        vert: I,
        style: &S,
    ) -> Drawn {
        self.polygon(&corners_of(vert), ink(style.color()));
        Ok(())
    }

    fn draw_text<S: BackendTextStyle>(
        &mut self,
        text: &str,
        style: &S,
        pos: BackendCoord,
    ) -> Drawn {
        let (face, (x, y), anchor) = (face_of(style), at(pos), style.anchor());
        let align = match anchor.h_pos {
            HPos::Left => Align::Left,
            HPos::Center => Align::Middle,
            HPos::Right => Align::Right,
        };
        let baseline = match anchor.v_pos {
            VPos::Top => y + face.size * 0.76,
            VPos::Center => y + face.size * 0.36,
            VPos::Bottom => y - face.size * 0.24,
        };
        self.text(text, (x, baseline), &face, align);
        Ok(())
    }

    fn estimate_text_size<S: BackendTextStyle>(
        &self,
        text: &str,
        style: &S,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        let face = face_of(style);
        let parts = |px: f64| fine(px).unsigned_abs();
        Ok((parts(self.width_of(text, &face)), parts(face.size)))
    }
}

fn width_of(style: &impl BackendStyle) -> f64 {
    f64::from(style.stroke_width()) / FINE
}
