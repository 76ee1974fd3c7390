//! A sketch as a drawing that stands inside an HTML page. Inks are classes, so
//! that dark screens and paper have their own; text takes the measured width
//! in whatever font there is, so that what does not collide here does not
//! collide there.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::look::{Ink, Type};
use super::night::by_night;
use super::rect::Rect;
use super::strokes::{Sketch, Stroke};

/// Adds the drawing to `out`, and the inks that it needs to `inks`. It says
/// nothing to a screen reader: what it shows is told beside it.
pub fn draw(out: &mut String, sketch: &Sketch, inks: &mut BTreeSet<Ink>) {
    let (width, height) = sketch.size;
    let _ = write!(
        out,
        "<svg viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" aria-hidden=\"true\">"
    );
    strokes(out, sketch, inks);
    out.push_str("</svg>");
}

/// Adds what is drawn, without the frame around it.
pub fn strokes(out: &mut String, sketch: &Sketch, inks: &mut BTreeSet<Ink>) {
    let mut rest = sketch.strokes.as_slice();
    while let Some(first) = rest.first() {
        let alike = rest
            .iter()
            .take_while(|next| can_join(first, next))
            .count()
            .max(1);
        let (group, after) = rest.split_at(alike);
        inks.insert(first.ink());
        together(out, group);
        rest = after;
    }
}

/// The classes of inks and faces, light on dark screens.
pub fn style(inks: &BTreeSet<Ink>) -> String {
    let mut out = String::new();
    out.push_str(":root{");
    for ink in inks {
        let _ = write!(out, "--{}:{};", name(*ink), css(*ink));
    }
    out.push_str("}\n@media screen and (prefers-color-scheme:dark){:root{");
    for ink in inks {
        let _ = write!(out, "--{}:{};", name(*ink), css(by_night(*ink)));
    }
    out.push_str("}}\n");
    for ink in inks {
        let name = name(*ink);
        let _ = writeln!(
            out,
            ".f{name}{{fill:var(--{name})}}.s{name}{{stroke:var(--{name})}}"
        );
    }
    out
}

fn name(Ink(r, g, b): Ink) -> String {
    format!("i{r:02x}{g:02x}{b:02x}")
}

fn css(Ink(r, g, b): Ink) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Whether `next` can go into one path with `first`.
fn can_join(first: &Stroke, next: &Stroke) -> bool {
    first.ink() == next.ink()
        && match (first, next) {
            (Stroke::Fill { .. }, Stroke::Fill { .. }) => true,
            (Stroke::Disc { radius: a, .. }, Stroke::Disc { radius: b, .. }) => a == b,
            _ => false,
        }
}

fn together(out: &mut String, group: &[Stroke]) {
    let Some(first) = group.first() else { return };
    let ink = name(first.ink());
    match first {
        Stroke::Fill { .. } => {
            let _ = write!(out, "<path class=\"f{ink}\" d=\"");
            for stroke in group {
                if let Stroke::Fill { area, .. } = stroke {
                    out.push('M');
                    pair(out, (area.x0, area.y0));
                    out.push('h');
                    number(out, area.width());
                    out.push('v');
                    number(out, area.height());
                    out.push('h');
                    number(out, -area.width());
                    out.push('z');
                }
            }
            out.push_str("\"/>");
        }
        // a round end of a line of no length is a circle, in few letters
        Stroke::Disc { radius, .. } => {
            let _ = write!(out, "<path class=\"s{ink} o\" stroke-width=\"");
            number(out, 2.0 * radius);
            out.push_str("\" d=\"");
            for stroke in group {
                if let Stroke::Disc { at, .. } = stroke {
                    out.push('M');
                    pair(out, *at);
                    out.push_str("h0");
                }
            }
            out.push_str("\"/>");
        }
        Stroke::Polygon { corners, .. } => {
            let _ = write!(out, "<path class=\"f{ink}\" d=\"");
            path(out, corners);
            out.push_str("z\"/>");
        }
        Stroke::Line { points, width, .. } => line(out, &ink, points, *width, ""),
        Stroke::Dashes {
            points,
            width,
            dash,
            ..
        } => {
            let pattern = format!(" stroke-dasharray=\"{} {}\"", dash.0, dash.1);
            line(out, &ink, points, *width, &pattern);
        }
        Stroke::Text {
            text,
            area,
            baseline,
            face,
        } => label(out, &ink, text, *area, *baseline, face),
    }
}

fn line(out: &mut String, ink: &str, points: &[(f64, f64)], width: f64, pattern: &str) {
    let _ = write!(out, "<path class=\"s{ink} l\" stroke-width=\"");
    number(out, width);
    let _ = write!(out, "\"{pattern} d=\"");
    path(out, points);
    out.push_str("\"/>");
}

fn label(out: &mut String, ink: &str, text: &str, area: Rect, baseline: f64, face: &Type) {
    let bold = if face.bold { " b" } else { "" };
    let _ = write!(out, "<text class=\"t{:.0}{bold} f{ink}\" x=\"", face.size);
    number(out, area.x0);
    out.push_str("\" y=\"");
    number(out, baseline);
    // the last pixel of a measured width is air
    out.push_str("\" textLength=\"");
    number(out, (area.width() - 1.0).max(1.0));
    let _ = write!(
        out,
        "\" lengthAdjust=\"spacingAndGlyphs\">{}</text>",
        super::html::escaped(text)
    );
}

fn path(out: &mut String, points: &[(f64, f64)]) {
    for (i, point) in points.iter().enumerate() {
        out.push(if i == 0 { 'M' } else { 'L' });
        pair(out, *point);
    }
}

fn pair(out: &mut String, (x, y): (f64, f64)) {
    number(out, x);
    out.push(' ');
    number(out, y);
}

/// One decimal, none where it is nought.
fn number(out: &mut String, value: f64) {
    let tenths = (value * 10.0).round();
    // no `-0`
    let tenths = if tenths == 0.0 { 0.0 } else { tenths };
    if tenths % 10.0 == 0.0 {
        let _ = write!(out, "{:.0}", tenths / 10.0);
    } else {
        let _ = write!(out, "{:.1}", tenths / 10.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::canvas::{Align, draw_untitled};
    use crate::report::look::{self, Shape};

    #[test]
    fn dots_of_one_ink_share_a_path_and_text_keeps_its_measure()
    -> Result<(), Box<dyn std::error::Error>> {
        let mut width = 0.0;
        let sketch = draw_untitled((100, 50), |c| {
            for x in [10.0, 20.04, 30.26] {
                c.mark(Shape::Circle, (x, 5.0), 3.0, look::MEMBRANE);
            }
            c.fill(Rect::at(0.0, 0.0, 10.0, 2.5), look::GRID);
            width = c.width_of("a < b & \"c\"", &look::SMALL);
            c.text("a < b & \"c\"", (1.0, 40.0), &look::SMALL, Align::Left);
        })?;
        let (mut out, mut inks) = (String::new(), BTreeSet::new());
        draw(&mut out, &sketch, &mut inks);
        assert!(out.contains("d=\"M10 5h0M20 5h0M30.3 5h0\""), "{out}");
        assert!(out.contains("M0 0h10v2.5h-10z"), "{out}");
        assert!(
            out.contains(">a &lt; b &amp; &quot;c&quot;</text>"),
            "{out}"
        );
        let measured = format!("textLength=\"{}\"", width - 1.0);
        assert!(out.contains(&measured), "{out} {measured}");
        assert_eq!(inks.len(), 3);
        let style = style(&inks);
        assert_eq!(style.matches("--i00316f:").count(), 2, "{style}");
        Ok(())
    }
}
