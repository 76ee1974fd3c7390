//! The kinds of pollution of Vitagliano et al., "Pollock: A Data Loading
//! Benchmark", PVLDB 16 (2023): its file, table and row levels, made for our own
//! tables.

use super::kinds::{Kind, Made, marked};
use super::sample::{Cell, record};
use super::sheet::{Escape, Line, Sheet};

const RAGGED: &[&str] = &[
    "where the header has",
    "quote marks do not match",
    "by post\", not one of",
];

pub const KINDS: &[Kind] = &[
    Kind::sound("published", "source file", |s| vec![s.clone()]),
    Kind::hopeless("published", "empty file", &["the file is empty"], |s| {
        let mut sheet = s.clone();
        (sheet.has_header, sheet.lines) = (false, Vec::new());
        vec![sheet]
    }),
    Kind::sound("published", "no line end at the end", |s| {
        with(s, |sheet| sheet.dialect.last = "")
    }),
    Kind::sound("published", "two line ends at the end", |s| {
        with(s, |sheet| sheet.dialect.last = "\r\n\r\n")
    }),
    Kind::hopeless("published", "no header", &["not one of ours"], |s| {
        with(s, |sheet| sheet.has_header = false)
    }),
    Kind::sound("published", "header of two or three lines", |s| {
        [1, 2]
            .into_iter()
            .map(|more| {
                let mut sheet = s.clone();
                for _ in 0..more {
                    let header = sheet.headers.join(",");
                    sheet.lines.insert(0, Sheet::junk(&header));
                }
                sheet
            })
            .collect()
    }),
    Kind::sound("published", "preamble", |s| {
        let empty = ",".repeat(s.headers.len() - 1);
        with(s, |sheet| {
            sheet.above = vec![format!("Exported by hand{empty}"), empty.clone()]
        })
    }),
    Kind::careful("published", "second table below", SECOND, second_table),
    Kind::sound("published", "header only", |s| {
        with(s, |sheet| sheet.lines.clear())
    }),
    Kind::sound("published", "one row", |s| {
        with(s, |sheet| sheet.lines.truncate(1))
    }),
    Kind::careful(
        "published",
        "separator missing in a row",
        RAGGED,
        separator_missing,
    ),
    Kind::careful(
        "published",
        "separator too many in a row",
        RAGGED,
        separator_too_many,
    ),
    Kind::hopeless(
        "published",
        "separated by spaces",
        &["not one of ours", "looks like"],
        |s| with(s, |sheet| sheet.dialect.delimiter = " "),
    ),
    Kind::sound("published", "separated by comma and space", |s| {
        with(s, |sheet| sheet.dialect.delimiter = ", ")
    }),
    Kind::sound("published", "separated by semicolons", |s| {
        with(s, |sheet| sheet.dialect.delimiter = ";")
    }),
    Kind::sound("published", "separated by tabs", |s| {
        with(s, |sheet| sheet.dialect.delimiter = "\t")
    }),
    Kind::careful("published", "apostrophes as quotes", QUOTES, |s| {
        with(s, |sheet| sheet.dialect.quote = '\'')
    }),
    Kind::careful("published", "backslash escapes quotes", QUOTES, |s| {
        with(s, |sheet| sheet.dialect.escape = Escape::Backslash)
    }),
    Kind::sound("published", "line ends of one character", |s| {
        ["\n", "\r"]
            .into_iter()
            .map(|end| {
                let mut sheet = s.clone();
                (sheet.dialect.line_end, sheet.dialect.last) = (end, end);
                sheet
            })
            .collect()
    }),
    Kind::careful("published", "stray quote in a row", QUOTES, stray_quote),
    Kind::careful(
        "published",
        "a row with another separator",
        RAGGED,
        other_separator,
    ),
];

const SECOND: &[&str] = &["another table", "where the header has"];
const QUOTES: &[&str] = &["where the header has", "quote mark", "ditto mark", "\""];

fn with(sheet: &Sheet, change: impl Fn(&mut Sheet)) -> Vec<Sheet> {
    let mut sheet = sheet.clone();
    change(&mut sheet);
    vec![sheet]
}

/// A copy of the sheet for every row and column, the row rewritten; with whether nobody
/// could tell any more what it meant.
fn each_cell(s: &Sheet, from: usize, write: impl Fn(&Line, usize) -> Vec<(String, bool)>) -> Made {
    let mut made = Vec::new();
    for (i, line) in s.lines.iter().enumerate() {
        for j in from..line.cells.len() {
            for (text, untold) in write(line, j) {
                let mut sheet = s.clone();
                sheet.lines[i] = Line {
                    untold,
                    ..marked(line, Some(text))
                };
                made.push(sheet);
            }
        }
    }
    made
}

