//! Every van: what to do, what is known, its charts.

use std::io::{Read, Seek, Write};

use maud::{Markup, html};
use rayon::prelude::*;

use super::badge::shape;
use super::figure::{Chart, Charts};
use super::lists;
use super::page::Parts;
use crate::advise::{AlarmAssessment, VanAssessment};
use crate::report::ReportPlan;
use crate::report::book::Names;
use crate::report::cautions;
use crate::report::charts::{van_evidence, van_passage, van_product, van_weeks};
use crate::report::error::ReportError;
use crate::report::look;
use crate::report::pages::{self, card, warranty};
use crate::report::parts::VanLine;
use crate::report::table::Table;
use crate::report::words;

/// So many vans for each thread are made before they are written.
const AT_ONCE: usize = 32;

/// All vans, most urgent first.
pub fn all<F: Read + Write + Seek>(
    plan: &ReportPlan<'_>,
    lines: &[VanLine<'_>],
    names: &Names,
    charts: &mut Charts,
    parts: &mut Parts<'_, F>,
) -> Result<(), ReportError> {
    parts.begin("vans", "Every van")?;
    for lines in lines.chunks(AT_ONCE * rayon::current_num_threads()) {
        let made = lines
            .par_iter()
            .map(|line| one(plan, line, names))
            .collect::<Result<Vec<_>, ReportError>>()?;
        for (markup, own) in made {
            parts.push(&markup.into_string())?;
            charts.join(own);
        }
    }
    parts.end()
}

fn one(
    plan: &ReportPlan<'_>,
    line: &VanLine<'_>,
    names: &Names,
) -> Result<(Markup, Charts), ReportError> {
    let (van, place, as_of) = (line.van, line.place, plan.assessment.as_of);
    let file = |list: &[String]| list.get(place).cloned().unwrap_or_default();
    let mut charts = Charts::default();
    let drawn = drawn(plan, van, &mut charts)?;
    let markup = html! {
        article.van id=(format!("van-{place}")) data-van=(place) aria-labelledby=(format!("van-{place}-name")) {
            h3 id=(format!("van-{place}-name")) { (van.van) }
            p { (pages::van::lead(van)) "." }
            ul.parts {
                @for part in &line.parts {
                    li { (shape(part.shown_as())) " " strong { (part.headline(as_of)) "." } " " (part.reason) }
                }
            }
            @if let Some(alarm) = &van.membrane.alarm { (causes(alarm)) }
            @if let Some(card) = card::card(line, plan.assessment) {
                (job_card(&card, &file(&names.cards)))
            }
            @if warranty::has_one(van, as_of) { (warranty_sheet(van, &file(&names.warranties))) }
            div.two { (drawn) (facts(plan, line)) }
            p.quiet { a href=(file(&names.vans)) { (van.van) " on one page, as a picture" } }
        }
    };
    Ok((markup, charts))
}

/// The van's charts.
fn drawn(
    plan: &ReportPlan<'_>,
    van: &VanAssessment,
    charts: &mut Charts,
) -> Result<Markup, ReportError> {
    let (as_of, limits) = (plan.assessment.as_of, plan.assessment.limits);
    let mut drawn: Vec<Markup> = Vec::with_capacity(4);
    if van.series.has_membrane {
        drawn.push(charts.figure(
            Chart {
                title: van_passage::title(van, as_of, limits.salt_passage),
                alternative: van_passage::alternative(van, as_of, limits.salt_passage),
                size: look::DRAWING,
                table: van_passage::table(van, as_of),
            },
            |c| van_passage::draw(c, c.page().inset(6.0), van, as_of, limits.salt_passage),
        )?);
    }
    if van.membrane.alarm.is_some() {
        drawn.push(charts.figure(
            Chart {
                title: van_evidence::title(van),
                alternative: van_evidence::alternative(van),
                size: look::DRAWING,
                table: van_evidence::table(van),
            },
            |c| van_evidence::draw(c, c.page().inset(6.0), van, as_of),
        )?);
    }
    if van.series.has_resin {
        drawn.push(charts.figure(
            Chart {
                title: van_product::title(van, as_of, limits.product_ppm),
                alternative: van_product::alternative(van, as_of, limits.product_ppm),
                size: look::DRAWING,
                table: van_product::table(van, as_of),
            },
            |c| van_product::draw(c, c.page().inset(6.0), van, as_of, limits.product_ppm),
        )?);
    }
    drawn.push(charts.figure(
        Chart {
            title: van_weeks::title(van),
            alternative: van_weeks::alternative(van),
            size: look::DRAWING_LOW,
            table: van_weeks::table(van, as_of),
        },
        |c| van_weeks::draw(c, c.page().inset(6.0), van, as_of, Some(plan.month)),
    )?);
    Ok(html! { @for chart in drawn { (chart) } })
}

/// What the driver is told: the same as on the card.
fn job_card(card: &card::Card, file: &str) -> Markup {
    let valve = [&card.valve];
    html! {
        details.card {
            summary {
                "Job card for the driver: visit on " (words::weekday(card.visit)) " " (words::day(card.visit))
            }
            ol {
                @for job in &card.jobs {
                    li { (shape(job.state)) " " strong { (job.what) "." } " " (words::capital(&job.why)) }
                }
            }
            h4 { "Take with you" } (lists::sentences(&card.take))
            h4 { "Reject valve" } (lists::sentences(&valve))
            h4 { "Test afterwards" } (lists::sentences(&card.test))
            h4 { "Write down" } (lists::sentences(&card.write_down))
            p { strong { "Safety. " } (cautions::DRIVER) }
            p.quiet { a href=(file) { "The card to print" } }
        }
    }
}

/// What the warranty claim sheet holds, in text.
fn warranty_sheet(van: &VanAssessment, file: &str) -> Markup {
    let record: Vec<(&str, String)> = warranty::record(van)
        .into_iter()
        .map(|(name, value)| match value.is_empty() {
            true => (name, "to fill in".to_owned()),
            false => (name, value),
        })
        .collect();
    let table = Table {
        caption: "Readings of this RO membrane, the first and the newest: TDS in ppm, flows in L a minute".to_owned(),
        heads: warranty::HEADS.to_vec(),
        rows: warranty::rows(van).into_iter().map(Vec::from).collect(),
    };
    html! {
        details {
            summary { "Warranty claim sheet of this RO membrane" }
            (lists::named(&record))
            (lists::sentences(&warranty::seen(van)))
            (lists::table(&table))
            p.quiet { a href=(file) { "The sheet to print" } }
        }
    }
}

fn facts(plan: &ReportPlan<'_>, line: &VanLine<'_>) -> Markup {
    let van = line.van;
    html! {
        details {
            summary { "What is known, and jobs done" }
            ul {
                @for said in pages::van::known(plan.assessment, van) { li { (said) } }
                @for done in pages::van::done_in(van, plan.month) {
                    li { "Done in " (words::month(plan.month)) ": " (done) }
                }
                @for note in pages::van::noted_in(van, plan.month) { li { "Noted " (note) } }
                @for habit in &van.habits { li { "Running fault: " (habit.text) } }
                @for remark in &van.records {
                    li {
                        "Record to fix: "
                        (words::dated(remark.date, &remark.text))
                    }
                }
            }
        }
    }
}

/// Below a twentieth a cause only distracts.
const WORTH_TELLING: f64 = 0.05;

/// What could be behind an alarm, with the facts and what to look at first.
fn causes(alarm: &AlarmAssessment) -> Markup {
    let told = alarm.causes.iter();
    let rows = told
        .filter(|c| c.probability >= WORTH_TELLING)
        .map(|cause| {
            vec![
                words::cause(cause.suspect).to_owned(),
                words::chance(cause.probability),
                words::capital(&cause.facts.join("; ")),
                cause.check_first.to_owned(),
            ]
        });
    lists::table(&Table {
        caption: "What could be behind it".to_owned(),
        heads: vec!["Cause", "Chance", "What speaks for it", "Check first"],
        rows: rows.collect(),
    })
}
