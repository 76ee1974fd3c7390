//! A sample of each kind of record: cells with their meaning, made here and not
//! by the reading that is put to the test.

use std::sync::Arc;

use litrewise::inside::calendar::{Date, DateExt, DateTime, TimeZone, date};
use litrewise::inside::ingest::RecordKind;
use litrewise::inside::store::records::{
    Fill, Hardness, Instant, Item, Reading, Record, Service, Source, Van, When,
};
use litrewise::inside::water::HardnessUnit;

use super::chance::Chance;

/// What a cell means, before anyone writes it down.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    Empty,
    Text(String),
    Number(f64),
    Moment(DateTime),
    Day(Date),
    /// Written just so.
    Raw(String),
}

#[derive(Debug, Clone)]
pub struct Sample {
    pub kind: RecordKind,
    pub columns: Vec<&'static str>,
    pub rows: Vec<Vec<Cell>>,
}

pub const ROWS: usize = 25;
const VANS: [&str; 5] = ["QV-001", "QV-002", "QV-014", "Max", "QV 7"];
const NOTES: [&str; 6] = [
    "",
    "old one leaked, at 10 ppm",
    "said \"too late\"",
    "café yard – £5 toll",
    "two\nlines",
    "ok",
];

fn text(text: &str) -> Cell {
    if text.is_empty() {
        Cell::Empty
    } else {
        Cell::Text(text.to_owned())
    }
}

fn number(chance: &mut Chance, low: f64, high: f64, decimals: i32) -> Cell {
    let steps = ((high - low) * 10f64.powi(decimals)) as usize;
    let value = low + chance.below(steps + 1) as f64 / 10f64.powi(decimals);
    // as a person writes it, not as binary fractions add up
    let written = format!("{value:.*}", decimals as usize);
    Cell::Number(written.parse().unwrap())
}

fn maybe(chance: &mut Chance, cell: Cell) -> Cell {
    if chance.below(4) == 0 {
        Cell::Empty
    } else {
        cell
    }
}

/// The n-th moment: every other day of 2026 from January on, at working hours.
fn moment(n: usize, chance: &mut Chance) -> DateTime {
    let day = date(2026, 1, 6) + litrewise::inside::calendar::TimeDelta::days(2 * n as i64 + 3);
    day.at(7 + chance.below(11) as u32, chance.below(12) as u32 * 5, 0)
}

pub fn sample(kind: RecordKind, seed: u64) -> Sample {
    let mut chance = Chance::new(seed);
    let rows = (0..ROWS).map(|n| row(kind, n, &mut chance)).collect();
    Sample {
        kind,
        columns: litrewise::inside::ingest::canonical_header(kind),
        rows,
    }
}

fn row(kind: RecordKind, n: usize, chance: &mut Chance) -> Vec<Cell> {
    let van = text(VANS[n % VANS.len()]);
    let when = moment(n, chance);
    let places = ["QA3 4XY", "QC12", "", "QB1 2"];
    let place = text(places[chance.below(places.len())]);
    match kind {
        RecordKind::Readings => vec![
            van,
            Cell::Moment(when),
            place,
            number(chance, 180.0, 420.0, 1),
            number(chance, 6.0, 30.0, 1),
            number(chance, 0.0, 9.0, 0),
            {
                let c = number(chance, 4.5, 19.5, 1);
                maybe(chance, c)
            },
            {
                let c = number(chance, 2.0, 6.0, 1);
                maybe(chance, c)
            },
            {
                let c = number(chance, 1.0, 4.0, 2);
                maybe(chance, c)
            },
            {
                let c = number(chance, 2.0, 8.0, 2);
                maybe(chance, c)
            },
            text(NOTES[n % NOTES.len()]),
        ],
        RecordKind::Fills => {
            let minutes = 30 + 5 * chance.below(30) as i64;
            let end = Cell::Moment(when + litrewise::inside::calendar::TimeDelta::minutes(minutes));
            vec![
                van,
                Cell::Moment(when),
                maybe(chance, end),
                place,
                number(chance, 200.0, 390.0, 1),
                {
                    let c = number(chance, 10_000.0, 90_000.0, 0);
                    maybe(chance, c)
                },
                {
                    let c = number(chance, 400.0, 900.0, 0);
                    maybe(chance, c)
                },
                text(chance.one_of(&["mains", "bought_in", "mains"])),
            ]
        }
        RecordKind::Services => {
            let done = if n.is_multiple_of(3) {
                Cell::Moment(when)
            } else {
                Cell::Day(when.date())
            };
            let item = chance.one_of(&["prefilter", "membrane", "resin", "flush"]);
            vec![
                van,
                done,
                text(item),
                number(chance, 1.0, 12.0, 1),
                {
                    let c = number(chance, 5.0, 240.0, 2);
                    maybe(chance, c)
                },
                text(chance.one_of(&["4040", "5 micron and carbon", "batch Q7", ""])),
                text(NOTES[n % NOTES.len()]),
            ]
        }
        RecordKind::Vans => vec![
            text(&format!("QV-{:03}", n + 1)),
            text(chance.one_of(&["QA3 4XY", "QC12", "QB1"])),
            number(chance, 250.0, 650.0, 0),
            number(chance, 0.0, 2.0, 0),
            {
                let c = number(chance, 7.0, 25.0, 1);
                maybe(chance, c)
            },
            Cell::Day(
                date(2019, 1, 1) + litrewise::inside::calendar::TimeDelta::days(17 * n as i64),
            ),
            {
                let c = Cell::Day(
                    date(2026, 3, 1) + litrewise::inside::calendar::TimeDelta::days(9 * n as i64),
                );
                maybe(chance, c)
            },
            Cell::Empty,
        ],
        RecordKind::Hardness => vec![
            text(&format!("Q{}{}", ["A", "B", "C"][n % 3], n + 1)),
            number(chance, 31.0, 380.0, 1),
            text("mg_l_caco3"),
            text(chance.one_of(&["water quality report", "by post, June", ""])),
            Cell::Day(
                date(2024, 1, 1) + litrewise::inside::calendar::TimeDelta::days(23 * n as i64),
            ),
        ],
    }
}

