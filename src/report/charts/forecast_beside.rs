//! Forecasts of the past beside what happened: for every part whose limit was
//! seen, the likely span given some time before, and the day it came.

use crate::backtest::Beside;
use crate::calendar::DateExt;
use crate::report::axis::{Axis, nice_top};
use crate::report::canvas::Canvas;
use crate::report::charts::key::{self, Key};
use crate::report::charts::life_by_hardness::Of;
use crate::report::look::{self, Ink, Shape};
use crate::report::panel::{Rows, heading, instead, rows_that_fit};
use crate::report::rect::Rect;
use crate::report::table::Table;
use crate::report::words;

/// At most so many parts in one chart: the last ones.
const MOST: usize = 22;
/// Distance between two rows, px.
const PITCH: f64 = 30.0;
const LEAST_PITCH: f64 = 23.0;

fn nouns(of: Of) -> (&'static str, &'static str) {
    match of {
        Of::Membrane => ("RO membrane", "RO membranes"),
        Of::Resin => ("resin refill", "resin refills"),
    }
}

/// Those that the chart shows: the last ones.
pub fn shown(all: &[Beside]) -> &[Beside] {
    all.get(all.len().saturating_sub(MOST)..)
        .unwrap_or_default()
}

/// The finding: how often the day came within what was likely.
pub fn title(of: Of, all: &[Beside]) -> String {
    let (one, many) = nouns(of);
    // as far ahead as `backtest` takes them
    let before = match of {
        Of::Membrane => "three months before",
        Of::Resin => "four weeks before",
    };
    let list = shown(all);
    let held = list.iter().filter(|b| b.held()).count();
    match list.len() {
        0 => format!("No {one} has been seen to reach its limit yet"),
        1 if held == 1 => {
            format!("The one {one} seen to its limit reached it inside the range forecast {before}")
        }
        1 => format!(
            "The one {one} seen to its limit reached it outside the range forecast {before}"
        ),
        n => format!("{held} of {n} {many} reached the limit inside the range forecast {before}"),
    }
}

/// What a reader who cannot see the chart needs.
pub fn alternative(of: Of, all: &[Beside]) -> String {
    format!(
        "{}. For each, a bar from the likely earliest to the likely latest day, counted from the day of the forecast, and a mark on the day the limit came.",
        title(of, all)
    )
}

/// The numbers of the chart.
pub fn table(of: Of, all: &[Beside]) -> Table {
    let rows = shown(all)
        .iter()
        .map(|b| {
            let say = |day: Option<crate::calendar::Date>| {
                day.map_or("beyond ten years".to_owned(), words::day)
            };
            vec![
                b.van.clone(),
                words::day(b.made_on),
                format!("{} to {}", say(b.limit_on.p10), say(b.limit_on.p90)),
                words::day(b.came_on),
                if b.held() { "yes" } else { "no" }.to_owned(),
            ]
        })
        .collect();
    Table {
        caption: format!("Forecasts for {} and what came", nouns(of).1),
        heads: vec!["Van", "Forecast on", "Likely", "Limit came", "Within"],
        rows,
    }
}

/// The height that the chart takes without its title, px.
pub fn height_of(all: &[Beside]) -> u32 {
    (190.0 + PITCH * shown(all).len() as f64) as u32
}

/// Draws the chart with its title.
pub fn draw(canvas: &mut Canvas, area: Rect, of: Of, all: &[Beside]) {
    let ink = match of {
        Of::Membrane => look::MEMBRANE,
        Of::Resin => look::RESIN,
    };
    let unit = "One forecast each: van and day it was made; days until the limit";
    let rest = heading(canvas, area, &title(of, all), unit);
    let list = shown(all);
    if list.is_empty() {
        let text =
            "Nothing to compare the forecasts with yet: this fills as parts reach their limit.";
        return instead(canvas, rest, text);
    }
    // the last one at the top
    let list: Vec<&Beside> = list.iter().rev().collect();
    let rest = summary(canvas, rest, &list, ink);
    let (fits, rest) = rows_that_fit(rest, LEAST_PITCH, list.len());
    let list = list.get(..fits).unwrap_or_default();
    let days =
        |from: crate::calendar::Date, to: crate::calendar::Date| f64::from(to.days_since(from));
    let ends = list.iter().map(|b| {
        let high = b.limit_on.p90.map_or(0.0, |d| days(b.made_on, d));
        days(b.made_on, b.came_on).max(high.min(1.6 * days(b.made_on, b.came_on)))
    });
    let top = nice_top(ends.fold(30.0, f64::max), 6);
    let face = look::SMALL;
    let x = Axis::numbers((0.0, top), 6, |v, _| words::thousands(v));
    let names = list
        .iter()
        .map(|b| format!("{}, {}", b.van, words::day(b.made_on)));
    let x = (&x, "days after the forecast was made");
    let Some(rows) = Rows::framed(canvas, rest, names, (&face, 0.4), x, PITCH) else {
        return;
    };
    for (i, row) in list.iter().enumerate() {
        let middle = rows.named(i, &face);
        let after = |day: crate::calendar::Date| days(row.made_on, day);
        let early = row.limit_on.p10.map_or(f64::INFINITY, after);
        let span = (early, row.limit_on.p90.map(after));
        rows.range((middle, 6.5), span, row.limit_on.p50.map(after), ink);
        let spot = (rows.panel.x_px(after(row.came_on)), middle);
        if row.held() {
            canvas.mark(Shape::Diamond, spot, 6.5, ink);
        } else {
            canvas.mark(Shape::Cross, spot, 6.5, look::LIMIT);
        }
    }
}

/// How many limits came inside the likely range, earlier and later.
fn counted(list: &[&Beside]) -> [(usize, &'static str); 3] {
    let count = |which: fn(&Beside) -> bool| list.iter().filter(|b| which(b)).count();
    [
        (count(Beside::held), "inside the range"),
        (
            count(|b| !b.held() && b.limit_on.p10.is_some_and(|d| b.came_on < d)),
            "earlier",
        ),
        (
            count(|b| !b.held() && b.limit_on.p10.is_none_or(|d| b.came_on >= d)),
            "later",
        ),
    ]
}

/// One bar that adds the rows up. Gives the room below it.
fn summary(canvas: &mut Canvas, area: Rect, list: &[&Beside], ink: Ink) -> Rect {
    let all = list.len().max(1) as f64;
    let bar = Rect {
        y1: area.y0 + 16.0,
        ..area
    };
    let inks = [ink, look::LIMIT, look::PREFILTER];
    let mut from = bar.x0;
    let mut keys = Vec::new();
    for ((n, name), ink) in counted(list).into_iter().zip(inks) {
        let to = from + bar.width() * n as f64 / all;
        canvas.fill(
            Rect {
                x0: from,
                x1: to,
                ..bar
            },
            ink,
        );
        from = to;
        keys.push((Key::Bar(ink), format!("{n} {name}")));
    }
    let keys: Vec<(Key, &str)> = keys
        .iter()
        .map(|(key, text)| (*key, text.as_str()))
        .collect();
    let below = Rect {
        y0: bar.y1 + 4.0,
        ..area
    };
    let below = key::draw(canvas, below, &keys);
    let keys = [
        (Key::Range(ink), "likely range as forecast"),
        (Key::Mark(Shape::Diamond, ink), "actual day, inside"),
        (Key::Mark(Shape::Cross, look::LIMIT), "actual day, outside"),
    ];
    key::draw(canvas, below, &keys)
}
