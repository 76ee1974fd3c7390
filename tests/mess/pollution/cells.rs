//! Slips in cells: how numbers, dates and words are written.

use litrewise::inside::calendar::{DateExt, Timelike};
use litrewise::inside::ingest::RecordKind;
use litrewise::inside::store::records::Record;
use litrewise::inside::water::HardnessUnit;

use super::chance::Chance;
use super::sample::{Cell, instant};
use super::sheet::{Encoding, Sheet};
use super::slips::Stage::{Cells, Columns, Dialect};
use super::slips::{Slip, mean_anew};

pub const SLIPS: &[Slip] = &[
    Slip::sound(Dialect, "decimal commas", |s, c| {
        s.dialect.decimal = ',';
        s.dialect.delimiter = c.one_of(&[";", "\t", ","]);
        true
    }),
    Slip::sound(Dialect, "thousands grouped", |s, c| {
        let (decimal, group) = c.one_of(&[
            ('.', ','),
            (',', '.'),
            ('.', '\''),
            (',', ' '),
            ('.', '\u{a0}'),
        ]);
        s.dialect.decimal = decimal;
        s.dialect.group = Some(group);
        if decimal == ',' {
            s.dialect.delimiter = ";";
        }
        true
    }),
    Slip::sound(Dialect, "dates in another order", |s, c| {
        s.dialect.dates = Some(c.one_of(DATES));
        true
    }),
    // among dates in other forms they are not believed
    Slip::careful(
        Dialect,
        "spreadsheet day numbers",
        &["a bare number, not a date"],
        |s, _| {
            s.dialect.dates = None;
            true
        },
    ),
    Slip::sound(Cells, "dates in several forms", |s, c| {
        each(s, |cell, _| match cell {
            Cell::Moment(at) => {
                let (format, _) = c.one_of(SURE);
                Some(at.format(format).to_string())
            }
            Cell::Day(day) => {
                let (_, format) = c.one_of(SURE);
                Some(day.format(format).to_string())
            }
            _ => None,
        });
        true
    }),
    Slip::hopeless(
        Columns,
        "day and month not to be told apart",
        &["day and month cannot be told apart"],
        |s, c| {
            for line in &mut s.lines {
                for cell in &mut line.cells {
                    let day = 1 + c.below(6) as u32;
                    let month = 7 + c.below(6) as u32;
                    let year = 2019 + c.below(7) as i32;
                    match cell {
                        Cell::Moment(at) => {
                            *at = litrewise::inside::calendar::date(2025, month, day)
                                .and_time(at.time())
                        }
                        Cell::Day(date) => {
                            *date = litrewise::inside::calendar::date(year, month, day)
                        }
                        _ => {}
                    }
                }
            }
            // an end stays behind its start, and leaving comes after coming
            let drop = ["ended_at", "out_of_service_on"];
            for name in drop {
                if let Some(i) = s.column(name) {
                    s.lines
                        .iter_mut()
                        .for_each(|line| line.cells[i] = Cell::Empty);
                }
            }
            mean_anew(s);
            s.dialect.dates = Some(("%d/%m/%Y %H:%M", "%d/%m/%Y"));
            true
        },
    ),
    Slip::sound(Columns, "offsets from UTC", |s, c| {
        let style = c.below(2);
        each(s, |cell, _| match cell {
            Cell::Moment(at) => {
                let stamp = litrewise::inside::calendar::utc(instant(*at).0).unwrap();
                Some(if style == 0 {
                    format!("{}Z", stamp.format("%Y-%m-%dT%H:%M:%S"))
                } else {
                    // +01:00 all year round: the same instant
                    let there = stamp + litrewise::inside::calendar::TimeDelta::hours(1);
                    format!("{}+01:00", there.format("%Y-%m-%dT%H:%M:%S"))
                })
            }
            _ => None,
        });
        matches!(
            s.kind,
            RecordKind::Readings | RecordKind::Fills | RecordKind::Services
        )
    }),
    Slip::sound(Columns, "date and time in columns of their own", |s, _| {
        let name = match s.kind {
            RecordKind::Readings => "taken_at",
            RecordKind::Fills => "started_at",
            _ => return false,
        };
        let Some(at) = s.column(name) else {
            return false;
        };
        s.names.insert(at + 1, "");
        s.headers[at] = "Date".to_owned();
        s.headers.insert(at + 1, "Time".to_owned());
        for line in &mut s.lines {
            let Cell::Moment(moment) = line.cells[at] else {
                continue;
            };
            line.cells[at] = Cell::Day(moment.date());
            line.cells.insert(
                at + 1,
                Cell::Raw(format!("{:02}:{:02}", moment.hour(), moment.minute())),
            );
        }
        true
    }),
    Slip::sound(Columns, "no time of day", |s, _| {
        let name = match s.kind {
            RecordKind::Readings => "taken_at",
            RecordKind::Fills => "started_at",
            _ => return false,
        };
        let at = s.column(name).unwrap();
        if let Some(end) = s.column("ended_at") {
            s.lines
                .iter_mut()
                .for_each(|line| line.cells[end] = Cell::Empty);
        }
        for line in &mut s.lines {
            let Cell::Moment(moment) = line.cells[at] else {
                continue;
            };
            line.cells[at] = Cell::Moment(moment.date().at(12, 0, 0));
        }
        mean_anew(s);
        for line in &mut s.lines {
            let Cell::Moment(moment) = line.cells[at] else {
                continue;
            };
            line.cells[at] = Cell::Day(moment.date());
            for meaning in &mut line.meanings {
                // each van has one row a day
                match meaning {
                    Record::Reading(reading) => reading.day_position = Some(0),
                    Record::Fill(fill) => fill.day_position = Some(0),
                    _ => {}
                }
            }
        }
        true
    }),
    Slip::sound(Cells, "blanks around cells", |s, c| {
        // Windows-1252 has no invisible blanks
        let all = [" ", "  ", "\u{a0}", "\u{200b}", "\u{feff}"];
        let most = if s.dialect.encoding == Encoding::Windows1252 {
            3
        } else {
            5
        };
        let blanks = &all[..most];
        each_written(s, |text, _| {
            Some(format!("{}{text}{}", c.one_of(blanks), c.one_of(blanks)))
        });
        true
    }),
    Slip::sound(Cells, "words for no value", |s, c| {
        let words = ["n/a", "-", "?", "nil", "null", "N/A", "none", "–"];
        // free text may say anything
        let free = ["part", "note", "source", ""];
        each(s, |cell, name| {
            (*cell == Cell::Empty && !free.contains(&name)).then(|| c.one_of(&words).to_owned())
        });
        true
    }),
    Slip::sound(Cells, "numbers in other forms", |s, c| {
        let decimal = s.dialect.decimal;
        each(s, |cell, _| match cell {
            Cell::Number(value) if *value >= 1.0 => {
                let text = value.to_string();
                Some(
                    match c.below(5) {
                        0 => format!("0{text}"),
                        1 => format!("+{text}"),
                        2 if text.contains('.') => format!("{text}0"),
                        2 => format!("{text}.0"),
                        3 => format!("{}E-1", value * 10.0),
                        _ => text,
                    }
                    .replace('.', &decimal.to_string()),
                )
            }
            _ => None,
        });
        true
    }),
    Slip::sound(Cells, "units in cells", |s, _| {
        if s.names
            .iter()
            .zip(&s.headers)
            .any(|(name, header)| name != header)
            || !s.has_own_units()
        {
            return false;
        }
        let decimal = s.dialect.decimal;
        each(s, |cell, name| match cell {
            Cell::Number(value) => {
                let text = value.to_string().replace('.', &decimal.to_string());
                Some(match name {
                    "feed_ppm" | "permeate_ppm" | "product_ppm" => format!("{text}ppm"),
                    "water_c" => format!("{text} °C"),
                    "feed_bar" => format!("{text} bar"),
                    "permeate_lpm" | "concentrate_lpm" => format!("{text} L/min"),
                    "litres" | "meter_litres" | "reject_litres" | "tank_litres"
                    | "resin_litres" => format!("{text} ltr"),
                    "cost" => format!("£{text}"),
                    "hardness" => format!("{text} mg/l"),
                    _ => text,
                })
            }
            _ => None,
        });
        true
    }),
    Slip::sound(Columns, "columns in other units", other_units),
    Slip::careful(
        Cells,
        "letters for digits",
        &[
            "letter O",
            "letter l",
            "not a number",
            "not a date",
            "unit of this column",
            "not one of",
            "neither litres",
            "not an amount",
            "in a unit that is not known",
        ],
        |s, c| {
            touch_number(s, c, |text, c| {
                let (digit, letter) = c.one_of(&[('0', 'O'), ('1', 'l'), ('0', 'o'), ('1', 'I')]);
                // 68l may be 68 litres
                let at = text.find(digit).filter(|at| at + 1 < text.len())?;
                let mut slipped = text.to_owned();
                slipped.replace_range(at..=at, &letter.to_string());
                Some(slipped)
            })
        },
    ),
    Slip::losing(Cells, "what is no number", NO_NUMBER, |s, c| {
        touch_number(s, c, |_, c| {
            let words = [
                "OL", "Err", "---", "#REF!", "=A1+2", "see note", "same", "12:30", "1.2.3", ">500",
                "05-Jun", "1..5", "--5",
            ];
            Some(c.one_of(&words).to_owned())
        })
    }),
    Slip::losing(
        Cells,
        "required cells empty",
        &[
            "is empty",
            "without its date",
            "neither litres",
            "the unit",
            "without a unit",
        ],
        |s, c| {
            let required: &[&str] = match s.kind {
                RecordKind::Readings => &["van", "taken_at"],
                RecordKind::Fills => &["van", "started_at"],
                RecordKind::Services => &["van", "done_at", "item"],
                RecordKind::Vans => &["van"],
                RecordKind::Hardness => &["hardness"],
            };
            let Some(i) = s.column(c.one_of(required)) else {
                return false;
            };
            let n = c.below(s.lines.len());
            if s.lines[n].meanings.is_empty() {
                return false;
            }
            s.lines[n].cells[i] = Cell::Empty;
            s.lines[n].touched = true;
            true
        },
    ),
    Slip::sound(Cells, "words in other letters", |s, c| {
        let style = c.below(3);
        each(s, |cell, name| match cell {
            Cell::Text(text)
                if matches!(name, "item" | "postcode" | "base_postcode" | "unit")
                    || (name == "source" && s_is_fill(text)) =>
            {
                Some(match style {
                    0 => text.to_uppercase(),
                    1 => text.to_lowercase(),
                    _ => format!("{}{}", text[..1].to_uppercase(), text[1..].to_lowercase()),
                })
            }
            _ => None,
        });
        true
    }),
    Slip::sound(Cells, "other words for the work and the source", |s, c| {
        each(s, |cell, name| match (cell, name) {
            (Cell::Text(text), "item") => Some(
                match text.as_str() {
                    "membrane" => c.one_of(&["RO", "Membrane change", "new 4040"]),
                    "resin" => c.one_of(&["DI", "resin refilled", "DI resin"]),
                    "prefilter" => c.one_of(&["Carbon", "pre-filters", "carbon + sediment"]),
                    _ => c.one_of(&["Flush", "flushed", "clean"]),
                }
                .to_owned(),
            ),
            (Cell::Text(text), "source") => match text.as_str() {
                "mains" => Some(c.one_of(&["tap", "Mains", "own"]).to_owned()),
                "bought_in" => Some(c.one_of(&["shop", "bought", "bought in"]).to_owned()),
                _ => None,
            },
            _ => None,
        });
        matches!(s.kind, RecordKind::Services | RecordKind::Fills)
    }),
];

