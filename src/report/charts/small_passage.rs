//! One van's rejection in little: enough to see in a row of many whether it
//! falls towards the limit.

use crate::calendar::Date;

use crate::advise::{State, VanAssessment};
use crate::report::axis::{Axis, day_number, days_after};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::path::Path;
use crate::report::charts::van_passage::{limit_name, rejection};
use crate::report::look::{self, Shape, badge};
use crate::report::panel::Panel;
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// Days shown back and ahead, the same for every van.
const BACK: i32 = 548;
const AHEAD: i32 = 365;

/// Draws name, state and the little chart; every van has the same axes, rejection
/// from 1.5 times as far below 100 % as the limit. `explained` names what is
/// drawn: once on a page.
pub fn draw(
    canvas: &mut Canvas,
    area: Rect,
    line: &VanLine<'_>,
    as_of: Date,
    limit: f64,
    explained: bool,
) {
    let van = line.van;
    let (shape, ink) = badge(line.state);
    canvas.mark(shape, (area.x0 + 8.0, area.y0 + 11.0), 7.0, ink);
    let state = words::state(line.state);
    let state_width = canvas.width_of(state, &look::SMALL);
    let room = area.width() - 24.0 - state_width - 10.0;
    let name = canvas.shortened(&van.van, &look::BODY_BOLD, room);
    let at = (area.x0 + 24.0, area.y0 + 18.0);
    canvas.text(&name, at, &look::BODY_BOLD, Align::Left);
    let at = (area.x1, area.y0 + 18.0);
    canvas.text(state, at, &look::SMALL, Align::Right);
    let plot = Rect {
        y0: area.y0 + 30.0,
        y1: area.y1 - 28.0,
        ..area
    };
    if van.series.has_membrane {
        membrane(canvas, plot, van, as_of, limit, explained);
    } else {
        canvas.fill(plot, look::SHADE);
        let text = match van.series.product_ppm.last() {
            Some((_, ppm)) => format!("DI resin only: product TDS {ppm:.0} ppm"),
            None => "DI resin only: no membrane".to_owned(),
        };
        let text = canvas.shortened(&text, &look::SMALL, plot.width() - 16.0);
        let middle = (
            (plot.x0 + plot.x1) / 2.0,
            (plot.y0 + plot.y1) / 2.0 + look::SMALL.below_middle(),
        );
        canvas.text(&text, middle, &look::SMALL, Align::Middle);
    }
    let said = canvas.shortened(&said(van), &look::SMALL, area.width());
    canvas.text(&said, (area.x0, area.y1 - 8.0), &look::SMALL, Align::Left);
}

fn membrane(
    canvas: &mut Canvas,
    plot: Rect,
    van: &VanAssessment,
    as_of: Date,
    limit: f64,
    explained: bool,
) {
    canvas.fill(plot, look::SHADE);
    let (from, to) = (days_after(as_of, -BACK), days_after(as_of, AHEAD));
    let x = Axis::bare(day_number(from), day_number(to));
    let y = Axis::bare(rejection(limit * 1.5), 100.0);
    let Some(panel) = Panel::bare(canvas, plot, x, y) else {
        return;
    };
    let path = Path {
        bands: &van.series.salt_passage_path,
        value: rejection,
        ink: look::MEMBRANE,
    };
    path.range(&panel);
    for (day, passage) in &van.series.salt_passage {
        let (at, value) = (day_number(*day), rejection(*passage));
        if panel.x().holds(at) && panel.y().holds(value) {
            let spot = panel.at(at, value);
            canvas.mark(Shape::Circle, spot, 2.0, look::MEMBRANE_READING);
        }
    }
    path.middle(&panel, as_of);
    let (low, high) = (panel.x().low, panel.x().high);
    let floor = rejection(limit);
    panel.dashes(&[(low, floor), (high, floor)], look::LIMIT, 1.6, (7.0, 4.0));
    let today = day_number(as_of);
    panel.line(&[(today, panel.y().low), (today, 100.0)], look::MUTED, 1.2);
    if explained {
        let face = look::SMALL.inked(look::LIMIT);
        // under its line where there is room
        let line = panel.y_px(floor);
        let below = if line + 28.0 < plot.y1 { 18.0 } else { -6.0 };
        let at = (plot.x0 + 4.0, line + below);
        panel.note(&limit_name(limit), at, &face, Align::Left);
        let at = (panel.x_px(today) + 5.0, plot.y1 - 6.0);
        panel.note("today", at, &look::SMALL, Align::Left);
        let at = (plot.x1 - 4.0, plot.y0 + 17.0);
        panel.note("100 %", at, &look::SMALL, Align::Right);
    }
}

/// What the little chart shows, in a few words.
pub fn said(van: &VanAssessment) -> String {
    let membrane = &van.membrane;
    if !van.series.has_membrane {
        let left = &van.resin.litres_left;
        return match left.p50 {
            None => "DI resin: litres left not known".to_owned(),
            Some(l) if l <= 0.0 => "resin probably at its limit".to_owned(),
            Some(_) => format!("about {} left in the resin", words::litres_short(left)),
        };
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
