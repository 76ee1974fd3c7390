//! A file as somebody's program would write it, with what each line of it means.

use litrewise::inside::calendar::{Date, DateExt, DateTime, Timelike};
use litrewise::inside::ingest::RecordKind;
use litrewise::inside::store::records::Record;

use super::sample::{Cell, Sample, record};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    Utf8,
    Utf16Le,
    Utf16Be,
    Windows1252,
}

/// How quote marks within a quoted cell are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Escape {
    Doubled,
    Backslash,
}

#[derive(Debug, Clone)]
pub struct Dialect {
    pub delimiter: &'static str,
    pub quote: char,
    pub escape: Escape,
    pub quote_all: bool,
    pub line_end: &'static str,
    /// What stands behind the last line.
    pub last: &'static str,
    pub encoding: Encoding,
    pub mark: bool,
    pub decimal: char,
    /// Groups thousands, if anything does.
    pub group: Option<char>,
    /// How moments and days are written (`strtime`); `None`: spreadsheet numbers.
    pub dates: Option<(&'static str, &'static str)>,
}

#[derive(Debug, Clone)]
pub struct Line {
    pub cells: Vec<Cell>,
    /// What the row means; empty where it is no row. More than one where a
    /// person could not say either.
    pub meanings: Vec<Record>,
    /// Written just so, whatever the cells say.
    pub raw: Option<String>,
    pub is_blank: bool,
    /// Whether the pollution is in this very row.
    pub touched: bool,
    /// Whether nobody could tell what the row meant: something of it stands nowhere any
    /// more, or it can as well be read otherwise.
    pub untold: bool,
}

#[derive(Debug, Clone)]
pub struct Sheet {
    pub kind: RecordKind,
    /// The canonical names, for the meaning of the cells.
    pub names: Vec<&'static str>,
    pub headers: Vec<String>,
    pub has_header: bool,
    pub above: Vec<String>,
    pub lines: Vec<Line>,
    pub dialect: Dialect,
}

pub const ISO: (&str, &str) = ("%Y-%m-%dT%H:%M", "%Y-%m-%d");

impl Sheet {
    pub fn clean(sample: &Sample) -> Sheet {
        let lines = sample.rows.iter().map(|cells| Line {
            cells: cells.clone(),
            meanings: vec![record(sample.kind, &sample.columns, cells)],
            raw: None,
            is_blank: false,
            touched: false,
            untold: false,
        });
        Sheet {
            kind: sample.kind,
            names: sample.columns.clone(),
            headers: sample.columns.iter().map(|c| (*c).to_owned()).collect(),
            has_header: true,
            above: Vec::new(),
            lines: lines.collect(),
            dialect: Dialect {
                delimiter: ",",
                quote: '"',
                escape: Escape::Doubled,
                quote_all: false,
                line_end: "\n",
                last: "\n",
                encoding: Encoding::Utf8,
                mark: false,
                decimal: '.',
                group: None,
                dates: Some(ISO),
            },
        }
    }

