//! Work done on a van, one lane per item, under a chart's time axis.

use crate::advise::{Item, ServiceMark};
use crate::report::axis::day_number;
use crate::report::canvas::{Align, Canvas};
use crate::report::look::{self, Ink, Shape};
use crate::report::panel::Panel;
use crate::report::rect::Rect;
use crate::report::words;

/// Height of a lane, px.
pub const LANE: f64 = 24.0;

fn look_of(item: Item) -> (Shape, Shape, Ink) {
    match item {
        Item::Membrane => (Shape::Square, Shape::Ring, look::MEMBRANE),
        Item::Resin => (Shape::Circle, Shape::Ring, look::RESIN),
        Item::Prefilter => (Shape::Triangle, Shape::Ring, look::PREFILTER),
        _ => (Shape::Diamond, Shape::Ring, look::MUTED),
    }
}

/// The items that get a lane: those with work between the two days.
pub fn lanes(services: &[ServiceMark], (from, to): (f64, f64)) -> Vec<Item> {
    let within = |s: &&ServiceMark| (from..=to).contains(&day_number(s.date));
    Item::ALL
        .into_iter()
        .filter(|item| services.iter().filter(within).any(|s| s.item == *item))
        .collect()
}

/// Draws the lanes under a panel from `top` on; a mark inferred from the readings
/// is hollow. Gives the bottom of the last lane.
pub fn draw(
    canvas: &mut Canvas,
    panel: &Panel,
    (left, top): (f64, f64),
    services: &[ServiceMark],
) -> f64 {
    let (x, plot) = (panel.x(), panel.plot);
    let mut y = top;
    for item in lanes(services, (x.low, x.high)) {
        let middle = y + LANE / 2.0;
        let (shape, inferred, ink) = look_of(item);
        canvas.fill(
            Rect {
                y0: middle - 0.5,
                y1: middle + 0.5,
                ..plot
            },
            look::GRID,
        );
        let room = plot.x0 - left - 8.0;
        // the lane is narrow, and "RO" says nothing more beside its shape
        let name = canvas.shortened(
            words::item(item).trim_start_matches("RO "),
            &look::SMALL,
            room,
        );
        canvas.text(
            &name,
            (plot.x0 - 8.0, middle + look::SMALL.below_middle()),
            &look::SMALL,
            Align::Right,
        );
        for mark in services.iter().filter(|s| s.item == item) {
            let at = day_number(mark.date);
            if x.holds(at) {
                let shape = if mark.inferred { inferred } else { shape };
                canvas.mark(shape, (panel.x_px(at), middle), 5.6, ink);
            }
        }
        y += LANE;
    }
    y
}
