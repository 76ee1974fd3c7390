//! A van's card for its driver: the jobs of the next visit, what to take, how
//! the reject valve should stand, what to test afterwards, and room to write.

use crate::calendar::{Date, DateExt};

use crate::advise::{
    Assessment, Band, DOUBTED, Habit, Item, Job, METER_CHECK, MeterAssessment, Probe, State, Task,
    VanAssessment,
};
use crate::report::canvas::{Align, Canvas};
use crate::report::cautions;
use crate::report::due;
use crate::report::look::{self, badge};
use crate::report::pages::{place, sheet};
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// What the card says; every list in the order of doing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    pub visit: Date,
    pub jobs: Vec<CardJob>,
    pub take: Vec<String>,
    pub valve: String,
    pub test: Vec<String>,
    pub write_down: Vec<String>,
}

/// A job with its reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CardJob {
    pub state: State,
    pub what: String,
    pub why: String,
}

/// The card of a van's next visit; `None` where no visit is planned.
pub fn card(line: &VanLine<'_>, assessment: &Assessment) -> Option<Card> {
    let visit = line.jobs.iter().map(|j| j.date).min()?;
    let jobs: Vec<&Job> = line.jobs.iter().filter(|j| j.date == visit).collect();
    let van = line.van;
    let has = |item: Item| {
        jobs.iter()
            .any(|j| j.item == item && j.task == Task::Change)
    };
    Some(Card {
        visit,
        jobs: jobs.iter().map(|job| job_of(line, job)).collect(),
        take: take(&jobs),
        valve: valve(van),
        test: test(van, assessment, &has),
        write_down: write_down(van, &has),
    })
}

/// Height of a line that is written by hand, px.
const WRITTEN: f64 = 52.0;

/// The job as the work list names it, with what to look at first or why.
fn job_of(line: &VanLine<'_>, job: &Job) -> CardJob {
    let part = line.parts.iter().find(|p| p.item == job.item);
    let alarm = line.van.membrane.alarm.as_ref();
    let first = alarm.and_then(|a| a.causes.first());
    CardJob {
        state: job.state,
        what: words::capital(&due::what(job)),
        why: match (first, job.task) {
            (_, Task::CheckMeter) => {
                let which = words::meter_to_check(line.van);
                let which = which.map_or(String::new(), |w| format!("{}. ", words::capital(&w)));
                format!("{which}{METER_CHECK} Change no RO membrane before that.")
            }
            (Some(cause), Task::Inspect) => cause.check_first.to_owned(),
            _ => part.map_or(String::new(), |p| p.why.clone()),
        },
    }
}

/// Parts as the work list names them, and what it takes to fit and test them.
fn take(jobs: &[&Job]) -> Vec<String> {
    let mut take: Vec<String> = jobs.iter().filter_map(|job| due::takes(job)).collect();
    let mut tools: Vec<&str> = Vec::new();
    for tool in jobs.iter().flat_map(|job| due::tools(job)) {
        if !tools.contains(tool) {
            tools.push(tool);
        }
    }
    if !tools.is_empty() {
        take.push(words::capital(&tools.join(", ")));
    }
    take.push("TDS meter, thermometer, two buckets, a watch".to_owned());
    take
}

fn valve(van: &VanAssessment) -> String {
    if !van.series.has_membrane {
        return "No reject valve: resin only.".to_owned();
    }
    let now = van.recovery.map_or_else(
        || "Waste ratio not recorded.".to_owned(),
        |r| {
            format!(
                "{} at the last readings.",
                words::capital(&words::waste_ratio(r))
            )
        },
    );
    let turn = van.habits.iter().find_map(|h| match h.habit {
        Habit::ValveTooOpen => Some(" Too open: close the reject valve in small steps."),
        Habit::ValveTooTight => Some(" Too tight: open the reject valve in small steps."),
        _ => None,
    });
    let turn = turn.unwrap_or_default();
    format!(
        "{now}{turn} Fill a bucket from product and one from waste, and time each. Aim for 2 : 1, two litres of waste to one of product; never under 1 : 1, nor tighter than the membrane's maker allows."
    )
}

