//! The frame that every chart with axes stands in: a title that says the
//! finding, the unit, ticks and a light grid; and what is drawn on it. Axes and
//! series are plotters'; it cuts nothing at a plot's edges, so that is done here.

use plotters::chart::{ChartBuilder, ChartContext, LabelAreaPosition};
use plotters::coord::cartesian::Cartesian2d;
use plotters::drawing::IntoDrawingArea;
use plotters::element::{Circle, Drawable, PathElement, PointCollection, Polygon, Rectangle};

use super::axis::Axis;
use super::backend::{filled, fine, px, stroke, text_style};
use super::canvas::{Align, Canvas};
use super::look::{self, Ink, Shape, Type};
use super::rect::Rect;

type Chart = ChartContext<'static, Canvas, Cartesian2d<Axis, Axis>>;

/// Room above a plot that the name of today takes there, px.
pub const TODAY_ROW: f64 = 18.0;

/// A drawn frame, ready for data.
pub struct Panel {
    canvas: Canvas,
    chart: Chart,
    /// The box between the axes.
    pub plot: Rect,
}

/// Writes a chart's title (at most two lines) and its unit below, and gives
/// the box that is left for the chart.
pub fn heading(canvas: &mut Canvas, area: Rect, title: &str, unit: &str) -> Rect {
    let face = look::CHART_TITLE;
    let first = area.y0 + face.size - 2.0;
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

/// Draws axes into `area`, with a grid across; `x_name` is written under the
/// horizontal axis. `None` where the chart cannot be drawn; the page then fails.
pub fn frame(canvas: &Canvas, area: Rect, x: &Axis, y: &Axis, x_name: &str) -> Option<Panel> {
    frame_from(canvas, area, x, y, x_name, 0.0)
}

/// The same with the plot at least `left` px from the area's left edge, so that
/// plots stand one above the other.
pub fn frame_from(
    canvas: &Canvas,
    area: Rect,
    x: &Axis,
    y: &Axis,
    x_name: &str,
    left: f64,
) -> Option<Panel> {
    let panel = Panel::framed(canvas, area, x, y, x_name, left);
    canvas.kept(panel)
}

/// A chart of named rows: the names stand left of the plot.
pub struct Rows {
    pub panel: Panel,
    names: Vec<String>,
    /// Height of a row, px.
    pitch: f64,
}

/// Room that an axis without a name takes below a plot, and the air above it, px.
const AXIS: f64 = BELOW + TOP;

/// How many of `all` rows `pitch` px high a chart in `area` has room for, and the
/// area that is theirs: where not all fit, without the line that counts the others.
pub fn rows_that_fit(area: Rect, pitch: f64, all: usize) -> (usize, Rect) {
    let room = area.height() - AXIS;
    if all as f64 * pitch <= room {
        return (all, area);
    }
    let line = look::SMALL.leading();
    let fit = ((room - line) / pitch).max(1.0) as usize;
    let rows = Rect {
        y1: area.y1 - line,
        ..area
    };
    (fit.min(all), rows)
}

/// Says in a chart's place why it is not drawn.
pub fn instead(canvas: &mut Canvas, area: Rect, why: &str) {
    let at = (area.x0, area.y0 + 40.0);
    canvas.paragraph(why, at, &look::BODY, area.width(), 3);
}

impl Rows {
    /// Draws axes at the top of `area` for rows at most `most` px high; names are
    /// shortened to `share` of its width.
    pub fn framed(
        canvas: &Canvas,
        area: Rect,
        names: impl Iterator<Item = String>,
        (face, share): (&Type, f64),
        (x, x_name): (&Axis, &str),
        most: f64,
    ) -> Option<Rows> {
        let names: Vec<String> = names
            .map(|name| canvas.shortened(&name, face, area.width() * share))
            .collect();
        let widest = names
            .iter()
            .map(|n| canvas.width_of(n, face))
            .fold(0.0, f64::max);
        let count = names.len().max(1) as f64;
        let axis = TOP + below(x_name);
        let inner = Rect {
            x0: area.x0 + widest,
            y1: area.y1.min(area.y0 + axis + most * count),
            ..area
        };
        let panel = frame(canvas, inner, x, &Axis::bare(0.0, 1.0), x_name)?;
        Some(Rows {
            pitch: panel.plot.height() / count,
            panel,
            names,
        })
    }

    /// Writes the i-th row's name and gives the row's middle.
    pub fn named(&self, i: usize, face: &Type) -> f64 {
        let plot = self.panel.plot;
        let middle = plot.y0 + self.pitch * (i as f64 + 0.5);
        let at = (plot.x0 - 10.0, middle + face.below_middle());
        let name = self.names.get(i).map_or("", String::as_str);
        let mut canvas = self.panel.canvas.clone();
        canvas.text(name, at, face, Align::Right);
        middle
    }

    /// A likely range as a box `half` px up and down from a row's middle; without an
    /// end it runs on as an arrow. `best`: a stroke at the best estimate.
    pub fn range(
        &self,
        (middle, half): (f64, f64),
        span: (f64, Option<f64>),
        best: Option<f64>,
        series: Ink,
    ) {
        let plot = self.panel.plot;
        let height = |px: f64| 1.0 - (px - plot.y0) / plot.height();
        let between = (height(middle + half), height(middle - half));
        self.panel.range_bar(span, between, series);
        if let Some(best) = best.filter(|best| self.panel.x().holds(*best)) {
            let stroke = [(best, between.0), (best, between.1)];
            self.panel.line(&stroke, series, 2.0);
        }
    }

    /// Says under the axis what is left out.
    pub fn left_out(&self, text: &str) {
        let at = (
            self.panel.plot.x0,
            self.panel.plot.y1 + BELOW + look::SMALL.size,
        );
        let mut canvas = self.panel.canvas.clone();
        canvas.text(text, at, &look::SMALL, Align::Left);
    }
}

/// Labels of an axis from `from` to `to` px, those that would collide left empty.
fn spaced(canvas: &Canvas, axis: &Axis, (from, to): (f64, f64), face: &Type) -> Axis {
    let mut axis = axis.clone();
    let mut free_from = f64::NEG_INFINITY;
    let place = |value: f64| from + (to - from) * (value - axis.low) / (axis.high - axis.low);
    let places: Vec<f64> = axis.ticks.iter().map(|t| place(t.value)).collect();
    for (tick, at) in axis.ticks.iter_mut().zip(places) {
        let half = canvas.width_of(&tick.label, face) / 2.0;
        if at - half < free_from {
            tick.label.clear();
        } else {
            free_from = at + half + 8.0;
        }
    }
    axis
}

/// Air above a plot, px.
const TOP: f64 = 8.0;
/// Room for the labels below a plot, px.
const BELOW: f64 = 32.0;

/// Room below a plot whose axis has that name, px.
fn below(x_name: &str) -> f64 {
    match x_name {
        "" => BELOW,
        _ => BELOW + look::SMALL.leading(),
    }
}

type Refused = plotters::drawing::DrawingAreaErrorKind<std::convert::Infallible>;

impl Panel {
    fn framed(
        canvas: &Canvas,
        area: Rect,
        x: &Axis,
        y: &Axis,
        x_name: &str,
        least_left: f64,
    ) -> Result<Panel, Refused> {
        let face = look::SMALL;
        let labels = y.ticks.iter().map(|t| canvas.width_of(&t.label, &face));
        // a label under the left edge reaches half its width beyond it
        let first = x.ticks.first().filter(|t| x.share(t.value) < 0.1);
        let beside = first.map_or(0.0, |t| canvas.width_of(&t.label, &face) / 2.0);
        let left = (labels.fold(0.0, f64::max) + 10.0)
            .max(beside)
            .max(least_left);
        let below = below(x_name);
        // a label under the right edge reaches half its width beyond it
        let last = x.ticks.last().filter(|t| x.share(t.value) > 0.9);
        let beyond = last.map_or(0.0, |t| canvas.width_of(&t.label, &face) / 2.0);
        let right = beyond.max(10.0);
        let x = spaced(canvas, x, (area.x0 + left, area.x1 - right), &face);

        let root = canvas.clone().into_drawing_area().shrink(
            (fine(area.x0), fine(area.y0)),
            (fine(area.width()), fine(area.height())),
        );
        let mut chart: Chart = ChartBuilder::on(&root)
            .margin_top(fine(TOP))
            .margin_right(fine(right))
            .set_label_area_size(LabelAreaPosition::Left, fine(left))
            .set_label_area_size(LabelAreaPosition::Bottom, fine(below))
            .build_cartesian_2d(x, y.clone())?;
        let mut mesh = chart.configure_mesh();
        if y.ticks.is_empty() {
            // rows are named beside the plot; the grid helps to read along it
            mesh.disable_y_mesh();
        } else {
            mesh.disable_x_mesh();
        }
        mesh.bold_line_style(stroke(look::GRID, 1.0))
            .axis_style(stroke(look::RULE, 1.5))
            .label_style(text_style(&face))
            .set_tick_mark_size(LabelAreaPosition::Left, fine(4.0))
            .set_tick_mark_size(LabelAreaPosition::Bottom, fine(5.0))
            .draw()?;
        let panel = Panel::on(canvas, chart);
        if !x_name.is_empty() {
            let mut canvas = canvas.clone();
            let name = canvas.shortened(x_name, &face, area.width());
            let at = (panel.plot.x1, panel.plot.y1 + BELOW + look::SMALL.size);
            canvas.text(&name, at, &face, Align::Right);
        }
        Ok(panel)
    }

    /// A plot without axes that fills `plot`.
    pub fn bare(canvas: &Canvas, plot: Rect, x: Axis, y: Axis) -> Option<Panel> {
        let root = canvas.clone().into_drawing_area().shrink(
            (fine(plot.x0), fine(plot.y0)),
            (fine(plot.width()), fine(plot.height())),
        );
        let chart = canvas.kept(ChartBuilder::on(&root).build_cartesian_2d(x, y))?;
        Some(Panel::on(canvas, chart))
    }

    fn on(canvas: &Canvas, chart: Chart) -> Panel {
        let area = chart.plotting_area();
        let (xs, ys) = (area.get_x_axis_pixel_range(), area.get_y_axis_pixel_range());
        let plot = Rect {
            x0: px(xs.start),
            x1: px(xs.end),
            y0: px(ys.start),
            y1: px(ys.end),
        };
        Panel {
            canvas: canvas.clone(),
            chart,
            plot,
        }
    }

    pub fn x(&self) -> &Axis {
        self.chart.as_coord_spec().x_spec()
    }

    pub fn y(&self) -> &Axis {
        self.chart.as_coord_spec().y_spec()
    }

    /// The pixel of a point; what is off an axis lies at its end.
    pub fn at(&self, x: f64, y: f64) -> (f64, f64) {
        let (x, y) = self.chart.backend_coord(&(x, y));
        (px(x), px(y))
    }

    pub fn x_px(&self, x: f64) -> f64 {
        self.at(x, self.y().low).0
    }

    pub fn y_px(&self, y: f64) -> f64 {
        self.at(self.x().low, y).1
    }

    /// Draws one of plotters' elements, in the chart's own values.
    fn draw<E>(&self, element: &E)
    where
        for<'b> &'b E: PointCollection<'b, (f64, f64)>,
        E: Drawable<Canvas>,
    {
        self.canvas.kept(self.chart.plotting_area().draw(element));
    }

    /// A box from corner to corner.
    pub fn bar(&self, from: (f64, f64), to: (f64, f64), ink: Ink) {
        self.draw(&Rectangle::new([from, to], filled(ink)));
    }

    /// A likely range as a box with an edge, between two heights; without an end
    /// it runs on beyond the panel as an arrow.
    pub fn range_bar(&self, (low, high): (f64, Option<f64>), (from, to): (f64, f64), series: Ink) {
        let edge = look::reading(series);
        let end = high.filter(|high| self.x().holds(*high));
        let right = end.unwrap_or(self.x().high);
        self.bar((low, from), (right, to), look::range(series));
        for y in [from, to] {
            self.line(&[(low, y), (right, y)], edge, 1.0);
        }
        self.line(&[(low, from), (low, to)], edge, 1.0);
        if let Some(end) = end {
            self.line(&[(end, from), (end, to)], edge, 1.0);
            return;
        }
        let ((tip, y0), (_, y1)) = (self.at(right, from), self.at(right, to));
        let corners = [(tip, y0), (tip + 9.0, (y0 + y1) / 2.0), (tip, y1)];
        self.canvas.clone().polygon(&corners, edge);
    }

    /// A line, cut at the panel's edges.
    pub fn line(&self, points: &[(f64, f64)], ink: Ink, width: f64) {
        for run in self.runs(points) {
            self.draw(&PathElement::new(run, stroke(ink, width)));
        }
    }

    /// A dashed line, cut at the panel's edges. Plotters would draw every dash
    /// as a path of its own.
    pub fn dashes(&self, points: &[(f64, f64)], ink: Ink, width: f64, dash: (f64, f64)) {
        for run in self.runs(points) {
            let run: Vec<(f64, f64)> = run.iter().map(|p| self.at(p.0, p.1)).collect();
            self.canvas.clone().dashes(&run, ink, width, dash);
        }
    }

    /// A dashed line from the bottom of the panel to its top.
    pub fn upright(&self, x: f64, ink: Ink, width: f64, dash: (f64, f64)) {
        if self.x().holds(x) {
            let (low, high) = (self.y().low, self.y().high);
            self.dashes(&[(x, low), (x, high)], ink, width, dash);
        }
    }

    /// A likely range between two curves: (x, low, high), in order of x. It is cut
    /// at the panel's sides; above or below the panel its tint runs along the edge.
    pub fn band(&self, points: &[(f64, f64, f64)], series: Ink) {
        let inside = self.between_sides(points);
        let upper = inside.iter().map(|p| (p.0, p.2));
        let lower = inside.iter().rev().map(|p| (p.0, p.1));
        let corners: Vec<(f64, f64)> = upper.chain(lower).collect();
        if corners.len() >= 3 {
            self.draw(&Polygon::new(corners, filled(look::range(series))));
        }
        let edges: [Vec<(f64, f64)>; 2] = [
            points.iter().map(|p| (p.0, p.1)).collect(),
            points.iter().map(|p| (p.0, p.2)).collect(),
        ];
        for edge in edges {
            self.line(&edge, look::reading(series), 1.0);
        }
    }

    /// The points between the panel's sides, and those where the band crosses
    /// a side.
    fn between_sides(&self, points: &[(f64, f64, f64)]) -> Vec<(f64, f64, f64)> {
        let mut inside: Vec<(f64, f64, f64)> = Vec::with_capacity(points.len() + 2);
        inside.extend(points.first().filter(|p| self.x().holds(p.0)));
        for pair in points.windows(2) {
            let &[a, b] = pair else { continue };
            for side in [self.x().low, self.x().high] {
                if a.0 < side && side < b.0 {
                    let share = (side - a.0) / (b.0 - a.0);
                    let along = |from: f64, to: f64| from + (to - from) * share;
                    inside.push((side, along(a.1, b.1), along(a.2, b.2)));
                }
            }
            if self.x().holds(b.0) {
                inside.push(b);
            }
        }
        inside
    }

    /// A reading as a dot; one beyond the panel as a small triangle at its edge,
    /// so that no reading is hidden.
    pub fn reading(&self, (x, y): (f64, f64), ink: Ink) {
        if !self.x().holds(x) || !y.is_finite() {
            return;
        }
        if self.y().holds(y) {
            self.draw(&Circle::new((x, y), fine(3.4), filled(ink)));
            return;
        }
        let (x, y) = self.at(x, y);
        let y = if y < (self.plot.y0 + self.plot.y1) / 2.0 {
            y + 5.0
        } else {
            y - 5.0
        };
        self.canvas.clone().mark(Shape::Triangle, (x, y), 5.0, ink);
    }

    /// The part of a curve that lies within the panel, in runs.
    fn runs(&self, points: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
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
        for (start, run, axis) in [(a.0, b.0 - a.0, self.x()), (a.1, b.1 - a.1, self.y())] {
            if run == 0.0 {
                if !axis.holds(start) {
                    return None;
                }
                continue;
            }
            let (p, q) = ((axis.low - start) / run, (axis.high - start) / run);
            enter = enter.max(p.min(q));
            leave = leave.min(p.max(q));
        }
        if enter > leave {
            return None;
        }
        let along = |t: f64| match t {
            // an end that is not cut stays what it was, so that runs go on
            0.0 => a,
            1.0 => b,
            t => (a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t),
        };
        Some((along(enter), along(leave)))
    }

    /// A level dashed line with its name at the left end, above it where there
    /// is room. Gives the name's box.
    pub fn limit(&self, value: f64, name: &str) -> Option<Rect> {
        if !self.y().holds(value) {
            return None;
        }
        let (low, high) = (self.x().low, self.x().high);
        self.dashes(&[(low, value), (high, value)], look::LIMIT, 2.0, (9.0, 5.0));
        let face: Type = look::SMALL_BOLD.inked(look::LIMIT);
        let at = self.y_px(value);
        let baseline = if at - self.plot.y0 > 22.0 {
            at - 6.0
        } else {
            at + 17.0
        };
        let at = (self.plot.x0 + 6.0, baseline);
        Some(self.note(name, at, &face, Align::Left))
    }

    /// An upright line at today.
    pub fn today(&self, day: f64, name: &str) -> Option<Rect> {
        if !self.x().holds(day) {
            return None;
        }
        self.today_line(day);
        let face = look::SMALL;
        let at = self.x_px(day);
        let width = self.canvas.width_of(name, &face);
        // before today where there is room: forecasts rise right after it
        let (x, align) = if at - width - 8.0 > self.plot.x0 {
            (at - 6.0, Align::Right)
        } else {
            (at + 6.0, Align::Left)
        };
        Some(self.note(name, (x, self.plot.y0 + 16.0), &face, align))
    }

    fn today_line(&self, day: f64) {
        let (low, high) = (self.y().low, self.y().high);
        self.line(&[(day, low), (day, high)], look::MUTED, 1.5);
    }

    /// The same with its name above the plot, which needs [`TODAY_ROW`] of room there:
    /// where lines and readings stand close to today.
    pub fn today_above(&self, day: f64, name: &str) {
        if !self.x().holds(day) {
            return;
        }
        self.today_line(day);
        let face = look::SMALL;
        let half = self.canvas.width_of(name, &face) / 2.0;
        let x = self
            .x_px(day)
            .min(self.plot.x1 - half)
            .max(self.plot.x0 + half);
        let mut canvas = self.canvas.clone();
        canvas.text(name, (x, self.plot.y0 - 5.0), &face, Align::Middle);
    }

    /// Text on a little paper of its own, so that data behind it cannot make
    /// it unreadable.
    pub fn note(&self, text: &str, at: (f64, f64), face: &Type, align: Align) -> Rect {
        let mut canvas = self.canvas.clone();
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
    use crate::report::pixels::Renderer;

    const INK: Ink = Ink(10, 20, 200);

    fn panel(canvas: &Canvas) -> Panel {
        let plot = Rect::at(20.0, 20.0, 160.0, 60.0);
        Panel::bare(canvas, plot, Axis::bare(0.0, 10.0), Axis::bare(0.0, 10.0)).unwrap()
    }

    fn drawn(paint: impl FnOnce(&mut Canvas)) -> Vec<Ink> {
        let sketch = draw((200, 100), paint).unwrap();
        Renderer::default()
            .picture(&sketch)
            .unwrap()
            .inks()
            .collect()
    }

    /// The box of all pixels with ink.
    fn inked(pixels: &[Ink]) -> Option<Rect> {
        let mut found: Option<Rect> = None;
        for (i, pixel) in pixels.iter().enumerate() {
            if *pixel != look::PAPER {
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
        let picture = drawn(|c| panel(c).reading((5.0, 99.0), INK));
        let seen = inked(&picture).unwrap();
        assert!(seen.y0 >= 20.0 && seen.y1 < 34.0, "{seen:?}");
        assert!((seen.x0 + seen.x1) / 2.0 - 100.0 < 2.0);
        let outside = drawn(|c| panel(c).reading((11.0, 5.0), INK));
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
            panel(c).band(&band, INK);
            panel(c).line(&points, INK, 1.0);
        });
        let seen = inked(&picture).unwrap();
        assert!(
            Rect::at(20.0, 20.0, 160.0, 60.0).inset(-1.5).holds(&seen),
            "{seen:?}"
        );
        // both sides are reached: the band is cut there, not left out
        assert!(seen.x0 < 21.5 && seen.x1 > 178.5, "{seen:?}");
    }
}
