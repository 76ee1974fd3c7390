//! Whole pages: A4 landscape, put together from charts.

pub mod area;
pub mod card;
pub mod fleet;
pub mod many;
pub mod money;
pub mod orders;
pub mod past;
pub mod records;
pub mod van;
pub mod warranty;
pub mod water;

use crate::calendar::Date;

use super::canvas::{Align, Canvas};
use super::cautions;
use super::look;
use super::rect::Rect;
use super::table::Table;
use super::words;
use crate::advise::Assessment;

/// Writes title and lead at the top and the caution at the foot; gives the box
/// between them. `place` says where in the report the page stands.
fn sheet(canvas: &mut Canvas, title: &str, lead: &str, place: &str) -> Rect {
    let body = sheet_without_foot(canvas, title, lead, place);
    let page = canvas.page().inset(look::MARGIN);
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
        y1: foot - 48.0,
        ..body
    }
}

/// The same for a page that leaves the firm: without the caution.
fn sheet_without_foot(canvas: &mut Canvas, title: &str, lead: &str, place: &str) -> Rect {
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
    Rect {
        y0: page.y0 + 98.0,
        ..page
    }
}

/// `October 2026 · as of 31 Oct 2026`, and where the records end sooner.
fn place(month: Date, assessment: &Assessment) -> String {
    format!("{} · {}", words::month(month), as_of(assessment))
}

/// `as of 31 Oct 2026, newest record 28 Oct`.
pub fn as_of(assessment: &Assessment) -> String {
    let (day, newest) = (assessment.as_of, assessment.records_end_on);
    let said = format!("as of {}", words::day(day));
    if newest < day {
        format!("{said}, newest record {}", words::day_near(newest, day))
    } else {
        said
    }
}

/// Writes a heading and gives the first baseline under it.
fn section(canvas: &mut Canvas, area: Rect, y: f64, name: &str) -> f64 {
    let name = canvas.shortened(name, &look::CHART_TITLE, area.width());
    canvas.text(&name, (area.x0, y + 19.0), &look::CHART_TITLE, Align::Left);
    y + 19.0 + 28.0
}

/// Air between two sentences, px.
const BETWEEN: f64 = 5.0;

/// Writes sentences from a first baseline on, as far as there is room; what is
/// left out is counted. Gives the baseline after the last line.
fn sentences(canvas: &mut Canvas, area: Rect, first: f64, said: &[String]) -> f64 {
    let face = look::SMALL.inked(look::TEXT);
    let mut y = first;
    for (i, sentence) in said.iter().enumerate() {
        let lines = canvas.wrapped(sentence, &face, area.width()).len() as f64;
        let left = said.len() - i;
        // the last line is kept for the count of what is left out
        let room = if left > 1 {
            area.y1 - face.leading() - BETWEEN
        } else {
            area.y1
        };
        if y + (lines - 1.0) * face.leading() > room {
            let more = format!(
                "and {} more in index.html",
                words::count(left, "sentence", "sentences")
            );
            if y <= area.y1 {
                canvas.text(&more, (area.x0, y), &look::SMALL, Align::Left);
            }
            return y + face.leading();
        }
        y = canvas.paragraph(sentence, (area.x0, y), &face, area.width(), usize::MAX) + BETWEEN;
    }
    y
}

/// Draws a table with its caption; columns begin at `shares` of the width. Gives
/// where it ends.
fn table(canvas: &mut Canvas, area: Rect, table: &Table, shares: &[f64]) -> f64 {
    let mut y = section(canvas, area, area.y0, &table.caption);
    if table.rows.is_empty() {
        canvas.text("Nothing.", (area.x0, y), &look::BODY, Align::Left);
        return y + look::BODY.leading();
    }
    let room = |i: usize| {
        let from = shares.get(i).copied().unwrap_or(1.0);
        let to = shares.get(i + 1).copied().unwrap_or(1.0);
        (
            area.x0 + from * area.width(),
            (to - from) * area.width() - 12.0,
        )
    };
    for (i, head) in table.heads.iter().enumerate() {
        let (x, width) = room(i);
        let head = canvas.shortened(head, &look::SMALL_BOLD, width);
        canvas.text(&head, (x, y), &look::SMALL_BOLD, Align::Left);
    }
    y += 10.0;
    let face = look::BODY;
    for (n, row) in table.rows.iter().enumerate() {
        let cells = row.iter().enumerate().map(|(i, cell)| (room(i), cell));
        let cells: Vec<((f64, f64), Vec<String>)> = cells
            .map(|(at, cell)| (at, canvas.wrapped(cell, &face, at.1)))
            .collect();
        let lines = cells
            .iter()
            .map(|(_, lines)| lines.len())
            .max()
            .unwrap_or(1);
        let height = lines as f64 * face.leading() + 10.0;
        let left = table.rows.len() - n;
        if y + height > area.y1 - if left > 1 { face.leading() } else { 0.0 } {
            let more = format!(
                "and {} more in index.html",
                words::count(left, "row", "rows")
            );
            canvas.text(&more, (area.x0, y + 20.0), &look::SMALL, Align::Left);
            return y + 20.0 + face.leading();
        }
        canvas.fill(
            Rect {
                y0: y,
                y1: y + 1.0,
                ..area
            },
            look::GRID,
        );
        for ((x, _), lines) in &cells {
            for (k, line) in lines.iter().enumerate() {
                let baseline = y + 20.0 + k as f64 * face.leading();
                canvas.text(line, (*x, baseline), &face, Align::Left);
            }
        }
        y += height;
    }
    y + face.leading()
}
