//! Slips of people and programs beyond the published ones: of files and tables.

use litrewise::inside::ingest::HEADINGS;

use super::chance::Chance;
use super::kinds::marked;
use super::sample::Cell;
use super::sheet::{Encoding, Line, Sheet};
use super::slips::Slip;
use super::slips::Stage::{Columns, Dialect, Lines};

pub const SLIPS: &[Slip] = &[
    Slip::sound(Dialect, "byte-order mark", |s, _| {
        s.dialect.mark = true;
        true
    }),
    Slip::sound(Dialect, "UTF-16", |s, c| {
        s.dialect.encoding = c.one_of(&[Encoding::Utf16Le, Encoding::Utf16Be]);
        s.dialect.mark = c.below(2) == 0;
        true
    }),
    Slip::sound(Dialect, "Windows-1252", |s, _| {
        s.dialect.encoding = Encoding::Windows1252;
        true
    }),
    Slip::sound(Dialect, "carriage returns and line feeds", |s, _| {
        (s.dialect.line_end, s.dialect.last) = ("\r\n", "\r\n");
        true
    }),
    Slip::sound(Dialect, "semicolons, tabs or bars", |s, c| {
        s.dialect.delimiter = c.one_of(&[";", "\t", "|"]);
        true
    }),
    Slip::sound(Dialect, "every cell quoted", |s, _| {
        s.dialect.quote_all = true;
        true
    }),
    Slip::sound(Lines, "separator stated above", |s, _| {
        s.above = vec![format!("sep={}", s.dialect.delimiter)];
        true
    }),
    Slip::sound(Lines, "title lines above", |s, c| {
        let lines = [
            "Yard book 2026",
            "Printed 3 March, by Max",
            "# all vans",
            "",
            "Depot: QA3; page 1",
        ];
        s.above = (0..1 + c.below(5))
            .map(|_| c.one_of(&lines).to_owned())
            .collect();
        true
    }),
    Slip::losing(Lines, "file cut off within its last row", CUT, cut_off),
    Slip::sound(Columns, "columns in another order", |s, c| {
        let mut order: Vec<usize> = (0..s.names.len()).collect();
        for i in (1..order.len()).rev() {
            order.swap(i, c.below(i + 1));
        }
        reorder(s, &order);
        true
    }),
    Slip::sound(Columns, "headers as people write them", |s, c| {
        for i in 0..s.names.len() {
            s.headers[i] = spelled(s, i, c);
        }
        true
    }),
    Slip::sound(Columns, "headers in other letters", |s, c| {
        let style = c.below(4);
        for header in &mut s.headers {
            *header = match style {
                0 => header.to_uppercase(),
                1 => header.replace('_', " "),
                2 => format!(" {header} "),
                _ => header.replace('_', "-"),
            };
        }
        true
    }),
    Slip::sound(Columns, "headers in camel case", |s, c| {
        let upper_first = c.below(2) == 0;
        for header in &mut s.headers {
            *header = camel(header, upper_first);
        }
        true
    }),
    Slip::sound(Columns, "degree signs that were lost or spoilt", |s, c| {
        let Some(at) = s.column("water_c") else {
            return false;
        };
        s.headers[at] = c
            .one_of(&[
                "Temp (°C)",
                "Temp °C",
                "Temp, °C",
                "Temp (Â°C)",
                "Temp (\u{fffd}C)",
                "Temp (?C)",
                "Temp (ºC)",
                "Temp (˚C)",
                "Temp \u{2103}",
                "Temp (ï¿½C)",
                "Temp (øC)",
                "Temp (┬░C)",
                "Temp (¬∞C)",
                "Temp / deg C",
                "temp_degC",
                "Water temp. [° C]",
            ])
            .to_owned();
        true
    }),
    Slip::sound(
        Columns,
        "units behind a comma, a slash or in brackets",
        |s, c| {
            let mut is_any = false;
            for i in 0..s.names.len() {
                let unit = match s.names[i] {
                    "feed_ppm" | "permeate_ppm" | "product_ppm" => "ppm",
                    "feed_bar" => "bar",
                    "permeate_lpm" => "L/min",
                    "litres" => "L",
                    _ => continue,
                };
                let name = match s.names[i] {
                    "feed_ppm" => "Tap",
                    "permeate_ppm" => "After membrane",
                    "product_ppm" => "After resin",
                    "feed_bar" => "Pressure",
                    "permeate_lpm" => "Pure flow",
                    _ => "Volume",
                };
                s.headers[i] = match c.below(3) {
                    0 => format!("{name}, {unit}"),
                    1 => format!("{name} / {unit}"),
                    _ => format!("{name} [{unit}]"),
                };
                is_any = true;
            }
            is_any
        },
    ),
    Slip::sound(Columns, "a column that stands twice", |s, c| {
        let at = c.below(s.names.len());
        let cells: Vec<Cell> = s.lines.iter().map(|line| line.cells[at].clone()).collect();
        // of a column without any value nobody can tell that it is one
        if cells.iter().all(|cell| *cell == Cell::Empty) {
            return false;
        }
        let header = s.headers[at].clone();
        let end = s.names.len();
        add_column(s, end, &header, |n| cells[n].clone());
        true
    }),
    Slip::sound(Columns, "extra columns", |s, c| {
        for _ in 0..1 + c.below(3) {
            let at = c.below(s.names.len() + 1);
            let header = c.one_of(&["Weather", "Driver", "Round", "Signed", ""]);
            add_column(s, at, header, |n| {
                Cell::Raw(["", "Q. Max", "sunny", "4", "yes"][n % 5].to_owned())
            });
        }
        true
    }),
    Slip::sound(Columns, "row numbers without a header", |s, _| {
        add_column(s, 0, "", |n| Cell::Raw(n.to_string()));
        true
    }),
    Slip::sound(Columns, "separator at every line's end", |s, c| {
        let at = s.names.len();
        let header = c.below(2) == 0;
        add_column(s, at, "", |_| Cell::Empty);
        if !header {
            s.headers.pop();
        }
        true
    }),
    Slip::sound(Columns, "empty columns left out", |s, _| {
        let empty = |i: usize| s.lines.iter().all(|line| line.cells[i] == Cell::Empty);
        let kept: Vec<usize> = (0..s.names.len()).filter(|i| !empty(*i)).collect();
        let shorter = kept.len() < s.names.len();
        reorder(s, &kept);
        shorter
    }),
    // a text over several lines in a row that ends early may be none
    Slip::careful(
        Lines,
        "empty cells at the end left out",
        &["quote marks do not match", "cells where the header has"],
        ends_early,
    ),
    Slip::sound(Lines, "rows in another order", |s, c| {
        for i in (1..s.lines.len()).rev() {
            s.lines.swap(i, c.below(i + 1));
        }
        true
    }),
    Slip::sound(Lines, "blank lines", |s, c| {
        let d = s.dialect.delimiter.repeat(s.headers.len() - 1);
        insert(s, c, &["", " ", &d]);
        true
    }),
    Slip::sound(Lines, "header repeated", |s, c| {
        let header = s
            .headers
            .iter()
            .map(|h| s.dialect.quoted(h))
            .collect::<Vec<_>>()
            .join(s.dialect.delimiter);
        if header.contains('\n') {
            return false;
        }
        insert(s, c, &[&header]);
        true
    }),
    Slip::sound(Lines, "remarks, rules and page numbers", |s, c| {
        insert(
            s,
            c,
            &[
                "-----",
                "Page 2 of 3",
                "# checked",
                "*** end ***",
                "(continued)",
            ],
        );
        true
    }),
    Slip::sound(Lines, "totals", |s, c| {
        let d = s.dialect.delimiter;
        let total = format!("Total{}", d.repeat(s.headers.len() - 1));
        let average = format!("Average{}1234", d.repeat(s.headers.len() - 1));
        insert(s, c, &[&total, &average]);
        true
    }),
    Slip::careful(
        Lines,
        "two rows on one line",
        &["cells where the header has", "quote marks do not match"],
        |s, c| {
            let i = c.below(s.lines.len() - 1);
            let text = format!("{}{}", s.text_of(&s.lines[i]), s.text_of(&s.lines[i + 1]));
            if text.contains('\n') {
                return false;
            }
            s.lines[i] = marked(&s.lines[i].clone(), Some(text));
            s.lines.remove(i + 1);
            true
        },
    ),
    Slip::careful(Lines, "a row broken over two lines", BROKEN, broken),
    Slip::losing(Lines, "a row shifted by a cell", SHIFTED, |s, c| {
        let i = c.below(s.lines.len());
        let mut cells = s.cells_of(&s.lines[i]);
        if s.lines[i].raw.is_some() || cells.len() < 3 {
            return false;
        }
        if c.below(2) == 0 {
            cells.insert(0, String::new());
            cells.pop();
        } else {
            cells.remove(0);
            cells.push(String::new());
        }
        let text = cells.join(s.dialect.delimiter);
        s.lines[i] = marked(&s.lines[i].clone(), Some(text));
        true
    }),
];

