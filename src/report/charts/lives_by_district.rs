//! How long the next membrane or filling of resin will last, district by
//! district: a bar from unlikely short to unlikely long, a mark in the middle.

use crate::advise::{AreaAssessment, Span};
use crate::report::axis::{Axis, Tick};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::life_by_hardness::Of;
use crate::report::look::{self, Shape};
use crate::report::panel::{Rows, heading};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// At most so many districts in one chart; the one in question is among them.
const MOST: usize = 12;

fn life(area: &AreaAssessment, of: Of) -> &Span<f64> {
    match of {
        Of::Membrane => &area.membrane_life_litres,
        Of::Resin => &area.resin_life_litres,
    }
}

fn noun(of: Of) -> &'static str {
    match of {
        Of::Membrane => "RO membrane",
        Of::Resin => "resin refill",
    }
}

/// The finding over all districts: where one wears out clearly sooner than in
/// another. It is said only where each one's middle lies outside of what is
/// likely in the other.
pub fn title_of_all(of: Of, areas: &[AreaAssessment]) -> String {
    let verb = match of {
        Of::Membrane => "wears RO membranes out",
        Of::Resin => "uses DI resin up",
    };
    let known = || areas.iter().filter_map(|a| Some((a, life(a, of).p50?)));
    let short = known().min_by(|a, b| a.1.total_cmp(&b.1));
    let long = known().max_by(|a, b| a.1.total_cmp(&b.1));
    let (Some((fast, few)), Some((slow, many))) = (short, long) else {
        return format!(
            "How long a new {} lasts is not known in any district yet",
            noun(of)
        );
    };
    if known().count() < 2 {
        return format!(
            "A new {} in {} lasts about {}",
            noun(of),
            fast.postcode,
            words::litres_short(life(fast, of))
        );
    }
    let apart = life(slow, of).p10.is_some_and(|low| few < low)
        && life(fast, of).p90.is_some_and(|high| many > high);
    if !apart {
        return "No clear difference between districts".to_owned();
    }
    let how = match many / few {
        r if r >= 2.75 => format!("{r:.0} times as fast as"),
        r if r >= 1.75 => "about twice as fast as".to_owned(),
        r => format!("{r:.1} times as fast as"),
    };
    format!("{} {verb} {how} {}", fast.postcode, slow.postcode)
}

/// The finding for one district: its life, and how it compares with the others;
/// over all of them where `this` is empty.
pub fn title(of: Of, areas: &[AreaAssessment], this: &str) -> String {
    if this.is_empty() {
        return title_of_all(of, areas);
    }
    let noun = noun(of);
    let Some(own) = areas.iter().find(|a| a.postcode == this) else {
        return format!("How long a new {noun} lasts here is not known yet");
    };
    let Some(middle) = life(own, of).p50 else {
        return match life(own, of).p10 {
            Some(low) => format!(
                "A new {noun} in {this} will likely last over {} L",
                words::thousands(words::two_figures(low))
            ),
            None => format!("A new {noun} in {this}: no limit in sight"),
        };
    };
    let others: Vec<f64> = areas
        .iter()
        .filter(|a| a.postcode != this)
        .filter_map(|a| life(a, of).p50)
        .collect();
    let says = format!(
        "A new {noun} in {this} lasts about {}",
        words::litres_short(life(own, of)).trim_end()
    );
    let Some(typical) = middle_of(&others) else {
        return says;
    };
    let ratio = middle / typical;
    if ratio >= 1.25 {
        format!("{says}, {} as much as elsewhere", times(ratio))
    } else if ratio <= 0.8 {
        format!("{says}, {:.0} % less than elsewhere", (1.0 - ratio) * 100.0)
    } else {
        format!("{says}, much like elsewhere")
    }
}

fn times(ratio: f64) -> String {
    let decimals = usize::from(ratio < 10.0);
    format!("{ratio:.decimals$} times")
}

fn middle_of(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let upper = sorted.get(sorted.len() / 2)?;
    let lower = sorted.get(sorted.len().saturating_sub(1) / 2)?;
    Some(0.5 * (lower + upper))
}

/// What a reader who cannot see the chart needs.
pub fn alternative(of: Of, areas: &[AreaAssessment], this: &str) -> String {
    format!(
        "{}. One bar per district from the likely shortest to the likely longest life, in litres.",
        title(of, areas, this)
    )
}

/// The numbers of the chart.
pub fn table(of: Of, areas: &[AreaAssessment], this: &str) -> Table {
    let litres = |v: Option<f64>| {
        v.map_or("beyond ten years".to_owned(), |l| {
            words::thousands(words::two_figures(l))
        })
    };
    Table {
        caption: format!("Litres that a new {} will last until its limit", noun(of)),
        heads: vec![
            "District",
            "Hardness, mg/L",
            "Best estimate",
            "Likely between",
        ],
        rows: chosen(areas, of, this)
            .into_iter()
            .map(|a| {
                let span = life(a, of);
                let known = span.p10.is_some() || span.p50.is_some();
                let or_unknown = |said: String| {
                    if known {
                        said
                    } else {
                        words::UNKNOWN.to_owned()
                    }
                };
                vec![
                    a.postcode.clone(),
                    a.hardness_mg_l_caco3
                        .map_or(words::UNKNOWN.to_owned(), |h| format!("{h:.0}")),
                    or_unknown(litres(span.p50)),
                    or_unknown(format!("{} and {}", litres(span.p10), litres(span.p90))),
                ]
            })
            .collect(),
    }
}

