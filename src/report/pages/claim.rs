//! The page to send with a claim: a young membrane that fails early, with its
//! dates, litres, readings and what is usual in its water.

use jiff::civil::Date;

use crate::advise::{AlarmLevel, Assessment, Item, VanAssessment};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::{van_evidence, van_passage};
use crate::report::look;
use crate::report::pages::{place, sheet};
use crate::report::rect::Rect;
use crate::report::words;

/// A membrane younger than this is young enough for a claim, days (judgement: a
/// year's guarantee is usual).
const YOUNG_DAYS: i32 = 366;
/// Readings listed, the newest.
const LISTED: usize = 14;

/// Whether this van's membrane gives cause for a claim: a raised alarm on a
/// membrane whose fitting is on record, and young.
pub fn has_one(van: &VanAssessment, as_of: Date) -> bool {
    let membrane = &van.membrane;
    let raised = membrane
        .alarm
        .as_ref()
        .filter(|a| a.level == AlarmLevel::Raised);
    let blamed = raised
        .and_then(|a| a.causes.first())
        .is_some_and(|c| c.suspect == crate::advise::Suspect::Membrane);
    blamed
        && membrane
            .fitted_on
            .is_some_and(|d| (as_of - d).get_days() <= YOUNG_DAYS)
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, van: &VanAssessment, month: Date) {
    let as_of = assessment.as_of;
    let lead = "This membrane declines faster than membranes should in its water: dates, litres and readings";
    let title = format!("Membrane of {}: record for a claim", van.van);
    let body = sheet(canvas, &title, lead, &place(month, as_of));
    let split = body.x0 + 1060.0;
    let middle = body.y0 + 0.52 * (body.y1 - body.y0);
    let upper = Rect {
        x1: split,
        y1: middle - 14.0,
        ..body
    };
    let lower = Rect {
        x1: split,
        y0: middle + 14.0,
        ..body
    };
    van_passage::draw(canvas, upper, van, as_of, assessment.limits.salt_passage);
    van_evidence::draw(canvas, lower, van, as_of);
    let side = Rect {
        x0: split + 44.0,
        ..body
    };
    let mut y = heading(canvas, side, side.y0, "The record");
    for said in record(van) {
        let face = look::BODY;
        y = canvas.paragraph(&said, (side.x0, y), &face, side.width(), 4) + 6.0;
    }
    y = heading(canvas, side, y + 10.0, "Newest readings");
    readings(canvas, Rect { y0: y, ..side }, van);
}

fn heading(canvas: &mut Canvas, side: Rect, y: f64, name: &str) -> f64 {
    canvas.text(name, (side.x0, y + 19.0), &look::CHART_TITLE, Align::Left);
    y + 47.0
}

/// Dates, litres and findings, a line each.
pub fn record(van: &VanAssessment) -> Vec<String> {
    let membrane = &van.membrane;
    let mut said = Vec::new();
    if let Some(day) = membrane.fitted_on {
        let service = van
            .series
            .services
            .iter()
            .rfind(|s| s.item == Item::Membrane && s.date == day && !s.inferred);
        let part = service
            .and_then(|s| s.part.as_deref())
            .map_or(String::new(), |p| format!(" ({p})"));
        let recorded = if service.is_some() {
            "on record"
        } else {
            "told from the readings, not on record"
        };
        said.push(format!("Fitted on {}{part}, {recorded}.", words::day(day)));
    }
    if let Some(litres) = membrane.litres_made {
        said.push(format!(
            "It has made {} L from mains water.",
            words::thousands(litres)
        ));
    }
    if let Some(hardness) = van.hardness_mg_l_caco3 {
        said.push(format!(
            "The water at its base: {hardness:.0} mg/L hardness as CaCO3{}.",
            van.hardness_basis
                .map_or(String::new(), |b| format!(" ({})", words::basis(b)))
        ));
    }
    if let Some(text) = words::salt_passage(&membrane.salt_passage) {
        said.push(format!("Today it {text}."));
    }
    if let Some(usual) = van.series.usual_passage.last() {
        said.push(format!(
            "8 of 10 membranes of this fleet let {} to {} through after as many litres of this water.",
            words::percent(usual.p10, 1),
            words::percent(usual.p90, 1)
        ));
    }
    if let Some(alarm) = &membrane.alarm {
        let since = words::day(alarm.since);
        said.push(match (alarm.step_on, alarm.step_ratio) {
            (Some(day), Some(ratio)) => format!(
                "Around {} what comes through rose to {ratio:.1} times what it was, at once; the readings have shown it since {since}.",
                words::day(day)
            ),
            _ => format!(
                "The readings have shown it since {since}. Chance that it declines faster than 95 % of membranes: {}.",
                words::chance(alarm.p_faster_than_95)
            ),
        });
        if let Some(cause) = alarm.causes.first() {
            let facts: Vec<&str> = cause.facts.iter().skip(1).map(String::as_str).collect();
            if !facts.is_empty() {
                said.push(format!("{}.", words::capital(&facts.join("; "))));
            }
        }
    }
    said
}

fn readings(canvas: &mut Canvas, area: Rect, van: &VanAssessment) {
    let face = look::SMALL.inked(look::TEXT);
    let fitted = van.membrane.fitted_on;
    let own: Vec<&(Date, f64)> = van
        .series
        .salt_passage
        .iter()
        .filter(|r| fitted.is_none_or(|f| r.0 >= f))
        .collect();
    let room = ((area.y1 - area.y0) / face.leading()).floor().max(1.0) as usize;
    let shown = own.len().min(LISTED).min(room.saturating_sub(1).max(1));
    let mut y = area.y0;
    canvas.text("Day", (area.x0, y), &look::SMALL_BOLD, Align::Left);
    canvas.text(
        "salts through",
        (area.x0 + 250.0, y),
        &look::SMALL_BOLD,
        Align::Right,
    );
    for (day, passage) in own.iter().skip(own.len() - shown) {
        y += face.leading();
        canvas.text(&words::day(*day), (area.x0, y), &face, Align::Left);
        let share = words::percent(*passage, 1);
        canvas.text(&share, (area.x0 + 250.0, y), &face, Align::Right);
    }
}
