//! How much of each pixel a shape covers: the exact area, row by row.

use super::shades::FULL;

pub type Point = (f64, f64);

/// A step of an outline, from its upper end to its lower one.
#[derive(Debug, Clone, Copy)]
struct Edge {
    upper: (f32, f32),
    lower: (f32, f32),
    /// 1 where the outline runs downwards, -1 where it runs upwards.
    sign: f32,
}

/// A shape put together from closed outlines, and room to work in.
#[derive(Debug, Default)]
pub struct Shape {
    edges: Vec<Edge>,
    /// Those that cross the row at hand.
    active: Vec<Edge>,
    row: Row,
}

impl Shape {
    /// A step of an outline; the steps of each outline must come back to its start.
    pub fn step(&mut self, from: Point, to: Point) {
        let point = |(x, y): Point| (x as f32, y as f32);
        let (from, to) = (point(from), point(to));
        // what is not a number, or beyond all, covers nothing
        if ![from.0, from.1, to.0, to.1].iter().all(|v| v.is_finite()) {
            return;
        }
        if from.1 < to.1 {
            self.edges.push(Edge {
                upper: from,
                lower: to,
                sign: 1.0,
            });
        } else if to.1 < from.1 {
            self.edges.push(Edge {
                upper: to,
                lower: from,
                sign: -1.0,
            });
        }
    }

    pub fn outline(&mut self, corners: &[Point]) {
        let after = corners.iter().cycle().skip(1);
        for (from, to) in corners.iter().zip(after) {
            self.step(*from, *to);
        }
    }

    /// The shape of a line: a box along every step, a wedge in every bend. All
    /// turn the same way, so that what they share is covered once.
    pub fn line(&mut self, points: &[Point], width: f64) {
        let mut before: Option<Point> = None;
        for pair in points.windows(2) {
            let &[a, b] = pair else { continue };
            let length = (b.0 - a.0).hypot(b.1 - a.1);
            if length < 1e-6 {
                continue;
            }
            let half = width / 2.0 / length;
            let side = ((a.1 - b.1) * half, (b.0 - a.0) * half);
            self.outline(&[plus(a, side), minus(a, side), minus(b, side), plus(b, side)]);
            if let Some(last) = before {
                let turn = last.0 * side.1 - last.1 * side.0;
                if turn > 0.0 {
                    self.outline(&[a, minus(a, last), minus(a, side)]);
                } else {
                    self.outline(&[a, plus(a, side), plus(a, last)]);
                }
            }
            before = Some(side);
        }
    }

    /// Left, top, right and bottom.
    pub fn bounds(&self) -> Option<(f32, f32, f32, f32)> {
        let boxes = self.edges.iter().map(|edge| {
            let (a, b) = (edge.upper, edge.lower);
            (a.0.min(b.0), a.1, a.0.max(b.0), b.1)
        });
        boxes.reduce(|a, b| (a.0.min(b.0), a.1.min(b.1), a.2.max(b.2), a.3.max(b.3)))
    }

    pub fn shift(&mut self, right: f32, down: f32) {
        for edge in &mut self.edges {
            for end in [&mut edge.upper, &mut edge.lower] {
                *end = (end.0 + right, end.1 + down);
            }
        }
    }

    /// Tells `paint` every stretch of a row that is covered alike: the row, the
    /// first pixel, the one after the last, and the share of [`FULL`]. The shape
    /// is used up.
    pub fn fill(
        &mut self,
        (width, height): (usize, usize),
        mut paint: impl FnMut(usize, usize, usize, u8),
    ) {
        self.edges
            .sort_unstable_by(|a, b| a.upper.1.total_cmp(&b.upper.1));
        self.row.widen(width);
        self.active.clear();
        let mut waiting = self.edges.iter().peekable();
        let mut y = waiting
            .peek()
            .map_or(0, |edge| edge.upper.1.max(0.0) as usize);
        while y < height && (waiting.peek().is_some() || !self.active.is_empty()) {
            let (top, bottom) = (y as f32, (y + 1) as f32);
            while let Some(edge) = waiting.next_if(|edge| edge.upper.1 < bottom) {
                self.active.push(*edge);
            }
            self.active.retain(|edge| edge.lower.1 > top);
            for edge in &self.active {
                self.row.cut(edge, top, bottom);
            }
            self.row.sum_up(|from, to, share| paint(y, from, to, share));
            y += 1;
        }
        self.edges.clear();
    }
}

fn plus(a: Point, b: Point) -> Point {
    (a.0 + b.0, a.1 + b.1)
}

fn minus(a: Point, b: Point) -> Point {
    (a.0 - b.0, a.1 - b.1)
}

/// One row of pixels: by how much the cover changes from each to the next.
#[derive(Debug, Default)]
struct Row {
    width: usize,
    changes: Vec<f32>,
    /// A bit for each pixel with a change, so that the others need no look.
    changed: Vec<u64>,
}

impl Row {
    fn widen(&mut self, width: usize) {
        self.width = width;
        self.changes.resize(width + 2, 0.0);
        self.changed.resize((width + 2).div_ceil(64), 0);
    }

