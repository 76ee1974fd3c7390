//! The gallery: one picture per kind of chart, drawn from the van or district
//! that shows it best.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::canvas::{self, Canvas};
use super::display_list::DisplayList;
use super::error::ReportError;
use super::{DUE_WEEKS, book, charts, due, files, look, pages, parts, rect};
use crate::advise::{Assessment, VanAssessment};
use crate::backtest::Backtest;

/// A chart of the gallery: its file name, and how it is drawn.
pub(super) type Single<'a> = (&'static str, Box<dyn Fn(&mut Canvas) + Sync + 'a>);

/// Writes one PNG per kind of chart into `out`, and gives their paths.
///
/// # Errors
/// [`ReportError`].
pub fn gallery(
    assessment: &Assessment,
    backtest: Option<&Backtest>,
    out: &Path,
) -> Result<Vec<PathBuf>, ReportError> {
    let lines = parts::by_urgency(assessment, &due::visits(assessment, DUE_WEEKS));
    let files = singles(assessment, backtest, &lines)
        .par_iter()
        .map(|(name, paint)| {
            let bytes = book::png(name, sketch(paint))?;
            Ok(((*name).to_owned(), bytes))
        })
        .collect::<Result<Vec<_>, ReportError>>()?;
    files::put_in_place(out, &files)
}

/// A chart of the gallery before it becomes pixels.
pub(super) fn sketch(
    paint: &(dyn Fn(&mut Canvas) + Sync),
) -> Result<DisplayList, super::error::DrawError> {
    canvas::draw(look::SINGLE, |canvas| paint(canvas))
}

/// Every kind of chart, drawn from the van or district that shows it best.
pub(super) fn singles<'a>(
    assessment: &'a Assessment,
    backtest: Option<&'a Backtest>,
    lines: &'a [parts::VanLine<'a>],
) -> Vec<Single<'a>> {
    use charts::life_by_hardness::Of;
    let area_of = |canvas: &Canvas| canvas.page().inset(28.0);
    let (fleet, limits, as_of) = (&assessment.fleet, assessment.limits, assessment.as_of);
    let vans: Vec<&VanAssessment> = assessment
        .vans
        .iter()
        .filter(|v| v.series.has_membrane)
        .collect();
    let mut singles: Vec<Single<'a>> = Vec::new();
    singles.push((
        "what-needs-doing.png",
        Box::new(move |c| {
            let area = area_of(c);
            let room = charts::to_do::rows_in(area.height() - 34.0, lines);
            let shown = lines.get(..room).unwrap_or_default();
            let face = look::CHART_TITLE;
            let title = c.shortened(&parts::finding(lines), &face, area.width());
            c.text(
                &title,
                (area.x0, area.y0 + 19.0),
                &face,
                canvas::Align::Left,
            );
            charts::to_do::draw(
                c,
                rect::Rect {
                    y0: area.y0 + 34.0,
                    ..area
                },
                shown,
                pages::fleet::when(assessment),
                "",
            );
        }),
    ));
    singles.push((
        "salt-passage-fleet.png",
        Box::new(move |c| {
            charts::rejection_now::draw(c, area_of(c), &vans, as_of, limits.salt_passage);
        }),
    ));
    singles.push((
        "membrane-life.png",
        Box::new(move |c| {
            charts::life_by_hardness::draw(
                c,
                area_of(c),
                Of::Membrane,
                &fleet.membrane_dots,
                &fleet.membrane_life_by_hardness,
            );
        }),
    ));
    singles.push((
        "resin-life.png",
        Box::new(move |c| {
            charts::life_by_hardness::draw(
                c,
                area_of(c),
                Of::Resin,
                &fleet.resin_dots,
                &fleet.resin_life_by_hardness,
            );
        }),
    ));
    singles.push((
        "intervals.png",
        Box::new(move |c| {
            charts::intervals::draw(c, area_of(c), assessment);
        }),
    ));
    singles.push((
        "lives-by-district.png",
        Box::new(move |c| {
            charts::lives_by_district::draw(c, area_of(c), Of::Membrane, &assessment.areas, "");
        }),
    ));
    let most = |count: fn(&VanAssessment) -> usize| {
        assessment
            .vans
            .iter()
            .rev()
            .max_by_key(|v| count(v))
            .filter(|v| count(v) > 0)
    };
    if let Some(van) = most(|v| v.series.salt_passage.len()) {
        singles.push((
            "salt-passage-van.png",
            Box::new(move |c| {
                charts::van_passage::draw(c, area_of(c), van, as_of, limits.salt_passage);
            }),
        ));
    }
    let alarmed = assessment
        .vans
        .iter()
        .find(|v| v.membrane.alarm.is_some() && v.series.usual_passage.len() > 8);
    if let Some(van) = alarmed {
        singles.push((
            "evidence-of-an-alarm.png",
            Box::new(move |c| {
                charts::van_evidence::draw(c, area_of(c), van, as_of);
            }),
        ));
    }
    if let Some(van) = most(|v| v.series.product_ppm.len()) {
        singles.push((
            "water-after-resin.png",
            Box::new(move |c| {
                charts::van_product::draw(c, area_of(c), van, as_of, limits.product_ppm);
            }),
        ));
    }
    if let Some(van) = most(|v| v.series.weeks.len()) {
        singles.push((
            "litres-per-week.png",
            Box::new(move |c| {
                charts::van_weeks::draw(c, area_of(c), van, as_of, None);
            }),
        ));
    }
    singles.push((
        "read-when.png",
        Box::new(move |c| {
            charts::read_when::draw(c, area_of(c), &assessment.vans, as_of);
        }),
    ));
    singles.push((
        "spent-by-month.png",
        Box::new(move |c| {
            charts::spent_by_month::draw(c, area_of(c), &assessment.money);
        }),
    ));
    singles.push((
        "cost-of-1000-litres.png",
        Box::new(move |c| {
            charts::per_1000_litres::draw(c, area_of(c), assessment);
        }),
    ));
    singles.push((
        "expected-by-van.png",
        Box::new(move |c| {
            charts::expected_by_van::draw(c, area_of(c), &assessment.money);
        }),
    ));
    if let Some(result) = backtest {
        singles.push((
            "forecast-and-outcome.png",
            Box::new(move |c| {
                charts::forecast_beside::draw(
                    c,
                    area_of(c),
                    Of::Membrane,
                    &result.membranes_beside,
                );
            }),
        ));
    }
    singles
}
