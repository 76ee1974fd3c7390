//! The frame that every chart with axes stands in: a title that says the
//! finding, the unit, ticks and a light grid; and what is drawn on it.

use super::axis::{Scale, Tick};
use super::canvas::{Align, Canvas};
use super::look::{self, Ink, Shape, Type};
use super::rect::Rect;

/// One axis of a panel: its range and ticks.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    pub low: f64,
    pub high: f64,
    pub ticks: Vec<Tick>,
}

/// A drawn frame, ready for data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Panel {
    /// The box between the axes.
    pub plot: Rect,
    pub x: Scale,
    pub y: Scale,
}

/// Writes a chart's title (at most two lines) and its unit below, and gives
/// the box that is left for the chart.
pub fn heading(canvas: &mut Canvas, area: Rect, title: &str, unit: &str) -> Rect {
    let face = look::CHART_TITLE;
    let first = area.y0 + face.size;
    let mut next = if canvas.is_titled() {
        canvas.paragraph(title, (area.x0, first), &face, area.width(), 2)
    } else {
        first
    };
    if !unit.is_empty() {
        let face = look::SMALL;
        let at = (area.x0, next - 3.0);
        next = canvas.paragraph(unit, at, &face, area.width(), 2) + 3.0;
    }
    Rect {
        y0: next - look::CHART_TITLE.size + 4.0,
        ..area
    }
}

/// Draws axes into `area`; `x_name` is written under the horizontal axis.
pub fn frame(canvas: &mut Canvas, area: Rect, x: &Axis, y: &Axis, x_name: &str) -> Panel {
    let face = look::SMALL;
    let widest = y
        .ticks
        .iter()
        .map(|t| canvas.width_of(&t.label, &face))
        .fold(0.0, f64::max);
    let below = if x_name.is_empty() { 28.0 } else { 50.0 };
    // a label under the right edge reaches half its width beyond it
    let last = x
        .ticks
        .last()
        .filter(|t| t.value > x.low + 0.9 * (x.high - x.low));
    let beyond = last.map_or(0.0, |t| canvas.width_of(&t.label, &face) / 2.0);
    let plot = Rect {
        x0: area.x0 + widest + 10.0,
        y0: area.y0 + 8.0,
        x1: area.x1 - beyond.max(10.0),
        y1: area.y1 - below,
    };
    let panel = Panel {
        plot,
        x: Scale {
            low: x.low,
            high: x.high,
            from: plot.x0,
            to: plot.x1,
        },
        y: Scale {
            low: y.low,
            high: y.high,
            from: plot.y1,
            to: plot.y0,
        },
    };
    for tick in &y.ticks {
        let at = panel.y.px(tick.value).round();
        canvas.fill(
            Rect {
                x0: plot.x0,
                x1: plot.x1,
                y0: at - 0.5,
                y1: at + 0.5,
            },
            look::GRID,
        );
        canvas.text(
            &tick.label,
            (plot.x0 - 8.0, at + face.size * 0.36),
            &face,
            Align::Right,
        );
    }
    x_axis(canvas, &panel, &x.ticks);
    if !x_name.is_empty() {
        let name = canvas.shortened(x_name, &face, area.width());
        canvas.text(&name, (plot.x1, plot.y1 + 43.0), &face, Align::Right);
    }
    panel
}

/// Draws axes into `area` for a chart of named rows: the names, shortened to
/// `share` of its width, have their room left of the plot. Gives them as they fit.
pub fn frame_of_rows(
    canvas: &mut Canvas,
    area: Rect,
    names: impl Iterator<Item = String>,
    (face, share): (&Type, f64),
    x: &Axis,
    x_name: &str,
) -> (Panel, Vec<String>) {
    let names: Vec<String> = names
        .map(|name| canvas.shortened(&name, face, area.width() * share))
        .collect();
    let widest = names
        .iter()
        .map(|n| canvas.width_of(n, face))
        .fold(0.0, f64::max);
    let y = Axis {
        low: 0.0,
        high: 1.0,
        ticks: Vec::new(),
    };
    let inner = Rect {
        x0: area.x0 + widest,
        ..area
    };
    (frame(canvas, inner, x, &y, x_name), names)
}

