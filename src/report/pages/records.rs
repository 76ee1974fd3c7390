//! How good the records are: when each van was read, and what to put right.

use jiff::civil::Date;

use crate::advise::Assessment;
use crate::report::answers::next_reading;
use crate::report::canvas::Canvas;
use crate::report::charts::read_when;
use crate::report::pages::{place, section, sentences, sheet};
use crate::report::rect::Rect;
use crate::report::words;

/// What became of the rows, in one line.
pub fn lead(assessment: &Assessment) -> String {
    let rows = &assessment.rows;
    let n = |v: u64| words::thousands(v as f64);
    format!(
        "{} rows read: {} stored, {} already stored, {} set aside",
        n(rows.read),
        n(rows.stored),
        n(rows.already_stored),
        n(rows.set_aside)
    )
}

/// What to put right, van by van: those with most first.
pub fn to_put_right(assessment: &Assessment) -> Vec<String> {
    let mut said = assessment.fleet.remarks.clone();
    let mut vans: Vec<_> = assessment
        .vans
        .iter()
        .filter(|v| !v.series.remarks.is_empty())
        .collect();
    vans.sort_by(|a, b| {
        let count = |v: &crate::advise::VanAssessment| v.series.remarks.len();
        count(b).cmp(&count(a)).then_with(|| a.van.cmp(&b.van))
    });
    for van in vans {
        let mut remarks = van.series.remarks.iter().rev();
        let Some(newest) = remarks.next() else {
            continue;
        };
        let when = newest
            .date
            .map_or(String::new(), |d| format!(" ({})", words::day(d)));
        let more = match remarks.count() {
            0 => String::new(),
            n => format!("; and {n} more on its own page"),
        };
        said.push(format!("{}: {}{when}{more}", van.van, newest.text));
    }
    if said.is_empty() {
        said.push("Nothing: every record fits the others.".to_owned());
    }
    said
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, month: Date) {
    let body = sheet(
        canvas,
        "How good the records are",
        &lead(assessment),
        &place(month, assessment.as_of),
    );
    let split = body.x0 + 950.0;
    let left = Rect { x1: split, ..body };
    read_when::draw(canvas, left, &assessment.vans, assessment.as_of);
    let mut side = Rect {
        x0: split + 44.0,
        ..body
    };
    if let Some(next) = next_reading(assessment) {
        let y = section(canvas, side, side.y0, "Read this one next");
        side.y0 = sentences(canvas, side, y, &[next]) + 8.0;
    }
    let y = section(canvas, side, side.y0, "To put right in the records");
    sentences(canvas, side, y, &to_put_right(assessment));
}
