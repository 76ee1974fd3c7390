//! Files in which rows set aside go out to be mended and come in again: the
//! rows as they stood below their own header, two columns in front. The first
//! says which row it is, its header what the whole file had settled about dates
//! and decimals; the second says what is wrong.

use crate::store::records::{Dialect, Mends};
use crate::store::{harmless, print_of};

use super::dates::DateOrder;
use super::headers::RecordKind;
use super::numbers::DecimalMark;
use super::split::Rows;
use super::text::plain;

const ROW: &str = "set_aside_row";
const REASON: &str = "set_aside_reason";
/// Where a row has no time of day and no place among those of its day was kept
/// for it, it comes behind all others of its file.
const BEHIND_ALL: u32 = 1_000_000;

/// A row set aside that goes out to be mended.
#[derive(Debug, Clone)]
pub struct ToMend<'r> {
    pub file_id: u64,
    pub line: u64,
    pub day_position: Option<u32>,
    pub reason: &'r str,
    pub text: &'r str,
}

/// Which row a line of a mended file replaces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mark {
    pub mends: Mends,
    day_position: Option<u32>,
}

impl Mark {
    /// Its place among that day's rows, where it has no time of day.
    pub fn place_in_day(self) -> u32 {
        let line = u32::try_from(self.mends.line).unwrap_or(u32::MAX / 2);
        let behind = || BEHIND_ALL.saturating_add(line);
        self.day_position.unwrap_or_else(behind)
    }
}

/// What the whole file had settled about its rows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Habits {
    pub order: Option<DateOrder>,
    pub mark: Option<DecimalMark>,
    /// A midnight is a time of day here, not the lack of one.
    pub midnights: bool,
    /// The kinds of record that its rows held, where there were several.
    pub kinds: Option<Kinds>,
    /// The van of all rows, where no column said which.
    pub van: Option<String>,
}

/// Some of the kinds of record.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Kinds([bool; RecordKind::ALL.len()]);

impl Kinds {
    pub fn contains(self, kind: RecordKind) -> bool {
        self.0.get(kind as usize) == Some(&true)
    }
}

impl FromIterator<RecordKind> for Kinds {
    fn from_iter<I: IntoIterator<Item = RecordKind>>(kinds: I) -> Kinds {
        let mut found = Kinds::default();
        for kind in kinds {
            if let Some(slot) = found.0.get_mut(kind as usize) {
                *slot = true;
            }
        }
        found
    }
}

const ORDERS: [DateOrder; 3] = [
    DateOrder::DayFirst,
    DateOrder::MonthFirst,
    DateOrder::YearFirst,
];
const POINT: &str = "decimal point";
const COMMA: &str = "decimal comma";
const ALL_OF: &str = "all of ";
const MIDNIGHTS: &str = "midnights are times";

impl Habits {
    /// `day first; decimal comma`
    pub fn label(&self) -> String {
        let mut words: Vec<&str> = self.order.map(DateOrder::label).into_iter().collect();
        match self.mark {
            Some(DecimalMark::Point) => words.push(POINT),
            Some(DecimalMark::Comma) => words.push(COMMA),
            _ => {}
        }
        if self.midnights {
            words.push(MIDNIGHTS);
        }
        let kinds = self.kinds.map(|kinds| {
            let kinds = RecordKind::ALL
                .into_iter()
                .filter(|kind| kinds.contains(*kind));
            kinds
                .map(RecordKind::word)
                .collect::<Vec<_>>()
                .join(" and ")
        });
        words.extend(kinds.as_deref());
        let van = self
            .van
            .as_ref()
            .filter(|van| !van.contains([';', '(', ')', '"']));
        let van = van.map(|van| format!("{ALL_OF}{van}"));
        words.extend(van.as_deref());
        words.join("; ")
    }

    fn from_words(text: &str) -> Habits {
        let mut habits = Habits::default();
        for word in text.split(';').map(str::trim) {
            match word {
                POINT => habits.mark = Some(DecimalMark::Point),
                COMMA => habits.mark = Some(DecimalMark::Comma),
                MIDNIGHTS => habits.midnights = true,
                _ if word.starts_with(ALL_OF) => {
                    habits.van = word.strip_prefix(ALL_OF).map(str::to_owned);
                }
                _ => {
                    let order = ORDERS.into_iter().find(|order| order.label() == word);
                    habits.order = habits.order.or(order);
                    let named = |word| RecordKind::ALL.into_iter().find(|kind| kind.word() == word);
                    let kinds: Option<Kinds> = word.split(" and ").map(named).collect();
                    habits.kinds = habits.kinds.or(kinds);
                }
            }
        }
        habits
    }
}

