//! The fleet's page: what needs doing first, and what the fleet teaches about
//! membranes and resin. Further pages carry the rest of the list.

use jiff::civil::Date;

use crate::advise::{Assessment, State, VanAssessment};
use crate::report::axis::day_number;
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::life_by_hardness::{self, Of};
use crate::report::charts::{fleet_passage, intervals, to_do};
use crate::report::look;
use crate::report::pages::{place, sheet};
use crate::report::parts::{VanLine, finding};
use crate::report::rect::Rect;
use crate::report::words;

/// Vans on the first page.
const ON_FIRST: usize = 12;
/// Vans on each further page.
const ON_NEXT: usize = 27;
/// A van not read for longer is named on the page, days.
const NOT_READ: f64 = 21.0;

/// The lines of each page: the most urgent first, the calm ones only as far as
/// the first page has room.
pub fn paged<'a, 'b>(lines: &'b [VanLine<'a>]) -> Vec<&'b [VanLine<'a>]> {
    let busy = lines.iter().filter(|l| l.state != State::OnCourse).count();
    let first = lines.len().min(ON_FIRST);
    let mut pages = vec![lines.get(..first).unwrap_or_default()];
    let rest = lines.get(first..busy.max(first)).unwrap_or_default();
    pages.extend(rest.chunks(ON_NEXT));
    pages
}

/// What is left out of all pages' lists, in words.
fn left_out(lines: &[VanLine<'_>]) -> String {
    let shown: usize = paged(lines).iter().map(|p| p.len()).sum();
    match lines.len() - shown {
        0 => String::new(),
        n => format!("and {n} more on course"),
    }
}

/// Draws the first page.
pub fn first(canvas: &mut Canvas<'_>, assessment: &Assessment, lines: &[VanLine<'_>], month: Date) {
    let as_of = assessment.as_of;
    let title = format!("Fleet, {}", words::month(month));
    let body = sheet(canvas, &title, &finding(lines), &place(month, as_of));
    let upper = Rect {
        y1: body.y0 + 545.0,
        ..body
    };
    let lower = Rect {
        y0: upper.y1 + 22.0,
        ..body
    };

    let split = upper.x0 + 900.0;
    let list = Rect {
        x1: split - 34.0,
        ..upper
    };
    canvas.text(
        "What needs doing first",
        (list.x0, list.y0 + 19.0),
        &look::CHART_TITLE,
        Align::Left,
    );
    let pages = paged(lines);
    let shown = pages.first().copied().unwrap_or_default();
    let rows = Rect {
        y0: list.y0 + 32.0,
        ..list
    };
    let more = pages.iter().skip(1).map(|p| p.len()).sum::<usize>();
    let mut after = left_out(lines);
    if more > 0 {
        let next = format!("{more} more that need a look on the next pages");
        after = if after.is_empty() {
            next
        } else {
            format!("{next}, {after}")
        };
    }
    if lines.is_empty() {
        let text = "No vans yet. Read in readings, fills and services first: litrewise template shows what to write down.";
        canvas.paragraph(
            text,
            (rows.x0, rows.y0 + 24.0),
            &look::BODY,
            rows.width(),
            3,
        );
    } else {
        to_do::draw(canvas, rows, shown, as_of, &after);
    }
    if let Some(text) = not_read(assessment) {
        let y = list.y1 - look::SMALL.leading();
        canvas.paragraph(&text, (list.x0, y), &look::SMALL, list.width(), 2);
    }

    let vans: Vec<&VanAssessment> = assessment
        .vans
        .iter()
        .filter(|v| v.series.has_membrane)
        .collect();
    let right = Rect { x0: split, ..upper };
    fleet_passage::draw(canvas, right, &vans, assessment.limits.salt_passage);

    let fleet = &assessment.fleet;
    let third = Rect {
        x1: lower.x0 + 500.0,
        ..lower
    };
    life_by_hardness::draw(
        canvas,
        third,
        Of::Membrane,
        &fleet.membrane_dots,
        &fleet.membrane_life_by_hardness,
    );
    let third = Rect {
        x0: lower.x0 + 536.0,
        x1: lower.x0 + 1036.0,
        ..lower
    };
    life_by_hardness::draw(
        canvas,
        third,
        Of::Resin,
        &fleet.resin_dots,
        &fleet.resin_life_by_hardness,
    );
    let third = Rect {
        x0: lower.x0 + 1072.0,
        ..lower
    };
    intervals::draw(canvas, third, assessment);
}

/// Draws a further page of the list; `number` counts from 2.
pub fn next(
    canvas: &mut Canvas<'_>,
    assessment: &Assessment,
    shown: &[VanLine<'_>],
    month: Date,
    number: usize,
) {
    let title = format!("Fleet, {}, page {number}", words::month(month));
    let lead = "What needs doing, continued";
    let body = sheet(canvas, &title, lead, &place(month, assessment.as_of));
    to_do::draw(canvas, body, shown, assessment.as_of, "");
}

/// Vans that nobody has read for three weeks.
pub fn not_read(assessment: &Assessment) -> Option<String> {
    let today = day_number(assessment.as_of);
    let names: Vec<String> = assessment
        .vans
        .iter()
        .filter(|v| {
            v.series
                .last_reading_on
                .is_none_or(|d| today - day_number(d) > NOT_READ)
        })
        .map(|v| v.van.clone())
        .collect();
    const MOST: usize = 8;
    match names.len() {
        0 => None,
        n if n > MOST => {
            let named = names.get(..MOST).unwrap_or_default().join(", ");
            Some(format!(
                "Not read for three weeks: {named} and {} more",
                n - MOST
            ))
        }
        _ => Some(format!("Not read for three weeks: {}", words::list(&names))),
    }
}
