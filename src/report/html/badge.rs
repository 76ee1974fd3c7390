//! The shape that stands beside a state's word: defined once, used often.

use std::collections::BTreeSet;

use maud::{Markup, PreEscaped, html};

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
pub fn definitions(inks: &mut BTreeSet<Ink>) -> Markup {
    html! {
        svg.defined width="0" height="0" aria-hidden="true" {
            @for state in ALL {
                symbol id=(id(state)) viewBox=(format!("0 0 {SIDE} {SIDE}")) {
                    (PreEscaped(drawn(state, inks)))
                }
            }
        }
    }
}

fn drawn(state: State, inks: &mut BTreeSet<Ink>) -> String {
    let middle = f64::from(SIDE) / 2.0;
    let sketch = draw_untitled((SIDE, SIDE), |canvas| {
        let (shape, ink) = look::badge(state);
        canvas.mark(shape, (middle, middle), 7.0, ink);
    });
    let mut out = String::new();
    if let Ok(sketch) = sketch {
        svg::strokes(&mut out, &sketch, inks);
    }
    out
}

/// The shape of a state.
pub fn shape(state: State) -> Markup {
    html! {
        svg.badge width=(SIDE) height=(SIDE) aria-hidden="true" {
            use href=(format!("#{}", id(state))) {}
        }
    }
}
