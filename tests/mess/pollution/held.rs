//! What became of a polluted file, held against what it means.

use litrewise::inside::store::records::{FileRows, Record};

use super::sheet::Sheet;
use crate::store::try_read;

/// Rows of one file or of many, counted.
#[derive(Debug, Clone, Default)]
pub struct Held {
    pub files: usize,
    /// Rows that mean something.
    pub rows: usize,
    pub loaded: usize,
    pub set_aside: usize,
    /// Of those set aside, such of which nobody could tell what they meant.
    pub untold: usize,
    /// Of those, the rows in which the pollution is.
    pub touched: usize,
    pub touched_loaded: usize,
    pub mistakes: Vec<String>,
}

impl Held {
    pub fn add(&mut self, more: Held) {
        self.files += more.files;
        self.rows += more.rows;
        self.loaded += more.loaded;
        self.set_aside += more.set_aside;
        self.untold += more.untold;
        self.touched += more.touched;
        self.touched_loaded += more.touched_loaded;
        self.mistakes.extend(more.mistakes);
    }
}

/// Reads the sheet and holds every row against its meaning. `reasons`: what may
/// be said of a row that means something and is set aside all the same, or of
/// the whole file.
pub fn held(sheet: &Sheet, reasons: &[&str]) -> Held {
    let (bytes, lines) = sheet.render();
    let mut held = Held {
        files: 1,
        rows: lines
            .iter()
            .filter(|(_, line)| !line.meanings.is_empty())
            .count(),
        touched: lines
            .iter()
            .filter(|(_, l)| l.touched && !l.meanings.is_empty())
            .count(),
        ..Held::default()
    };
    let is_true = |reason: &str| reasons.iter().any(|part| reason.contains(part));
    match try_read(&bytes) {
        Ok(file) => hold(&lines, &file, &is_true, &mut held),
        Err(error) => {
            held.set_aside = held.rows;
            if !is_true(&error.to_string()) {
                held.mistakes.push(format!("refused: {error}"));
            }
        }
    }
    if !held.mistakes.is_empty() {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let start: String = text.chars().take(1500).collect();
        held.mistakes[0] += &format!("\n--- in\n{start}\n---");
    }
    held
}

fn hold(
    lines: &[(u64, &super::sheet::Line)],
    file: &FileRows,
    is_true: &dyn Fn(&str) -> bool,
    held: &mut Held,
) {
    let mut seen = vec![0_u32; lines.len()];
    let place = |line: u64| lines.iter().position(|(start, _)| *start == line);
    for (line, record, text) in &file.rows {
        // a sheet of several kinds gives a row for every part of a line
        let line = &litrewise::inside::store::records::line_of(*line);
        let Some(i) = place(*line) else {
            held.mistakes.push(format!(
                "line {line}: loaded, but no row starts there: {text}"
            ));
            continue;
        };
        seen[i] += 1;
        let meant = &lines[i].1.meanings;
        if meant.iter().any(|meant| is_same(record, meant)) {
            held.loaded += 1;
            held.touched_loaded += usize::from(lines[i].1.touched);
        } else {
            held.mistakes.push(format!(
                "line {line}: {text}\n    loaded as {record:?}\n    meant as  {meant:?}"
            ));
        }
    }
    for row in &file.set_aside {
        let Some(i) = row.line.and_then(place) else {
            // lines that a quote mark broke off the row above them, set aside with it
            let above = lines.iter().rposition(|(start, _)| Some(*start) < row.line);
            let start = above.map(|i| lines[i].0);
            if file.set_aside.iter().any(|other| other.line == start) {
                continue;
            }
            held.mistakes.push(format!(
                "{:?}: set aside, but no row starts there: {}",
                row.line, row.text
            ));
            continue;
        };
        seen[i] += 1;
        let means_something = !lines[i].1.meanings.is_empty();
        held.set_aside += usize::from(means_something);
        held.untold += usize::from(means_something && lines[i].1.untold);
        if means_something && !is_true(&row.reason) {
            held.mistakes.push(format!(
                "{:?}: {}\n    set aside because {}",
                row.line, row.text, row.reason
            ));
        }
    }
    for ((line, _), times) in lines.iter().zip(seen) {
        if times != 1 {
            held.mistakes
                .push(format!("line {line} is accounted for {times} times"));
        }
    }
}

fn is_near(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * a.abs().max(b.abs()),
        (None, None) => true,
        _ => false,
    }
}

/// Texts and times to the letter, numbers to the ninth figure: a unit's
/// conversion there and back rounds.
pub fn is_same(a: &Record, b: &Record) -> bool {
    match (a, b) {
        (Record::Reading(a), Record::Reading(b)) => {
            let numbers = |r: &litrewise::inside::store::records::Reading| {
                [
                    r.feed_ppm,
                    r.permeate_ppm,
                    r.product_ppm,
                    r.water_c,
                    r.feed_bar,
                    r.permeate_lpm,
                    r.concentrate_lpm,
                ]
            };
            (&a.van, a.taken_at, a.day_position, &a.postcode, &a.note)
                == (&b.van, b.taken_at, b.day_position, &b.postcode, &b.note)
                && numbers(a)
                    .into_iter()
                    .zip(numbers(b))
                    .all(|(a, b)| is_near(a, b))
        }
        (Record::Fill(a), Record::Fill(b)) => {
            let numbers = |f: &litrewise::inside::store::records::Fill| {
                [f.litres, f.meter_litres, f.reject_litres]
            };
            (
                &a.van,
                a.started_at,
                a.day_position,
                a.ended_at,
                &a.postcode,
                a.source,
            ) == (
                &b.van,
                b.started_at,
                b.day_position,
                b.ended_at,
                &b.postcode,
                b.source,
            ) && numbers(a)
                .into_iter()
                .zip(numbers(b))
                .all(|(a, b)| is_near(a, b))
        }
        (Record::Service(a), Record::Service(b)) => {
            (&a.van, a.done_at, a.item, &a.part, &a.note)
                == (&b.van, b.done_at, b.item, &b.part, &b.note)
                && is_near(a.quantity, b.quantity)
                && is_near(a.cost, b.cost)
        }
        (Record::Van(a), Record::Van(b)) => {
            (
                &a.van,
                a.from,
                &a.base_postcode,
                a.membranes,
                a.in_service_on,
                a.out_of_service_on,
            ) == (
                &b.van,
                b.from,
                &b.base_postcode,
                b.membranes,
                b.in_service_on,
                b.out_of_service_on,
            ) && is_near(a.tank_litres, b.tank_litres)
                && is_near(a.resin_litres, b.resin_litres)
        }
        (Record::Hardness(a), Record::Hardness(b)) => {
            (&a.postcode, a.as_of, &a.source) == (&b.postcode, b.as_of, &b.source)
                && is_near(
                    Some(a.unit.to_mg_l_caco3(a.hardness)),
                    Some(b.unit.to_mg_l_caco3(b.hardness)),
                )
        }
        _ => false,
    }
}