/// Whether a header is one of the two.
pub(super) fn is_ours(header: &str) -> bool {
    header.starts_with(ROW) || header.starts_with(REASON)
}

/// The cell that says which row it is, and what its header says.
pub(super) fn find(headers: &[String]) -> Option<(usize, Habits)> {
    let at = headers
        .iter()
        .position(|header| header.trim().starts_with(ROW))?;
    let words = headers
        .get(at)?
        .split_once('(')
        .map_or("", |(_, words)| words);
    Some((at, Habits::from_words(words.trim_end_matches([')', ' ']))))
}

/// `r3.118.2.5f2a9c10`: file, line, place in the day, print of the text.
fn mark_of(row: &ToMend<'_>) -> String {
    let place = row.day_position.map(|n| n.to_string()).unwrap_or_default();
    let print = print_of(row.text);
    format!("r{}.{}.{place}.{print:08x}", row.file_id, row.line)
}

pub(super) fn read_mark(cell: &str) -> Option<Mark> {
    let mut parts = cell.trim().strip_prefix('r')?.split('.');
    let (file_id, line) = (parts.next()?.parse().ok()?, parts.next()?.parse().ok()?);
    let day_position = match parts.next()? {
        "" => None,
        place => Some(place.parse().ok()?),
    };
    let print = u32::from_str_radix(parts.next()?, 16).ok()?;
    parts.next().is_none().then_some(Mark {
        mends: Mends {
            file_id,
            line,
            print,
        },
        day_position,
    })
}

