//! Pages and files made from a finished assessment; nothing is computed here.
//!
//! The way of a page: [`parts`] orders what needs doing, a file of `pages`
//! divides the sheet, files of `charts` draw on their share of it through
//! [`canvas`], the one door to the drawing library, and `encode` turns the
//! picture into a PNG. `words` holds what is said, `look` how it looks.

pub mod districts;
pub mod due;
pub mod text;
pub mod what_if;

mod axis;
mod canvas;
mod cautions;
mod charts;
mod encode;
mod error;
mod export;
mod files;
mod html;
mod look;
mod pages;
mod panel;
mod parts;
mod place;
mod rect;
mod words;

#[cfg(test)]
pub(crate) mod fixture;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use jiff::civil::Date;
use rayon::prelude::*;

use crate::advise::{Assessment, VanAssessment};

pub use error::{DrawError, ReportError};
pub use export::{assessment_csv, assessment_json, backtest_json, explained_json};
pub use files::prepare;

use canvas::{Canvas, Picture};
use parts::VanLine;

/// Jobs in the report's `due.csv` reach so many weeks ahead.
const DUE_WEEKS: u32 = 8;

/// What to report on, and where to.
#[derive(Debug, Clone, Copy)]
pub struct ReportPlan<'a> {
    pub assessment: &'a Assessment,
    /// First day of the month.
    pub month: Date,
    /// The folder; made if it is not there.
    pub out: &'a Path,
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Every file, the index last.
    pub files: Vec<PathBuf>,
    pub index: PathBuf,
}

/// A page to be drawn.
enum Page<'a, 'b> {
    FleetFirst,
    FleetNext(usize, &'b [VanLine<'a>]),
    Area(usize),
    Van(usize),
    Claim(usize),
}

/// Writes the month's report: the pages, `assessment.json`, `due.csv` and
/// `index.html`. `progress` hears how many of how many pages are drawn.
///
/// # Errors
/// [`ReportError`]: the report that stood in `out` is still there.
pub fn write(
    plan: &ReportPlan<'_>,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Written, ReportError> {
    let assessment = plan.assessment;
    let lines = parts::by_urgency(assessment);
    let (names, pages) = contents(assessment, &lines);
    let drawn = AtomicUsize::new(0);
    progress(0, pages.len());
    // collected in order, so that the files do not depend on who was first
    let mut files: Vec<(String, Vec<u8>)> = pages
        .par_iter()
        .map(|(name, page)| {
            let bytes = page_bytes(name, page, plan, &lines)?;
            let done = drawn.fetch_add(1, Ordering::Relaxed) + 1;
            progress(done, pages.len());
            Ok((name.clone(), bytes))
        })
        .collect::<Result<_, ReportError>>()?;
    files.push((
        "assessment.json".to_owned(),
        assessment_json(assessment)?.into_bytes(),
    ));
    let jobs = due::jobs(assessment, DUE_WEEKS);
    files.push(("due.csv".to_owned(), due::csv(&jobs).into_bytes()));
    let index = html::index(assessment, &lines, plan.month, &names);
    files.push(("index.html".to_owned(), index.into_bytes()));
    let files = files::put_in_place(plan.out, &files)?;
    Ok(Written {
        index: plan.out.join("index.html"),
        files,
    })
}

/// File names, and the pages in the order in which they are read.
fn contents<'a, 'b>(
    assessment: &Assessment,
    lines: &'b [VanLine<'a>],
) -> (html::Names, Vec<(String, Page<'a, 'b>)>) {
    let vans: Vec<&str> = assessment.vans.iter().map(|v| v.van.as_str()).collect();
    let areas: Vec<&str> = assessment
        .areas
        .iter()
        .map(|a| a.postcode.as_str())
        .collect();
    let listed = pages::fleet::paged(lines);
    let numbered = (2..=listed.len()).map(|n| format!("fleet-{n}.png"));
    let names = html::Names {
        fleet: std::iter::once("fleet.png".to_owned())
            .chain(numbered)
            .collect(),
        vans: files::file_names("van", &vans, "png"),
        claims: files::file_names("claim", &vans, "png"),
        areas: files::file_names("area", &areas, "png"),
    };
    let mut pages = Vec::new();
    for (i, (name, shown)) in names.fleet.iter().zip(listed).enumerate() {
        let page = if i == 0 {
            Page::FleetFirst
        } else {
            Page::FleetNext(i + 1, shown)
        };
        pages.push((name.clone(), page));
    }
    pages.extend(
        names
            .areas
            .iter()
            .enumerate()
            .map(|(i, n)| (n.clone(), Page::Area(i))),
    );
    pages.extend(
        names
            .vans
            .iter()
            .enumerate()
            .map(|(i, n)| (n.clone(), Page::Van(i))),
    );
    let claims = names.claims.iter().zip(&assessment.vans).enumerate();
    pages.extend(
        claims
            .filter(|(_, (_, van))| pages::claim::has_one(van, assessment.as_of))
            .map(|(i, (n, _))| (n.clone(), Page::Claim(i))),
    );
    (names, pages)
}

