//! What a picture is made of, in the order in which it is drawn: one list, from
//! which the PNG pages and the drawings of the index are both made.

use super::look::{Ink, Type};
use super::rect::Rect;

/// One thing drawn, in page pixels.
#[derive(Debug, Clone, PartialEq)]
pub enum Stroke {
    /// A filled box.
    Fill { area: Rect, ink: Ink },
    /// A line through two points or more.
    Line {
        points: Vec<(f64, f64)>,
        ink: Ink,
        width: f64,
    },
    /// A dashed line: so much drawn, so much left out, px.
    Dashes {
        points: Vec<(f64, f64)>,
        ink: Ink,
        width: f64,
        dash: (f64, f64),
    },
    /// A filled polygon of three corners or more.
    Polygon { corners: Vec<(f64, f64)>, ink: Ink },
    /// A filled circle.
    Disc {
        at: (f64, f64),
        radius: f64,
        ink: Ink,
    },
    /// Text in the box that it takes, its baseline at `baseline`.
    Text {
        text: String,
        area: Rect,
        baseline: f64,
        face: Type,
    },
}

/// A picture before it becomes pixels or a drawing.
#[derive(Debug, Clone, Default)]
pub struct DisplayList {
    pub size: (u32, u32),
    pub strokes: Vec<Stroke>,
}

impl Stroke {
    pub fn ink(&self) -> Ink {
        match self {
            Stroke::Fill { ink, .. }
            | Stroke::Line { ink, .. }
            | Stroke::Dashes { ink, .. }
            | Stroke::Polygon { ink, .. }
            | Stroke::Disc { ink, .. } => *ink,
            Stroke::Text { face, .. } => face.ink,
        }
    }
}
