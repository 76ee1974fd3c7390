//! The index: one HTML file that holds every chart and says everything in
//! text too. It needs no network, and nothing beside it.

mod badge;
mod district;
mod escape;
mod figure;
mod lists;
mod page;
mod script;
mod van;
mod vans;

use std::fmt::Write as _;
use std::io::{Read, Seek, Write};
use std::path::Path;

use crate::advise::{Assessment, VanAssessment};

use super::ReportPlan;
use super::answers::{Answer, answers};
use super::book::Names;
use super::cautions;
use super::charts::life_by_hardness::{self, Of};
use super::charts::{
    expected_by_van, fleet_passage, forecast_beside, lives_by_district, per_1000_litres, read_when,
    spent_by_month,
};
use super::error::ReportError;
use super::files;
use super::look;
use super::pages;
use super::parts::VanLine;

pub use escape::escaped;
use figure::{Chart, Charts};
use page::{Part, Parts};

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
    let mut charts = Charts::new();
    let mut parts = Parts::new(path, body);
    for answer in &answers(plan, lines) {
        parts.add(answered(plan, answer, lines, &mut charts)?)?;
    }
    parts.add(water(assessment, &mut charts)?)?;
    if !assessment.areas.is_empty() {
        parts.add(district::all(assessment, names, &mut charts)?)?;
    }
    if !lines.is_empty() {
        van::all(plan, lines, names, &mut charts, &mut parts)?;
    }
    parts.add(records(assessment, &mut charts)?)?;
    parts.add(file_list(names))?;
    parts.add(caution_list())?;
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
) -> Result<Part, ReportError> {
    let assessment = plan.assessment;
    let mut body = String::new();
    lists::answer(&mut body, &answer.said);
    match answer.id {
        "todo" => vans::table(&mut body, assessment, lines),
        "trouble" => {
            let vans: Vec<&VanAssessment> = assessment
                .vans
                .iter()
                .filter(|v| v.series.has_membrane)
                .collect();
            let limit = assessment.limits.salt_passage;
            if !vans.is_empty() {
                charts.add(
                    &mut body,
                    Chart {
                        title: fleet_passage::title(&vans, limit),
                        alternative: fleet_passage::alternative(&vans, limit),
                        size: look::DRAWING_WIDE,
                        table: fleet_passage::table(&vans),
                    },
                    |c| fleet_passage::draw(c, c.page().inset(6.0), &vans, limit),
                )?;
            }
        }
        "cost" if pages::money::worth_a_page(&assessment.money) => {
            money(&mut body, assessment, charts)?;
        }
        "intervals" if !assessment.areas.is_empty() => lists::intervals(&mut body, assessment),
        "believe" => {
            if let Some(result) = plan.backtest {
                lists::sentences(&mut body, &result.words);
                body.push_str("<div class=\"two\">\n");
                for (of, beside) in [
                    (Of::Membrane, &result.membranes_beside),
                    (Of::Resin, &result.resin_beside),
                ] {
                    if beside.is_empty() {
                        continue;
                    }
                    charts.add(
                        &mut body,
                        Chart {
                            title: forecast_beside::title(of, beside),
                            alternative: forecast_beside::alternative(of, beside),
                            size: look::DRAWING_TALL,
                            table: forecast_beside::table(of, beside),
                        },
                        |c| forecast_beside::draw(c, c.page().inset(6.0), of, beside),
                    )?;
                }
                body.push_str("</div>\n");
            }
        }
        _ => {}
    }
    Ok(Part::new(answer.id, answer.question, body))
}

fn money(
    body: &mut String,
    assessment: &Assessment,
    charts: &mut Charts,
) -> Result<(), ReportError> {
    let money = &assessment.money;
    lists::sentences(body, &pages::money::bought(money));
    body.push_str("<div class=\"two\">\n");
    charts.add(
        body,
        Chart {
            title: spent_by_month::title(money),
            alternative: spent_by_month::alternative(money),
            size: look::DRAWING_LOW,
            table: spent_by_month::table(money),
        },
        |c| spent_by_month::draw(c, c.page().inset(6.0), money),
    )?;
    if money.expected.is_some() {
        charts.add(
            body,
            Chart {
                title: expected_by_van::title(money),
                alternative: expected_by_van::alternative(money),
                size: look::DRAWING_TALL,
                table: expected_by_van::table(money),
            },
            |c| expected_by_van::draw(c, c.page().inset(6.0), money),
        )?;
    }
    if per_1000_litres::any(assessment) {
        charts.add(
            body,
            Chart {
                title: per_1000_litres::title(assessment),
                alternative: per_1000_litres::alternative(assessment),
                size: look::DRAWING_LOW,
                table: per_1000_litres::table(assessment),
            },
            |c| per_1000_litres::draw(c, c.page().inset(6.0), assessment),
        )?;
    }
    body.push_str("</div>\n");
    body.push_str("<h3>Parts to order</h3>\n");
    lists::sentences(body, &pages::money::to_order(&assessment.parts_to_order));
    Ok(())
}

