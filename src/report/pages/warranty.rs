//! The warranty claim sheet: a young membrane that fails early, with what its
//! maker asks for. Only what was read and done on it; no forecast.

use crate::calendar::{Date, DateExt};

use crate::advise::{AlarmLevel, Assessment, Item, MembraneTest, Suspect, VanAssessment};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::van_evidence;
use crate::report::look;
use crate::report::pages::van::recorded_on;
use crate::report::pages::{place, sheet_without_foot};
use crate::report::rect::Rect;
use crate::report::words;

/// A membrane younger than this is young enough for a claim, days (judgement: a
/// year's guarantee is usual).
const YOUNG_DAYS: i32 = 366;

/// Whether this van's membrane gives cause for a claim: a raised alarm, laid to
/// the membrane, that is young by its record, and no meter in doubt.
pub fn has_one(van: &VanAssessment, as_of: Date) -> bool {
    let membrane = &van.membrane;
    let raised = membrane
        .alarm
        .as_ref()
        .filter(|a| a.level == AlarmLevel::Raised);
    let blamed = raised
        .and_then(|a| a.causes.first())
        .is_some_and(|c| c.suspect == Suspect::Membrane);
    blamed
        && !membrane.check_meter_first
        && membrane
            .fitted_on
            .is_some_and(|d| as_of.days_since(d) <= YOUNG_DAYS)
}

/// What stands in a line that is filled in by hand.
const BY_HAND: &str = "";

/// What is known of the membrane: name and value; an empty value is a line to
/// fill in by hand.
pub fn record(van: &VanAssessment) -> Vec<(&'static str, String)> {
    let (membrane, as_read) = (&van.membrane, &van.series);
    let service = membrane
        .fitted_on
        .and_then(|day| recorded_on(van, Item::Membrane, day));
    let part = service.and_then(|s| s.part.as_deref());
    let note = service.and_then(|s| s.note.as_deref());
    let by_hand = || BY_HAND.to_owned();
    let mut out = vec![
        ("Make and model", part.map_or_else(by_hand, str::to_owned)),
        ("Serial or batch number", by_hand()),
        ("Supplier", by_hand()),
        ("Invoice date and number", by_hand()),
        (
            "Fitted on",
            match (membrane.fitted_on, service) {
                (Some(day), Some(_)) => format!("{}, on record", words::day(day)),
                (Some(day), None) => format!(
                    "about {} (worked out from the readings, no record)",
                    words::day(day)
                ),
                (None, _) => by_hand(),
            },
        ),
        ("Membranes on the van", van.membranes.max(1).to_string()),
        (
            "Litres through it",
            membrane
                .litres_made
                .map_or_else(by_hand, |l| format!("{} L of product", words::thousands(l))),
        ),
        (
            "Hardness of the water",
            van.hardness_mg_l_caco3.map_or_else(by_hand, |h| {
                let basis = van.hardness_basis.map_or("", words::basis);
                format!("{h:.0} mg/L as CaCO₃ ({basis})")
            }),
        ),
        (
            "Waste ratio",
            van.recovery.map_or_else(by_hand, |r| {
                words::waste_ratio(r)
                    .trim_start_matches("waste ratio ")
                    .to_owned()
            }),
        ),
    ];
    let since = |day: Date| membrane.fitted_on.is_none_or(|fitted| day >= fitted);
    let changes: Vec<String> = as_read
        .services
        .iter()
        .filter(|s| s.item == Item::Prefilter && !s.inferred && since(s.date))
        .map(|s| words::day(s.date))
        .collect();
    out.push((
        "Pre-filters changed",
        if changes.is_empty() {
            "no change on record since then".to_owned()
        } else {
            words::list(&changes)
        },
    ));
    if let Some(note) = note {
        out.push(("Note of the fitting", note.to_owned()));
    }
    out
}

/// What the readings show, in sentences.
pub fn seen(van: &VanAssessment) -> Vec<String> {
    let membrane = &van.membrane;
    let mut said = Vec::new();
    let tests = &van.series.membrane_tests;
    if let (Some(first), Some(newest)) = (tests.first(), tests.last()) {
        said.push(format!(
            "Rejection as read: {} on {}, {} on {}.",
            words::percent(rejection(first), 1),
            words::day(first.date),
            words::percent(rejection(newest), 1),
            words::day(newest.date)
        ));
    }
    if let Some(usual) = van.series.usual_passage.last() {
        said.push(format!(
            "8 of 10 membranes still reject {} to {} after as many litres of this water.",
            words::percent(1.0 - usual.p90, 1).trim_end_matches(" %"),
            words::percent(1.0 - usual.p10, 1)
        ));
    }
    if let Some(alarm) = &membrane.alarm {
        if let (Some(day), Some(ratio)) = (alarm.step_on, alarm.step_ratio) {
            said.push(format!(
                "Salt passage suddenly rose to {ratio:.1} times what it was around {}.",
                words::day(day)
            ));
        }
        if let Some(cause) = alarm.causes.first() {
            let facts: Vec<&str> = cause.facts.iter().skip(1).map(String::as_str).collect();
            if !facts.is_empty() {
                said.push(format!("{}.", words::capital(&facts.join("; "))));
            }
        }
    }
    said
}