pub fn instant(local: DateTime) -> Instant {
    let (micros, _) = TimeZone::LONDON.micros(local).unwrap();
    Instant(micros)
}

/// The record that a row of cells means.
pub fn record(kind: RecordKind, columns: &[&str], cells: &[Cell]) -> Record {
    let cell = |name: &str| {
        let at = columns.iter().position(|c| *c == name);
        at.and_then(|i| cells.get(i)).unwrap_or(&Cell::Empty)
    };
    let text = |name: &str| -> Option<Arc<str>> {
        match cell(name) {
            Cell::Text(text) => Some(text.split_whitespace().collect::<Vec<_>>().join(" ").into()),
            Cell::Empty => None,
            other => panic!("{name}: {other:?}"),
        }
    };
    // free text keeps its line breaks
    let free = |name: &str| -> Option<Arc<str>> {
        match cell(name) {
            Cell::Text(text) => Some(text.as_str().into()),
            _ => None,
        }
    };
    let number = |name: &str| match cell(name) {
        Cell::Number(value) => Some(*value),
        Cell::Empty => None,
        other => panic!("{name}: {other:?}"),
    };
    let at = |name: &str| match cell(name) {
        Cell::Moment(local) => Some(instant(*local)),
        _ => None,
    };
    let day = |name: &str| match cell(name) {
        Cell::Day(day) => Some(*day),
        _ => None,
    };
    match kind {
        RecordKind::Readings => Record::Reading(Reading {
            postcode: text("postcode"),
            feed_ppm: number("feed_ppm"),
            permeate_ppm: number("permeate_ppm"),
            product_ppm: number("product_ppm"),
            water_c: number("water_c"),
            feed_bar: number("feed_bar"),
            permeate_lpm: number("permeate_lpm"),
            concentrate_lpm: number("concentrate_lpm"),
            note: free("note"),
            ..Reading::of(text("van").unwrap(), at("taken_at").unwrap())
        }),
        RecordKind::Fills => Record::Fill(Fill {
            van: text("van").unwrap(),
            started_at: at("started_at").unwrap(),
            day_position: None,
            ended_at: at("ended_at"),
            postcode: text("postcode"),
            litres: number("litres"),
            meter_litres: number("meter_litres"),
            reject_litres: number("reject_litres"),
            source: match text("source").as_deref() {
                Some("bought_in") => Source::BoughtIn,
                _ => Source::Mains,
            },
        }),
        RecordKind::Services => Record::Service(Service {
            van: text("van").unwrap(),
            done_at: at("done_at").map_or_else(|| When::Day(day("done_at").unwrap()), When::At),
            item: Item::ALL
                .into_iter()
                .find(|i| Some(i.word()) == text("item").as_deref())
                .unwrap(),
            quantity: number("quantity"),
            cost: number("cost"),
            part: free("part"),
            note: free("note"),
        }),
        RecordKind::Vans => Record::Van(Van {
            van: text("van").unwrap(),
            from: day("from"),
            base_postcode: text("base_postcode"),
            tank_litres: number("tank_litres"),
            membranes: number("membranes").map(|n| n as u32),
            resin_litres: number("resin_litres"),
            in_service_on: day("in_service_on"),
            out_of_service_on: day("out_of_service_on"),
        }),
        RecordKind::Hardness => Record::Hardness(Hardness {
            postcode: text("postcode").unwrap(),
            as_of: day("as_of"),
            hardness: number("hardness").unwrap(),
            unit: HardnessUnit::from_word(&text("unit").unwrap()).unwrap(),
            source: free("source"),
        }),
    }
}
