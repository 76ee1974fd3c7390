//! The pages of a report: which there are, in what order, under what names.

use std::cell::RefCell;

use super::canvas::{self, Canvas};
use super::display_list::DisplayList;
use super::error::{DrawError, ReportError};
use super::parts::VanLine;
use super::pixels::Renderer;
use super::{ReportPlan, files, look, pages, png_file};

/// Which file shows what.
#[derive(Debug, Clone, Default)]
pub struct Names {
    pub fleet: Vec<String>,
    /// Many vans in little, page by page.
    pub many: Vec<String>,
    pub water: String,
    pub records: String,
    pub orders: String,
    /// Only where there are costs or prices.
    pub money: Option<String>,
    /// Only where past forecasts were judged.
    pub past: Option<String>,
    /// In the order of the assessment's vans.
    pub vans: Vec<String>,
    /// The same; written only for membranes that give cause for a claim.
    pub warranties: Vec<String>,
    /// The same; written only for vans with a visit planned.
    pub cards: Vec<String>,
    /// Of the warranty sheets and cards, those that are written.
    pub written: Vec<String>,
    /// In the order of the assessment's districts.
    pub areas: Vec<String>,
}

/// A page to be drawn.
#[derive(Debug)]
pub enum Page<'a, 'b> {
    FleetFirst,
    /// The list goes on; counted from 2.
    FleetNext(usize, &'b [VanLine<'a>]),
    /// Vans in little; counted from 1, of so many pages.
    Many(usize, usize, &'b [VanLine<'a>]),
    Water,
    Records,
    Orders,
    Money,
    Past,
    Area(usize),
    Van(usize),
    Warranty(usize),
    /// By the place of the van's line.
    Card(&'b VanLine<'a>),
}

/// All pages with their names, in the order in which they are read.
#[derive(Debug)]
pub struct Book<'a, 'b> {
    pub names: Names,
    pub pages: Vec<(String, Page<'a, 'b>)>,
}

