//! What needs doing first: one row per van, a shape and a word for its state,
//! what to do by when, and why.

use crate::calendar::Date;

use crate::advise::State;
use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, badge};
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// Height of a row, px.
const ROW: f64 = 43.0;

/// How many rows fit into `height` px.
pub fn rows_in(height: f64) -> usize {
    (height / ROW).floor().max(0.0) as usize
}

/// The height that so many rows take, px.
pub fn height_of(rows: usize) -> f64 {
    rows as f64 * ROW
}

/// Draws as many of `lines` as fit, and under them `after` (what is left out).
pub fn draw(
    canvas: &mut Canvas,
    area: Rect,
    lines: &[VanLine<'_>],
    (as_of, currency): (Date, Option<&str>),
    after: &str,
) {
    let small = look::SMALL.inked(look::TEXT);
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
        // rules, not stripes: marks need white paper to stand out
        if i > 0 {
            canvas.line(&[(area.x0, y), (area.x1, y)], look::GRID, 1.0);
        }
        let base = y + ROW / 2.0 + look::BODY.below_middle();
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
        let to_do = line.to_do(as_of);
        let why = line.why(currency);
        let fits = canvas.width_of(&to_do, &look::BODY) <= room;
        let face = if fits { look::BODY } else { small };
        let mut said = canvas.wrapped(&to_do, &face, room);
        if let (true, Some(second)) = (said.len() > 2, said.get_mut(1)) {
            *second = canvas.shortened(&format!("{second} …"), &face, room);
        }
        said.truncate(2);
        let baselines = match (said.len(), why.is_empty()) {
            (1, true) => vec![base],
            _ => vec![y + 18.0, y + 37.5],
        };
        for (text, baseline) in said.iter().zip(&baselines) {
            canvas.text(text, (text_x, *baseline), &face, Align::Left);
        }
        if let (1, Some(second)) = (said.len(), baselines.get(1)) {
            let why = canvas.shortened(&why, &look::SMALL, room);
            canvas.text(&why, (text_x, *second), &look::SMALL, Align::Left);
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
