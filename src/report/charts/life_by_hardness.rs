//! Life of a new membrane or resin filling against the hardness of the water:
//! the lives, the fitted middle and the range in which four of five will lie.

use crate::advise::{Band, LifeDot};
use crate::report::axis::{Axis, nice_top};
use crate::report::canvas::Canvas;
use crate::report::charts::key::{self, Key};
use crate::report::look::{self, Ink, Shape};
use crate::report::panel::{Panel, frame, heading, instead};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// Which life is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    Membrane,
    Resin,
}

impl Of {
    fn ink(self) -> Ink {
        match self {
            Of::Membrane => look::MEMBRANE,
            Of::Resin => look::RESIN,
        }
    }

    fn a_noun(self) -> &'static str {
        match self {
            Of::Membrane => "an RO membrane",
            Of::Resin => "a resin refill",
        }
    }
}

/// The curve is drawn so far beyond the softest and hardest water, mg/L.
const BESIDE: f64 = 30.0;
/// Fewer lives than this and the curve is mostly common practice.
const FEW: usize = 4;
/// A ratio of lives nearer to one than this is called no difference.
const NO_DIFFERENCE: f64 = 1.2;

/// The finding: what hardness does to the life, or that it cannot be told.
pub fn title(of: Of, dots: &[LifeDot], curve: &[Band<f64>]) -> String {
    let noun = of.a_noun();
    let inside = range(dots).and_then(|(soft, hard)| {
        let known = softest_known(curve, soft)?;
        Some((soft, hard, known, at(curve, known)?, at(curve, hard)?))
    });
    let Some((soft, hard, known, in_soft, in_hard)) = inside else {
        return format!("How long {noun} lasts here is not known yet");
    };
    if hard - soft < 40.0 {
        return format!(
            "All water here is about equally hard: {noun} lasts about {} L",
            words::thousands(words::two_figures(in_soft))
        );
    }
    let mut said = if in_soft / in_hard >= NO_DIFFERENCE {
        // the softest with a life on the chart, which need not be the fleet's softest
        format!(
            "{} lasts about {} L in water of {hard:.0} mg/L, {} L at {known:.0} mg/L",
            words::capital(noun),
            words::thousands(words::two_figures(in_hard)),
            words::thousands(words::two_figures(in_soft))
        )
    } else if in_hard / in_soft >= NO_DIFFERENCE {
        format!("Harder water does not shorten the life of {noun} here")
    } else {
        format!("Hardness makes little difference to how long {noun} lasts here")
    };
    if dots.len() < FEW {
        said.push_str(" (mostly from typical trade figures so far)");
    }
    said
}

/// What a reader who cannot see the chart needs.
pub fn alternative(of: Of, dots: &[LifeDot], curve: &[Band<f64>]) -> String {
    let seen = dots.iter().filter(|d| d.seen).count();
    format!(
        "{}. Litres until the limit against hardness in mg/L: {} seen to their limit, {} forecast, with the best estimate and the likely range of a new one.",
        title(of, dots, curve),
        words::count(seen, "life", "lives"),
        dots.len() - seen,
    )
}

/// At most so many lives in the table.
const IN_TABLE: usize = 60;

/// The numbers of the chart: the fit first, then the lives.
pub fn table(of: Of, dots: &[LifeDot], curve: &[Band<f64>]) -> Table {
    let litres = |v: f64| {
        if v.is_finite() {
            words::thousands(words::two_figures(v))
        } else {
            "no limit in sight".to_owned()
        }
    };
    let mut rows: Vec<Vec<String>> = curve
        .iter()
        .map(|b| {
            vec![
                format!("{:.0}", b.x),
                litres(b.p50),
                format!("new one, likely {} to {}", litres(b.p10), litres(b.p90)),
            ]
        })
        .collect();
    rows.extend(dots.iter().take(IN_TABLE).map(|d| {
        let how = if d.seen {
            "reached its limit"
        } else {
            "forecast"
        };
        vec![
            format!("{:.0}", d.hardness_mg_l_caco3),
            litres(d.litres),
            how.to_owned(),
        ]
    }));
    Table {
        caption: format!("Litres that {} lasts until its limit", of.a_noun()),
        heads: vec!["Hardness, mg/L", "Litres", "How known"],
        rows,
    }
}

fn range(dots: &[LifeDot]) -> Option<(f64, f64)> {
    let low = dots
        .iter()
        .map(|d| d.hardness_mg_l_caco3)
        .min_by(f64::total_cmp)?;
    let high = dots
        .iter()
        .map(|d| d.hardness_mg_l_caco3)
        .max_by(f64::total_cmp)?;
    Some((low, high))
}

/// The softest water, from `soft` on, for which the curve has a middle: in
/// still softer water the limit may never be met.
fn softest_known(curve: &[Band<f64>], soft: f64) -> Option<f64> {
    if at(curve, soft).is_some() {
        return Some(soft);
    }
    let mut known = curve.iter().filter(|b| b.x >= soft && b.p50.is_finite());
    known.next().map(|b| b.x)
}