/// What to do before it is sent.
pub const CHECKS: [&str; 4] = [
    "Tested again after five minutes of flow, with a second TDS meter: tap ______ membrane ______",
    "O-rings and seal looked at, housing clean",
    "Pressure and flow within what the maker asks for",
    "Signed (name, day)",
];

fn rejection(test: &MembraneTest) -> f64 {
    1.0 - test.permeate_ppm / test.feed_ppm.max(1e-9)
}

/// The heads of [`rows`].
pub const HEADS: [&str; 9] = [
    "Day",
    "Tap TDS",
    "Membrane TDS",
    "Rejection",
    "°C",
    "Bar",
    "Product",
    "Waste",
    "Ratio",
];

/// The readings, oldest first: the first few and the newest.
pub fn rows(van: &VanAssessment) -> Vec<[String; 9]> {
    let tests = van.series.membrane_tests.iter();
    let none = || "–".to_owned();
    let one = |value: Option<f64>| value.map_or_else(none, |v| format!("{v:.1}"));
    tests
        .map(|t| {
            let flows = t.permeate_lpm.zip(t.concentrate_lpm);
            [
                words::day(t.date),
                format!("{:.0}", t.feed_ppm),
                format!("{:.0}", t.permeate_ppm),
                words::percent(rejection(t), 1),
                one(t.water_c),
                one(t.feed_bar),
                one(t.permeate_lpm),
                one(t.concentrate_lpm),
                flows
                    .filter(|(product, _)| *product > 0.0)
                    .map_or_else(none, |(product, waste)| {
                        format!("{:.1} : 1", waste / product)
                    }),
            ]
        })
        .collect()
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, van: &VanAssessment, month: Date) {
    let as_of = assessment.as_of;
    let title = format!("Warranty claim sheet: RO membrane of {}", van.van);
    let lead = "What was read and done, as recorded; what is missing is filled in by hand";
    let body = sheet_without_foot(canvas, &title, lead, &place(month, assessment));
    let split = body.x0 + 700.0;
    let left = Rect {
        x1: split - 30.0,
        ..body
    };
    let right = Rect {
        x0: split + 10.0,
        ..body
    };

    let mut y = heading(canvas, left, left.y0, "The membrane");
    let value_at = left.x0 + 230.0;
    for (name, value) in record(van) {
        canvas.text(name, (left.x0, y), &look::BODY, Align::Left);
        if value == BY_HAND {
            let line = Rect {
                x0: value_at,
                x1: left.x1,
                y0: y + 3.0,
                y1: y + 4.0,
            };
            canvas.fill(line, look::RULE);
            y += look::BODY.leading() + 6.0;
        } else {
            let room = left.x1 - value_at;
            y = canvas.paragraph(&value, (value_at, y), &look::BODY_BOLD, room, 3) + 6.0;
        }
    }
    y = heading(canvas, left, y + 8.0, "What the readings show");
    for said in seen(van) {
        y = canvas.paragraph(&said, (left.x0, y), &look::BODY, left.width(), 4) + 4.0;
    }
    y = heading(canvas, left, y + 8.0, "Before it is sent");
    for check in CHECKS {
        let frame = Rect::at(left.x0 + 2.0, y - 14.0, 15.0, 15.0);
        canvas.fill(frame, look::TEXT);
        canvas.fill(frame.inset(1.5), look::PAPER);
        let at = (left.x0 + 30.0, y);
        y = canvas.paragraph(check, at, &look::BODY, left.width() - 30.0, 2) + 8.0;
    }

    let y = heading(
        canvas,
        right,
        right.y0,
        "Readings: first and newest, TDS in ppm, flows in L a minute",
    );
    let y = readings(
        canvas,
        Rect {
            y0: y - 8.0,
            ..right
        },
        van,
    );
    let chart = Rect {
        y0: y + 24.0,
        ..right
    };
    if chart.height() > 260.0 {
        van_evidence::draw_record(canvas, chart, van, as_of);
    }
}

fn heading(canvas: &mut Canvas, side: Rect, y: f64, name: &str) -> f64 {
    canvas.text(name, (side.x0, y + 19.0), &look::CHART_TITLE, Align::Left);
    y + 50.0
}

fn readings(canvas: &mut Canvas, area: Rect, van: &VanAssessment) -> f64 {
    let face = look::SMALL.inked(look::TEXT);
    // right edges of the columns, as shares of the width
    const EDGES: [f64; 9] = [0.14, 0.24, 0.41, 0.54, 0.62, 0.69, 0.80, 0.89, 1.0];
    let mut y = area.y0;
    let mut row = |canvas: &mut Canvas, cells: &[String], face: &look::Type| {
        for (i, (cell, edge)) in cells.iter().zip(EDGES).enumerate() {
            let x = area.x0 + edge * area.width();
            let (x, align) = match i {
                0 => (area.x0, Align::Left),
                _ => (x, Align::Right),
            };
            canvas.text(cell, (x, y), face, align);
        }
        y += face.leading() + 3.0;
    };
    let heads: Vec<String> = HEADS.iter().map(|h| (*h).to_owned()).collect();
    row(canvas, &heads, &look::SMALL_BOLD);
    for cells in rows(van) {
        row(canvas, &cells, &face);
    }
    y
}