fn test(van: &VanAssessment, assessment: &Assessment, has: &dyn Fn(Item) -> bool) -> Vec<String> {
    let limits = assessment.limits;
    let mut test = Vec::new();
    if has(Item::Membrane) {
        test.push("Run the new RO membrane to waste first, as its maker says.".to_owned());
    }
    if van.series.has_membrane {
        test.push(membrane_test(van, assessment, has(Item::Membrane)));
    }
    if van.series.has_resin {
        let limit = words::figures(limits.product_ppm);
        test.push(if has(Item::Resin) {
            format!(
                "Product TDS: 000 or 001 with new DI resin; never work with {limit} ppm or more."
            )
        } else {
            format!("Product TDS: never work with {limit} ppm or more.")
        });
    }
    test.push("Look for leaks with the pressure on.".to_owned());
    test
}

/// What membrane TDS is held against: for a new RO membrane what new ones of this
/// water read, else the limit. A meter in doubt is no measure.
fn membrane_test(van: &VanAssessment, assessment: &Assessment, is_new: bool) -> String {
    let limit = assessment.limits.salt_passage;
    let doubted = van.membrane.check_meter_first || doubted_tap_meter(van).is_some();
    let with = if doubted {
        ", with the better meter"
    } else {
        ""
    };
    let rejection = words::rejection_limit(limit);
    let begin = format!("After five minutes of flow{with}: tap TDS and membrane TDS.");
    match (true_tap(van), new_ones(van, assessment).filter(|_| is_new)) {
        (Some(tap), Some(usual)) => format!(
            "{begin} At tap TDS {tap:.0} ppm a new RO membrane reads about {:.0} ppm here, 9 of 10 no more than {:.0} ppm: over that, tell the office.",
            tap * usual.p50,
            (tap * usual.p90).ceil()
        ),
        (None, Some(usual)) => format!(
            "{begin} A new RO membrane here has a rejection of about {}, 9 of 10 at least {}: under that, tell the office.",
            words::percent(1.0 - usual.p50, 1),
            words::percent(1.0 - usual.p90, 1)
        ),
        (tap, None) => {
            let over = tap.map_or_else(
                || format!("Rejection under {rejection}"),
                |tap| {
                    let most = tap * limit;
                    format!("At tap TDS {tap:.0} ppm, membrane TDS over {most:.0} ppm means a rejection below the limit of {rejection}")
                },
            );
            let new = if is_new {
                "; a new RO membrane should read well below that"
            } else {
                ""
            };
            format!("{begin} {over}: tell the office{new}.")
        }
    }
}

fn doubted_tap_meter(van: &VanAssessment) -> Option<&MeterAssessment> {
    let mut meters = van.meters.iter();
    meters.find(|m| m.probe == Probe::Feed && m.doubt >= DOUBTED)
}

/// The newest tap TDS; what a meter in doubt read is corrected by what it is off.
fn true_tap(van: &VanAssessment) -> Option<f64> {
    let (day, read) = *van.series.feed_ppm.last()?;
    let meter = doubted_tap_meter(van).filter(|m| m.since.is_none_or(|since| day >= since));
    let off = meter.and_then(|m| m.off_by.p50).filter(|off| *off > 0.0);
    Some(read / off.unwrap_or(1.0))
}

/// What usual membranes let through when new: as compared with the van's own where
/// that was tested soon after it was fitted, else the widest of the other vans'.
fn new_ones<'a>(van: &'a VanAssessment, assessment: &'a Assessment) -> Option<&'a Band<Date>> {
    const SOON: i32 = 31;
    let of = |van: &'a VanAssessment| {
        let first = van.series.usual_passage.first()?;
        let days = first.x.days_since(van.membrane.fitted_on?);
        (0..=SOON).contains(&days).then_some(first)
    };
    let others = || assessment.vans.iter().filter_map(of);
    of(van).or_else(|| others().max_by(|a, b| a.p90.total_cmp(&b.p90)))
}