/// The curve's middle at a hardness, between its neighbours; `None` outside.
fn at(curve: &[Band<f64>], x: f64) -> Option<f64> {
    curve.windows(2).find_map(|pair| {
        let &[a, b] = pair else { return None };
        let inside = a.x <= x && x <= b.x && b.x > a.x;
        let value = a.p50 + (b.p50 - a.p50) * (x - a.x) / (b.x - a.x);
        (inside && value.is_finite()).then_some(value)
    })
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, of: Of, dots: &[LifeDot], curve: &[Band<f64>]) {
    let rest = heading(
        canvas,
        area,
        &title(of, dots, curve),
        "litres until the limit",
    );
    if dots.is_empty() && curve.is_empty() {
        let text = "Nothing to draw yet: this needs readings, fills and the hardness of the water.";
        return instead(canvas, rest, text);
    }
    let (x, y) = axes(dots, curve);
    let curve = among(dots, curve);
    let rest = key::draw(canvas, rest, &keys(of, dots, curve, y.high));
    let Some(panel) = frame(canvas, rest, &x, &y, "hardness, mg/L as CaCO₃") else {
        return;
    };
    draw_curve(&panel, of, curve);
    for dot in dots {
        draw_dot(canvas, &panel, of, dot);
    }
}

fn axes(dots: &[LifeDot], curve: &[Band<f64>]) -> (Axis, Axis) {
    let hardest = dots
        .iter()
        .map(|d| d.hardness_mg_l_caco3)
        .fold(0.0, f64::max);
    let widest = curve.last().map_or(0.0, |b| b.x);
    let x_top = if hardest > 0.0 {
        nice_top(hardest * 1.05, 5)
    } else {
        nice_top(widest.max(100.0), 5)
    };
    // where the fleet's lives were seen and the curve runs between its waters;
    // forecasts far beyond, in very soft water, must not flatten all that
    let seen = dots.iter().filter(|d| d.seen).map(|d| d.litres);
    let softest = range(dots).map_or(0.0, |(soft, _)| soft);
    let between = curve.iter().filter(|b| b.x >= softest && b.x <= x_top);
    let base = seen
        .chain(between.map(|b| b.p50))
        .filter(|l| l.is_finite())
        .fold(0.0, f64::max);
    let all = dots.iter().map(|d| d.litres).filter(|l| l.is_finite());
    let most = all.fold(base, f64::max);
    let y_top = if base > 0.0 {
        most.min(base * 1.6)
    } else {
        most.max(1000.0)
    };
    let y_top = nice_top(y_top * 1.1, 5);
    let thousands = |v: f64, _| words::thousands(v);
    (
        Axis::numbers((0.0, x_top), 5, thousands),
        Axis::numbers((0.0, y_top), 5, thousands),
    )
}

/// A filled dot where the limit was seen, a ring where it is forecast; a life
/// beyond the chart's top is a triangle there.
fn draw_dot(canvas: &mut Canvas, panel: &Panel, of: Of, dot: &LifeDot) {
    let spot = panel.at(dot.hardness_mg_l_caco3, dot.litres);
    if dot.litres > panel.y().high {
        canvas.mark(Shape::Triangle, (spot.0, spot.1 + 6.0), 6.0, of.ink());
        return;
    }
    let shape = if dot.seen { Shape::Circle } else { Shape::Ring };
    canvas.mark(Shape::Circle, spot, 7.6, look::PAPER);
    canvas.mark(shape, spot, 6.2, of.ink());
}

/// The part of the curve that lies among the lives, or just beside them: further
/// out nothing has been seen.
fn among<'a>(dots: &[LifeDot], curve: &'a [Band<f64>]) -> &'a [Band<f64>] {
    let Some((soft, hard)) = range(dots) else {
        return curve;
    };
    let from = curve.partition_point(|b| b.x < soft - BESIDE);
    let to = curve.partition_point(|b| b.x <= hard + BESIDE);
    curve.get(from..to).unwrap_or(curve)
}

fn draw_curve(panel: &Panel, of: Of, curve: &[Band<f64>]) {
    let band: Vec<(f64, f64, f64)> = curve.iter().map(|b| (b.x, b.p10, b.p90)).collect();
    panel.band(&band, of.ink());
    let middle: Vec<(f64, f64)> = curve.iter().map(|b| (b.x, b.p50)).collect();
    panel.line(&middle, of.ink(), 2.6);
}

/// What is drawn: `top` is where the scale ends.
fn keys(of: Of, dots: &[LifeDot], curve: &[Band<f64>], top: f64) -> Vec<(Key, &'static str)> {
    let shown = |wanted: &dyn Fn(&LifeDot) -> bool| dots.iter().any(wanted);
    let all = [
        (
            shown(&|d| d.seen && d.litres <= top),
            Key::Mark(Shape::Circle, of.ink()),
            "reached its limit",
        ),
        (
            shown(&|d| !d.seen && d.litres <= top),
            Key::Mark(Shape::Ring, of.ink()),
            "forecast",
        ),
        (!curve.is_empty(), Key::Line(of.ink()), "best estimate"),
        (
            !curve.is_empty(),
            Key::Range(of.ink()),
            "likely range (4 in 5) of a new one",
        ),
        (
            shown(&|d| d.litres > top),
            Key::Mark(Shape::Triangle, of.ink()),
            "off the scale",
        ),
    ];
    let drawn = all.into_iter().filter(|(drawn, ..)| *drawn);
    drawn.map(|(_, key, text)| (key, text)).collect()
}