const NO_NUMBER: &[&str] = &[
    "not a number",
    "what a meter shows that cannot read",
    "no figure that a meter could read",
    "formula",
    "ditto",
    "a date, not a number",
    "not an amount",
    "neither litres",
    "unit of this column",
    "in a unit that is not known",
    "not a range",
    "which may be",
];

/// Forms of a whole file, its order settled by its own rows or by letters.
const DATES: &[(&str, &str)] = &[
    ("%d/%m/%Y %H:%M", "%d/%m/%Y"),
    ("%m/%d/%Y %H:%M", "%m/%d/%Y"),
    ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y"),
    ("%d-%m-%y %H:%M", "%d-%m-%y"),
    ("%m/%d/%Y %I:%M %p", "%m/%d/%Y"),
    ("%Y/%m/%d %H:%M", "%Y/%m/%d"),
    ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d"),
    ("%Y%m%dT%H%M", "%Y%m%d"),
    ("%d %b %Y %H:%M", "%d %b %Y"),
    ("%d-%b-%y %H:%M", "%d-%b-%y"),
    ("%A %d %B %Y %H:%M", "%A %d %B %Y"),
    ("%B %d %Y at %H:%M", "%B %d %Y"),
    ("%Y-%m-%dT%H:%M:%S.000", "%Y-%m-%d"),
];