fn page_picture(
    page: &Page<'_, '_>,
    plan: &ReportPlan<'_>,
    lines: &[VanLine<'_>],
) -> Result<Picture, DrawError> {
    let (assessment, month) = (plan.assessment, plan.month);
    canvas::draw(look::PAGE, |canvas| match page {
        Page::FleetFirst => pages::fleet::first(canvas, assessment, lines, month),
        Page::FleetNext(number, shown) => {
            pages::fleet::next(canvas, assessment, shown, month, *number);
        }
        Page::Area(i) => {
            if let Some(area) = assessment.areas.get(*i) {
                pages::area::draw(canvas, assessment, area, lines, month);
            }
        }
        Page::Van(i) => {
            if let Some(van) = assessment.vans.get(*i) {
                pages::van::draw(canvas, assessment, van, month);
            }
        }
        Page::Claim(i) => {
            if let Some(van) = assessment.vans.get(*i) {
                pages::claim::draw(canvas, assessment, van, month);
            }
        }
    })
}

fn page_bytes(
    name: &str,
    page: &Page<'_, '_>,
    plan: &ReportPlan<'_>,
    lines: &[VanLine<'_>],
) -> Result<Vec<u8>, ReportError> {
    let picture = page_picture(page, plan, lines).map_err(|source| ReportError::CannotDraw {
        page: name.to_owned(),
        source,
    })?;
    encode::png_bytes(&picture).map_err(|source| ReportError::CannotEncode {
        page: name.to_owned(),
        source,
    })
}

/// A chart of the gallery: its file name, and how it is drawn.
type Single<'a> = (&'static str, Box<dyn Fn(&mut Canvas<'_>) + Sync + 'a>);

/// Writes one PNG per kind of chart into `out`, and gives their paths.
///
/// # Errors
/// [`ReportError`].
pub fn gallery(assessment: &Assessment, out: &Path) -> Result<Vec<PathBuf>, ReportError> {
    let lines = parts::by_urgency(assessment);
    let files = singles(assessment, &lines)
        .par_iter()
        .map(|(name, paint)| {
            let picture = canvas::draw(look::SINGLE, |canvas| paint(canvas)).map_err(|source| {
                ReportError::CannotDraw {
                    page: (*name).to_owned(),
                    source,
                }
            })?;
            let bytes =
                encode::png_bytes(&picture).map_err(|source| ReportError::CannotEncode {
                    page: (*name).to_owned(),
                    source,
                })?;
            Ok(((*name).to_owned(), bytes))
        })
        .collect::<Result<Vec<_>, ReportError>>()?;
    files::put_in_place(out, &files)
}

/// Every kind of chart, drawn from the van or district that shows it best.
fn singles<'a>(assessment: &'a Assessment, lines: &'a [VanLine<'a>]) -> Vec<Single<'a>> {
    use charts::life_by_hardness::Of;
    let area_of = |canvas: &Canvas<'_>| canvas.page().inset(28.0);
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
            let shown = lines.get(..lines.len().min(15)).unwrap_or_default();
            let area = area_of(c);
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
                as_of,
                "",
            );
        }),
    ));
    singles.push((
        "salt-passage-fleet.png",
        Box::new(move |c| {
            charts::fleet_passage::draw(c, area_of(c), &vans, limits.salt_passage);
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
    if let Some(area) = assessment.areas.first() {
        singles.push((
            "lives-by-district.png",
            Box::new(move |c| {
                charts::lives_by_district::draw(
                    c,
                    area_of(c),
                    Of::Membrane,
                    &assessment.areas,
                    &area.postcode,
                );
            }),
        ));
    }
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
    singles
}
