//! What needs doing first: one row per van, a shape and a word for its state,
//! and what to do by when.

use jiff::civil::Date;

use crate::advise::State;
use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, badge};
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// Height of a row, px.
const ROW: f64 = 35.0;
/// A column wider than this has room for the reason too, px.
const WIDE: f64 = 900.0;

/// How many rows fit into `height` px.
pub fn rows_in(height: f64) -> usize {
    (height / ROW).floor().max(0.0) as usize
}

/// The height that so many rows take, px.
pub fn height_of(rows: usize) -> f64 {
    rows as f64 * ROW
}

/// Draws as many of `lines` as fit, and under them `after` (what is left out).
pub fn draw(canvas: &mut Canvas, area: Rect, lines: &[VanLine<'_>], as_of: Date, after: &str) {
    let name_width = lines
        .iter()
        .map(|line| canvas.width_of(&line.van.van, &look::BODY_BOLD))
        .fold(60.0, f64::max)
        .min(area.width() * 0.2);
    let state_x = area.x0 + 34.0 + name_width + 16.0;
    let widest = lines
        .iter()
        .map(|line| canvas.width_of(words::state(line.state), &look::BODY_BOLD))
        .fold(0.0, f64::max);
    let text_x = state_x + widest + 16.0;
    let mut y = area.y0;
    for (i, line) in lines.iter().enumerate() {
        if i % 2 == 0 {
            canvas.fill(
                Rect {
                    y0: y,
                    y1: y + ROW,
                    ..area
                },
                look::SHADE,
            );
        }
        let base = y + 23.0;
        let (shape, ink) = badge(line.state);
        canvas.mark(shape, (area.x0 + 17.0, y + ROW / 2.0), 8.0, ink);
        let name = canvas.shortened(&line.van.van, &look::BODY_BOLD, name_width);
        canvas.text(&name, (area.x0 + 34.0, base), &look::BODY_BOLD, Align::Left);
        let face = if line.state == State::OnCourse {
            look::BODY
        } else {
            look::BODY_BOLD
        };
        canvas.text(
            words::state(line.state),
            (state_x, base),
            &face,
            Align::Left,
        );
        let room = area.x1 - text_x - 8.0;
        let wide = room > WIDE;
        let to_do_room = if wide { room * 0.45 } else { room };
        let to_do = line.to_do_beside_state(as_of);
        let face = if canvas.width_of(&to_do, &look::BODY) > to_do_room {
            look::SMALL.inked(look::TEXT)
        } else {
            look::BODY
        };
        if canvas.width_of(&to_do, &face) > to_do_room {
            // two small lines have room in a row
            let lines = canvas.wrapped(&to_do, &face, to_do_room);
            for (n, line) in lines.iter().take(2).enumerate() {
                let line = match lines.len() {
                    more if n == 1 && more > 2 => {
                        canvas.shortened(&format!("{line} …"), &face, to_do_room)
                    }
                    _ => line.clone(),
                };
                let at = (text_x, y + 15.0 + 16.0 * n as f64);
                canvas.text(&line, at, &face, Align::Left);
            }
        } else {
            canvas.text(&to_do, (text_x, base), &face, Align::Left);
        }
        if let (true, Some(part)) = (wide, line.parts.first()) {
            let reason = canvas.shortened(part.reason, &look::SMALL, room * 0.55 - 16.0);
            let x = text_x + room * 0.45 + 16.0;
            canvas.text(&reason, (x, base), &look::SMALL, Align::Left);
        }
        y += ROW;
    }
    if !after.is_empty() {
        let after = canvas.shortened(after, &look::SMALL, area.width());
        canvas.text(
            &after,
            (area.x0 + 34.0, y + 20.0),
            &look::SMALL,
            Align::Left,
        );
    }
}