/// Forms that read one way only.
const SURE: &[(&str, &str)] = &[
    ("%Y-%m-%dT%H:%M", "%Y-%m-%d"),
    ("%Y/%m/%d %H:%M", "%Y/%m/%d"),
    ("%d %b %Y %H:%M", "%d %b %Y"),
    ("%d-%b-%Y %I:%M %p", "%d-%b-%Y"),
    ("%a %d %B %Y %H:%M:%S", "%a %d %B %Y"),
];

fn s_is_fill(text: &str) -> bool {
    matches!(text, "mains" | "bought_in")
}

/// Rewrites cells of rows: given the cell and its canonical column.
fn each(s: &mut Sheet, mut write: impl FnMut(&Cell, &'static str) -> Option<String>) {
    let names = s.names.clone();
    for line in s
        .lines
        .iter_mut()
        .filter(|l| !l.meanings.is_empty() && l.raw.is_none())
    {
        for (cell, name) in line.cells.iter_mut().zip(&names) {
            if let Some(text) = write(cell, name) {
                *cell = Cell::Raw(text);
            }
        }
    }
}

/// The same, given the cell as it would be written.
fn each_written(s: &mut Sheet, mut write: impl FnMut(&str, &'static str) -> Option<String>) {
    let written = s.clone();
    each(s, |cell, name| write(&written.written(cell), name));
}

/// Rewrites one number that a row cannot do without, or that is there.
fn touch_number(
    s: &mut Sheet,
    c: &mut Chance,
    slip: impl Fn(&str, &mut Chance) -> Option<String>,
) -> bool {
    for _ in 0..20 {
        let n = c.below(s.lines.len());
        let i = c.below(s.names.len());
        let line = &s.lines[n];
        if line.meanings.is_empty() || line.raw.is_some() || s.names[i].is_empty() {
            continue;
        }
        let Some(Cell::Number(_)) = line.cells.get(i) else {
            continue;
        };
        let text = s.written(&line.cells[i]);
        let Some(slipped) = slip(&text, c) else {
            continue;
        };
        let costs_its_cell = ["OL", "Err", "---", "#REF!", ">500"].contains(&slipped.as_str());
        s.lines[n].cells[i] = Cell::Raw(slipped);
        s.lines[n].touched = true;
        if let (true, Record::Reading(mut rest)) = (costs_its_cell, s.lines[n].meanings[0].clone())
        {
            match s.names[i] {
                "feed_ppm" => rest.feed_ppm = None,
                "permeate_ppm" => rest.permeate_ppm = None,
                "product_ppm" => rest.product_ppm = None,
                "water_c" => rest.water_c = None,
                "feed_bar" => rest.feed_bar = None,
                "permeate_lpm" => rest.permeate_lpm = None,
                _ => rest.concentrate_lpm = None,
            }
            s.lines[n].meanings.push(Record::Reading(rest));
        }
        return true;
    }
    false
}

/// The same amounts, in units that the headers state.
fn other_units(s: &mut Sheet, c: &mut Chance) -> bool {
    let turn = |s: &mut Sheet, name: &str, header: &str, convert: &dyn Fn(f64) -> f64| {
        let Some(i) = s.column(name) else { return };
        s.headers[i] = header.to_owned();
        for line in &mut s.lines {
            if let Cell::Number(value) = line.cells[i] {
                line.cells[i] = Cell::Number(convert(value));
            }
        }
    };
    let pick = c.below(2);
    match s.kind {
        RecordKind::Readings => {
            turn(s, "feed_ppm", ["feed_us_cm", "Feed (µS/cm)"][pick], &|v| {
                v * 2.0
            });
            turn(
                s,
                "permeate_ppm",
                ["RO (mS/cm)", "Permeate µS"][pick],
                &|v| if pick == 0 { v / 500.0 } else { v * 2.0 },
            );
            turn(s, "water_c", "Temp (°F)", &|v| v * 1.8 + 32.0);
            // 1 psi = 6894.757 Pa (NIST SP 811)
            turn(s, "feed_bar", ["PSI", "Pressure (kPa)"][pick], &|v| {
                if pick == 0 {
                    v / 0.068_947_57
                } else {
                    v * 100.0
                }
            });
            turn(s, "permeate_lpm", "Flow (L/h)", &|v| v * 60.0);
        }
        RecordKind::Fills => {
            turn(s, "litres", ["Volume (gallons)", "m3"][pick], &|v| {
                if pick == 0 { v / 4.546_09 } else { v / 1000.0 }
            });
        }
        RecordKind::Vans => turn(s, "tank_litres", "Tank size (gallons)", &|v| v / 4.546_09),
        RecordKind::Hardness => {
            let unit = c.one_of(&[
                HardnessUnit::Clark,
                HardnessUnit::French,
                HardnessUnit::German,
                HardnessUnit::MmolL,
            ]);
            turn(s, "hardness", "hardness", &|v| v / unit.mg_l_caco3());
            let i = s.column("unit").unwrap();
            for line in &mut s.lines {
                line.cells[i] = Cell::Text(unit.word().to_owned());
            }
        }
        RecordKind::Services => return false,
    }
    true
}
