//! The month as a workbook for a spreadsheet program: typed cells, the head
//! row kept in sight, widths that fit, states marked by format as well as word.

use crate::calendar::{Date, Datelike};
use rust_xlsxwriter::{
    Color, ConditionalFormatCell, ConditionalFormatCellRule, DocProperties, ExcelDateTime, Format,
    FormatAlign, Workbook, Worksheet, XlsxError,
};

use super::ReportPlan;
use super::axis::day_number;
use super::due::{self, Job};
use super::look::{Ink, badge};
use super::order;
use super::parts::VanLine;
use super::words;
use crate::advise::{Assessment, DistrictMonth, Order, State};

/// A cell holds no more than this; a longer text is cut.
const LONGEST: usize = 32_000;
/// Rows with their heads; a sheet has at most 1,048,576.
const MOST_ROWS: usize = 1_000_000;
const ALL_STATES: [State; 6] = [
    State::FailingEarly,
    State::Overdue,
    State::Due,
    State::Watch,
    State::Unknown,
    State::OnCourse,
];

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
enum Cell {
    Text(String),
    Number(Option<f64>),
    Tenths(Option<f64>),
    Share(Option<f64>),
    Day(Option<Date>),
    Month(Date),
}

/// A column: head, width in letters.
type Column = (&'static str, f64);

/// The workbook's bytes: the same for the same assessment.
///
/// # Errors
/// What the library says.
pub fn bytes(plan: &ReportPlan<'_>, lines: &[VanLine<'_>]) -> Result<Vec<u8>, XlsxError> {
    let assessment = plan.assessment;
    let mut book = Workbook::new();
    // the day of the report, not of its making: the same input, the same bytes
    let made = day(assessment.as_of)?;
    book.set_properties(
        &DocProperties::new()
            .set_title("Fleet report")
            .set_author("litrewise")
            .set_creation_datetime(&made),
    );
    sheet(&mut book, "Vans", &VANS, &vans(assessment, lines), Some(2))?;
    sheet(&mut book, "Jobs", &JOBS, &job_rows(plan.jobs()), Some(3))?;
    sheet(
        &mut book,
        "Orders",
        &ORDERS,
        &order_rows(&plan.orders),
        None,
    )?;
    sheet(
        &mut book,
        "Districts",
        &DISTRICTS,
        &districts(assessment),
        None,
    )?;
    sheet(
        &mut book,
        "By month",
        &BY_MONTH,
        &by_month(plan.by_month),
        None,
    )?;
    sheet(&mut book, "About", &ABOUT, &about(assessment), None)?;
    book.save_to_buffer()
}

fn day(date: Date) -> Result<ExcelDateTime, XlsxError> {
    let part = |n: u32| u8::try_from(n).unwrap_or(1);
    let year = u16::try_from(date.year()).unwrap_or(1900).max(1900);
    ExcelDateTime::from_ymd(year, part(date.month()), part(date.day()))
}

fn color(Ink(r, g, b): Ink) -> Color {
    Color::RGB(u32::from(r) << 16 | u32::from(g) << 8 | u32::from(b))
}

/// Writes a sheet; `states` is the column that holds a state's word.
fn sheet(
    book: &mut Workbook,
    name: &str,
    columns: &[Column],
    rows: &[Vec<Cell>],
    states: Option<u16>,
) -> Result<(), XlsxError> {
    let sheet = book.add_worksheet();
    sheet.set_name(name)?;
    let head = Format::new()
        .set_bold()
        .set_text_wrap()
        .set_align(FormatAlign::Top);
    let text = Format::new().set_align(FormatAlign::Top).set_text_wrap();
    let number = Format::new()
        .set_align(FormatAlign::Top)
        .set_num_format("#,##0");
    let tenths = Format::new()
        .set_align(FormatAlign::Top)
        .set_num_format("#,##0.0");
    let share = Format::new()
        .set_align(FormatAlign::Top)
        .set_num_format("0.0%");
    let date = Format::new()
        .set_align(FormatAlign::Top)
        .set_num_format("yyyy-mm-dd");
    let month = Format::new()
        .set_align(FormatAlign::Top)
        .set_num_format("mmm yyyy");
    for (place, (title, width)) in (0_u16..).zip(columns) {
        sheet.write_string_with_format(0, place, *title, &head)?;
        sheet.set_column_width(place, *width)?;
    }
    let shown = rows.get(..rows.len().min(MOST_ROWS)).unwrap_or_default();
    for (line, row) in (1_u32..).zip(shown) {
        for (place, cell) in (0_u16..).zip(row) {
            match cell {
                Cell::Text(value) if value.is_empty() => {}
                Cell::Text(value) => {
                    let value: String = value.chars().take(LONGEST).collect();
                    sheet.write_string_with_format(line, place, value, &text)?;
                }
                Cell::Number(Some(value)) if value.is_finite() => {
                    sheet.write_number_with_format(line, place, *value, &number)?;
                }
                Cell::Tenths(Some(value)) if value.is_finite() => {
                    sheet.write_number_with_format(line, place, *value, &tenths)?;
                }
                Cell::Share(Some(value)) if value.is_finite() => {
                    sheet.write_number_with_format(line, place, *value, &share)?;
                }
                Cell::Day(Some(value)) if value.year() >= 1900 => {
                    sheet.write_datetime_with_format(line, place, day(*value)?, &date)?;
                }
                Cell::Month(value) if value.year() >= 1900 => {
                    sheet.write_datetime_with_format(line, place, day(*value)?, &month)?;
                }
                _ => {}
            }
        }
    }
    sheet.set_freeze_panes(1, 1)?;
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    sheet.set_repeat_rows(0, 0)?;
    let last_row = u32::try_from(shown.len()).unwrap_or(0);
    let last_column = u16::try_from(columns.len().saturating_sub(1)).unwrap_or(0);
    if last_row > 0 {
        sheet.autofilter(0, 0, last_row, last_column)?;
        if let Some(place) = states {
            mark_states(sheet, place, last_row)?;
        }
    }
    Ok(())
}

