//! Rejection of every membrane in use, the lowest first: now with its likely
//! range, a month ago, and the limit.

use crate::calendar::Date;

use crate::advise::{State, VanAssessment};
use crate::report::axis::{day_number, days_after};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::key::{self, Key};
use crate::report::charts::van_passage::{axis, limit_name, rejection};
use crate::report::look::{self, Shape, badge};
use crate::report::panel::{Rows, heading, instead, rows_that_fit};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words::{self, MEMBRANE_TDS, TAP_TDS};

/// The finding: who is nearest to the limit, or over it.
pub fn title(vans: &[&VanAssessment], limit: f64) -> String {
    let known: Vec<(&str, f64)> = vans
        .iter()
        .filter_map(|v| Some((v.van.as_str(), v.membrane.salt_passage.p50?)))
        .collect();
    let over = known.iter().filter(|(_, p)| *p >= limit).count();
    let Some((name, most)) = known.iter().max_by(|a, b| a.1.total_cmp(&b.1)) else {
        return "Rejection is not known for any RO membrane here".to_owned();
    };
    let limit = words::rejection_limit(limit);
    let worst = words::percent(1.0 - *most, 1);
    match (over, known.len()) {
        (0, 1) => format!("{name}: rejection {worst}, above the limit of {limit}"),
        (0, n) => {
            format!("All {n} vans above the rejection limit of {limit}, nearest {name}: {worst}")
        }
        (1, _) => format!("{name} is under the rejection limit of {limit}: {worst}"),
        (over, _) => {
            format!("{over} vans are under the rejection limit of {limit}, worst {name}: {worst}")
        }
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(vans: &[&VanAssessment], limit: f64) -> String {
    format!(
        "{}. One row per van, the lowest rejection first: rejection now with its likely range, rejection a month ago, and the limit as a dashed line.",
        title(vans, limit)
    )
}

/// The numbers of the chart.
pub fn table(vans: &[&VanAssessment]) -> Table {
    let unknown = || words::UNKNOWN.to_owned();
    Table {
        caption: "Rejection of each RO membrane in use".to_owned(),
        heads: vec![
            "Van",
            "State",
            "Litres through it",
            "Rejection",
            "Likely between",
        ],
        rows: vans
            .iter()
            .map(|v| {
                let m = &v.membrane;
                let between = m.salt_passage.p10.zip(m.salt_passage.p90);
                vec![
                    v.van.clone(),
                    words::state(m.state).to_owned(),
                    m.litres_made
                        .map_or_else(unknown, |l| words::thousands(words::two_figures(l))),
                    m.salt_passage
                        .p50
                        .map_or_else(unknown, |p| words::percent(1.0 - p, 1)),
                    between.map_or_else(unknown, |(low, high)| {
                        let say = |passage| words::percent(1.0 - passage, 1);
                        format!("{} and {}", say(high), say(low))
                    }),
                ]
            })
            .collect(),
    }
}

/// Height of a row, at least and at most, px.
const ROW: (f64, f64) = (22.0, 28.0);
/// Days back to the mark of last month.
const MONTH: i32 = 30;

/// The height that a chart of so many membranes takes without its title, px.
pub fn height_of(membranes: usize) -> u32 {
    (130.0 + ROW.1 * membranes as f64) as u32
}

/// A membrane's rejection in percent: now, its likely range, a month ago.
struct Now<'a> {
    van: &'a VanAssessment,
    rejection: f64,
    range: Option<(f64, f64)>,
    month_ago: Option<f64>,
}

/// Membranes whose rejection is known, the lowest first.
fn sorted<'a>(vans: &[&'a VanAssessment], as_of: Date) -> Vec<Now<'a>> {
    let mut list: Vec<Now<'a>> = vans
        .iter()
        .filter_map(|van| {
            let now = &van.membrane.salt_passage;
            let day = days_after(as_of, -MONTH);
            let path = van.series.salt_passage_path.as_slice();
            let month_ago = path.windows(2).find_map(|pair| {
                let &[a, b] = pair else { return None };
                let (from, to) = (day_number(a.x), day_number(b.x));
                let share = (day_number(day) - from) / (to - from);
                let inside = (0.0..=1.0).contains(&share);
                inside.then(|| rejection(a.p50 + (b.p50 - a.p50) * share))
            });
            Some(Now {
                van,
                rejection: rejection(now.p50?),
                range: now.p90.map(rejection).zip(now.p10.map(rejection)),
                month_ago,
            })
        })
        .collect();
    list.sort_by(|a, b| {
        let by_name = || a.van.van.cmp(&b.van.van);
        a.rejection.total_cmp(&b.rejection).then_with(by_name)
    });
    list
}

/// Draws the chart with its title: a row for each membrane, the lowest rejection
/// at the top, as many as fit.
pub fn draw(canvas: &mut Canvas, area: Rect, vans: &[&VanAssessment], as_of: Date, limit: f64) {
    let unit = "Rejection now, %; lowest at the top";
    let rest = heading(canvas, area, &title(vans, limit), unit);
    let all = sorted(vans, as_of);
    if all.is_empty() {
        return instead(
            canvas,
            rest,
            &format!(
                "No RO membrane here has readings of {TAP_TDS} and {MEMBRANE_TDS} together yet."
            ),
        );
    }
    let keys = [
        (Key::Mark(badge(State::OnCourse).0, look::MUTED), "now"),
        (Key::Line(look::MEMBRANE_READING), "likely range (4 in 5)"),
        (Key::Mark(Shape::Ring, look::MUTED), "a month ago"),
        (Key::Dashes(look::LIMIT), &limit_name(limit)),
    ];
    let rest = key::draw(canvas, rest, &keys);
    let (fits, rest) = rows_that_fit(rest, ROW.0, all.len());
    let shown = all.get(..fits).unwrap_or_default();
    let lowest = shown.iter().map(|n| n.range.map_or(n.rejection, |r| r.0));
    let x = axis(lowest, limit);
    let left_out = all.len() - shown.len();
    let frame_area = Rect {
        x1: rest.x1 - VALUE,
        ..rest
    };
    let names = shown.iter().map(|n| n.van.van.clone());
    let face = look::SMALL_BOLD;
    let widest = (&face, 0.26);
    let Some(rows) = Rows::framed(canvas, frame_area, names, widest, (&x, ""), ROW.1) else {
        return;
    };
    let panel = &rows.panel;
    panel.upright(rejection(limit), look::LIMIT, 2.0, (9.0, 5.0));
    for (i, now) in shown.iter().enumerate() {
        let middle = rows.named(i, &face);
        let base = middle + face.below_middle();
        let at = |value: f64| panel.x_px(value);
        if let Some((low, high)) = now.range {
            let ends = [(at(low), middle), (at(high), middle)];
            canvas.line(&ends, look::MEMBRANE_READING, 3.0);
        }
        if let Some(before) = now.month_ago.filter(|v| x.holds(*v)) {
            canvas.mark(Shape::Ring, (at(before), middle), 6.0, look::MUTED);
        }
        let (shape, ink) = badge(now.van.membrane.state);
        canvas.mark(shape, (at(now.rejection), middle), 7.5, ink);
        let value = format!("{:.1}", now.rejection);
        canvas.text(&value, (rest.x1, base), &look::SMALL, Align::Right);
    }
    if left_out > 0 {
        let vans = words::count(left_out, "van", "vans");
        rows.left_out(&format!("and {vans} with a higher rejection"));
    }
}

/// Room for the value at the right, px.
const VALUE: f64 = 50.0;