const CUT: &[&str] = &[
    "the file ends in the middle",
    "quote marks do not match",
    "cells where the header has",
    "cell where the header has",
];
const BROKEN: &[&str] = &[
    "cells where the header has",
    "cell where the header has",
    "quote marks do not match",
    "not a number",
    "not a date",
    "is empty",
    "without its date",
];
const SHIFTED: &[&str] = &[
    "cells where the header has",
    "is empty",
    "not a date",
    "not a number",
    "not one of",
    "neither",
    "no meter",
    "more than",
    "a day that the calendar",
    "not a count",
    "not a postcode",
    "hardness",
    "a bare number",
    "not a range",
    "followed by something",
    "no water",
    "a total",
    "less than a litre",
    "negative",
    "before",
    "a unit",
    "a time",
    "a date, not a number",
];

fn reorder(s: &mut Sheet, order: &[usize]) {
    s.names = order.iter().map(|i| s.names[*i]).collect();
    s.headers = order.iter().map(|i| s.headers[*i].clone()).collect();
    for line in &mut s.lines {
        line.cells = order.iter().map(|i| line.cells[*i].clone()).collect();
    }
}

fn add_column(s: &mut Sheet, at: usize, header: &str, cell: impl Fn(usize) -> Cell) {
    s.names.insert(at, "");
    s.headers.insert(at, header.to_owned());
    for (n, line) in s.lines.iter_mut().enumerate() {
        line.cells.insert(at, cell(n));
    }
}