fn water(assessment: &Assessment, charts: &mut Charts) -> Result<Part, ReportError> {
    let fleet = &assessment.fleet;
    let mut body = format!(
        "<p>{}.</p>\n<div class=\"two\">\n",
        escaped(&pages::water::lead(assessment))
    );
    for (of, dots, curve) in [
        (
            Of::Membrane,
            &fleet.membrane_dots,
            &fleet.membrane_life_by_hardness,
        ),
        (Of::Resin, &fleet.resin_dots, &fleet.resin_life_by_hardness),
    ] {
        charts.add(
            &mut body,
            Chart {
                title: life_by_hardness::title(of, dots, curve),
                alternative: life_by_hardness::alternative(of, dots, curve),
                size: look::DRAWING,
                table: life_by_hardness::table(of, dots, curve),
            },
            |c| life_by_hardness::draw(c, c.page().inset(6.0), of, dots, curve),
        )?;
    }
    let areas = &assessment.areas;
    for of in [Of::Membrane, Of::Resin] {
        charts.add(
            &mut body,
            Chart {
                title: lives_by_district::title(of, areas, ""),
                alternative: lives_by_district::alternative(of, areas, ""),
                size: look::DRAWING,
                table: lives_by_district::table(of, areas, ""),
            },
            |c| lives_by_district::draw(c, c.page().inset(6.0), of, areas, ""),
        )?;
    }
    body.push_str("</div>\n");
    Ok(Part::new("water", "What the water does", body))
}

fn records(assessment: &Assessment, charts: &mut Charts) -> Result<Part, ReportError> {
    let mut body = format!("<p>{}.</p>\n", escaped(&pages::records::lead(assessment)));
    let (vans, as_of) = (&assessment.vans, assessment.as_of);
    if !vans.is_empty() {
        let (width, _) = look::DRAWING_WIDE;
        // as high as its rows need, up to thirty of them
        let height = 120 + 22 * u32::try_from(vans.len().min(30)).unwrap_or(30);
        charts.add(
            &mut body,
            Chart {
                title: read_when::title(vans, as_of),
                alternative: read_when::alternative(vans, as_of),
                size: (width, height),
                table: read_when::table(vans, as_of),
            },
            |c| read_when::draw(c, c.page().inset(6.0), vans, as_of),
        )?;
    }
    let habits = pages::records::habits(assessment);
    if !habits.is_empty() {
        body.push_str("<h3>Habits that shorten lives or cost water</h3>\n");
        lists::sentences(&mut body, &habits);
    }
    body.push_str("<h3>To put right in the records</h3>\n");
    lists::sentences(&mut body, &pages::records::to_put_right(assessment));
    Ok(Part::new("records", "Records", body))
}

fn file_list(names: &Names) -> Part {
    let mut body = String::from("<ul>\n");
    for table in files::TABLES {
        let _ = writeln!(
            body,
            "<li><a href=\"{0}\">{0}</a>: {1}</li>",
            table.name,
            escaped(table.what)
        );
    }
    body.push_str("</ul>\n<p>Pages as pictures, for paper:</p>\n<ul class=\"pages\">\n");
    let single = [&names.water, &names.records].into_iter();
    let all = names
        .fleet
        .iter()
        .chain(&names.many)
        .chain(single)
        .chain(&names.money)
        .chain(&names.past)
        .chain(&names.areas)
        .chain(&names.vans);
    for file in all {
        let file = escaped(file);
        let _ = writeln!(body, "<li><a href=\"{file}\">{file}</a></li>");
    }
    body.push_str(
        "</ul>\n<p class=\"quiet\">These lie beside this file in the report's folder.</p>\n",
    );
    Part::new("files", "Files and pages", body)
}

fn caution_list() -> Part {
    let mut body = format!("<p>{}</p>\n<dl>\n", escaped(cautions::FOOT));
    for (what, text) in cautions::LIST {
        let _ = writeln!(body, "<dt>{}</dt><dd>{}</dd>", escaped(what), escaped(text));
    }
    body.push_str("</dl>\n");
    Part::new("cautions", "Cautions", body)
}