/// The file in which these rows can be mended, one table below the other for
/// each header that they stood under.
pub fn mend_file(tables: &[(&Dialect, Vec<ToMend<'_>>)]) -> String {
    let tables: Vec<String> = match tables {
        [(dialect, rows)] => {
            let delimiter = dialect.delimiter.bytes().next();
            vec![table_of(dialect, rows, delimiter.unwrap_or(b','))]
        }
        // one separator for all, as a spreadsheet reads only one
        several => several
            .iter()
            .map(|(dialect, rows)| table_of(dialect, rows, b','))
            .collect(),
    };
    let mut text = tables.join("\r\n");
    if !text.is_ascii() {
        // spreadsheets read it as something else without
        text.insert(0, '\u{feff}');
    }
    text
}

/// The tables of such a file, each on the lines where it stands; `None` where it
/// is one table, or another file.
pub(super) fn tables_in(text: &str) -> Option<Vec<String>> {
    let is_head = |line: &str| line.trim_start_matches(['\u{feff}', '"']).starts_with(ROW);
    if !text.lines().next().is_some_and(is_head) {
        return None;
    }
    let mut tables: Vec<String> = Vec::new();
    for (number, line) in text.split_inclusive('\n').enumerate() {
        if is_head(line) {
            tables.push("\n".repeat(number));
        }
        if let Some(table) = tables.last_mut() {
            table.push_str(line);
        }
    }
    (tables.len() > 1).then_some(tables)
}

fn table_of(dialect: &Dialect, rows: &[ToMend<'_>], delimiter: u8) -> String {
    let own_delimiter = dialect.delimiter.bytes().next().unwrap_or(b',');
    let habits = match dialect.habits.as_str() {
        "" => String::new(),
        habits => format!(" ({habits})"),
    };
    let mut sheet = Sheet {
        delimiter: char::from(delimiter),
        text: String::new(),
    };
    let mut headers = Rows::new(&dialect.header, own_delimiter);
    let mut first = [format!("{ROW}{habits}"), REASON.to_owned()];
    while headers.next_row().is_some() {
        let own = (0..headers.len()).map(|i| headers.cell(i).to_owned());
        sheet.row(first.into_iter().chain(own));
        first = [String::new(), String::new()];
    }
    for row in rows {
        let mut cells = Rows::new(row.text, own_delimiter);
        let own: Vec<String> = match cells.next_row() {
            Some(at) if cells.text_of(at).len() == row.text.trim_end().len() => {
                (0..cells.len()).map(|i| cells.cell(i).to_owned()).collect()
            }
            // not one row any more: left to the reader as it stood
            _ => vec![row.text.to_owned()],
        };
        // a row that was written out before is guarded already
        let own = own.iter().map(|cell| harmless(plain(cell)).into_owned());
        let front = [mark_of(row), harmless(row.reason).into_owned()];
        sheet.row(front.into_iter().chain(own));
    }
    sheet.text
}

/// Lines as such a file has them: headers, or a row.
pub(super) fn lines_of(lines: &[Vec<String>], delimiter: u8) -> String {
    let mut sheet = Sheet {
        delimiter: char::from(delimiter),
        text: String::new(),
    };
    for line in lines {
        sheet.row(line.iter().cloned());
    }
    sheet.text
}

struct Sheet {
    delimiter: char,
    text: String,
}

impl Sheet {
    fn row(&mut self, cells: impl Iterator<Item = String>) {
        for (i, cell) in cells.enumerate() {
            if i > 0 {
                self.text.push(self.delimiter);
            }
            let bare = |c: char| c != self.delimiter && !matches!(c, '"' | '\'' | '\n' | '\r');
            if cell.chars().all(bare) {
                self.text.push_str(&cell);
            } else {
                self.text.push('"');
                self.text.push_str(&cell.replace('"', "\"\""));
                self.text.push('"');
            }
        }
        self.text.push_str("\r\n");
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_row_is_known_again_by_its_mark() {
        let mut row = ToMend {
            file_id: 3,
            line: 118,
            day_position: Some(2),
            reason: "no date",
            text: "QV-1;x",
        };
        let mark = read_mark(&mark_of(&row)).unwrap();
        assert_eq!((mark.mends.file_id, mark.mends.line), (3, 118));
        assert_eq!(mark.mends.print, print_of("QV-1;x"));
        assert_eq!(mark.place_in_day(), 2);
        row.day_position = None;
        assert_eq!(read_mark(&mark_of(&row)).unwrap().place_in_day(), 1_000_118);
        for wrong in ["", "r", "r1.2.3", "r1.2..zz", "3.118..5f", "r1.2..5f.6"] {
            assert_eq!(read_mark(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn the_header_carries_what_the_whole_file_settled() {
        let habits = Habits {
            order: Some(DateOrder::DayFirst),
            mark: Some(DecimalMark::Comma),
            midnights: true,
            kinds: Some(
                [RecordKind::Fills, RecordKind::Services]
                    .into_iter()
                    .collect(),
            ),
            van: Some("Quill".to_owned()),
        };
        let dialect = Dialect {
            header: "Reg;When;\"TDS;in\"\r\n;;ppm\r\n".into(),
            delimiter: ";".into(),
            habits: habits.label(),
        };
        let row = ToMend {
            file_id: 1,
            line: 5,
            day_position: None,
            reason: "a reason; with a separator",
            text: "QV-1;=1+1;\"3;4\"",
        };
        let text = mend_file(&[(&dialect, vec![row.clone()])]);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(
            lines[0],
            "set_aside_row (day first; decimal comma; midnights are times; fills and services; all of Quill);set_aside_reason;Reg;When;\"TDS;in\""
                .replace(
                    "set_aside_row (day first; decimal comma; midnights are times; fills and services; all of Quill)",
                    "\"set_aside_row (day first; decimal comma; midnights are times; fills and services; all of Quill)\""
                )
        );
        assert_eq!(lines[1], ";;;;ppm");
        assert!(
            lines[2].ends_with(";\"a reason; with a separator\";QV-1;\"'=1+1\";\"3;4\""),
            "{text}"
        );
        let mut rows = Rows::new(&text, b';');
        rows.next_row();
        let headers: Vec<String> = (0..rows.len()).map(|i| rows.cell(i).to_owned()).collect();
        assert_eq!(find(&headers), Some((0, habits)));

        let both = mend_file(&[(&dialect, vec![row.clone()]), (&dialect, vec![row])]);
        let tables = tables_in(&both).unwrap();
        assert_eq!(tables.len(), 2, "{both}");
        assert!(tables[1].starts_with("\n\n\n\nset_aside_row"), "{both}");
        assert_eq!(tables_in(&text), None);
    }
}
