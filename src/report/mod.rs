//! Pages and files made from a finished assessment; nothing is computed here.
//!
//! The way of a page: [`parts`] orders what needs doing, a file of `pages`
//! divides the sheet, files of `charts` draw on their share of it through
//! `canvas`, which notes strokes. `pixels` and `png_file` turn those into a PNG,
//! `svg` into a drawing of the index. `words`, `answers` and `changes` hold
//! what is said, `look` how it looks.

pub mod districts;
pub mod due;
#[doc(hidden)]
pub mod order;
pub mod text;
pub mod what_if;

mod answers;
mod axis;
mod backend;
mod book;
mod canvas;
mod cautions;
mod changes;
mod charts;
mod error;
mod export;
mod files;
mod font;
mod gallery;
mod glossary;
mod html;
mod look;
mod night;
mod pages;
mod panel;
mod parts;
mod past;
mod pixels;
mod png_file;
mod rect;
#[cfg(test)]
mod sight;

mod display_list;
mod svg;
mod table;
mod words;
mod workbook;

#[cfg(test)]
pub(crate) mod fixture;
#[cfg(test)]
mod layout;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use crate::calendar::Date;
use rayon::prelude::*;

use crate::advise::{Assessment, DistrictMonth, Job, Order, Since, Visit, orders};
use crate::backtest::Backtest;

pub use error::ReportError;
pub use export::{
    assessment_csv, assessment_json, backtest_json, by_month_csv, explained_json, harmless,
};
pub use files::{prepare, replace};
pub use gallery::gallery;

/// What `assessment.json` holds, for programs that read it (JSON Schema).
pub const SCHEMA: &str = include_str!("assessment.schema.json");

/// Work lists and orders reach so many weeks ahead unless others are asked for.
pub const DUE_WEEKS: u32 = 8;

/// What to report on, and where to.
#[derive(Debug, Clone)]
pub struct ReportPlan<'a> {
    pub assessment: &'a Assessment,
    /// The month before; `None` where nothing had been recorded then.
    pub since: Option<&'a Since>,
    /// How good earlier forecasts were; `None` where that was not asked for.
    pub backtest: Option<&'a Backtest>,
    /// By district, then month.
    pub by_month: &'a [DistrictMonth],
    /// Of the coming [`DUE_WEEKS`].
    pub visits: Vec<Visit>,
    /// What these take.
    pub orders: Vec<Order>,
    /// First day of the month.
    pub month: Date,
    /// The folder; made if it is not there.
    pub out: &'a Path,
}

impl<'a> ReportPlan<'a> {
    /// Of today alone.
    pub fn new(assessment: &'a Assessment, month: Date, out: &'a Path) -> ReportPlan<'a> {
        let visits = due::visits(assessment, DUE_WEEKS);
        let jobs = visits.iter().flat_map(|visit| &visit.jobs);
        ReportPlan {
            assessment,
            since: None,
            backtest: None,
            by_month: &[],
            orders: orders(assessment, jobs),
            visits,
            month,
            out,
        }
    }

    fn jobs(&self) -> impl Iterator<Item = &Job> {
        self.visits.iter().flat_map(|visit| &visit.jobs)
    }

    fn lines(&self) -> Vec<parts::VanLine<'a>> {
        parts::by_urgency(self.assessment, &self.visits)
    }
}

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// Every file, the index last.
    pub files: Vec<PathBuf>,
    pub index: PathBuf,
}

/// Writes the month's report: the pages, `index.html` and the files that
/// [`files::TABLES`] names. `progress` hears how many of how many pages are
/// drawn.
///
/// # Errors
/// [`ReportError`]: the report that stood in `out` is still there.
pub fn write(
    plan: &ReportPlan<'_>,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Written, ReportError> {
    let lines = plan.lines();
    let book = book::Book::of(plan, &lines);
    let waiting = files::Waiting::beside(plan.out)?;
    let drawn = AtomicUsize::new(0);
    let all = book.pages.len();
    progress(0, all);
    let pages = || {
        book.pages.par_iter().try_for_each(|(name, page)| {
            waiting.write(name, &book::png(name, page.sketch(plan, &lines))?)?;
            progress(drawn.fetch_add(1, Ordering::Relaxed) + 1, all);
            Ok(())
        })
    };
    let others = || {
        write_tables(&waiting, plan, &lines)?;
        write_index(&waiting, plan, &lines, &book.names)
    };
    let (pages, others) = rayon::join(pages, others);
    pages.and(others)?;
    let pages = book.pages.iter().map(|(name, _)| name.as_str());
    let tables = files::TABLES.iter().map(|table| table.name);
    let names: Vec<String> = pages
        .chain(tables)
        .chain([files::INDEX])
        .map(str::to_owned)
        .collect();
    Ok(Written {
        files: waiting.put_in_place(&names)?,
        index: plan.out.join(files::INDEX),
    })
}

/// Writes the pages of some vans only, by their place; gives the files' places.
///
/// # Errors
/// [`ReportError`]
pub fn write_vans(plan: &ReportPlan<'_>, vans: &[usize]) -> Result<Vec<PathBuf>, ReportError> {
    let lines = plan.lines();
    let book = book::Book::of(plan, &lines);
    let is_wanted = |page: &book::Page<'_, '_>| match page {
        book::Page::Van(place) | book::Page::Warranty(place) => vans.contains(place),
        book::Page::Card(line) => vans.contains(&line.place),
        _ => false,
    };
    let pages = book.pages.iter().filter(|(_, page)| is_wanted(page));
    pages
        .map(|(name, page)| {
            files::replace(
                &plan.out.join(name),
                &book::png(name, page.sketch(plan, &lines))?,
            )
        })
        .collect()
}

/// The report as files for other programs.
fn write_tables(
    waiting: &files::Waiting,
    plan: &ReportPlan<'_>,
    lines: &[parts::VanLine<'_>],
) -> Result<(), ReportError> {
    let assessment = plan.assessment;
    for table in files::TABLES {
        let bytes = match table.kind {
            files::Kind::AssessmentJson => assessment_json(assessment)?.into_bytes(),
            files::Kind::AssessmentCsv => assessment_csv(assessment).into_bytes(),
            files::Kind::Schema => SCHEMA.as_bytes().to_vec(),
            files::Kind::Workbook => {
                workbook::bytes(plan, lines).map_err(ReportError::CannotMakeWorkbook)?
            }
            files::Kind::DueCsv => due::csv(plan.jobs()).into_bytes(),
            files::Kind::DueCalendar => due::icalendar(&plan.visits).into_bytes(),
        };
        waiting.write(table.name, &bytes)?;
    }
    Ok(())
}

/// The index: its body is written aside first, as its head names every ink in it.
fn write_index(
    waiting: &files::Waiting,
    plan: &ReportPlan<'_>,
    lines: &[parts::VanLine<'_>],
    names: &book::Names,
) -> Result<(), ReportError> {
    let (path, mut file) = waiting.create(files::INDEX)?;
    let (aside, mut body) = waiting.create(files::INDEX_BODY)?;
    html::write_index(plan, lines, names, (&path, &mut body, &mut file))?;
    waiting.keep(path, file);
    waiting.discard(&aside)
}
