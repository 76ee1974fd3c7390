//! The fleet's page: a manager's questions and their answers. Further pages carry the
//! rest of the list of what needs doing.

use crate::calendar::Date;

use crate::advise::{Assessment, Rank, VanAssessment};
use crate::report::ReportPlan;
use crate::report::answers::{Answer, answers, meters_to_check, order_now};
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::{intervals, rejection_now, small_passage, to_do, van_passage};
use crate::report::look;
use crate::report::pages::{place, sentences, sheet};
use crate::report::parts::{VanLine, finding_and_visits};
use crate::report::rect::Rect;
use crate::report::words;

/// A fleet of so few has its charts under the list.
const FEW: usize = 6;
/// Height of the upper half, px.
const UPPER: f64 = 572.0;
/// Height of the first page's list, px.
const LIST: f64 = UPPER - KICKER + 8.0;
/// Height of a further page's list, px.
const NEXT: f64 = 940.0;
/// Height that the words on trouble may take, px.
const TROUBLE: f64 = 200.0;
/// Height that what changed may take, px.
const CHANGED: f64 = 148.0;
/// Height that the cost may take, px, and what a claim may.
const COST: f64 = 132.0;
const CLAIM: f64 = 74.0;
/// Height that what to order, and the meters to check, may take, px.
const ORDER: f64 = 190.0;
const METERS: f64 = 158.0;
/// Height that trust has at least, px: two lines of its first sentence.
const TRUST: f64 = 104.0;
/// From a question's top to the first baseline of its answer, px.
const KICKER: f64 = 46.0;

/// The lines of each page: the most urgent first, the calm ones only as far as
/// the first page has room.
pub fn paged<'a, 'b>(lines: &'b [VanLine<'a>]) -> Vec<&'b [VanLine<'a>]> {
    let busy = lines.iter().filter(|l| l.rank != Rank::OnCourse).count();
    let first = to_do::rows_in(LIST, lines);
    let mut pages = vec![lines.get(..first).unwrap_or_default()];
    let mut rest = lines.get(first..busy.max(first)).unwrap_or_default();
    while !rest.is_empty() {
        let (page, after) = rest.split_at(to_do::rows_in(NEXT, rest).max(1));
        pages.push(page);
        rest = after;
    }
    pages
}

/// What is left out of all pages' lists, in words.
fn left_out(lines: &[VanLine<'_>]) -> String {
    let shown: usize = paged(lines).iter().map(|p| p.len()).sum();
    match lines.len() - shown {
        0 => String::new(),
        n => format!("and {n} more on course"),
    }
}

/// Draws the first page: the questions in their order, down the left and
/// the right of the upper half, then along the lower half.
pub fn first(canvas: &mut Canvas, plan: &ReportPlan<'_>, lines: &[VanLine<'_>]) {
    let (assessment, month) = (plan.assessment, plan.month);
    let title = format!("Fleet, {}", words::month(month));
    let place = place(month, assessment);
    let body = sheet(canvas, &title, &finding_and_visits(lines), &place);
    let [
        todo,
        changed,
        trouble,
        work,
        claim,
        cost,
        intervals,
        believe,
    ] = answers(plan, lines);
    let upper = Rect {
        y1: body.y0 + UPPER,
        ..body
    };
    let lower = Rect {
        y0: upper.y1 + 26.0,
        ..body
    };

    let split = upper.x0 + 900.0;
    let left = Rect {
        x1: split - 34.0,
        ..upper
    };
    let rows = Rect {
        y0: kicker(canvas, left, todo.question) - 8.0,
        ..left
    };
    if lines.iter().any(|line| !line.jobs.is_empty()) {
        let at = (left.x1, left.y0 + look::CHART_TITLE.size);
        let cards = "what harms the glass first; for each driver: card-VAN.png";
        canvas.text(cards, at, &look::SMALL, Align::Right);
    }
    let used = to_do_list(canvas, rows, assessment, lines);
    let below = Rect {
        y0: used + 24.0,
        ..rows
    };
    below_the_list(canvas, below, assessment, lines);

    let right = Rect { x0: split, ..upper };
    let words_of_change = Rect {
        y1: right.y0 + CHANGED,
        ..right
    };
    let used = answered(canvas, words_of_change, &changed);
    let chart = Rect {
        y0: used + 12.0,
        ..right
    };
    let used = answered(
        canvas,
        Rect {
            y1: chart.y0 + TROUBLE,
            ..chart
        },
        &trouble,
    );
    let chart = Rect {
        y0: used + 14.0,
        ..chart
    };
    let vans: Vec<&VanAssessment> = assessment
        .vans
        .iter()
        .filter(|v| v.series.has_membrane)
        .collect();
    rejection_now::draw(
        canvas,
        chart,
        &vans,
        assessment.as_of,
        assessment.limits.salt_passage,
    );

    let first = Rect {
        x1: lower.x0 + 492.0,
        ..lower
    };
    // the cost takes what its sentences need; the work takes the rest
    let split = first.y1 - COST;
    let above = Rect {
        y1: split - CLAIM - 16.0,
        ..first
    };
    answered(canvas, above, &work);
    let between = Rect {
        y0: split - CLAIM,
        y1: split,
        ..first
    };
    answered(canvas, between, &claim);
    answered(canvas, Rect { y0: split, ..first }, &cost);
    let second = Rect {
        x0: lower.x0 + 520.0,
        x1: lower.x0 + 1100.0,
        ..lower
    };
    let table = Rect {
        y0: kicker(canvas, second, intervals.question) - 18.0,
        ..second
    };
    intervals::draw(canvas, table, assessment);
    let mut third = Rect {
        x0: lower.x0 + 1128.0,
        ..lower
    };
    // trust takes what the order and the meters leave
    for (name, most, said) in [
        ("Order now", ORDER, order_now(plan)),
        ("Is a TDS meter wrong?", METERS, meters_to_check(assessment)),
    ] {
        let block = Rect {
            y1: (third.y0 + most).min(third.y1 - TRUST),
            ..third
        };
        let y = kicker(canvas, block, name);
        third.y0 = sentences(canvas, block, y, &said) - look::SMALL.leading() + 14.0;
    }
    answered(canvas, third, &believe);
}

