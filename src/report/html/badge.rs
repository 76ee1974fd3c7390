//! The shape that stands beside a state's word: defined once, used often.

use std::collections::BTreeSet;

use crate::advise::State;
use crate::report::canvas::draw_untitled;
use crate::report::look::{self, Ink};
use crate::report::svg;

const ALL: [State; 6] = [
    State::FailingEarly,
    State::Overdue,
    State::Due,
    State::Watch,
    State::Unknown,
    State::OnCourse,
];
/// Side of a shape's box, px.
const SIDE: u32 = 18;

fn id(state: State) -> &'static str {
    match state {
        State::FailingEarly => "b-failing",
        State::Overdue => "b-overdue",
        State::Due => "b-due",
        State::Watch => "b-watch",
        State::Unknown => "b-unknown",
        State::OnCourse => "b-course",
    }
}

/// The shapes themselves, not shown where they are defined.
pub fn definitions(out: &mut String, inks: &mut BTreeSet<Ink>) {
    out.push_str("<svg class=\"defined\" width=\"0\" height=\"0\" aria-hidden=\"true\">\n");
    for state in ALL {
        let middle = f64::from(SIDE) / 2.0;
        let sketch = draw_untitled((SIDE, SIDE), |canvas| {
            let (shape, ink) = look::badge(state);
            canvas.mark(shape, (middle, middle), 7.0, ink);
        });
        out.push_str(&format!(
            "<symbol id=\"{}\" viewBox=\"0 0 {SIDE} {SIDE}\">",
            id(state)
        ));
        if let Ok(sketch) = sketch {
            svg::strokes(out, &sketch, inks);
        }
        out.push_str("</symbol>\n");
    }
    out.push_str("</svg>\n");
}

/// The shape of a state.
pub fn shape(state: State) -> String {
    format!(
        "<svg class=\"badge\" width=\"{SIDE}\" height=\"{SIDE}\" aria-hidden=\"true\"><use href=\"#{}\"/></svg>",
        id(state)
    )
}