fn write_down(van: &VanAssessment, has: &dyn Fn(Item) -> bool) -> Vec<String> {
    let mut out = vec!["Day and time"];
    if van.series.has_membrane {
        out.extend(["Tap TDS, ppm", "Membrane TDS, ppm"]);
    }
    if van.series.has_resin {
        out.push("Product TDS, ppm");
    }
    out.extend(["Water, °C", "Pressure, bar", "Water meter, L"]);
    if van.series.has_membrane {
        out.push("Product and waste, L a minute");
    }
    let mut out: Vec<String> = out.into_iter().map(str::to_owned).collect();
    if has(Item::Membrane) {
        // more than a few are written in one line
        let number = "Serial or batch number";
        match van.membranes {
            0 | 1 => out.push(format!("{number} of the membrane")),
            n @ 2..=3 => out.extend((1..=n).map(|i| format!("{number}, membrane {i}"))),
            n => out.push(format!("{number}s of the {n} membranes")),
        }
    }
    if has(Item::Resin) {
        out.push("DI resin added, L".to_owned());
    }
    out.push("Done by".to_owned());
    out
}

/// Draws the page.
pub fn draw(
    canvas: &mut Canvas,
    assessment: &Assessment,
    line: &VanLine<'_>,
    card: &Card,
    month: Date,
) {
    let title = format!("{}: job card", line.van.van);
    let base = line.van.postcode.as_deref();
    let lead = format!(
        "Visit on {} {}{}",
        words::weekday(card.visit),
        words::day(card.visit),
        base.map_or(String::new(), |b| format!(", base {b}"))
    );
    let body = sheet(canvas, &title, &lead, &place(month, assessment));
    let middle = body.x0 + 0.56 * body.width();
    let left = Rect {
        x1: middle - 24.0,
        ..body
    };
    let right = Rect {
        x0: middle + 24.0,
        ..body
    };

    let mut y = heading(canvas, left, left.y0, "Tell the driver");
    for job in &card.jobs {
        let (shape, ink) = badge(job.state);
        canvas.mark(shape, (left.x0 + 10.0, y - 7.0), 9.0, ink);
        let inner = Rect {
            x0: left.x0 + 30.0,
            ..left
        };
        let at = (inner.x0, y);
        y = canvas.paragraph(&job.what, at, &look::CHART_TITLE, inner.width(), 2);
        if !job.why.is_empty() {
            let why = words::capital(&job.why);
            y = canvas.paragraph(&why, (inner.x0, y), &look::BODY, inner.width(), 5);
        }
        y += 12.0;
    }
    y = heading(canvas, left, y + 6.0, "Take with you");
    y = boxes(canvas, left, y, &card.take);
    y = heading(canvas, left, y + 12.0, "Reject valve");
    y = canvas.paragraph(&card.valve, (left.x0, y), &look::BODY, left.width(), 6);
    y = heading(canvas, left, y + 12.0, "Test afterwards");
    boxes(canvas, left, y, &card.test);

    let mut y = heading(canvas, right, right.y0, "Write down");
    let write_at = right.x0 + 0.52 * right.width();
    for what in &card.write_down {
        canvas.text(what, (right.x0, y + 10.0), &look::BODY, Align::Left);
        let to_write = Rect {
            x0: write_at,
            ..right
        };
        rule(canvas, to_write, y + 14.0);
        y += WRITTEN;
    }
    y = heading(canvas, right, y + 16.0, "Safety");
    let at = (right.x0, y);
    y = canvas.paragraph(cautions::DRIVER, at, &look::BODY_BOLD, right.width(), 8);
    y = heading(canvas, right, y + 10.0, "Anything else to tell the office");
    while y + 14.0 < right.y1 {
        rule(canvas, right, y + 14.0);
        y += WRITTEN;
    }
}