/// The districts to draw: all, or those nearest in hardness to `this`.
fn chosen<'a>(areas: &'a [AreaAssessment], of: Of, this: &str) -> Vec<&'a AreaAssessment> {
    let own = areas
        .iter()
        .find(|a| a.postcode == this)
        .and_then(|a| a.hardness_mg_l_caco3);
    let mut shown: Vec<&AreaAssessment> = areas
        .iter()
        .filter(|a| a.postcode == this || life(a, of).p10.is_some())
        .collect();
    let far = |a: &&AreaAssessment| match (a.postcode == this, a.hardness_mg_l_caco3, own) {
        (true, _, _) => -1.0,
        (_, Some(h), Some(own)) => (h - own).abs(),
        _ => f64::MAX,
    };
    shown.sort_by(|a, b| far(a).total_cmp(&far(b)));
    shown.truncate(MOST);
    shown.sort_by(|a, b| {
        let h = |a: &&AreaAssessment| a.hardness_mg_l_caco3.unwrap_or(f64::MAX);
        h(a).total_cmp(&h(b))
            .then_with(|| a.postcode.cmp(&b.postcode))
    });
    shown
}

/// The axis: litres by their logarithm, since lives differ tenfold with the
/// water. Ticks stand at 1, 2 and 5 times powers of ten.
fn axis(shown: &[&AreaAssessment], of: Of) -> Axis {
    let spans = || shown.iter().map(|a| life(a, of));
    let low = spans().filter_map(|s| s.p10).fold(f64::INFINITY, f64::min);
    let high = spans().filter_map(|s| s.p90.or(s.p50).or(s.p10));
    let high = high.fold(0.0, f64::max);
    let (low, high) = if low.is_finite() && low > 0.0 && high > 0.0 {
        (low * 0.8, (high * 1.2).max(low * 4.0))
    } else {
        (1_000.0, 100_000.0)
    };
    let (from, to) = (low.log10().floor() as i32, high.log10().ceil() as i32);
    let round = (from..=to).flat_map(|p| [1.0, 2.0, 5.0].map(|m| m * 10_f64.powi(p)));
    let ticks = round.filter(|v| (low..=high).contains(v));
    Axis {
        low: low.log10(),
        high: high.log10(),
        ticks: ticks
            .map(|v| Tick {
                value: v.log10(),
                label: words::thousands(v),
            })
            .collect(),
    }
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, of: Of, areas: &[AreaAssessment], this: &str) {
    let ink = match of {
        Of::Membrane => look::MEMBRANE,
        Of::Resin => look::RESIN,
    };
    let unit =
        "litres until the limit; bar = likely range, mark = best estimate; softest water first";
    let rest = heading(canvas, area, &title(of, areas, this), unit);
    let shown = chosen(areas, of, this);
    let face = look::SMALL_BOLD;
    let x = axis(&shown, of);
    let names = shown.iter().map(|a| match a.hardness_mg_l_caco3 {
        Some(h) => format!("{} · {h:.0} mg/L", a.postcode),
        None => a.postcode.clone(),
    });
    let (face_and_share, x) = ((&face, 0.34), (&x, "litres"));
    let Some(rows) = Rows::framed(canvas, rest, names, face_and_share, x, 76.0) else {
        return;
    };
    let panel = &rows.panel;
    for (i, district) in shown.iter().enumerate() {
        let own = district.postcode == this;
        let middle = rows.named(i, if own { &face } else { &look::SMALL });
        let span = life(district, of);
        let Some(low) = span.p10 else {
            canvas.text(
                "no limit in sight",
                (panel.plot.x0 + 8.0, middle + look::SMALL.below_middle()),
                &look::SMALL,
                Align::Left,
            );
            continue;
        };
        let half = if own { 9.0 } else { 6.0 };
        let high = span.p90.map(f64::log10);
        rows.range((middle, half), (low.log10(), high), None, ink);
        if let Some(best) = span.p50 {
            let shape = if own { Shape::Diamond } else { Shape::Circle };
            let spot = (panel.x_px(best.log10()), middle);
            canvas.mark(shape, spot, if own { 8.0 } else { 5.5 }, ink);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture::assessment;

    fn area(postcode: &str, life: f64, spread: f64) -> AreaAssessment {
        let span = Span {
            p10: Some(life / spread),
            p50: Some(life),
            p90: Some(life * spread),
        };
        let mut area = assessment().areas.swap_remove(0);
        area.postcode = postcode.to_owned();
        area.membrane_life_litres = span;
        area.resin_life_litres = Span::unknown();
        area
    }

    #[test]
    fn a_difference_is_claimed_only_where_spans_are_apart() {
        let all = |spread| [area("QA3", 50_000.0, spread), area("QB1", 98_000.0, spread)];
        assert_eq!(
            title_of_all(Of::Membrane, &all(1.5)),
            "QA3 wears RO membranes out about twice as fast as QB1"
        );
        assert_eq!(
            title_of_all(Of::Membrane, &all(2.5)),
            "No clear difference between districts"
        );
        assert_eq!(
            title_of_all(Of::Membrane, &[area("QA3", 50_000.0, 1.5)]),
            "A new RO membrane in QA3 lasts about 50,000 L"
        );
        assert_eq!(
            title_of_all(Of::Resin, &all(1.5)),
            "How long a new resin refill lasts is not known in any district yet"
        );
    }
}
