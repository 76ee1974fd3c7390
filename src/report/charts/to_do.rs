//! What needs doing first: one row per van, a shape and a word for its state,
//! what to do by when, and why.

use crate::calendar::Date;

use crate::advise::Rank;
use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, Type, badge};
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// Height of a row with nothing to do but one job to come, px.
const CALM: f64 = 32.0;
/// Height of any other: two lines.
const BUSY: f64 = 53.0;
/// Height of a third line, where there is room for one.
const THIRD: f64 = 23.0;
/// Height of the line that says what is left out.
const AFTER: f64 = 28.0;

/// Whether all that is said of it fits into a line.
fn is_calm(line: &VanLine<'_>) -> bool {
    line.rank == Rank::OnCourse && line.jobs.len() <= 1
}

fn height_of(line: &VanLine<'_>) -> f64 {
    if is_calm(line) { CALM } else { BUSY }
}

/// How many of the lines, from the first one on, fit into `height` px with a line
/// that says what is left out.
pub fn rows_in(height: f64, lines: &[VanLine<'_>]) -> usize {
    let busy = lines.iter().filter(|line| !is_calm(line)).count();
    // before the calm come the reasons of the most urgent
    let reasons = THIRD * busy.min(3) as f64;
    let all: f64 = lines.iter().map(height_of).sum();
    let room = match all + reasons <= height || (busy == lines.len() && all <= height) {
        true => height,
        false => height - AFTER,
    };
    let mut used = 0.0;
    let fits = lines.iter().take_while(|line| {
        used += height_of(line);
        used + if is_calm(line) { reasons } else { 0.0 } <= room
    });
    fits.count()
}

/// Draws `lines`, and under them `after` (what is left out). Gives where they end.
pub fn draw(
    canvas: &mut Canvas,
    area: Rect,
    lines: &[VanLine<'_>],
    (as_of, currency): (Date, Option<&str>),
    after: &str,
) -> f64 {
    let name_width = lines
        .iter()
        .map(|line| canvas.width_of(&line.van.van, &look::BODY_BOLD))
        .fold(60.0, f64::max)
        .min(area.width() * 0.2);
    let state_x = area.x0 + 34.0 + name_width + 14.0;
    let widest = lines
        .iter()
        .map(|line| canvas.width_of(words::state(line.state), &look::BODY_BOLD))
        .fold(0.0, f64::max);
    let text_x = state_x + widest + 14.0;
    let room = area.x1 - text_x - 4.0;
    // what the rows leave goes to those with a third line to say, the first ones first
    let least: f64 = lines.iter().map(height_of).sum();
    let mut spare = area.height() - least - if after.is_empty() { 0.0 } else { AFTER };
    let mut y = area.y0;
    for (i, line) in lines.iter().enumerate() {
        // rules, not stripes: marks need white paper to stand out
        if i > 0 {
            canvas.line(&[(area.x0, y), (area.x1, y)], look::GRID, 1.0);
        }
        let why = line.why(currency);
        let (to_do, face) = said(canvas, line, as_of, room);
        let wanted = to_do.len() + usize::from(!why.is_empty());
        let mut height = height_of(line);
        if !is_calm(line) && wanted > 2 && spare >= THIRD {
            spare -= THIRD;
            height += THIRD;
        }
        let middle = y + height / 2.0;
        let (shape, ink) = badge(line.state);
        canvas.mark(shape, (area.x0 + 17.0, middle), 8.0, ink);
        let name = canvas.shortened(&line.van.van, &look::BODY_BOLD, name_width);
        let base = middle + look::BODY.below_middle();
        canvas.text(&name, (area.x0 + 34.0, base), &look::BODY_BOLD, Align::Left);
        let state = if line.rank == Rank::OnCourse {
            look::BODY
        } else {
            look::BODY_BOLD
        };
        let word = words::state(line.state);
        canvas.text(word, (state_x, base), &state, Align::Left);
        if is_calm(line) {
            calm(canvas, (text_x, base), room, &to_do.concat(), &why);
        } else {
            let shown = wanted.min(if height > BUSY { 3 } else { 2 });
            let first = middle + face.below_middle() - THIRD * (shown as f64 - 1.0) / 2.0;
            let at = |n: usize| (text_x, first + THIRD * n as f64);
            for (n, text) in to_do.iter().enumerate() {
                canvas.text(text, at(n), &face, Align::Left);
            }
            if shown > to_do.len() {
                let why = canvas.shortened(&why, &look::SMALL, room);
                canvas.text(&why, at(to_do.len()), &look::SMALL, Align::Left);
            }
        }
        y += height;
    }
    if !after.is_empty() {
        let after = canvas.shortened(after, &look::SMALL, area.width());
        let at = (area.x0 + 34.0, y + 20.0);
        canvas.text(&after, at, &look::SMALL, Align::Left);
        y += AFTER;
    }
    y
}

/// What to do, in at most two lines; small where it takes both, in one where calm.
fn said(canvas: &Canvas, line: &VanLine<'_>, as_of: Date, room: f64) -> (Vec<String>, Type) {
    let to_do = line.to_do(as_of);
    if is_calm(line) {
        return (
            vec![canvas.shortened(&to_do, &look::BODY, room)],
            look::BODY,
        );
    }
    let small = look::SMALL.inked(look::TEXT);
    let fits = canvas.width_of(&to_do, &look::BODY) <= room;
    let face = if fits { look::BODY } else { small };
    let mut said = canvas.wrapped(&to_do, &face, room);
    if let (true, Some(second)) = (said.len() > 2, said.get_mut(1)) {
        *second = canvas.shortened(&format!("{second} …"), &face, room);
    }
    said.truncate(2);
    (said, face)
}

/// The line of a van with nothing to do, and why where there is room.
fn calm(canvas: &mut Canvas, at: (f64, f64), room: f64, to_do: &str, why: &str) {
    let used = canvas.text(to_do, at, &look::BODY, Align::Left);
    let at = (used.x1 + 14.0, at.1);
    if used.width() + 14.0 + canvas.width_of(why, &look::SMALL) <= room {
        canvas.text(why, at, &look::SMALL, Align::Left);
    }
}