fn separator_missing(s: &Sheet) -> Made {
    each_cell(s, 1, |line, j| {
        let cells = s.cells_of(line);
        let (before, after) = cells.split_at(j);
        let untold = match (&line.cells[j - 1], &line.cells[j]) {
            (Cell::Empty, _) | (_, Cell::Empty) => {
                let mut left = line.cells.clone();
                let at = if left[j] == Cell::Empty { j } else { j - 1 };
                left.remove(at);
                let each = (0..=left.len()).map(|at| {
                    let mut cells = left.clone();
                    cells.insert(at, Cell::Empty);
                    cells
                });
                is_open(s, each)
            }
            // of two figures or texts nobody sees where the one ends
            (one, other) => sort_of(one) == sort_of(other) && matches!(sort_of(one), Some(0 | 1)),
        };
        let text = format!("{}{}", before.join(","), after.join(","));
        vec![(text, untold)]
    })
}

fn separator_too_many(s: &Sheet) -> Made {
    each_cell(s, 0, |line, j| {
        let cells = s.cells_of(line);
        let (before, after) = cells.split_at(j);
        let gap = if before.is_empty() { "" } else { "," };
        let mut more = line.cells.clone();
        more.insert(j, Cell::Empty);
        let empty = (0..more.len()).filter(|at| more[*at] == Cell::Empty);
        let each = empty.map(|at| {
            let mut cells = more.clone();
            cells.remove(at);
            cells
        });
        let untold = is_open(s, each);
        let text = format!("{}{gap},{}", before.join(","), after.join(","));
        vec![(text, untold)]
    })
}

/// Whether more than one of these ways to write the row has in each column what stands
/// there in other rows: text, a figure, a day, or nothing.
fn is_open(s: &Sheet, ways: impl Iterator<Item = Vec<Cell>>) -> bool {
    let fits = |cells: &Vec<Cell>| {
        cells.iter().enumerate().all(|(i, cell)| {
            let mut there = s.lines.iter().filter_map(|line| line.cells.get(i));
            there.any(|other| sort_of(other) == sort_of(cell))
        })
    };
    let mut fitting: Vec<Vec<Cell>> = ways.filter(fits).collect();
    fitting.dedup();
    fitting.len() > 1
}

fn sort_of(cell: &Cell) -> Option<u8> {
    match cell {
        Cell::Empty => None,
        Cell::Text(_) | Cell::Raw(_) => Some(0),
        Cell::Number(_) => Some(1),
        Cell::Moment(_) | Cell::Day(_) => Some(2),
    }
}

/// At the start of a cell, in its middle and at its end.
fn stray_quote(s: &Sheet) -> Made {
    let mut made = Vec::new();
    for sheet in each_cell(s, 0, |line, j| {
        let cells = s.cells_of(line);
        // a mark alone in its cell stands for what is above it as well as for nothing
        let untold = line.cells[j] == Cell::Empty;
        let at = [0, cells[j].chars().count() / 2, cells[j].chars().count()];
        at.into_iter()
            .map(|at| {
                let mut cells = cells.clone();
                let byte = cells[j]
                    .char_indices()
                    .nth(at)
                    .map_or(cells[j].len(), |(i, _)| i);
                cells[j].insert(byte, '"');
                (cells.join(","), untold)
            })
            .collect()
    }) {
        made.push(with_the_mark_as_text(sheet));
    }
    made
}

