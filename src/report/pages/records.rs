//! How good the records are: when each van was read, and what to fix.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use crate::calendar::Date;

use crate::advise::{About, Assessment};
use crate::report::answers::{at_most, next_reading};
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
        "{} rows read: {} stored, {} already stored, {} not used",
        n(rows.read),
        n(rows.stored),
        n(rows.already_stored),
        n(rows.set_aside)
    )
}

/// So many vans are named with what they share.
const NAMED: usize = 12;

/// What to fix: what most vans share first, then what only one has.
pub fn to_fix(assessment: &Assessment) -> Vec<String> {
    type Vans<'a> = Vec<(&'a str, Option<Date>)>;
    let mut said = assessment.fleet.remarks.clone();
    // a meter that misleads spoils every forecast
    let is_later = |about: About| about != About::Probe;
    let mut shared: BTreeMap<(bool, &str), Vans<'_>> = BTreeMap::new();
    for van in &assessment.vans {
        for remark in &van.records {
            let key = (is_later(remark.about), remark.text.as_str());
            let of = shared.entry(key).or_default();
            // a van that has it more often is named once, with the last day
            match of.last_mut().filter(|(name, _)| *name == van.van) {
                Some((_, day)) => *day = (*day).max(remark.date),
                None => of.push((&van.van, remark.date)),
            }
        }
    }
    let mut shared: Vec<_> = shared.into_iter().collect();
    shared.sort_by_key(|((later, _), vans)| (*later, Reverse(vans.len())));
    for ((_, text), vans) in shared {
        match vans.as_slice() {
            [(van, day)] => {
                let day = day.map(words::day).filter(|day| !words::names(text, day));
                let when = day.map_or(String::new(), |day| format!(", {day}"));
                said.push(format!("{van}{when}: {text}"));
            }
            many => {
                let names: Vec<String> = many.iter().map(|(name, _)| (*name).to_owned()).collect();
                said.push(format!("{}: {text}", at_most(&names, NAMED)));
            }
        }
    }
    if said.is_empty() {
        said.push("Nothing to fix.".to_owned());
    }
    said
}

/// Running faults that wear parts or waste water, and on which vans.
pub fn habits(assessment: &Assessment) -> Vec<String> {
    let mut shared: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for van in &assessment.vans {
        for habit in &van.habits {
            let of = shared.entry(habit.text.as_str()).or_default();
            of.push(van.van.clone());
        }
    }
    let mut shared: Vec<_> = shared.into_iter().collect();
    shared.sort_by(|a, b| b.1.len().cmp(&a.1.len()).then_with(|| a.0.cmp(b.0)));
    shared
        .into_iter()
        .map(|(text, vans)| format!("{}: {text}", at_most(&vans, NAMED)))
        .collect()
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, month: Date) {
    let body = sheet(
        canvas,
        "Readings and records",
        &lead(assessment),
        &place(month, assessment),
    );
    let split = body.x0 + 950.0;
    let left = Rect { x1: split, ..body };
    read_when::draw(canvas, left, &assessment.vans, assessment.as_of);
    let mut side = Rect {
        x0: split + 44.0,
        ..body
    };
    if let Some(next) = next_reading(assessment) {
        let y = section(canvas, side, side.y0, "Test this one next");
        side.y0 = sentences(canvas, side, y, &[next]) + 8.0;
    }
    let habits = habits(assessment);
    // under a short chart there is more room than beside it
    let below = Rect {
        y0: left.y0 + read_when::height_of(assessment.vans.len()) + 30.0,
        ..left
    };
    let is_below = below.height() > body.height() / 3.0;
    if !habits.is_empty() {
        // the records take the rest, and never less than half of the column
        let share = if is_below { 1.0 } else { 2.0 };
        let most = Rect {
            y1: side.y0 + side.height() / share,
            ..side
        };
        let name = "Running faults that wear parts or waste water";
        let y = section(canvas, side, side.y0, name);
        side.y0 = sentences(canvas, most, y, &habits) + 8.0;
    }
    let at = if is_below { below } else { side };
    let y = section(canvas, at, at.y0, "Records to fix");
    sentences(canvas, at, y, &to_fix(assessment));
}
