//! Every van: what to do, what is known, its charts.

use std::fmt::Write as _;
use std::io::{Read, Seek, Write};

use rayon::prelude::*;

use super::badge::shape;
use super::escape::escaped;
use super::figure::{Chart, Charts};
use super::page::Parts;
use crate::advise::AlarmAssessment;
use crate::report::ReportPlan;
use crate::report::book::Names;
use crate::report::charts::{van_evidence, van_passage, van_product, van_weeks};
use crate::report::error::ReportError;
use crate::report::look;
use crate::report::pages;
use crate::report::parts::VanLine;
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
            .map(|line| {
                let of = |list: &[String]| list.get(line.place).cloned().unwrap_or_default();
                one(plan, line, (&of(&names.vans), &of(&names.claims)))
            })
            .collect::<Result<Vec<_>, ReportError>>()?;
        for (text, own) in made {
            parts.push(&text)?;
            charts.join(own);
        }
    }
    parts.end()
}

fn one(
    plan: &ReportPlan<'_>,
    line: &VanLine<'_>,
    (file, claim): (&str, &str),
) -> Result<(String, Charts), ReportError> {
    let (van, place) = (line.van, line.place);
    let (as_of, limits) = (plan.assessment.as_of, plan.assessment.limits);
    let mut charts = Charts::new();
    let mut out = format!(
        "<article class=\"van\" id=\"van-{place}\" data-van=\"{place}\" aria-labelledby=\"van-{place}-name\">\n\
         <h3 id=\"van-{place}-name\">{}</h3>\n<p>{}.</p>\n<ul class=\"parts\">\n",
        escaped(&van.van),
        escaped(&pages::van::lead(van))
    );
    for part in &line.parts {
        let _ = writeln!(
            out,
            "<li>{} <strong>{}.</strong> {}</li>",
            shape(part.state),
            escaped(&part.headline(as_of)),
            escaped(part.reason)
        );
    }
    out.push_str("</ul>\n");
    if let Some(alarm) = &van.membrane.alarm {
        causes(&mut out, alarm);
    }
    if pages::claim::has_one(van, as_of) {
        let _ = writeln!(
            out,
            "<p><a href=\"{}\">A page to send with a claim</a>: dates, litres and readings of this membrane.</p>",
            escaped(claim)
        );
    }
    out.push_str("<div class=\"two\">\n");
    if van.series.has_membrane {
        charts.add(
            &mut out,
            Chart {
                title: van_passage::title(van, as_of, limits.salt_passage),
                alternative: van_passage::alternative(van, as_of, limits.salt_passage),
                size: look::DRAWING,
                table: van_passage::table(van, as_of),
            },
            |c| van_passage::draw(c, c.page().inset(6.0), van, as_of, limits.salt_passage),
        )?;
    }
    if van.membrane.alarm.is_some() {
        charts.add(
            &mut out,
            Chart {
                title: van_evidence::title(van),
                alternative: van_evidence::alternative(van),
                size: look::DRAWING,
                table: van_evidence::table(van),
            },
            |c| van_evidence::draw(c, c.page().inset(6.0), van, as_of),
        )?;
    }
    if van.series.has_resin {
        charts.add(
            &mut out,
            Chart {
                title: van_product::title(van, as_of, limits.product_ppm),
                alternative: van_product::alternative(van, as_of, limits.product_ppm),
                size: look::DRAWING,
                table: van_product::table(van, as_of),
            },
            |c| van_product::draw(c, c.page().inset(6.0), van, as_of, limits.product_ppm),
        )?;
    }
    charts.add(
        &mut out,
        Chart {
            title: van_weeks::title(van),
            alternative: van_weeks::alternative(van),
            size: look::DRAWING_LOW,
            table: van_weeks::table(van, as_of),
        },
        |c| van_weeks::draw(c, c.page().inset(6.0), van, as_of, Some(plan.month)),
    )?;
    facts(&mut out, plan, line);
    let _ = write!(
        out,
        "</div>\n<p class=\"quiet\"><a href=\"{}\">{} on one page, as a picture</a></p>\n</article>\n",
        escaped(file),
        escaped(&van.van)
    );
    Ok((out, charts))
}

fn facts(out: &mut String, plan: &ReportPlan<'_>, line: &VanLine<'_>) {
    let van = line.van;
    out.push_str("<details>\n<summary>What is known, and work done</summary>\n<ul>\n");
    let done = pages::van::done_in(van, plan.month).into_iter();
    let done = done.map(|d| format!("Done in {}: {d}", words::month(plan.month)));
    for said in pages::van::known(van).into_iter().chain(done) {
        let _ = writeln!(out, "<li>{}</li>", escaped(&said));
    }
    for habit in &van.habits {
        let _ = writeln!(out, "<li>A habit: {}</li>", escaped(&habit.text));
    }
    for remark in &van.records {
        let when = remark
            .date
            .map_or(String::new(), |d| format!("{}: ", words::day(d)));
        let _ = writeln!(
            out,
            "<li>To put right in the records: {}{}</li>",
            when,
            escaped(&remark.text)
        );
    }
    out.push_str("</ul>\n</details>\n");
}

/// Below a twentieth a cause only distracts.
const WORTH_TELLING: f64 = 0.05;

/// What could be behind an alarm, with the facts and what to look at first.
fn causes(out: &mut String, alarm: &AlarmAssessment) {
    out.push_str("<p>What could be behind it, and what to look at first:</p>\n<ol>\n");
    let told = alarm.causes.iter();
    for cause in told.filter(|c| c.probability >= WORTH_TELLING) {
        let _ = writeln!(
            out,
            "<li>{} ({}): {}. {}</li>",
            words::cause(cause.suspect),
            words::chance(cause.probability),
            escaped(&cause.facts.join("; ")),
            escaped(cause.check_first)
        );
    }
    out.push_str("</ol>\n");
}
