//! The index: one HTML file that holds every chart and says everything in
//! text too. It needs no network, and nothing beside it.

mod badge;
mod district;
mod figure;
mod lists;
mod page;
mod script;
mod van;
mod vans;

use std::io::{Read, Seek, Write};
use std::path::Path;

use maud::{Markup, html};

use crate::advise::{Assessment, VanAssessment};

use super::ReportPlan;
use super::answers::{Answer, answers, meters_to_check, order_now};
use super::book::Names;
use super::cautions;
use super::charts::life_by_hardness::{self, Of};
use super::charts::{
    expected_by_van, forecast_beside, lives_by_district, per_1000_litres, read_when, rejection_now,
    spent_by_month,
};
use super::error::ReportError;
use super::files;
use super::glossary;
use super::look;
use super::pages;
use super::parts::VanLine;

use figure::{Chart, Charts};
use page::Parts;

/// Writes the whole index to `out`, and its parts to `body` before; `path` is
/// told where it cannot be written.
///
/// # Errors
/// Where a chart could not be drawn, or nothing written.
pub fn write_index<F: Read + Write + Seek>(
    plan: &ReportPlan<'_>,
    lines: &[VanLine<'_>],
    names: &Names,
    (path, body, out): (&Path, &mut F, &mut F),
) -> Result<(), ReportError> {
    let assessment = plan.assessment;
    let mut charts = Charts::default();
    let mut parts = Parts::new(path, body);
    for answer in &answers(plan, lines) {
        let body = answered(plan, answer, lines, &mut charts)?;
        parts.add(answer.id, answer.question, body)?;
    }
    if !lines.is_empty() {
        parts.add("orders", "What to order", what_to_order(plan, names))?;
    }
    parts.add(
        "water",
        "Hardness and how long parts last",
        water(assessment, &mut charts)?,
    )?;
    if !assessment.areas.is_empty() {
        let districts = district::all(assessment, names, &mut charts)?;
        parts.add("districts", "Districts", districts)?;
    }
    if !lines.is_empty() {
        van::all(plan, lines, names, &mut charts, &mut parts)?;
    }
    parts.add("records", "Records", records(assessment, &mut charts)?)?;
    parts.add(
        "words",
        "Words of the trade",
        lists::named(&glossary::WORDS),
    )?;
    parts.add("files", "Files and pages", file_list(names))?;
    let cautions = html! { p { (cautions::FOOT) } (lists::named(&cautions::LIST)) };
    parts.add("cautions", "Cautions", cautions)?;
    parts.write_page(plan, lines, charts.inks(), out)
}

/// The whole index as text.
#[cfg(test)]
pub fn index(plan: &ReportPlan<'_>, lines: &[VanLine<'_>], names: &Names) -> String {
    let mut files = [(); 2].map(|()| std::io::Cursor::new(Vec::new()));
    let [body, out] = &mut files;
    write_index(plan, lines, names, (Path::new("index"), body, out)).expect("an index");
    let [_, out] = files;
    String::from_utf8(out.into_inner()).expect("text")
}

