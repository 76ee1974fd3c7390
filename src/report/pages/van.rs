//! One van's page: how its membrane and resin are doing, and what to do next.

use crate::calendar::{Date, DateExt};

use crate::advise::{About, Assessment, Item, ServiceMark, State, VanAssessment};
use crate::report::answers::FEW_READINGS;
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::{van_evidence, van_passage, van_product, van_weeks};
use crate::report::look::{self, badge};
use crate::report::pages::{place, section, sheet, warranty};
use crate::report::parts::{Part, VanLine};
use crate::report::rect::Rect;
use crate::report::words;

/// Where the van stands and what its water is like.
pub fn lead(van: &VanAssessment) -> String {
    let place = match &van.postcode {
        Some(postcode) => format!("Based in {postcode}"),
        None => "No base recorded".to_owned(),
    };
    match (van.hardness_mg_l_caco3, van.hardness_basis) {
        (Some(hardness), Some(basis)) => {
            format!(
                "{place}; hardness {hardness:.0} mg/L ({})",
                words::basis(basis)
            )
        }
        (Some(hardness), None) => format!("{place}; hardness {hardness:.0} mg/L"),
        _ => format!("{place}; hardness not known"),
    }
}

/// Draws the page.
pub fn draw(canvas: &mut Canvas, assessment: &Assessment, line: &VanLine<'_>, month: Date) {
    let van = line.van;
    let (as_of, limits) = (assessment.as_of, assessment.limits);
    let body = sheet(canvas, &van.van, &lead(van), &place(month, assessment));
    // what needs doing stands first; the charts share one axis of time
    let split = body.x0 + WORDS;
    let side = Rect { x1: split, ..body };
    words_column(canvas, side, assessment, line, month);
    canvas.fill(
        Rect {
            x0: split + 21.0,
            x1: split + 22.0,
            ..body
        },
        look::GRID,
    );
    let area = Rect {
        x0: split + 44.0,
        ..body
    };
    let passage = |c: &mut Canvas, at| van_passage::draw(c, at, van, as_of, limits.salt_passage);
    let product = |c: &mut Canvas, at| van_product::draw(c, at, van, as_of, limits.product_ppm);
    let evidence = |c: &mut Canvas, at| van_evidence::draw(c, at, van, as_of);
    let weeks = |c: &mut Canvas, at| van_weeks::draw(c, at, van, as_of, Some(month));
    let mut charts: Vec<Stacked<'_>> = Vec::new();
    if van.series.has_membrane {
        charts.push((4.4, &passage));
    }
    if van.series.has_resin {
        charts.push((3.4, &product));
    }
    // an alarm must show its evidence; litres a week matter less then
    if van.membrane.alarm.is_some() {
        charts.push((2.6, &evidence));
    } else {
        charts.push((2.2, &weeks));
    }
    stacked(canvas, area, &charts);
}

/// Width of the words, px.
const WORDS: f64 = 474.0;
/// Between two charts, px.
const BETWEEN: f64 = 20.0;

/// The share of the height that a chart takes, and how it is drawn.
type Stacked<'a> = (f64, &'a dyn Fn(&mut Canvas, Rect));

