//! One van's salt passage in little: enough to see in a row of many whether it
//! climbs towards the limit.

use jiff::civil::Date;

use crate::advise::{State, VanAssessment};
use crate::report::axis::{Axis, day_number, days_after};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::path::Path;
use crate::report::look::{self, badge};
use crate::report::panel::Panel;
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// Days shown back and ahead, the same for every van.
const BACK: i32 = 548;
const AHEAD: i32 = 365;

/// Draws name, state and the little chart; every van has the same axes, from 0
/// to 1.5 times the limit.
pub fn draw(canvas: &mut Canvas, area: Rect, line: &VanLine<'_>, as_of: Date, limit: f64) {
    let van = line.van;
    let (shape, ink) = badge(line.state);
    canvas.mark(shape, (area.x0 + 8.0, area.y0 + 10.0), 7.0, ink);
    let state = words::state(line.state);
    let state_width = canvas.width_of(state, &look::SMALL);
    let room = area.width() - 24.0 - state_width - 10.0;
    let name = canvas.shortened(&van.van, &look::BODY_BOLD, room);
    let at = (area.x0 + 24.0, area.y0 + 16.0);
    canvas.text(&name, at, &look::BODY_BOLD, Align::Left);
    let at = (area.x1, area.y0 + 16.0);
    canvas.text(state, at, &look::SMALL, Align::Right);
    let plot = Rect {
        y0: area.y0 + 28.0,
        y1: area.y1 - 26.0,
        ..area
    };
    canvas.fill(plot, look::SHADE);
    let x = Axis::bare(
        day_number(days_after(as_of, -BACK)),
        day_number(days_after(as_of, AHEAD)),
    );
    let Some(panel) = Panel::bare(canvas, plot, x, Axis::bare(0.0, limit * 1.5)) else {
        return;
    };
    let path = Path {
        bands: &van.series.salt_passage_path,
        scale: 1.0,
        ink: look::MEMBRANE,
    };
    path.range(&panel);
    for (day, passage) in &van.series.salt_passage {
        let at = day_number(*day);
        if panel.x().holds(at) && panel.y().holds(*passage) {
            let spot = panel.at(at, *passage);
            canvas.mark(look::Shape::Circle, spot, 2.0, look::MEMBRANE.tint(0.6));
        }
    }
    path.middle(&panel, as_of);
    let (from, to) = (panel.x().low, panel.x().high);
    panel.dashes(&[(from, limit), (to, limit)], look::LIMIT, 1.6, (7.0, 4.0));
    let today = day_number(as_of);
    panel.line(&[(today, 0.0), (today, limit * 1.5)], look::MUTED, 1.2);
    let said = canvas.shortened(&said(van), &look::SMALL, area.width());
    canvas.text(&said, (area.x0, area.y1 - 8.0), &look::SMALL, Align::Left);
}

/// What the little chart shows, in a few words.
pub fn said(van: &VanAssessment) -> String {
    let membrane = &van.membrane;
    if !van.series.has_membrane {
        return "no membrane".to_owned();
    }
    let Some(now) = membrane.salt_passage.p50 else {
        return "rejection not known".to_owned();
    };
    let when = match (membrane.limit_on.p50, membrane.state) {
        (_, State::Unknown) => String::new(),
        (Some(day), _) => format!(
            ", limit {}",
            words::date_short(day, words::grain(&membrane.limit_on))
        ),
        (None, _) => ", limit not within ten years".to_owned(),
    };
    format!("{}{when}", words::percent(1.0 - now, 1))
}
