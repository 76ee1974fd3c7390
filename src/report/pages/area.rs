//! One district's page: how long membranes and resin last in its water, what
//! to do instead of the usual intervals, and how its vans are doing.

use crate::calendar::Date;

use crate::advise::{AreaAssessment, Assessment, VanAssessment};
use crate::report::answers::saved_by;
use crate::report::canvas::{Align, Canvas};
use crate::report::charts::life_by_hardness::Of;
use crate::report::charts::{lives_by_district, rejection_now, to_do};
use crate::report::look;
use crate::report::pages::{fleet, place, sheet};
use crate::report::parts::VanLine;
use crate::report::rect::Rect;
use crate::report::words;

/// What the district is, in one line.
pub fn lead(area: &AreaAssessment) -> String {
    let vans = words::count(area.vans, "van", "vans");
    match area.hardness_mg_l_caco3 {
        Some(h) => format!("{vans} based here; hardness {h:.0} mg/L"),
        None => format!("{vans} based here; hardness not known"),
    }
}

/// The suggestions beside the usual intervals, in sentences.
pub fn suggestions(assessment: &Assessment, area: &AreaAssessment) -> Vec<String> {
    let fleet = &assessment.fleet;
    let suggested = &area.suggested;
    let mut said = Vec::new();
    said.push(match suggested.membrane_days {
        Some(days) => format!(
            "RO membrane: change it every {} (usual interval: {:.0} months).",
            words::days_as_interval(days),
            fleet.rule_membrane_months
        ),
        None => "RO membrane: no interval yet, not enough readings.".to_owned(),
    });
    said.push(match suggested.prefilter_days {
        Some(days) => format!(
            "Pre-filters: change them every {} (usual interval: {:.0} weeks).",
            words::days_as_interval(days),
            fleet.rule_prefilter_weeks
        ),
        None => "Pre-filters: no interval yet, not enough records.".to_owned(),
    });
    said.push(match suggested.resin_litres {
        Some(litres) => format!(
            "DI resin: change it every {} L of water{} (usual: at the limit).",
            words::thousands(words::two_figures(litres)),
            area.litres_per_week
                .filter(|weekly| *weekly > 0.0)
                .map_or(String::new(), |weekly| {
                    let days = 7.0 * litres / weekly;
                    format!(", about {} at its vans' use", words::days_as_interval(days))
                })
        ),
        None if area.resin_life_litres.p50.is_some() => {
            "DI resin: change it at the limit; going by litres saves nothing here.".to_owned()
        }
        None => "DI resin: no interval yet, not enough readings.".to_owned(),
    });
    let here = |v: &&VanAssessment| v.postcode.as_deref() == Some(area.postcode.as_str());
    let resin_only = assessment.vans.iter().filter(here);
    let resin_only: Vec<String> = resin_only
        .filter(|v| v.series.has_resin && !v.series.has_membrane)
        .map(|v| v.van.clone())
        .collect();
    if !resin_only.is_empty() {
        said.push(format!(
            "Not for {}: no RO membrane, so the DI resin lasts far less.",
            words::list(&resin_only)
        ));
    }
    if let Some(saving) = area.saving_per_van_year {
        let amount = words::money(saving.abs(), fleet.currency.as_deref());
        said.push(if saving.abs() < 1.0 {
            "The usual intervals are as good here.".to_owned()
        } else if saving > 0.0 {
            format!(
                "Expected to save {amount} per van per year{}",
                saved_by(assessment)
            )
        } else {
            format!("Costs {amount} more per van per year than the usual intervals.")
        });
    }
    said
}

/// Draws the page; `lines` are the vans of the whole fleet by urgency.
pub fn draw(
    canvas: &mut Canvas,
    assessment: &Assessment,
    area: &AreaAssessment,
    lines: &[VanLine<'_>],
    month: Date,
) {
    let title = format!("District {}", area.postcode);
    let body = sheet(canvas, &title, &lead(area), &place(month, assessment));
    let middle = body.x0 + body.width() / 2.0;
    let upper = Rect {
        y1: body.y0 + 500.0,
        ..body
    };
    let lower = Rect {
        y0: upper.y1 + 26.0,
        ..body
    };
    let areas = &assessment.areas;
    let half = Rect {
        x1: middle - 18.0,
        ..upper
    };
    lives_by_district::draw(canvas, half, Of::Membrane, areas, &area.postcode);
    let half = Rect {
        x0: middle + 18.0,
        ..upper
    };
    lives_by_district::draw(canvas, half, Of::Resin, areas, &area.postcode);

    let here = |v: &VanAssessment| v.postcode.as_deref() == Some(area.postcode.as_str());
    let vans: Vec<&VanAssessment> = assessment
        .vans
        .iter()
        .filter(|v| v.series.has_membrane && here(v))
        .collect();
    let half = Rect {
        x0: middle + 18.0,
        ..lower
    };
    rejection_now::draw(
        canvas,
        half,
        &vans,
        assessment.as_of,
        assessment.limits.salt_passage,
    );

    let left = Rect {
        x1: middle - 18.0,
        ..lower
    };
    canvas.text(
        "Suggested here",
        (left.x0, left.y0 + 19.0),
        &look::CHART_TITLE,
        Align::Left,
    );
    let mut y = left.y0 + 48.0;
    for said in suggestions(assessment, area) {
        y = canvas.paragraph(&said, (left.x0, y), &look::BODY, left.width(), 2);
    }
    y += 18.0;
    canvas.text(
        "The vans here",
        (left.x0, y),
        &look::CHART_TITLE,
        Align::Left,
    );
    let rows = Rect {
        y0: y + 12.0,
        ..left
    };
    let own: Vec<VanLine<'_>> = lines.iter().filter(|l| here(l.van)).cloned().collect();
    let fits = to_do::rows_in(rows.height(), &own);
    let after = match own.len() - fits {
        0 => String::new(),
        n => format!("and {} more, see the index", words::count(n, "van", "vans")),
    };
    to_do::draw(
        canvas,
        rows,
        own.get(..fits).unwrap_or_default(),
        fleet::when(assessment),
        &after,
    );
}
