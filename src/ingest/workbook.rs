//! Workbooks (`.xlsx`, `.ods`): each sheet becomes a table of its own whose
//! lines are the sheet's rows. What is typed as a date or a number is written so
//! that it can be read in one way only.

use std::collections::BTreeMap;
use std::io::Cursor;

use calamine::{
    Data, Dimensions, ExcelDateTime, Ods, Reader, SheetType, SheetVisible, Xlsx,
    open_workbook_from_rs,
};

use super::error::ReadError;
use super::own_output::OwnOutput;

/// Cells looked at in a row: no sheet of ours is wider.
const WIDEST: u32 = 1_024;
/// Rows of a sheet that are filled with the value of a merged cell at most.
const MOST_MERGED: u32 = 10_000;
/// Who is named as the author of the program's own workbooks.
const OURSELVES: &str = "litrewise";
/// Separates the cells of a table made of a sheet: no decimal mark, so that it
/// tells nothing of numbers that were typed as text.
const DELIMITER: u8 = b'\t';

/// The sheets of a workbook.
#[derive(Debug, Default)]
pub(super) struct Workbook {
    /// Name and table of every sheet that holds anything.
    pub sheets: Vec<(String, String)>,
    /// Names of those that are hidden.
    pub hidden: Vec<String>,
}

impl Workbook {
    /// Reads all sheets. `file`: its name as the user gave it.
    pub fn read(bytes: &[u8], file: &str) -> Result<Workbook, ReadError> {
        let spoilt = |why: String| ReadError::SpoiltWorkbook {
            file: file.to_owned(),
            why,
        };
        // an OpenDocument archive begins with its media type
        let is_ods = memchr::memmem::find(
            bytes.get(..256).unwrap_or(bytes),
            b"opendocument.spreadsheet",
        );
        if is_ods.is_some() {
            let book: Ods<_> = open_workbook_from_rs(Cursor::new(bytes))
                .map_err(|e: calamine::OdsError| spoilt(e.to_string()))?;
            of_ods(book).map_err(spoilt)
        } else {
            let book: Xlsx<_> = open_workbook_from_rs(Cursor::new(bytes))
                .map_err(|e: calamine::XlsxError| spoilt(e.to_string()))?;
            of_xlsx(book, file, &spoilt)
        }
    }
}

type Rows = BTreeMap<u32, BTreeMap<u32, String>>;

fn of_xlsx(
    mut book: Xlsx<Cursor<&[u8]>>,
    file: &str,
    spoilt: &dyn Fn(String) -> ReadError,
) -> Result<Workbook, ReadError> {
    let author = book
        .workbook_properties()
        .ok()
        .and_then(|found| found.creator);
    if author.as_deref() == Some(OURSELVES) {
        return Err(ReadError::OwnOutput {
            file: file.to_owned(),
            output: OwnOutput::Workbook,
        });
    }
    let mut found = Workbook::default();
    for sheet in book.sheets_metadata().to_vec() {
        if sheet.typ != SheetType::WorkSheet {
            continue;
        }
        let failed = |e: calamine::XlsxError| spoilt(format!("sheet {}: {e}", sheet.name));
        let mut rows = Rows::new();
        let mut cells = book.worksheet_cells_reader(&sheet.name).map_err(failed)?;
        while let Some(cell) = cells.next_cell_with_formula().map_err(failed)? {
            let (row, column) = cell.pos;
            let mut text = of_data(&Data::from(cell.value));
            // never worked out: what it would say is not known
            if let Some(formula) = cell.formula.filter(|_| text.is_empty()) {
                text = format!("={}", formula.trim_start_matches('='));
            }
            put(&mut rows, (row, column), text);
        }
        drop(cells);
        let merged = book
            .merge_cells_by_sheet_name(&sheet.name)
            .map_err(failed)?;
        merged
            .iter()
            .for_each(|region| fill_down(&mut rows, region));
        found.keep(sheet.name, sheet.visible, &rows);
    }
    Ok(found)
}

fn of_ods(mut book: Ods<Cursor<&[u8]>>) -> Result<Workbook, String> {
    let mut found = Workbook::default();
    for sheet in book.sheets_metadata().to_vec() {
        let range = book
            .worksheet_range(&sheet.name)
            .map_err(|e| e.to_string())?;
        let (first_row, first_column) = range.start().unwrap_or_default();
        let mut rows = Rows::new();
        for (row, column, value) in range.used_cells() {
            let at = |first: u32, next: usize| {
                first.saturating_add(u32::try_from(next).unwrap_or(u32::MAX))
            };
            let place = (at(first_row, row), at(first_column, column));
            put(&mut rows, place, of_data(value));
        }
        found.keep(sheet.name, sheet.visible, &rows);
    }
    Ok(found)
}

fn put(rows: &mut Rows, (row, column): (u32, u32), text: String) {
    if !text.is_empty() && column < WIDEST {
        rows.entry(row).or_default().insert(column, text);
    }
}

/// A cell merged over several rows holds for each of them; one merged over
/// several columns is a title.
fn fill_down(rows: &mut Rows, region: &Dimensions) {
    let ((first, column), (last, last_column)) = (region.start, region.end);
    let value = rows.get(&first).and_then(|row| row.get(&column)).cloned();
    let Some(value) = value.filter(|_| column == last_column && last > first) else {
        return;
    };
    for row in first + 1..=last.min(first.saturating_add(MOST_MERGED)) {
        // a row with nothing else in it stays empty
        if let Some(row) = rows.get_mut(&row) {
            row.entry(column).or_insert_with(|| value.clone());
        }
    }
}