/// A stray mark in free text may be meant: with it or without it is right.
fn with_the_mark_as_text(mut sheet: Sheet) -> Sheet {
    use litrewise::inside::store::records::Record;
    for line in sheet.lines.iter_mut().filter(|line| line.touched) {
        let Some(meant) = line.meanings.first().cloned() else {
            continue;
        };
        let variants = |text: &Option<std::sync::Arc<str>>| {
            let text = text.as_deref().unwrap_or_default().to_owned();
            let mut all: Vec<String> = (0..=text.len())
                .filter(|i| text.is_char_boundary(*i))
                .map(|i| format!("{}\"{}", &text[..i], &text[i..]))
                .collect();
            all.push(text.replace('"', ""));
            all
        };
        let some = |text: String| Some(text.as_str().into()).filter(|_| !text.is_empty());
        match meant {
            Record::Reading(reading) => {
                for note in variants(&reading.note) {
                    line.meanings.push(Record::Reading(
                        litrewise::inside::store::records::Reading {
                            note: some(note),
                            ..reading.clone()
                        },
                    ));
                }
            }
            Record::Service(service) => {
                for note in variants(&service.note) {
                    line.meanings.push(Record::Service(
                        litrewise::inside::store::records::Service {
                            note: some(note),
                            ..service.clone()
                        },
                    ));
                }
                for part in variants(&service.part) {
                    line.meanings.push(Record::Service(
                        litrewise::inside::store::records::Service {
                            part: some(part),
                            ..service.clone()
                        },
                    ));
                }
            }
            Record::Hardness(hardness) => {
                for source in variants(&hardness.source) {
                    line.meanings.push(Record::Hardness(
                        litrewise::inside::store::records::Hardness {
                            source: some(source),
                            ..hardness.clone()
                        },
                    ));
                }
            }
            _ => {}
        }
    }
    sheet
}

fn other_separator(s: &Sheet) -> Made {
    let mut made = Vec::new();
    for delimiter in [" ", ";", "\t", "|", ", "] {
        for (i, line) in s.lines.iter().enumerate() {
            let text = s.cells_of(line).join(delimiter);
            let mut sheet = s.clone();
            sheet.lines[i] = marked(line, Some(text));
            made.push(sheet);
        }
    }
    made
}

/// Below the first table stands a second one: of the same kind with fewer, as
/// many and more columns, or in another order, and of another kind.
fn second_table(s: &Sheet) -> Made {
    let mut made = Vec::new();
    let width = s.headers.len();
    for blank in [false, true] {
        for shape in ["same", "less", "more", "turned", "other"] {
            let mut sheet = s.clone();
            if blank {
                sheet.lines.push(Sheet::junk(""));
            }
            let order: Vec<usize> = match shape {
                "less" => (0..width - 1).collect(),
                "turned" => (0..width).rev().collect(),
                _ => (0..width).collect(),
            };
            if shape == "other" {
                for text in other_kind(s) {
                    sheet.lines.push(Sheet::junk(&text));
                }
                made.push(sheet);
                continue;
            }
            let more = |cells: Vec<String>, last: &str| {
                let mut cells: Vec<String> = order.iter().map(|i| cells[*i].clone()).collect();
                if shape == "more" {
                    cells.push(last.to_owned());
                }
                cells.join(",")
            };
            sheet
                .lines
                .push(Sheet::junk(&more(s.headers.clone(), "Driver")));
            for line in s.lines.iter().take(6) {
                let text = more(s.cells_of(line), "Max");
                let mut written = marked(line, Some(text));
                if let ("less", Some(last)) = (shape, written.cells.last_mut()) {
                    *last = Cell::Empty;
                    written.meanings = vec![record(s.kind, &s.names, &written.cells)];
                }
                sheet.lines.push(written);
            }
            made.push(sheet);
        }
    }
    made
}

/// A small table of another kind that looks most like this one.
fn other_kind(s: &Sheet) -> Vec<String> {
    use litrewise::inside::ingest::RecordKind::{Fills, Hardness, Readings, Services, Vans};
    let lines: &[&str] = match s.kind {
        Readings => &[
            "van,started_at,postcode,litres,meter_litres,reject_litres",
            "QV-001,2026-03-04T08:00,QA3,310,1200,900",
            "QV-002,2026-03-05T08:00,QA3,290,1400,850",
        ],
        Fills => &[
            "van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm,water_c,feed_bar",
            "QV-001,2026-03-04T08:00,,,310,12,1,",
            "QV-002,2026-03-05T08:00,,,315,12,1,",
        ],
        Services => &[
            "van,started_at,source,litres,reject_litres",
            "QV-001,2026-03-04,tank,310,900",
            "QV-002,2026-03-05,resin,290,850",
        ],
        Vans => &[
            "van,postcode,litres,meter_litres,reject_litres,taken_at",
            "QV-001,QA3,310,1,9,2026-03-04",
            "QV-002,QA3,290,1,8,2026-03-05",
        ],
        Hardness => &[
            "base_postcode,tank_litres,van",
            "QA3,310,QV-001",
            "QB3,290,QV-002",
        ],
    };
    lines.iter().map(|line| (*line).to_owned()).collect()
}