/// Draws charts one above the other, with their shares of the height.
fn stacked(canvas: &mut Canvas, area: Rect, charts: &[Stacked<'_>]) {
    let shares: f64 = charts.iter().map(|(share, _)| share).sum();
    let room = area.height() - BETWEEN * charts.len().saturating_sub(1) as f64;
    let mut top = area.y0;
    for (share, draw) in charts {
        let bottom = top + room * share / shares;
        let at = Rect {
            y0: top,
            y1: bottom,
            ..area
        };
        draw(canvas, at);
        top = bottom + BETWEEN;
    }
}

fn words_column(
    canvas: &mut Canvas,
    side: Rect,
    assessment: &Assessment,
    line: &VanLine<'_>,
    month: Date,
) {
    let (van, as_of) = (line.van, assessment.as_of);
    let mut y = section(canvas, side, side.y0, "What to do next");
    for part in &line.parts {
        y = part_in_words(canvas, side, y, part, as_of);
    }
    y = section(canvas, side, y + 8.0, "What is known");
    for said in known(assessment, van) {
        y = canvas.paragraph(
            &said,
            (side.x0, y),
            &look::SMALL.inked(look::TEXT),
            side.width(),
            3,
        ) + 5.0;
    }
    let done = done_in(van, month);
    // a heading takes as much as two lines under it
    let has_room = |y: f64| y + 8.0 + 4.0 * look::SMALL.leading() < side.y1;
    if !has_room(y) {
        return;
    }
    let noted = noted_in(van, month);
    let title = match noted.is_empty() {
        true => format!("Done in {}", words::month(month)),
        false => format!("Done and noted in {}", words::month(month)),
    };
    y = section(canvas, side, y + 8.0, &title);
    for said in done.iter().take(5).chain(noted.iter().rev().take(3)) {
        if y + look::SMALL.leading() > side.y1 {
            return;
        }
        y = canvas.paragraph(
            said,
            (side.x0, y),
            &look::SMALL.inked(look::TEXT),
            side.width(),
            2,
        ) + 3.0;
    }
    if van.records.is_empty() || !has_room(y) {
        return;
    }
    y = section(canvas, side, y + 8.0, "Records to fix");
    let face = look::SMALL.inked(look::TEXT);
    let all = van.records.len();
    for (i, remark) in van.records.iter().rev().enumerate() {
        let said = words::dated(remark.date, &remark.text);
        let lines = canvas.wrapped(&said, &face, side.width()).len().min(3) as f64;
        let last_line = side.y1 - face.leading();
        if y + (lines - 1.0) * face.leading() > last_line {
            let more = format!("and {} more in index.html", all - i);
            canvas.text(&more, (side.x0, y), &look::SMALL, Align::Left);
            return;
        }
        y = canvas.paragraph(&said, (side.x0, y), &face, side.width(), 3) + 3.0;
    }
}

fn part_in_words(canvas: &mut Canvas, side: Rect, y: f64, part: &Part<'_>, as_of: Date) -> f64 {
    let (shape, ink) = badge(part.shown_as());
    canvas.mark(shape, (side.x0 + 9.0, y - 6.0), 8.0, ink);
    let x = side.x0 + 28.0;
    let width = side.x1 - x;
    let head = part.headline(as_of);
    let y = canvas.paragraph(&head, (x, y), &look::BODY_BOLD, width, 3);
    canvas.paragraph(
        part.reason,
        (x, y),
        &look::SMALL.inked(look::TEXT),
        width,
        if part.state == State::FailingEarly || part.check_meter {
            11
        } else {
            4
        },
    ) + 8.0
}

/// The van's numbers in words, each a line of its own.
pub fn known(assessment: &Assessment, van: &VanAssessment) -> Vec<String> {
    let mut said = Vec::new();
    let (membrane, rule) = (&van.membrane, assessment.fleet.rule_membrane_months);
    let litres = |l: f64| words::thousands(words::two_figures(l));
    if van.series.has_membrane {
        let name = words::capital(&words::part(Item::Membrane, f64::from(van.membranes)));
        if let Some(text) = words::rejection(&membrane.salt_passage) {
            let limit = words::rejection_limit(assessment.limits.salt_passage);
            said.push(format!("{name}: {text} (limit {limit})."));
        }
        said.push(fitted(van));
        if membrane.readings < FEW_READINGS {
            said.push(format!(
                "Mostly from typical trade figures: {} of this RO membrane so far.",
                words::count(membrane.readings, "reading", "readings")
            ));
        }
        if let Some(day) = membrane.rule_of_thumb_on {
            said.push(format!(
                "By the {rule:.0}-month rule it would be changed on {}.",
                words::day(day)
            ));
        }
        said.push(match van.recovery {
            Some(recovery) => format!("{}.", words::capital(&words::waste_ratio(recovery))),
            None => "Waste ratio not recorded: fill a bucket from product and one from waste, and time each."
                .to_owned(),
        });
    }
    if !van.series.has_membrane && van.series.has_resin {
        said.push("No RO membrane: the DI resin takes all that is in the tap water.".to_owned());
    }
    if van.series.has_resin {
        let changed = van.resin.changed_on.map_or_else(
            || "on an unknown day".to_owned(),
            |d| format!("on {}", words::day(d)),
        );
        let size = words::figures(van.resin_litres);
        said.push(match van.resin.litres_treated {
            Some(treated) => format!(
                "DI resin ({size} L) changed {changed}: {} L through it.",
                litres(treated)
            ),
            None => format!("DI resin ({size} L) changed {changed}; litres through it not known."),
        });
    }
    if let Some(day) = van.series.last_reading_on {
        said.push(format!("Last TDS reading {}.", words::day(day)));
    }
    if van.series.has_membrane {
        let sheet = warranty::has_one(van, assessment.as_of);
        said.push(
            if sheet {
                "Warranty: see the claim sheet of this RO membrane."
            } else {
                "Warranty: no cause for a claim; keep invoice and serial number of the RO membrane."
            }
            .to_owned(),
        );
    }
    said
}

/// When the membrane was fitted, how that is known, and what went through it.
fn fitted(van: &VanAssessment) -> String {
    let membrane = &van.membrane;
    let name = words::capital(&words::part(Item::Membrane, f64::from(van.membranes)));
    let litres = membrane.litres_made.map_or_else(
        || "litres through it not known".to_owned(),
        |l| format!("{} L through it", words::thousands(words::two_figures(l))),
    );
    match membrane.fitted_on {
        Some(day) if recorded_on(van, Item::Membrane, day).is_some() => {
            format!("Fitted on {}: {litres}.", words::day(day))
        }
        Some(day) => format!(
            "Fitted about {} (worked out from the readings, no record): {litres}.",
            words::day(day)
        ),
        None => format!("{name} fitted on an unknown day: {litres}."),
    }
}

/// The service on record that fitted a part on a day.
pub fn recorded_on(van: &VanAssessment, item: Item, day: Date) -> Option<&ServiceMark> {
    let services = van.series.services.iter();
    services
        .rev()
        .find(|s| s.item == item && s.date == day && !s.inferred)
}

/// What was written beside the month's readings, oldest first.
pub fn noted_in(van: &VanAssessment, month: Date) -> Vec<String> {
    let remarks = van.series.remarks.iter();
    let notes = remarks.filter(|r| r.about == About::Note);
    notes
        .filter_map(|note| Some((note.date?, &note.text)))
        .filter(|(day, _)| (month..=month.last_of_month()).contains(day))
        .map(|(day, text)| format!("{}: “{text}”", words::day(day)))
        .collect()
}

/// Work done in the month, oldest first; what was inferred says so.
pub fn done_in(van: &VanAssessment, month: Date) -> Vec<String> {
    let within = |d: Date| d >= month.first_of_month() && d <= month.last_of_month();
    let mut done: Vec<String> = van
        .series
        .services
        .iter()
        .filter(|s| within(s.date))
        .map(|s| {
            let what = match s.item {
                Item::Prefilter | Item::Membrane | Item::Resin => "changed",
                _ => "done",
            };
            let doubt = if s.inferred {
                " (not recorded; worked out from the readings)"
            } else {
                ""
            };
            format!(
                "{}: {} {what}{doubt}",
                words::day(s.date),
                words::item(s.item)
            )
        })
        .collect();
    if done.is_empty() {
        done.push("No jobs recorded.".to_owned());
    }
    done
}