/// Lines that are no rows, at several places.
fn insert(s: &mut Sheet, c: &mut Chance, texts: &[&str]) {
    for _ in 0..3 {
        let at = c.below(s.lines.len() + 1);
        s.lines.insert(at, Sheet::junk(c.one_of(texts)));
    }
}

/// `feed_ppm` → `feedPpm` or `FeedPpm`
fn camel(header: &str, upper_first: bool) -> String {
    let words = header.split('_').enumerate();
    words
        .map(|(i, word)| match word.split_at_checked(1) {
            Some((first, rest)) if i > 0 || upper_first => first.to_uppercase() + rest,
            _ => word.to_owned(),
        })
        .collect()
}

/// Another spelling of a column's header, none that states a unit.
fn spelled(s: &Sheet, column: usize, c: &mut Chance) -> String {
    const UNITS: &[&str] = &[
        "psi", "kpa", "°f", "deg f", "l/h", "lph", "m3", "gallons", "clark", "english", "°e",
        "french", "°f", "german", "°dh", "dh", "mmol", "calcium", "ca mg", "gpg", "degrees",
        "bags", "gbp", "eur", "usd", "£", "€", "$",
    ];
    let headings = HEADINGS
        .iter()
        .filter(|h| h.kind == s.kind && h.column.name() == s.names[column]);
    let spellings: Vec<&str> = headings
        .flat_map(|h| h.spellings.iter().map(String::as_str))
        .filter(|spelling| {
            let lower = spelling.to_lowercase();
            // without a unit these two may be water or flow
            let either = ["pure", "permeate"].contains(&lower.as_str());
            !either && UNITS.iter().all(|unit| !lower.contains(unit))
        })
        .collect();
    if spellings.is_empty() {
        return s.headers[column].clone();
    }
    c.one_of(&spellings).to_owned()
}

/// Rows end with their last cell that is not empty.
fn ends_early(s: &mut Sheet, _: &mut Chance) -> bool {
    use litrewise::inside::ingest::RecordKind::{Fills, Hardness, Readings, Services, Vans};
    let dated = matches!(s.kind, Readings | Fills | Services);
    let d = s.dialect.delimiter;
    let width = s.headers.len();
    let mut short = 0;
    let texts: Vec<String> = s
        .lines
        .iter()
        .map(|line| {
            let mut cells = s.cells_of(line);
            while cells.last().is_some_and(String::is_empty) {
                cells.pop();
            }
            short += usize::from(cells.len() < width);
            cells.join(d)
        })
        .collect();
    if !dated || short < 3 || matches!(s.kind, Vans | Hardness) {
        return false;
    }
    for (line, text) in s.lines.iter_mut().zip(texts) {
        if line.raw.is_none() {
            line.raw = Some(text);
        }
    }
    true
}

/// Nobody can see a cut within the last cell: it is made before.
fn cut_off(s: &mut Sheet, c: &mut Chance) -> bool {
    let Some(last) = s.lines.last().cloned() else {
        return false;
    };
    let text = s.text_of(&last);
    let Some(most) = text.rfind(s.dialect.delimiter) else {
        return false;
    };
    if last.meanings.is_empty() || text.contains('"') || most < 2 || s.names.contains(&"") {
        return false;
    }
    let cut = (1 + c.below(most - 1)..)
        .find(|i| text.is_char_boundary(*i))
        .unwrap_or(1);
    if text[..cut].chars().all(|c| !c.is_alphanumeric()) {
        return false;
    }
    let n = s.lines.len() - 1;
    s.lines[n] = marked(&last, Some(text[..cut].to_owned()));
    s.dialect.last = "";
    true
}

fn broken(s: &mut Sheet, c: &mut Chance) -> bool {
    let i = c.below(s.lines.len());
    let line: Line = s.lines[i].clone();
    let text = s.text_of(&line);
    let d = s.dialect.delimiter;
    let mut places: Vec<usize> = text.match_indices(d).map(|(at, _)| at).collect();
    // behind its last separator a row is whole, but for a cell that may be empty
    places.pop();
    // and before its first one stands a cell that the rest may do without
    places = places.split_off(places.len().min(1));
    if line.meanings.is_empty()
        || places.is_empty()
        || s.names.contains(&"")
        || text.contains(['"', '\n'])
    {
        return false;
    }
    let at = c.one_of(&places);
    let behind = c.below(2) * d.len();
    let (first, rest) = text.split_at(at + behind);
    if first.replace(d, "").trim().is_empty() || rest.replace(d, "").trim().is_empty() {
        return false;
    }
    let rest = Sheet::junk(rest);
    s.lines[i] = marked(&line, Some(first.to_owned()));
    s.lines.insert(i + 1, rest);
    true
}