/// A question of the first page with its answer, and what shows it.
fn answered(
    plan: &ReportPlan<'_>,
    answer: &Answer,
    lines: &[VanLine<'_>],
    charts: &mut Charts,
) -> Result<Markup, ReportError> {
    let assessment = plan.assessment;
    let shown = match answer.id {
        "todo" => html! {
            (vans::table(assessment, lines))
            h3 { "Is a TDS meter wrong?" }
            (lists::sentences(&meters_to_check(assessment)))
            h3 { "Order now" }
            (lists::sentences(&order_now(plan)))
            p.quiet { a href="#orders" { "The whole order list" } }
        },
        "trouble" => rejections(assessment, charts)?,
        "cost" if pages::money::worth_a_page(&assessment.money) => money(assessment, charts)?,
        "intervals" if !assessment.areas.is_empty() => lists::intervals(assessment),
        "believe" => past(plan, charts)?,
        _ => html! {},
    };
    Ok(html! { (lists::answer(&answer.said)) (shown) })
}

/// A drawing no higher than its rows need.
fn low_enough((width, height): (u32, u32), needed: u32) -> (u32, u32) {
    (width, height.min(needed))
}

fn rejections(assessment: &Assessment, charts: &mut Charts) -> Result<Markup, ReportError> {
    let vans = assessment.vans.iter();
    let vans: Vec<&VanAssessment> = vans.filter(|v| v.series.has_membrane).collect();
    let limit = assessment.limits.salt_passage;
    if vans.is_empty() {
        return Ok(html! {});
    }
    charts.figure(
        Chart {
            title: rejection_now::title(&vans, limit),
            alternative: rejection_now::alternative(&vans, limit),
            size: low_enough(look::DRAWING_WIDE, rejection_now::height_of(vans.len())),
            table: rejection_now::table(&vans),
        },
        |c| rejection_now::draw(c, c.page().inset(6.0), &vans, assessment.as_of, limit),
    )
}

fn past(plan: &ReportPlan<'_>, charts: &mut Charts) -> Result<Markup, ReportError> {
    let Some(result) = plan.backtest else {
        return Ok(html! {});
    };
    let mut drawn = Vec::new();
    for (of, beside) in [
        (Of::Membrane, &result.membranes_beside),
        (Of::Resin, &result.resin_beside),
    ] {
        if !beside.is_empty() {
            drawn.push(charts.figure(
                Chart {
                    title: forecast_beside::title(of, beside),
                    alternative: forecast_beside::alternative(of, beside),
                    size: low_enough(look::DRAWING_TALL, forecast_beside::height_of(beside)),
                    table: forecast_beside::table(of, beside),
                },
                |c| forecast_beside::draw(c, c.page().inset(6.0), of, beside),
            )?);
        }
    }
    Ok(html! {
        (lists::sentences(&result.words))
        div.two { @for chart in drawn { (chart) } }
    })
}

fn money(assessment: &Assessment, charts: &mut Charts) -> Result<Markup, ReportError> {
    let money = &assessment.money;
    let mut drawn = vec![charts.figure(
        Chart {
            title: spent_by_month::title(money),
            alternative: spent_by_month::alternative(money),
            size: look::DRAWING_LOW,
            table: spent_by_month::table(money),
        },
        |c| spent_by_month::draw(c, c.page().inset(6.0), money),
    )?];
    if money.expected.is_some() {
        drawn.push(charts.figure(
            Chart {
                title: expected_by_van::title(money),
                alternative: expected_by_van::alternative(money),
                size: low_enough(look::DRAWING_TALL, expected_by_van::height_of(money)),
                table: expected_by_van::table(money),
            },
            |c| expected_by_van::draw(c, c.page().inset(6.0), money),
        )?);
    }
    if per_1000_litres::any(assessment) {
        drawn.push(charts.figure(
            Chart {
                title: per_1000_litres::title(assessment),
                alternative: per_1000_litres::alternative(assessment),
                size: low_enough(look::DRAWING_LOW, per_1000_litres::height_of(assessment)),
                table: per_1000_litres::table(assessment),
            },
            |c| per_1000_litres::draw(c, c.page().inset(6.0), assessment),
        )?);
    }
    Ok(html! {
        (lists::sentences(&pages::money::bought(money)))
        @if !money.years.is_empty() { (lists::table(&pages::money::years(money))) }
        (lists::sentences(&pages::money::why_it_differs(money)))
        div.two { @for chart in drawn { (chart) } }
    })
}

fn what_to_order(plan: &ReportPlan<'_>, names: &Names) -> Markup {
    let (orders, assessment) = (&plan.orders, plan.assessment);
    html! {
        p { (pages::orders::lead(orders, assessment)) "." }
        (lists::table(&pages::orders::list(orders, assessment)))
        (lists::sentences(&pages::orders::notes(orders, assessment)))
        (lists::table(&pages::orders::by_visit(&plan.visits, assessment)))
        (lists::table(&pages::orders::by_month(assessment)))
        p.quiet { (pages::orders::note_on_months(assessment)) }
        p.quiet { a href=(names.orders) { "The order list on one page, as a picture" } }
    }
}

fn water(assessment: &Assessment, charts: &mut Charts) -> Result<Markup, ReportError> {
    let (fleet, areas) = (&assessment.fleet, &assessment.areas);
    let mut drawn = Vec::new();
    for (of, dots, curve) in [
        (
            Of::Membrane,
            &fleet.membrane_dots,
            &fleet.membrane_life_by_hardness,
        ),
        (Of::Resin, &fleet.resin_dots, &fleet.resin_life_by_hardness),
    ] {
        drawn.push(charts.figure(
            Chart {
                title: life_by_hardness::title(of, dots, curve),
                alternative: life_by_hardness::alternative(of, dots, curve),
                size: look::DRAWING,
                table: life_by_hardness::table(of, dots, curve),
            },
            |c| life_by_hardness::draw(c, c.page().inset(6.0), of, dots, curve),
        )?);
    }
    for of in [Of::Membrane, Of::Resin] {
        drawn.push(charts.figure(
            Chart {
                title: lives_by_district::title(of, areas, ""),
                alternative: lives_by_district::alternative(of, areas, ""),
                size: look::DRAWING,
                table: lives_by_district::table(of, areas, ""),
            },
            |c| lives_by_district::draw(c, c.page().inset(6.0), of, areas, ""),
        )?);
    }
    Ok(html! {
        p { (pages::water::lead(assessment)) "." }
        div.two { @for chart in drawn { (chart) } }
    })
}

fn records(assessment: &Assessment, charts: &mut Charts) -> Result<Markup, ReportError> {
    let (vans, as_of) = (&assessment.vans, assessment.as_of);
    let mut drawn = html! {};
    if !vans.is_empty() {
        let (width, _) = look::DRAWING_WIDE;
        // as high as its rows need, up to thirty of them
        let height = 120 + 22 * u32::try_from(vans.len().min(30)).unwrap_or(30);
        drawn = charts.figure(
            Chart {
                title: read_when::title(vans, as_of),
                alternative: read_when::alternative(vans, as_of),
                size: (width, height),
                table: read_when::table(vans, as_of),
            },
            |c| read_when::draw(c, c.page().inset(6.0), vans, as_of),
        )?;
    }
    let faults = pages::records::habits(assessment);
    Ok(html! {
        @if !faults.is_empty() {
            h3 { "Running faults that wear parts or waste water" }
            (lists::sentences(&faults))
        }
        h3 { "Records to fix" }
        (lists::sentences(&pages::records::to_fix(assessment)))
        (drawn)
        p.quiet { (pages::records::lead(assessment)) "." }
    })
}

fn file_list(names: &Names) -> Markup {
    let single = [&names.orders, &names.water, &names.records].into_iter();
    let all = names
        .fleet
        .iter()
        .chain(&names.many)
        .chain(single)
        .chain(&names.money)
        .chain(&names.past)
        .chain(&names.areas)
        .chain(&names.vans)
        .chain(&names.written);
    html! {
        ul {
            @for table in files::TABLES { li { a href=(table.name) { (table.name) } ": " (table.what) } }
        }
        p { "Pages as pictures, for paper:" }
        ul.pages { @for file in all { li { a href=(file) { (file) } } } }
        p.quiet { "These lie beside this file in the report's folder." }
    }
}