/// The day and the currency in which the list speaks.
pub fn when(assessment: &Assessment) -> (Date, Option<&str>) {
    (assessment.as_of, assessment.fleet.currency.as_deref())
}

/// The most urgent vans, and how many more there are. Gives where the list ends.
fn to_do_list(
    canvas: &mut Canvas,
    rows: Rect,
    assessment: &Assessment,
    lines: &[VanLine<'_>],
) -> f64 {
    let pages = paged(lines);
    let shown = pages.first().copied().unwrap_or_default();
    let more = pages.iter().skip(1).map(|p| p.len()).sum::<usize>();
    let mut after = left_out(lines);
    if more > 0 {
        let next = format!("{more} more that need a look on the next pages");
        after = if after.is_empty() {
            next
        } else {
            format!("{next}, {after}")
        };
    }
    if lines.is_empty() {
        let text = "No vans yet. Take in readings, fills and services first: litrewise template shows what to write down.";
        let at = (rows.x0, rows.y0 + 24.0);
        canvas.paragraph(text, at, &look::BODY, rows.width(), 3)
    } else {
        to_do::draw(canvas, rows, shown, when(assessment), &after)
    }
}

/// A fleet of few leaves room under its list: the vans' own charts.
fn below_the_list(canvas: &mut Canvas, area: Rect, assessment: &Assessment, lines: &[VanLine<'_>]) {
    let (as_of, limit) = (assessment.as_of, assessment.limits.salt_passage);
    let shown: Vec<&VanLine<'_>> = lines.iter().filter(|l| l.van.series.has_membrane).collect();
    match shown.as_slice() {
        [one] if lines.len() == 1 => van_passage::draw(canvas, area, one.van, as_of, limit),
        few if !few.is_empty() && lines.len() <= FEW => {
            // a lower chart shows nothing; the most urgent have theirs
            const LEAST: f64 = 130.0;
            let columns = few.len().min(3);
            let rows = few.len().div_ceil(columns);
            let rows = rows.min((area.height() / LEAST) as usize);
            let wide = area.width() / columns as f64;
            let high = area.height() / rows.max(1) as f64;
            for (i, line) in few.iter().take(rows * columns).enumerate() {
                let (x, y) = ((i % columns) as f64, (i / columns) as f64);
                let at = Rect::at(
                    area.x0 + x * wide,
                    area.y0 + y * high,
                    wide - 24.0,
                    high - 14.0,
                );
                small_passage::draw(canvas, at, line, as_of, limit, i == 0);
            }
        }
        _ => {}
    }
}

/// Writes the question over its answer, and gives the first baseline under it.
fn kicker(canvas: &mut Canvas, area: Rect, question: &str) -> f64 {
    let face = look::CHART_TITLE;
    let at = (area.x0, area.y0 + face.size);
    canvas.text(question, at, &face, Align::Left);
    area.y0 + KICKER
}

/// A question with its answer in words, the first sentence large; gives where
/// the text ends.
fn answered(canvas: &mut Canvas, area: Rect, answer: &Answer) -> f64 {
    let y = kicker(canvas, area, answer.question);
    let (first, rest) = match answer.said.split_first() {
        Some((first, rest)) => (first.as_str(), rest),
        None => ("", &[][..]),
    };
    let face = look::BODY;
    let lines = ((area.y1 - y) / face.leading()).max(0.0) as usize + 1;
    let y = canvas.paragraph(first, (area.x0, y), &face, area.width(), lines.min(4));
    sentences(canvas, area, y, rest) - look::SMALL.leading()
}

/// Draws a further page of the list; `number` counts from 2.
pub fn next(
    canvas: &mut Canvas,
    assessment: &Assessment,
    shown: &[VanLine<'_>],
    month: Date,
    number: usize,
) {
    let title = format!("Fleet, {}, page {number}", words::month(month));
    let lead = "What needs doing, continued";
    let body = sheet(canvas, &title, lead, &place(month, assessment));
    to_do::draw(canvas, body, shown, when(assessment), "");
}