impl Workbook {
    fn keep(&mut self, name: String, visible: SheetVisible, rows: &Rows) {
        if rows.is_empty() {
            return;
        }
        match visible {
            SheetVisible::Visible => self.sheets.push((name, table_of(rows))),
            SheetVisible::Hidden | SheetVisible::VeryHidden => self.hidden.push(name),
        }
    }
}

/// The rows as lines, each on its own and all as wide: empty rows are empty lines.
fn table_of(rows: &Rows) -> String {
    let mut text = String::new();
    let mut line = 0;
    let last = rows.values().filter_map(|cells| cells.keys().last()).max();
    let last = last.copied().unwrap_or(0);
    let delimiter = char::from(DELIMITER);
    for (row, cells) in rows {
        while line < *row {
            text.push('\n');
            line += 1;
        }
        let mut next = 0;
        for (column, cell) in cells {
            while next < *column {
                text.push(delimiter);
                next += 1;
            }
            if cell.contains('"') {
                text.push('"');
                text.push_str(&cell.replace('"', "\"\""));
                text.push('"');
            } else {
                text.push_str(cell);
            }
        }
        while next < last {
            text.push(delimiter);
            next += 1;
        }
    }
    text.push('\n');
    text
}

fn of_data(value: &Data) -> String {
    match value {
        Data::Int(number) => number.to_string(),
        Data::Float(number) => number_text(*number),
        Data::String(text) => on_one_line(text),
        Data::Bool(true) => "yes".to_owned(),
        Data::Bool(false) => "no".to_owned(),
        Data::DateTime(moment) => moment_text(moment),
        Data::DateTimeIso(text) => iso_text(text),
        Data::DurationIso(text) => duration_text(text).unwrap_or_else(|| text.clone()),
        Data::Error(error) => error.to_string(),
        Data::Empty => String::new(),
    }
}

/// A text in one cell of one line.
pub(super) fn on_one_line(text: &str) -> String {
    if text.contains(['\n', '\r', '\t']) {
        text.split(['\n', '\r', '\t'])
            .filter(|piece| !piece.is_empty())
            .collect::<Vec<_>>()
            .join(" ")
    } else {
        text.to_owned()
    }
}

/// A number that can be read in one way only: three digits behind a point may be
/// thousands, four may not.
pub(super) fn number_text(number: f64) -> String {
    // what binary fractions add beyond fifteen digits was never typed
    let rounded: f64 = format!("{number:.14e}").parse().unwrap_or(number);
    let mut text = format!("{rounded}");
    if text
        .split_once('.')
        .is_some_and(|(_, digits)| digits.len() == 3)
    {
        text.push('0');
    }
    text
}

/// A day, a day with its time, or a time of day alone.
fn moment_text(moment: &ExcelDateTime) -> String {
    let (year, month, day, hour, minute, second, milli) = moment.to_ymd_hms_milli();
    let mut time = format!("{hour:02}:{minute:02}:{second:02}");
    if milli > 0 {
        time += &format!(".{milli:03}");
    }
    let value = moment.as_f64();
    if (0.0..1.0).contains(&value) || moment.is_duration() {
        return time;
    }
    let date = format!("{year:04}-{month:02}-{day:02}");
    if value.fract() == 0.0 {
        date
    } else {
        format!("{date}T{time}")
    }
}

/// `2026-10-31T08:15:00.000000` → `2026-10-31T08:15:00`
fn iso_text(text: &str) -> String {
    let text = match text.split_once('.') {
        Some((whole, zeros)) if zeros.bytes().all(|b| b == b'0') => whole,
        _ => text,
    };
    match text.strip_suffix("T00:00:00") {
        Some(date) => date.to_owned(),
        None => text.to_owned(),
    }
}

/// `PT08H15M00S` → `08:15:00`
fn duration_text(text: &str) -> Option<String> {
    let rest = text.strip_prefix("PT")?;
    let (hours, rest) = rest.split_once('H').unwrap_or(("0", rest));
    let (minutes, rest) = rest.split_once('M').unwrap_or(("0", rest));
    let seconds = rest.strip_suffix('S').unwrap_or("0");
    let seconds = seconds.split(['.', ',']).next()?;
    let part = |text: &str| text.parse::<u32>().ok();
    Some(format!(
        "{:02}:{:02}:{:02}",
        part(hours)?,
        part(minutes)?,
        part(seconds)?
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_cells_are_written_so_that_they_read_one_way() {
        for (number, text) in [
            (320.0, "320"),
            (1.2, "1.2"),
            (1.234, "1.2340"),
            (0.1 + 0.2, "0.3"),
            (1_234.5, "1234.5"),
            (32.300_000_000_000_004, "32.3"),
        ] {
            assert_eq!(number_text(number), text);
        }
        let date = |value| {
            let kind = calamine::ExcelDateTimeType::DateTime;
            moment_text(&ExcelDateTime::new(value, kind, false))
        };
        assert_eq!(date(46_326.0), "2026-10-31");
        assert_eq!(date(46_326.343_75), "2026-10-31T08:15:00");
        assert_eq!(date(0.343_75), "08:15:00");
        assert_eq!(iso_text("2026-10-31T00:00:00.000"), "2026-10-31");
        assert_eq!(iso_text("2026-10-31T08:15:00"), "2026-10-31T08:15:00");
        assert_eq!(duration_text("PT08H15M00S").as_deref(), Some("08:15:00"));
    }

    #[test]
    fn rows_keep_their_numbers_as_lines() {
        let mut rows = Rows::new();
        put(&mut rows, (0, 0), "Log".to_owned());
        put(&mut rows, (2, 0), "van".to_owned());
        put(&mut rows, (2, 2), "a \"b\"".to_owned());
        put(&mut rows, (3, 1), "x".to_owned());
        assert_eq!(
            table_of(&rows),
            "Log\t\t\n\nvan\t\t\"a \"\"b\"\"\"\n\tx\t\n"
        );
    }
}