/// States in tints of the pages' inks, bold; the word stays.
fn mark_states(sheet: &mut Worksheet, place: u16, last_row: u32) -> Result<(), XlsxError> {
    for state in ALL_STATES {
        // a tint under the word: the word itself stays black
        let ground = badge(state).1.tint(0.3);
        let format = Format::new().set_bold().set_background_color(color(ground));
        let rule = ConditionalFormatCell::new()
            .set_rule(ConditionalFormatCellRule::EqualTo(words::state(state)))
            .set_format(format);
        sheet.add_conditional_format(1, place, last_row, place, &rule)?;
    }
    Ok(())
}

const VANS: [Column; 17] = [
    ("Van", 18.0),
    ("District", 9.0),
    ("State", 14.0),
    ("To do", 44.0),
    ("Days left", 9.0),
    ("Hardness, mg/L", 10.0),
    ("Membrane fitted", 12.0),
    ("Litres through membrane", 11.0),
    ("Rejection", 9.0),
    ("Membrane at its limit, best estimate", 14.0),
    ("Change membrane", 12.0),
    ("Resin changed", 12.0),
    ("Resin litres left, best estimate", 13.0),
    ("Change resin", 12.0),
    ("Pre-filters changed", 12.0),
    ("Change pre-filters", 12.0),
    ("Last TDS reading", 12.0),
];

fn vans(assessment: &Assessment, lines: &[VanLine<'_>]) -> Vec<Vec<Cell>> {
    let row = |line: &VanLine<'_>| {
        let van = line.van;
        let (m, r, p) = (&van.membrane, &van.resin, &van.prefilter);
        let first = line.parts.iter().filter_map(|part| part.replace_on).min();
        let left = first.map(|d| day_number(d) - day_number(assessment.as_of));
        vec![
            Cell::Text(van.van.clone()),
            Cell::Text(van.postcode.clone().unwrap_or_default()),
            Cell::Text(words::state(line.state).to_owned()),
            Cell::Text(line.to_do(assessment.as_of)),
            Cell::Number(left),
            Cell::Number(van.hardness_mg_l_caco3),
            Cell::Day(m.fitted_on),
            Cell::Number(m.litres_made),
            Cell::Share(m.salt_passage.p50.map(|p| 1.0 - p)),
            Cell::Day(m.limit_on.p50),
            Cell::Day(m.replace_on),
            Cell::Day(r.changed_on),
            Cell::Number(r.litres_left.p50),
            Cell::Day(r.replace_on),
            Cell::Day(p.changed_on),
            Cell::Day(p.replace_on),
            Cell::Day(van.series.last_reading_on),
        ]
    };
    lines.iter().map(row).collect()
}

const JOBS: [Column; 10] = [
    ("Day", 12.0),
    ("Van", 18.0),
    ("District", 9.0),
    ("State", 14.0),
    ("Job", 30.0),
    ("Take", 28.0),
    ("Needed by", 12.0),
    ("Days late", 9.0),
    ("Why", 70.0),
    ("Done on", 12.0),
];

fn job_rows<'j>(jobs: impl Iterator<Item = &'j Job>) -> Vec<Vec<Cell>> {
    jobs.map(|job| {
        let late = Some(f64::from(job.days_late())).filter(|days| *days > 0.0);
        vec![
            Cell::Day(Some(job.date)),
            Cell::Text(job.van.clone()),
            Cell::Text(job.base.clone().unwrap_or_default()),
            Cell::Text(words::state(job.state).to_owned()),
            Cell::Text(words::capital(&due::what(job))),
            Cell::Text(due::takes(job).unwrap_or_default()),
            Cell::Day(Some(job.own_day)),
            Cell::Number(late),
            Cell::Text(job.why.clone()),
            Cell::Text(String::new()),
        ]
    })
    .collect()
}

