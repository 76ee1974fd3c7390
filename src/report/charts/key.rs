//! Keys of a chart: what each kind of mark stands for, in rows under its title.

use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, Ink, Shape};
use crate::report::rect::Rect;

/// How what is explained looks in the chart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Key {
    /// A reading.
    Dot(Ink),
    Mark(Shape, Ink),
    Line(Ink),
    Dashes(Ink),
    /// An upright dotted line.
    Dotted(Ink),
    /// A likely range: a tint with an edge.
    Range(Ink),
    Bar(Ink),
}

/// Height of a row, px.
const ROW: f64 = 25.0;
/// At most so many rows.
const MOST: usize = 2;
/// Width of a sample and the room behind a text, px.
const SAMPLE: f64 = 22.0;
const GAP: f64 = 22.0;

/// Draws the keys from the top of `area` on and gives what is left below them.
/// Those for which there is no room are left out, from the end.
pub fn draw(canvas: &mut Canvas, area: Rect, keys: &[(Key, &str)]) -> Rect {
    let face = look::SMALL;
    let (mut x, mut row) = (area.x0, 0);
    for (key, text) in keys {
        let width = SAMPLE + 6.0 + canvas.width_of(text, &face);
        if x > area.x0 && x + width > area.x1 {
            (x, row) = (area.x0, row + 1);
        }
        if row == MOST || x + width > area.x1 {
            break;
        }
        let middle = area.y0 + ROW * (row as f64 + 0.5);
        sample(canvas, Rect::at(x, middle - 8.0, SAMPLE, 16.0), *key);
        let at = (x + SAMPLE + 6.0, middle + face.below_middle());
        canvas.text(text, at, &face, Align::Left);
        x += width + GAP;
    }
    let rows = if keys.is_empty() {
        0
    } else {
        MOST.min(row + 1)
    };
    Rect {
        y0: area.y0 + ROW * rows as f64,
        ..area
    }
}

fn sample(canvas: &mut Canvas, area: Rect, key: Key) {
    let (x, y) = ((area.x0 + area.x1) / 2.0, (area.y0 + area.y1) / 2.0);
    let level = [(area.x0, y), (area.x1, y)];
    match key {
        Key::Dot(ink) => canvas.mark(Shape::Circle, (x, y), 4.0, ink),
        Key::Mark(shape, ink) => canvas.mark(shape, (x, y), 6.0, ink),
        Key::Line(ink) => canvas.line(&level, ink, 2.6),
        Key::Dashes(ink) => canvas.dashes(&level, ink, 2.6, (6.0, 4.0)),
        Key::Dotted(ink) => {
            canvas.dashes(&[(x, area.y0), (x, area.y1)], ink, 1.5, (3.0, 4.0));
        }
        Key::Range(ink) => {
            canvas.fill(area, look::range(ink));
            for y in [area.y0, area.y1] {
                canvas.line(&[(area.x0, y), (area.x1, y)], look::reading(ink), 1.0);
            }
        }
        Key::Bar(ink) => canvas.fill(area.inset(2.0), ink),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::report::canvas::draw as drawn;
    use crate::report::layout::texts;

    #[test]
    fn keys_go_on_in_a_second_row_and_never_leave_their_room() {
        let keys = [
            (Key::Dot(look::MEMBRANE), "reading"),
            (Key::Range(look::MEMBRANE), "likely range (4 in 5)"),
            (Key::Dashes(look::MEMBRANE), "forecast"),
            (
                Key::Dotted(look::MEMBRANE),
                "a key far too long for its chart",
            ),
        ];
        let mut below = Rect::at(0.0, 0.0, 0.0, 0.0);
        let area = Rect::at(20.0, 20.0, 240.0, 200.0);
        let list = drawn((300, 300), |c| below = draw(c, area, &keys)).unwrap();
        let texts = texts(&list);
        assert_eq!(texts.len(), 2);
        assert!(texts.iter().all(|(box_of, _)| area.holds(box_of)));
        assert_eq!(below.y0, area.y0 + 2.0 * ROW);
    }
}
