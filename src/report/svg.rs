//! A sketch as a drawing that stands inside an HTML page. Inks are classes, so
//! that dark screens and paper have their own; text takes the measured width
//! in whatever font there is, so that what does not collide here does not
//! collide there.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::display_list::{DisplayList, Stroke};
use super::look::{self, Ink, Type};
use super::night::by_night;
use super::rect::Rect;

/// Adds the drawing to `out`, and the inks that it needs to `inks`. It says
/// nothing to a screen reader: what it shows is told beside it.
pub fn draw(out: &mut String, sketch: &DisplayList, inks: &mut BTreeSet<Ink>) {
    let (width, height) = sketch.size;
    let _ = write!(
        out,
        "<svg viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" aria-hidden=\"true\">"
    );
    strokes(out, sketch, inks);
    out.push_str("</svg>");
}

/// Adds what is drawn, without the frame around it.
pub fn strokes(out: &mut String, sketch: &DisplayList, inks: &mut BTreeSet<Ink>) {
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
    for size in look::SIZES {
        let _ = writeln!(out, ".t{size:.0}{{font-size:{size}px}}");
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
            (Stroke::Fill { .. }, Stroke::Fill { .. })
            // markers all turn the same way, so that where they overlap is filled too
            | (Stroke::Polygon { .. }, Stroke::Polygon { .. }) => true,
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
            let mut pen = Pen::default();
            for stroke in group {
                if let Stroke::Fill { area, .. } = stroke {
                    let (wide, high) = (tenths(area.width()), tenths(area.height()));
                    pen.move_to(out, (area.x0, area.y0));
                    number(out, 'h', wide);
                    number(out, 'v', high);
                    number(out, 'h', -wide);
                    pen.close(out);
                }
            }
            out.push_str("\"/>");
        }
        // a round end of a line of no length is a circle, in few letters
        Stroke::Disc { radius, .. } => {
            let _ = write!(out, "<path class=\"s{ink} o\" stroke-width=\"");
            decimal(out, tenths(2.0 * radius));
            out.push_str("\" d=\"");
            let mut pen = Pen::default();
            for stroke in group {
                if let Stroke::Disc { at, .. } = stroke {
                    pen.move_to(out, *at);
                    out.push_str("h0");
                }
            }
            out.push_str("\"/>");
        }
        Stroke::Polygon { .. } => {
            let _ = write!(out, "<path class=\"f{ink}\" d=\"");
            let mut pen = Pen::default();
            for stroke in group {
                if let Stroke::Polygon { corners, .. } = stroke {
                    pen.path(out, corners);
                    pen.close(out);
                }
            }
            out.push_str("\"/>");
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
    decimal(out, tenths(width));
    let _ = write!(out, "\"{pattern} d=\"");
    Pen::default().path(out, points);
    out.push_str("\"/>");
}

fn label(out: &mut String, ink: &str, text: &str, area: Rect, baseline: f64, face: &Type) {
    let bold = if face.bold { " b" } else { "" };
    let _ = write!(out, "<text class=\"t{:.0}{bold} f{ink}\" x=\"", face.size);
    decimal(out, tenths(area.x0));
    out.push_str("\" y=\"");
    decimal(out, tenths(baseline));
    // the last pixel of a measured width is air
    out.push_str("\" textLength=\"");
    decimal(out, tenths((area.width() - 1.0).max(1.0)));
    out.push_str("\" lengthAdjust=\"spacingAndGlyphs\">");
    let _ = maud::Escaper::new(out).write_str(text);
    out.push_str("</text>");
}

/// Where a path is, in tenths of a pixel. Steps are told from there: they take
/// half the room of places.
#[derive(Debug, Default)]
struct Pen {
    at: Option<(i64, i64)>,
    /// Where closing leads back to.
    start: (i64, i64),
    /// Whether a step may follow a step without its letter.
    goes_on: bool,
}

impl Pen {
    fn path(&mut self, out: &mut String, points: &[(f64, f64)]) {
        let Some((first, rest)) = points.split_first() else {
            return;
        };
        self.move_to(out, *first);
        for point in rest {
            self.line_to(out, *point);
        }
    }

    fn close(&mut self, out: &mut String) {
        out.push('z');
        self.at = Some(self.start);
    }

    fn move_to(&mut self, out: &mut String, (x, y): (f64, f64)) {
        let to = (tenths(x), tenths(y));
        match self.at {
            None => pair(out, 'M', to),
            Some(at) => pair(out, 'm', (to.0 - at.0, to.1 - at.1)),
        }
        self.at = Some(to);
        self.start = to;
        self.goes_on = false;
    }

    fn line_to(&mut self, out: &mut String, (x, y): (f64, f64)) {
        let (to, at) = ((tenths(x), tenths(y)), self.at.unwrap_or_default());
        if to == at {
            return;
        }
        let letter = if self.goes_on { ' ' } else { 'l' };
        pair(out, letter, (to.0 - at.0, to.1 - at.1));
        self.at = Some(to);
        self.goes_on = true;
    }
}

fn tenths(value: f64) -> i64 {
    (value * 10.0).round() as i64
}

fn pair(out: &mut String, letter: char, (x, y): (i64, i64)) {
    number(out, letter, x);
    number(out, ' ', y);
}

/// A number of a path behind its letter; a minus needs no space before it.
fn number(out: &mut String, letter: char, tenths: i64) {
    if letter != ' ' || tenths >= 0 {
        out.push(letter);
    }
    decimal(out, tenths);
}

/// One decimal, none where it is nought.
fn decimal(out: &mut String, tenths: i64) {
    let sign = if tenths < 0 { "-" } else { "" };
    let (whole, part) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
    let _ = match (whole, part) {
        (whole, 0) => write!(out, "{sign}{whole}"),
        (0, part) => write!(out, "{sign}.{part}"),
        (whole, part) => write!(out, "{sign}{whole}.{part}"),
    };
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
        assert!(out.contains("d=\"M10 5h0m10 0h0m10.3 0h0\""), "{out}");
        assert!(out.contains("M0 0h10v2.5h-10z"), "{out}");
        assert!(
            out.contains(">a &lt; b &amp; &quot;c&quot;</text>"),
            "{out}"
        );
        let measured = format!("textLength=\"{}\"", width - 1.0);
        assert!(out.contains(&measured), "{out} {measured}");
        assert_eq!(inks.len(), 3);
        let mut steps = String::new();
        Pen::default().path(
            &mut steps,
            &[(1.0, 2.0), (1.04, 2.0), (0.5, 2.5), (3.0, 2.5)],
        );
        assert_eq!(steps, "M1 2l-.5 .5 2.5 0");
        let style = style(&inks);
        assert_eq!(style.matches("--i00316f:").count(), 2, "{style}");
        Ok(())
    }
}