    pub fn column(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|n| *n == name)
    }

    /// Whether no unit column says otherwise than the canonical one.
    pub fn has_own_units(&self) -> bool {
        let Some(unit) = self.column("unit") else {
            return true;
        };
        let mut units = self.lines.iter().filter_map(|line| line.cells.get(unit));
        units.all(|unit| *unit == Cell::Text("mg_l_caco3".to_owned()))
    }

    /// A line that is no row.
    pub fn junk(text: &str) -> Line {
        Line {
            cells: Vec::new(),
            meanings: Vec::new(),
            raw: Some(text.to_owned()),
            is_blank: text.trim_matches([',', ';', ' ', '\t', '|']).is_empty(),
            touched: true,
            untold: false,
        }
    }

    pub fn written(&self, cell: &Cell) -> String {
        match cell {
            Cell::Empty => String::new(),
            Cell::Text(text) | Cell::Raw(text) => text.clone(),
            Cell::Number(value) => self.dialect.number(*value),
            Cell::Moment(at) => self.dialect.moment(*at),
            Cell::Day(day) => self.dialect.day(*day),
        }
    }

    pub fn cells_of(&self, line: &Line) -> Vec<String> {
        line.cells
            .iter()
            .map(|c| self.dialect.quoted(&self.written(c)))
            .collect()
    }

    pub fn text_of(&self, line: &Line) -> String {
        line.raw
            .clone()
            .unwrap_or_else(|| self.cells_of(line).join(self.dialect.delimiter))
    }

    /// The file's bytes, and each line that is not blank below the header: where
    /// it starts, from 1, and what it means.
    pub fn render(&self) -> (Vec<u8>, Vec<(u64, &Line)>) {
        let end = self.dialect.line_end;
        let mut text = String::new();
        let mut starts = Vec::new();
        for above in &self.above {
            text += above;
            text += end;
        }
        if self.has_header {
            let headers: Vec<String> = self
                .headers
                .iter()
                .map(|h| self.dialect.quoted(h))
                .collect();
            text += &headers.join(self.dialect.delimiter);
            text += if self.lines.is_empty() {
                self.dialect.last
            } else {
                end
            };
        }
        for (n, line) in self.lines.iter().enumerate() {
            if !line.is_blank {
                starts.push((1 + line_ends(&text), line));
            }
            text += &self.text_of(line);
            text += if n + 1 == self.lines.len() {
                self.dialect.last
            } else {
                end
            };
        }
        (self.dialect.bytes(&text), starts)
    }
}

/// `\r\n`, `\n` and `\r` each end a line.
fn line_ends(text: &str) -> u64 {
    text.replace("\r\n", "\n")
        .replace('\r', "\n")
        .matches('\n')
        .count() as u64
}

impl Dialect {
    pub fn number(&self, value: f64) -> String {
        let plain = format!("{value}");
        let (whole, fraction) = plain.split_once('.').unwrap_or((&plain, ""));
        let mut text = String::new();
        for (i, digit) in whole.chars().enumerate() {
            let left = whole.len() - i;
            if let Some(group) = self.group
                && i > 0
                && left % 3 == 0
                && digit.is_ascii_digit()
            {
                text.push(group);
            }
            text.push(digit);
        }
        if !fraction.is_empty() {
            text.push(self.decimal);
            text += fraction;
        }
        text
    }

    fn moment(&self, at: DateTime) -> String {
        match self.dates {
            Some((format, _)) => at.format(format).to_string(),
            None => {
                let day = at
                    .date()
                    .days_since(litrewise::inside::calendar::date(1899, 12, 30));
                let seconds = f64::from(at.hour()) * 3600.0 + f64::from(at.minute()) * 60.0;
                format!("{:.6}", f64::from(day) + seconds / 86_400.0)
            }
        }
    }

    fn day(&self, day: Date) -> String {
        match self.dates {
            Some((_, format)) => day.format(format).to_string(),
            None => format!(
                "{}",
                day.days_since(litrewise::inside::calendar::date(1899, 12, 30))
            ),
        }
    }

    pub fn quoted(&self, cell: &str) -> String {
        let needs = self.quote_all
            || cell.contains(self.delimiter.trim_end().chars().next().unwrap_or(' '))
            || cell.contains([self.quote, '\n', '\r']);
        if !needs {
            return cell.to_owned();
        }
        let quote = self.quote;
        let inner = match self.escape {
            Escape::Doubled => cell.replace(quote, &format!("{quote}{quote}")),
            Escape::Backslash => cell.replace(quote, &format!("\\{quote}")),
        };
        format!("{quote}{inner}{quote}")
    }

    fn bytes(&self, text: &str) -> Vec<u8> {
        let marked = if self.mark {
            format!("\u{feff}{text}")
        } else {
            text.to_owned()
        };
        match self.encoding {
            Encoding::Utf8 => marked.into_bytes(),
            Encoding::Utf16Le => marked.encode_utf16().flat_map(u16::to_le_bytes).collect(),
            Encoding::Utf16Be => marked.encode_utf16().flat_map(u16::to_be_bytes).collect(),
            Encoding::Windows1252 => text
                .chars()
                .map(|c| match c {
                    '€' => 0x80,
                    '–' => 0x96,
                    c => u8::try_from(c).unwrap_or(b'?'),
                })
                .collect(),
        }
    }
}