/// The horizontal axis with those labels that do not collide.
fn x_axis(canvas: &mut Canvas, panel: &Panel, ticks: &[Tick]) {
    let (plot, face) = (panel.plot, look::SMALL);
    canvas.fill(
        Rect {
            x0: plot.x0,
            x1: plot.x1,
            y0: plot.y1 - 0.5,
            y1: plot.y1 + 1.0,
        },
        look::RULE,
    );
    let mut free_from = f64::NEG_INFINITY;
    for tick in ticks {
        let at = panel.x.px(tick.value).round();
        canvas.fill(
            Rect {
                x0: at - 0.5,
                x1: at + 0.5,
                y0: plot.y1,
                y1: plot.y1 + 6.0,
            },
            look::RULE,
        );
        let spot = (at, plot.y1 + 21.0);
        let area = canvas.box_of(&tick.label, spot, &face, Align::Middle);
        if area.x0 < free_from {
            continue;
        }
        canvas.text(&tick.label, spot, &face, Align::Middle);
        free_from = area.x1 + 8.0;
    }
}

impl Panel {
    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        (self.x.px(x), self.y.px(y))
    }

    /// A band between two curves: (x, low, high), in order of x. It is cut at
    /// the panel's sides; above or below the panel it runs along the edge.
    pub fn band(&self, canvas: &mut Canvas, points: &[(f64, f64, f64)], ink: Ink) {
        let inside = self.between_sides(points);
        let upper = inside.iter().map(|p| self.at(p.0, p.2));
        let lower = inside.iter().rev().map(|p| self.at(p.0, p.1));
        let corners: Vec<(f64, f64)> = upper.chain(lower).collect();
        canvas.polygon(&corners, ink);
    }

    /// The points between the panel's sides, and those where the band crosses
    /// a side.
    fn between_sides(&self, points: &[(f64, f64, f64)]) -> Vec<(f64, f64, f64)> {
        let mut inside: Vec<(f64, f64, f64)> = Vec::with_capacity(points.len() + 2);
        inside.extend(points.first().filter(|p| self.x.holds(p.0)));
        for pair in points.windows(2) {
            let &[a, b] = pair else { continue };
            for side in [self.x.low, self.x.high] {
                if a.0 < side && side < b.0 {
                    let share = (side - a.0) / (b.0 - a.0);
                    let along = |from: f64, to: f64| from + (to - from) * share;
                    inside.push((side, along(a.1, b.1), along(a.2, b.2)));
                }
            }
            if self.x.holds(b.0) {
                inside.push(b);
            }
        }
        inside
    }

    /// A reading as a dot; one above the panel as a small triangle at its top,
    /// so that no reading is hidden.
    pub fn reading(&self, canvas: &mut Canvas, (x, y): (f64, f64), ink: Ink) {
        if !self.x.holds(x) || !y.is_finite() {
            return;
        }
        let spot = self.at(x, y);
        if y > self.y.high {
            canvas.mark(Shape::Triangle, (spot.0, spot.1 + 5.0), 5.0, ink);
        } else {
            canvas.mark(Shape::Circle, spot, 3.4, ink);
        }
    }

    /// The part of a curve that lies within the panel, as runs of pixels.
    pub fn curve(&self, points: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
        let mut runs: Vec<Vec<(f64, f64)>> = Vec::new();
        for pair in points.windows(2) {
            let &[a, b] = pair else { continue };
            let Some((from, to)) = self.clipped(a, b) else {
                continue;
            };
            match runs.last_mut() {
                Some(run) if run.last() == Some(&from) => run.push(to),
                _ => runs.push(vec![from, to]),
            }
        }
        runs
    }

    /// A straight line cut at the panel's edges; `None` if it lies outside.
    fn clipped(&self, a: (f64, f64), b: (f64, f64)) -> Option<((f64, f64), (f64, f64))> {
        if ![a.0, a.1, b.0, b.1].iter().all(|v| v.is_finite()) {
            return None;
        }
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for (start, run, low, high) in [
            (a.0, b.0 - a.0, self.x.low, self.x.high),
            (a.1, b.1 - a.1, self.y.low, self.y.high),
        ] {
            if run == 0.0 {
                if start < low || start > high {
                    return None;
                }
                continue;
            }
            let (p, q) = ((low - start) / run, (high - start) / run);
            enter = enter.max(p.min(q));
            leave = leave.min(p.max(q));
        }
        if enter > leave {
            return None;
        }
        let along = |t: f64| self.at(a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t);
        Some((along(enter), along(leave)))
    }

    /// A level dashed line with its name at the right end, above it where
    /// there is room. Gives the name's box.
    pub fn limit(&self, canvas: &mut Canvas, value: f64, name: &str) -> Option<Rect> {
        if !self.y.holds(value) {
            return None;
        }
        let at = self.y.px(value);
        canvas.dashes(
            &[(self.plot.x0, at), (self.plot.x1, at)],
            look::LIMIT,
            2.0,
            (9.0, 5.0),
        );
        let face: Type = look::SMALL_BOLD.inked(look::LIMIT);
        let baseline = if at - self.plot.y0 > 22.0 {
            at - 6.0
        } else {
            at + 17.0
        };
        let at = (self.plot.x0 + 6.0, baseline);
        Some(self.note(canvas, name, at, &face, Align::Left))
    }

    /// An upright line at today.
    pub fn today(&self, canvas: &mut Canvas, day: f64, name: &str) -> Option<Rect> {
        if !self.x.holds(day) {
            return None;
        }
        let at = self.x.px(day);
        canvas.line(&[(at, self.plot.y0), (at, self.plot.y1)], look::MUTED, 1.5);
        let face = look::SMALL;
        let width = canvas.width_of(name, &face);
        // before today where there is room: forecasts rise right after it
        let (x, align) = if at - width - 8.0 > self.plot.x0 {
            (at - 6.0, Align::Right)
        } else {
            (at + 6.0, Align::Left)
        };
        Some(self.note(canvas, name, (x, self.plot.y0 + 14.0), &face, align))
    }

    /// Text on a little paper of its own, so that data behind it cannot make
    /// it unreadable.
    pub fn note(
        &self,
        canvas: &mut Canvas,
        text: &str,
        at: (f64, f64),
        face: &Type,
        align: Align,
    ) -> Rect {
        let area = canvas.box_of(text, at, face, align);
        canvas.fill(area.inset(-1.0), look::PAPER);
        canvas.text(text, at, face, align)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::report::canvas::{Canvas, draw};
    use crate::report::raster::Brush;

    const INK: Ink = Ink(10, 20, 200);

    fn panel() -> Panel {
        let plot = Rect::at(20.0, 20.0, 160.0, 60.0);
        Panel {
            plot,
            x: Scale {
                low: 0.0,
                high: 10.0,
                from: plot.x0,
                to: plot.x1,
            },
            y: Scale {
                low: 0.0,
                high: 10.0,
                from: plot.y1,
                to: plot.y0,
            },
        }
    }

    fn drawn(paint: impl FnOnce(&mut Canvas)) -> Vec<Ink> {
        let sketch = draw((200, 100), paint).unwrap();
        Brush::new().picture(&sketch).unwrap().inks().collect()
    }

    /// The box of all pixels of our ink.
    fn inked(pixels: &[Ink]) -> Option<Rect> {
        let mut found: Option<Rect> = None;
        for (i, pixel) in pixels.iter().enumerate() {
            if *pixel == INK {
                let (x, y) = (i as u32 % 200, i as u32 / 200);
                let spot = Rect::at(f64::from(x), f64::from(y), 1.0, 1.0);
                found = Some(found.map_or(spot, |f| Rect {
                    x0: f.x0.min(spot.x0),
                    y0: f.y0.min(spot.y0),
                    x1: f.x1.max(spot.x1),
                    y1: f.y1.max(spot.y1),
                }));
            }
        }
        found
    }

    #[test]
    fn a_reading_above_the_chart_is_shown_at_its_edge() {
        let picture = drawn(|c| panel().reading(c, (5.0, 99.0), INK));
        let seen = inked(&picture).unwrap();
        assert!(seen.y0 >= 20.0 && seen.y1 < 34.0, "{seen:?}");
        assert!((seen.x0 + seen.x1) / 2.0 - 100.0 < 2.0);
        let outside = drawn(|c| panel().reading(c, (11.0, 5.0), INK));
        assert_eq!(inked(&outside), None);
    }

    #[test]
    fn curves_and_bands_never_leave_the_panel() {
        let points = [
            (-5.0, -50.0),
            (3.0, 4.0),
            (4.0, f64::INFINITY),
            (5.0, 80.0),
            (20.0, -3.0),
        ];
        // wide, with an end that is not finite
        let band = [
            (-5.0, -50.0, 4.0),
            (4.0, 2.0, f64::INFINITY),
            (20.0, 1.0, 99.0),
        ];
        let picture = drawn(|c| {
            panel().band(c, &band, INK);
            for run in panel().curve(&points) {
                c.line(&run, INK, 1.0);
            }
        });
        let seen = inked(&picture).unwrap();
        assert!(panel().plot.inset(-1.5).holds(&seen), "{seen:?}");
        // both sides are reached: the band is cut there, not left out
        assert!(seen.x0 < 21.5 && seen.x1 > 178.5, "{seen:?}");
    }
}
