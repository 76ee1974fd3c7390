//! Every van's membrane at a glance, most urgent first: a page for twenty.

use crate::calendar::Date;

use crate::advise::Assessment;
use crate::report::canvas::Canvas;
use crate::report::charts::small_passage;
use crate::report::pages::{place, sheet};
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// Between two columns, px.
const GUTTER: f64 = 26.0;

/// Columns and rows of a full page.
const FULL: (usize, usize) = (5, 4);

/// Columns and rows for so many vans: as few as hold them.
fn grid(vans: usize) -> (usize, usize) {
    [(2, 1), (2, 2), (3, 2), (3, 3), (4, 3), (4, 4)]
        .into_iter()
        .find(|(columns, rows)| columns * rows >= vans)
        .unwrap_or(FULL)
}

/// The vans of each page. With fewer than two there is nothing to compare.
pub fn paged<'a, 'b>(lines: &'b [VanLine<'a>]) -> Vec<&'b [VanLine<'a>]> {
    if lines.len() < 2 {
        return Vec::new();
    }
    lines.chunks(FULL.0 * FULL.1).collect()
}

/// What is shown, in one line.
pub fn lead(limit: f64) -> String {
    format!(
        "RO membrane rejection and when it likely falls to the limit of {} (dashed); 18 months back, 12 ahead, 100 % down to {}",
        words::rejection_limit(limit),
        words::percent(1.0 - limit * 1.5, 0)
    )
}

/// Draws a page; `number` of so many.
pub fn draw(
    canvas: &mut Canvas,
    assessment: &Assessment,
    shown: &[VanLine<'_>],
    month: Date,
    (number, of): (usize, usize),
) {
    let title = match of {
        1 => "All vans at a glance, most urgent first".to_owned(),
        of => format!("All vans at a glance, most urgent first: {number} of {of}"),
    };
    let limit = assessment.limits.salt_passage;
    let body = sheet(canvas, &title, &lead(limit), &place(month, assessment));
    let (columns, rows) = if of > 1 { FULL } else { grid(shown.len()) };
    // a gutter right of each but the last
    let wide = (body.width() + GUTTER) / columns as f64;
    let high = body.height() / rows as f64;
    // the first chart with a line in it says what the lines are
    let explained = shown.iter().position(|l| l.van.series.has_membrane);
    for (i, line) in shown.iter().enumerate() {
        let (column, row) = ((i % columns) as f64, (i / columns) as f64);
        let left = body.x0 + column * wide;
        let area = Rect {
            x0: left,
            x1: left + wide - GUTTER,
            y0: body.y0 + row * high,
            y1: body.y0 + (row + 1.0) * high - 16.0,
        };
        small_passage::draw(
            canvas,
            area,
            line,
            assessment.as_of,
            limit,
            Some(i) == explained,
        );
    }
}