impl<'a, 'b> Book<'a, 'b> {
    pub fn of(plan: &ReportPlan<'a>, lines: &'b [VanLine<'a>]) -> Book<'a, 'b> {
        let assessment = plan.assessment;
        let vans: Vec<&str> = assessment.vans.iter().map(|v| v.van.as_str()).collect();
        let areas = assessment.areas.iter().map(|a| a.postcode.as_str());
        let areas: Vec<&str> = areas.collect();
        let mut pages: Vec<(String, Page<'a, 'b>)> = Vec::new();
        for (i, shown) in pages::fleet::paged(lines).into_iter().enumerate() {
            pages.push(match i {
                0 => ("fleet.png".to_owned(), Page::FleetFirst),
                i => (
                    format!("fleet-{}.png", i + 1),
                    Page::FleetNext(i + 1, shown),
                ),
            });
        }
        let fleet = pages.iter().map(|(name, _)| name.clone()).collect();
        let many = pages::many::paged(lines);
        let of = many.len();
        let many: Vec<(String, Page<'a, 'b>)> = many
            .into_iter()
            .enumerate()
            .map(|(i, shown)| (format!("vans-{}.png", i + 1), Page::Many(i + 1, of, shown)))
            .collect();
        let mut names = Names {
            fleet,
            many: many.iter().map(|(name, _)| name.clone()).collect(),
            water: "water.png".to_owned(),
            records: "records.png".to_owned(),
            orders: "orders.png".to_owned(),
            money: pages::money::worth_a_page(&assessment.money).then(|| "money.png".to_owned()),
            past: plan.backtest.map(|_| "past.png".to_owned()),
            vans: files::file_names("van", &vans, "png"),
            warranties: files::file_names("warranty", &vans, "png"),
            cards: files::file_names("card", &vans, "png"),
            written: Vec::new(),
            areas: files::file_names("area", &areas, "png"),
        };
        pages.push((names.water.clone(), Page::Water));
        pages.extend(many);
        pages.push((names.records.clone(), Page::Records));
        pages.push((names.orders.clone(), Page::Orders));
        pages.extend(names.money.clone().map(|name| (name, Page::Money)));
        pages.extend(names.past.clone().map(|name| (name, Page::Past)));
        let numbered = |list: &[String], page: fn(usize) -> Page<'a, 'b>| {
            list.iter()
                .enumerate()
                .map(|(i, name)| (name.clone(), page(i)))
                .collect::<Vec<_>>()
        };
        pages.extend(numbered(&names.areas, Page::Area));
        pages.extend(numbered(&names.vans, Page::Van));
        let warranties = names.warranties.iter().zip(&assessment.vans).enumerate();
        pages.extend(
            warranties
                .filter(|(_, (_, van))| pages::warranty::has_one(van, assessment.as_of))
                .map(|(i, (name, _))| (name.clone(), Page::Warranty(i))),
        );
        let with_visit = lines.iter().filter(|l| !l.jobs.is_empty());
        pages.extend(with_visit.filter_map(|line| {
            let name = names.cards.get(line.place)?;
            Some((name.clone(), Page::Card(line)))
        }));
        let written = pages
            .iter()
            .filter(|(_, page)| matches!(page, Page::Warranty(_) | Page::Card(_)));
        names.written = written.map(|(name, _)| name.clone()).collect();
        Book { names, pages }
    }
}

impl Page<'_, '_> {
    /// The page before it becomes pixels.
    pub fn sketch(
        &self,
        plan: &ReportPlan<'_>,
        lines: &[VanLine<'_>],
    ) -> Result<DisplayList, DrawError> {
        canvas::draw(look::PAGE, |canvas| self.paint(canvas, plan, lines))
    }

    fn paint(&self, canvas: &mut Canvas, plan: &ReportPlan<'_>, lines: &[VanLine<'_>]) {
        let (assessment, month) = (plan.assessment, plan.month);
        match self {
            Page::FleetFirst => pages::fleet::first(canvas, plan, lines),
            Page::FleetNext(number, shown) => {
                pages::fleet::next(canvas, assessment, shown, month, *number);
            }
            Page::Many(number, of, shown) => {
                pages::many::draw(canvas, assessment, shown, month, (*number, *of));
            }
            Page::Water => pages::water::draw(canvas, assessment, month),
            Page::Records => pages::records::draw(canvas, assessment, month),
            Page::Orders => pages::orders::draw(canvas, plan),
            Page::Money => pages::money::draw(canvas, assessment, month),
            Page::Past => {
                if let Some(result) = plan.backtest {
                    pages::past::draw(canvas, assessment, result, month);
                }
            }
            Page::Area(i) => {
                if let Some(area) = assessment.areas.get(*i) {
                    pages::area::draw(canvas, assessment, area, lines, month);
                }
            }
            Page::Van(i) => {
                if let Some(line) = lines.iter().find(|l| l.place == *i) {
                    pages::van::draw(canvas, assessment, line, month);
                }
            }
            Page::Warranty(i) => {
                if let Some(van) = assessment.vans.get(*i) {
                    pages::warranty::draw(canvas, assessment, van, month);
                }
            }
            Page::Card(line) => {
                if let Some(card) = pages::card::card(line, assessment) {
                    pages::card::draw(canvas, assessment, line, &card, month);
                }
            }
        }
    }
}

/// A drawn page as the bytes of a PNG.
///
/// # Errors
/// Where it could not be drawn or encoded, with the page's name.
pub fn png(name: &str, list: Result<DisplayList, DrawError>) -> Result<Vec<u8>, ReportError> {
    thread_local! {
        // the sheet and the letters are made once in a thread, not for each page
        static RENDERER: RefCell<Renderer> = RefCell::new(Renderer::default());
    }
    RENDERER.with_borrow_mut(|renderer| {
        let picture = list.and_then(|list| renderer.picture(&list));
        let picture = picture.map_err(|source| ReportError::CannotDraw {
            page: name.to_owned(),
            source,
        })?;
        png_file::png_bytes(&picture).map_err(|source| ReportError::CannotEncode {
            page: name.to_owned(),
            source,
        })
    })
}
