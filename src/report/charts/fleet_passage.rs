//! Salt passage against litres made, every membrane in use: does one stand
//! out from the others?

use crate::advise::{State, VanAssessment};
use crate::report::axis::{Axis, nice_top};
use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, Ink, Shape, badge};
use crate::report::panel::{frame, heading};
use crate::report::place::{Wanted, place};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words::{self, MEMBRANE_TDS, TAP_TDS};

/// At most so many vans are named in the chart.
const NAMED: usize = 9;
/// With more vans than this only those in trouble have a line, and all others a
/// mark where they stand: two hundred lines show nothing.
const WITH_LINES: usize = 30;

/// The finding: who is nearest to the limit, or over it.
pub fn title(vans: &[&VanAssessment], limit: f64) -> String {
    let known: Vec<(&str, f64)> = vans
        .iter()
        .filter_map(|v| Some((v.van.as_str(), v.membrane.salt_passage.p50?)))
        .collect();
    let over = known.iter().filter(|(_, p)| *p >= limit).count();
    let Some((name, most)) = known.iter().max_by(|a, b| a.1.total_cmp(&b.1)) else {
        return "Rejection is not known for any RO membrane here".to_owned();
    };
    let limit = words::rejection_limit(limit);
    let worst = words::percent(1.0 - *most, 0);
    match (over, known.len()) {
        (0, 1) => format!("{name}: rejection {worst}, above the limit of {limit}"),
        (0, n) => format!(
            "Rejection is above the limit of {limit} on all {n} vans; {name} is nearest with {worst}"
        ),
        (1, _) => format!("Rejection is under the limit of {limit} on {name}: {worst}"),
        (over, _) => format!(
            "Rejection is under the limit of {limit} on {over} vans; {name} is worst with {worst}"
        ),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(vans: &[&VanAssessment], limit: f64) -> String {
    format!(
        "{}. Salt passage in per cent (100 % less rejection) against litres through each RO membrane in use, with the limit as a dashed line.",
        title(vans, limit)
    )
}

/// The numbers of the chart.
pub fn table(vans: &[&VanAssessment]) -> Table {
    let unknown = || words::UNKNOWN.to_owned();
    Table {
        caption: "Rejection of each RO membrane in use".to_owned(),
        heads: vec![
            "Van",
            "State",
            "Litres through it",
            "Rejection",
            "Likely between",
        ],
        rows: vans
            .iter()
            .map(|v| {
                let m = &v.membrane;
                let between = m.salt_passage.p10.zip(m.salt_passage.p90);
                vec![
                    v.van.clone(),
                    words::state(m.state).to_owned(),
                    m.litres_made
                        .map_or_else(unknown, |l| words::thousands(words::two_figures(l))),
                    m.salt_passage
                        .p50
                        .map_or_else(unknown, |p| words::percent(1.0 - p, 1)),
                    between.map_or_else(unknown, |(low, high)| {
                        let say = |passage| words::percent(1.0 - passage, 1);
                        format!("{} and {}", say(high), say(low))
                    }),
                ]
            })
            .collect(),
    }
}

fn decimals_for(fraction: f64) -> usize {
    usize::from((fraction * 100.0).fract().abs() > 1e-6)
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, vans: &[&VanAssessment], limit: f64) {
    let unit = "Salt passage of the RO membranes, % (100 % less rejection)";
    let rest = heading(canvas, area, &title(vans, limit), unit);
    let drawn: Vec<&&VanAssessment> = vans
        .iter()
        .filter(|v| !v.series.salt_passage_by_litres.is_empty())
        .collect();
    if drawn.is_empty() {
        canvas.paragraph(
            &format!(
                "No RO membrane here has both litres and readings of {TAP_TDS} and {MEMBRANE_TDS} yet."
            ),
            (rest.x0, rest.y0 + 40.0),
            &look::BODY,
            rest.width(),
            3,
        );
        return;
    }
    let points = || {
        drawn
            .iter()
            .flat_map(|v| v.series.salt_passage_by_litres.iter())
    };
    let x_top = nice_top(points().map(|p| p.0).fold(1000.0, f64::max), 6);
    let highest = points().map(|p| p.1).fold(0.0, f64::max);
    // one splashed reading must not flatten all others
    let y_top = nice_top(
        (highest * 1.06).min(limit * 2.5).max(limit * 1.2) * 100.0,
        6,
    );
    let x = Axis::numbers((0.0, x_top), 6, |v, _| words::thousands(v));
    let y = Axis::numbers((0.0, y_top), 6, |v, d| format!("{v:.d$}"));
    let Some(panel) = frame(
        canvas,
        rest,
        &x,
        &y,
        "litres through the RO membrane in use",
    ) else {
        return;
    };

    // the calm ones first, so that those in trouble lie on top
    let mut order = drawn.clone();
    order.sort_by_key(|v| std::cmp::Reverse(words::urgency(v.membrane.state)));
    let few = order.len() <= WITH_LINES;
    let stands_out = |van: &VanAssessment| {
        let over = van.membrane.salt_passage.p50.is_some_and(|p| p >= limit);
        over || van.membrane.state == State::FailingEarly
    };
    for van in order.iter().filter(|v| few || stands_out(v)) {
        let (line, dot) = inks(van.membrane.state);
        let path: Vec<(f64, f64)> = guide(van)
            .into_iter()
            .map(|(l, p)| (l, p * 100.0))
            .collect();
        panel.line(
            &path,
            line,
            if van.membrane.state == State::OnCourse {
                1.6
            } else {
                2.6
            },
        );
        if !few {
            continue;
        }
        for (litres, passage) in &van.series.salt_passage_by_litres {
            if panel.y().holds(passage * 100.0) {
                canvas.mark(Shape::Circle, panel.at(*litres, passage * 100.0), 2.6, dot);
            }
        }
    }
    let mut taken: Vec<Rect> = Vec::new();
    let name = format!(
        "limit {} (rejection {})",
        words::percent(limit, decimals_for(limit)),
        words::rejection_limit(limit)
    );
    taken.extend(panel.limit(limit * 100.0, &name));

    // the most urgent first: they get their place
    order.reverse();
    let mut ends = Vec::new();
    for van in order.iter() {
        let Some((litres, passage)) = guide(van).last().copied() else {
            continue;
        };
        let at = panel.at(litres, passage * 100.0);
        let (shape, ink) = badge(van.membrane.state);
        let radius = if few || stands_out(van) { 7.0 } else { 4.0 };
        canvas.mark(shape, at, radius, ink);
        taken.push(Rect::at(at.0, at.1, 0.0, 0.0).inset(-radius - 1.0));
        if van.membrane.state != State::OnCourse {
            let path = guide(van);
            let spots = path.iter().map(|(l, p)| panel.at(*l, p * 100.0));
            taken.extend(spots.map(|(x, y)| Rect::at(x, y, 0.0, 0.0).inset(-3.0)));
        }
        ends.push((van, at));
    }
    let face = look::SMALL_BOLD;
    let labels: Vec<(String, Wanted)> = ends
        .iter()
        .take(NAMED)
        .map(|(van, at)| {
            let name = canvas.shortened(&van.van, &face, 130.0);
            let width = canvas.width_of(&name, &face);
            (
                name,
                Wanted {
                    at: *at,
                    width,
                    height: face.size,
                },
            )
        })
        .collect();
    let wanted: Vec<Wanted> = labels.iter().map(|(_, w)| w.clone()).collect();
    for ((name, _), spot) in labels.iter().zip(place(panel.plot, &taken, &wanted)) {
        if let Some(spot) = spot {
            let at = (spot.x0, spot.y0 + face.size * 0.76);
            panel.note(name, at, &face, Align::Left);
        }
    }
}

fn inks(state: State) -> (Ink, Ink) {
    if state == State::OnCourse {
        (look::MEMBRANE.tint(0.45), look::MEMBRANE.tint(0.3))
    } else {
        let ink = badge(state).1;
        (ink, ink.tint(0.55))
    }
}

/// Readings on each side whose middle value a point of the guide takes.
const REACH: usize = 4;

/// A line to guide the eye: the running middle value of nine readings, up to
/// the fitted value of today where there is one.
fn guide(van: &VanAssessment) -> Vec<(f64, f64)> {
    let points = &van.series.salt_passage_by_litres;
    let mut line: Vec<(f64, f64)> = (0..points.len())
        .filter_map(|i| {
            // near the ends as many on either side as there are
            let reach = REACH.min(i).min(points.len() - 1 - i);
            let window = points.get(i - reach..=i + reach)?;
            let mut values: Vec<f64> = window.iter().map(|p| p.1).collect();
            values.sort_by(f64::total_cmp);
            Some((points.get(i)?.0, *values.get(values.len() / 2)?))
        })
        .collect();
    if let (Some(today), true) = (van.membrane.salt_passage.p50, line.len() > 1)
        && let Some((litres, _)) = line.last().copied()
    {
        // the last readings alone are noise: the fitted value stands for them
        line.truncate(line.len().saturating_sub(REACH).max(1));
        line.push((litres, today));
    }
    line
}