/// A line to write on.
fn rule(canvas: &mut Canvas, area: Rect, y: f64) {
    let line = Rect {
        y0: y,
        y1: y + 1.0,
        ..area
    };
    canvas.fill(line, look::RULE);
}

/// Lines with a box to tick; gives the baseline after them.
fn boxes(canvas: &mut Canvas, area: Rect, first: f64, said: &[String]) -> f64 {
    let mut y = first;
    for line in said {
        let side = 15.0;
        let frame = Rect::at(area.x0 + 2.0, y - 14.0, side, side);
        canvas.fill(frame, look::TEXT);
        canvas.fill(frame.inset(1.5), look::PAPER);
        let at = (area.x0 + 30.0, y);
        y = canvas.paragraph(line, at, &look::BODY, area.width() - 30.0, 5) + 8.0;
    }
    y
}

fn heading(canvas: &mut Canvas, area: Rect, y: f64, name: &str) -> f64 {
    canvas.text(name, (area.x0, y + 21.0), &look::CHART_TITLE, Align::Left);
    y + 21.0 + 34.0
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::advise::Span;
    use crate::calendar::date;
    use crate::report::fixture::assessment;

    /// A van with a membrane, tap TDS read as 240 ppm.
    fn fleet() -> (Assessment, usize) {
        let mut fleet = assessment();
        let mut vans = fleet.vans.iter();
        let at = vans.position(|v| v.series.has_membrane).unwrap();
        for van in &mut fleet.vans {
            van.series.usual_passage.clear();
            van.meters.clear();
            van.membrane.check_meter_first = false;
        }
        fleet.vans[at].series.feed_ppm = vec![(date(2026, 10, 20), 240.0)];
        (fleet, at)
    }

    #[test]
    fn a_doubted_meters_reading_is_corrected_before_the_test_is_held_against_it() {
        let (mut fleet, at) = fleet();
        fleet.vans[at].meters.push(MeterAssessment {
            probe: Probe::Feed,
            off_by: Span {
                p10: Some(0.7),
                p50: Some(0.75),
                p90: Some(0.8),
            },
            doubt: 0.9,
            since: Some(date(2026, 4, 5)),
            why: String::new(),
        });
        let said = membrane_test(&fleet.vans[at], &fleet, false);
        assert!(said.contains("with the better meter"), "{said}");
        assert!(said.contains("At tap TDS 320 ppm"), "{said}");
        assert!(said.contains("over 32 ppm"), "{said}");
        // what was read before the meter went off was right
        fleet.vans[at].meters[0].since = Some(date(2026, 10, 25));
        let said = membrane_test(&fleet.vans[at], &fleet, false);
        assert!(said.contains("At tap TDS 240 ppm"), "{said}");
    }

    #[test]
    fn a_new_membrane_is_held_against_new_ones() {
        let (mut fleet, at) = fleet();
        let said = membrane_test(&fleet.vans[at], &fleet, true);
        assert!(said.contains("should read well below that"), "{said}");
        let fitted = date(2026, 1, 10);
        let other = (at + 1..fleet.vans.len()).next().unwrap();
        fleet.vans[other].membrane.fitted_on = Some(fitted);
        fleet.vans[other].series.usual_passage = vec![Band {
            x: date(2026, 1, 20),
            p10: 0.01,
            p50: 0.02,
            p90: 0.03,
        }];
        let said = membrane_test(&fleet.vans[at], &fleet, true);
        assert!(
            said.contains("reads about 5 ppm here, 9 of 10 no more than 8 ppm"),
            "{said}"
        );
        let said = membrane_test(&fleet.vans[at], &fleet, false);
        assert!(
            said.contains("over 24 ppm means a rejection below the limit"),
            "{said}"
        );
    }
}