const ORDERS: [Column; 7] = [
    ("Order by", 12.0),
    ("Part", 34.0),
    ("To order", 11.0),
    ("Bags", 8.0),
    ("Needed", 10.0),
    ("On the shelf", 11.0),
    ("For", 60.0),
];

fn order_rows(orders: &[Order]) -> Vec<Vec<Cell>> {
    let row = |line: &Order| {
        let vans: Vec<&str> = line.vans.iter().map(|v| v.van.as_str()).collect();
        vec![
            Cell::Day(line.order_by),
            Cell::Text(words::capital(&order::part(line))),
            Cell::Number(Some(line.to_order)),
            Cell::Number(line.bags.map(|b| f64::from(b.bags))),
            Cell::Number(Some(line.needed)),
            Cell::Number(Some(line.on_shelf)),
            Cell::Text(vans.join(", ")),
        ]
    };
    orders.iter().map(row).collect()
}

const DISTRICTS: [Column; 9] = [
    ("District", 12.0),
    ("Hardness, mg/L", 11.0),
    ("Vans", 8.0),
    ("Litres a new RO membrane lasts, best estimate", 16.0),
    ("Litres a resin refill lasts, best estimate", 16.0),
    ("Change membrane every … days", 14.0),
    ("Change resin every … litres", 14.0),
    ("Change pre-filters every … days", 14.0),
    ("Saves per van per year", 16.0),
];

fn districts(assessment: &Assessment) -> Vec<Vec<Cell>> {
    let areas = assessment.areas.iter();
    areas
        .map(|area| {
            vec![
                Cell::Text(area.postcode.clone()),
                Cell::Number(area.hardness_mg_l_caco3),
                Cell::Number(Some(area.vans as f64)),
                Cell::Number(area.membrane_life_litres.p50.map(words::two_figures)),
                Cell::Number(area.resin_life_litres.p50.map(words::two_figures)),
                Cell::Number(area.suggested.membrane_days),
                Cell::Number(area.suggested.resin_litres.map(words::two_figures)),
                Cell::Number(area.suggested.prefilter_days),
                Cell::Number(area.saving_per_van_year.map(words::two_figures)),
            ]
        })
        .collect()
}

const BY_MONTH: [Column; 12] = [
    ("District", 12.0),
    ("Month", 10.0),
    ("Vans", 8.0),
    ("Readings", 9.0),
    ("Tap TDS, median, ppm", 11.0),
    ("Membrane TDS, median, ppm", 11.0),
    ("Product TDS, median, ppm", 11.0),
    ("Rejection, median", 10.0),
    ("Pure water made, L", 11.0),
    ("Water to drain where written down, L", 14.0),
    ("RO membrane changes", 11.0),
    ("DI resin changes", 11.0),
];

fn by_month(months: &[DistrictMonth]) -> Vec<Vec<Cell>> {
    let count = |n: usize| Cell::Number(Some(n as f64));
    let row = |of: &DistrictMonth| {
        let district = if of.district.is_empty() {
            "not known"
        } else {
            &of.district
        };
        vec![
            Cell::Text(district.to_owned()),
            Cell::Month(of.month),
            count(of.vans),
            count(of.readings),
            Cell::Number(of.feed_ppm),
            Cell::Tenths(of.permeate_ppm),
            Cell::Tenths(of.product_ppm),
            Cell::Share(of.rejection),
            Cell::Number(Some(of.litres_made)),
            Cell::Number(of.litres_to_drain),
            count(of.membrane_changes),
            count(of.resin_changes),
        ]
    };
    months.iter().map(row).collect()
}

const ABOUT: [Column; 2] = [("What", 44.0), ("", 40.0)];

fn about(assessment: &Assessment) -> Vec<Vec<Cell>> {
    let text = |what: &str| Cell::Text(what.to_owned());
    let rows = &assessment.rows;
    vec![
        vec![text("As of"), Cell::Day(Some(assessment.as_of))],
        vec![
            text("Limit: rejection of the RO membrane"),
            Cell::Share(Some(1.0 - assessment.limits.salt_passage)),
        ],
        vec![
            text("Limit: product TDS, ppm"),
            Cell::Number(Some(assessment.limits.product_ppm)),
        ],
        vec![text("Rows read"), Cell::Number(Some(rows.read as f64))],
        vec![
            text("Rows not used"),
            Cell::Number(Some(rows.set_aside as f64)),
        ],
        vec![
            text("Best estimate"),
            text("As likely to come earlier as later; the pages give the likely range."),
        ],
        vec![
            text("By month"),
            text(
                "By the district where each van was based on the day. Readings as written down, also of meters in doubt; half lie under the median, half over it.",
            ),
        ],
    ]
}
