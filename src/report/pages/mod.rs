//! Whole pages: A4 landscape, put together from charts.

pub mod area;
pub mod claim;
pub mod fleet;
pub mod van;

use jiff::civil::Date;

use super::canvas::{Align, Canvas};
use super::cautions;
use super::look;
use super::rect::Rect;
use super::words;

/// Writes title and lead at the top and the caution at the foot; gives the box
/// between them. `place` says where in the report the page stands.
fn sheet(canvas: &mut Canvas<'_>, title: &str, lead: &str, place: &str) -> Rect {
    let page = canvas.page().inset(look::MARGIN);
    let face = look::PAGE_TITLE;
    let room = page.width() - 380.0;
    let title = canvas.shortened(title, &face, room);
    canvas.text(&title, (page.x0, page.y0 + 26.0), &face, Align::Left);
    let place = canvas.shortened(place, &look::SMALL, 370.0);
    canvas.text(
        &place,
        (page.x1, page.y0 + 16.0),
        &look::SMALL,
        Align::Right,
    );
    let lead = canvas.shortened(lead, &look::LEAD, page.width());
    canvas.text(&lead, (page.x0, page.y0 + 62.0), &look::LEAD, Align::Left);
    canvas.fill(
        Rect {
            y0: page.y0 + 78.0,
            y1: page.y0 + 80.0,
            ..page
        },
        look::TEXT,
    );

    let foot = page.y1 - 2.0;
    canvas.fill(
        Rect {
            y0: foot - 32.0,
            y1: foot - 31.0,
            ..page
        },
        look::RULE,
    );
    let lines = canvas.wrapped(cautions::FOOT, &look::SMALL, page.width());
    for (i, line) in lines.iter().take(2).enumerate() {
        let baseline = foot - 12.0 + i as f64 * look::SMALL.leading();
        canvas.text(line, (page.x0, baseline), &look::SMALL, Align::Left);
    }
    Rect {
        y0: page.y0 + 98.0,
        y1: foot - 48.0,
        ..page
    }
}

/// `October 2026, as of 31 Oct 2026`
fn place(month: Date, as_of: Date) -> String {
    format!("{} · as of {}", words::month(month), words::day(as_of))
}
