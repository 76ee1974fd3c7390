//! Boxes on a page, in pixels: x to the right, y down.

/// A box with its left, top, right and bottom edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    pub x0: f64,
    pub y0: f64,
    pub x1: f64,
    pub y1: f64,
}

impl Rect {
    /// The box from its upper left corner and its size.
    pub fn at(x: f64, y: f64, width: f64, height: f64) -> Rect {
        Rect {
            x0: x,
            y0: y,
            x1: x + width,
            y1: y + height,
        }
    }

    pub fn width(&self) -> f64 {
        self.x1 - self.x0
    }

    pub fn height(&self) -> f64 {
        self.y1 - self.y0
    }

    /// The box, `by` smaller on every side (larger if negative).
    pub fn inset(&self, by: f64) -> Rect {
        Rect {
            x0: self.x0 + by,
            y0: self.y0 + by,
            x1: self.x1 - by,
            y1: self.y1 - by,
        }
    }

    /// Whether the two share any area; touching edges do not.
    #[cfg(test)]
    pub fn overlaps(&self, other: &Rect) -> bool {
        self.x0 < other.x1 && other.x0 < self.x1 && self.y0 < other.y1 && other.y0 < self.y1
    }

    /// Whether `inner` lies wholly inside.
    #[cfg(test)]
    pub fn holds(&self, inner: &Rect) -> bool {
        inner.x0 >= self.x0 && inner.x1 <= self.x1 && inner.y0 >= self.y0 && inner.y1 <= self.y1
    }
}