    /// Notes the part of an edge between `top` and `bottom`.
    fn cut(&mut self, edge: &Edge, top: f32, bottom: f32) {
        let (upper, lower) = (edge.upper, edge.lower);
        let (from, to) = (upper.1.max(top), lower.1.min(bottom));
        if to <= from {
            return;
        }
        let slope = (lower.0 - upper.0) / (lower.1 - upper.1);
        let across = |y: f32| (upper.0 + slope * (y - upper.1)).clamp(0.0, self.width as f32);
        let (a, b) = (across(from), across(to));
        let (left, right) = (a.min(b), a.max(b));
        let cover = (to - from) * edge.sign;
        let (first, last) = (left as usize, right as usize);
        if first == last {
            self.note(first, (left + right) / 2.0, cover);
            return;
        }
        let each = cover / (right - left);
        for pixel in first..=last {
            let (from, to) = (left.max(pixel as f32), right.min((pixel + 1) as f32));
            self.note(pixel, (from + to) / 2.0, (to - from) * each);
        }
    }

    /// A part of an edge within one pixel, `middle` its place on average:
    /// the pixel is covered right of it, all further ones wholly.
    fn note(&mut self, pixel: usize, middle: f32, cover: f32) {
        let beyond = cover * (middle - pixel as f32);
        for (pixel, change) in [(pixel, cover - beyond), (pixel + 1, beyond)] {
            if let (Some(sum), Some(bits)) = (
                self.changes.get_mut(pixel),
                self.changed.get_mut(pixel / 64),
            ) {
                *sum += change;
                *bits |= 1 << (pixel % 64);
            }
        }
    }

    /// Sums the changes up from the left, and leaves none behind.
    fn sum_up(&mut self, mut stretch: impl FnMut(usize, usize, u8)) {
        let (mut sum, mut from, mut share) = (0.0_f32, 0, 0);
        for (n, bits) in self.changed.iter_mut().enumerate() {
            let mut left = std::mem::take(bits);
            while left != 0 {
                let pixel = n * 64 + left.trailing_zeros() as usize;
                left &= left - 1;
                let end = pixel.min(self.width);
                if share > 0 && from < end {
                    stretch(from, end, share);
                }
                sum += self.changes.get_mut(pixel).map_or(0.0, std::mem::take);
                share = (sum.abs().min(1.0) * f32::from(FULL) + 0.5) as u8;
                from = end;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn filled(shape: &mut Shape, size: (usize, usize)) -> Vec<u8> {
        let mut shares = vec![0; size.0 * size.1];
        shape.fill(size, |y, from, to, share| {
            shares[y * size.0 + from..y * size.0 + to].fill(share);
        });
        shares
    }

    #[test]
    fn shares_are_areas() {
        let mut shape = Shape::default();
        shape.outline(&[(0.5, 0.0), (3.0, 0.0), (3.0, 1.75), (0.5, 1.75)]);
        // twelfths: a half, then three quarters of each in the second row
        assert_eq!(filled(&mut shape, (4, 2)), [6, 12, 12, 0, 5, 9, 9, 0]);
        // used up: nothing is left for the next one
        assert_eq!(filled(&mut shape, (4, 2)), [0; 8]);
    }

    #[test]
    fn a_slope_loses_and_gains_nothing() {
        let mut shape = Shape::default();
        shape.outline(&[(2.0, 1.0), (38.0, 12.0), (5.0, 28.0)]);
        let area: f64 = (36.0 * 27.0 - 11.0 * 3.0) / 2.0;
        let sum: u32 = filled(&mut shape, (40, 30))
            .iter()
            .map(|s| u32::from(*s))
            .sum();
        let got = f64::from(sum) / f64::from(FULL);
        assert!((got - area).abs() < 2.0, "{got} of {area}");
    }

    #[test]
    fn a_bent_line_has_no_gap_and_no_knot() {
        let mut shape = Shape::default();
        let points: Vec<Point> = (0..60)
            .map(|i| (f64::from(i), 20.0 + 10.0 * (f64::from(i) / 9.0).sin()))
            .collect();
        shape.line(&points, 3.0);
        let length: f64 = points
            .windows(2)
            .map(|p| (p[1].0 - p[0].0).hypot(p[1].1 - p[0].1))
            .sum();
        let sum: u32 = filled(&mut shape, (60, 40))
            .iter()
            .map(|s| u32::from(*s))
            .sum();
        let got = f64::from(sum) / f64::from(FULL);
        assert!((got / (3.0 * length) - 1.0).abs() < 0.03, "{got} {length}");
    }

    #[test]
    fn what_lies_outside_or_nowhere_is_cut() {
        let mut shape = Shape::default();
        shape.outline(&[(-50.0, -50.0), (90.0, -50.0), (90.0, 90.0), (-50.0, 90.0)]);
        assert_eq!(filled(&mut shape, (3, 3)), [FULL; 9]);
        shape.outline(&[(f64::NAN, 0.0), (f64::INFINITY, 2.0), (1.0, f64::NAN)]);
        assert_eq!(filled(&mut shape, (3, 3)), [0; 9]);
    }
}
