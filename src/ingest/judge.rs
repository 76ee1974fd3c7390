//! What becomes of one row: its records, or the reason why it is set aside.

use std::sync::Arc;

use jiff::civil::Date;

use crate::store::records::Record;

use super::columns::Column;
use super::headers::RecordKind;
use super::layout::Layout;
use super::names::Names;
use super::notes::Repair;
use super::ragged::alignments;
use super::row::{Cells, Ground, Reason, Row};
use super::rows_fills::fill;
use super::rows_hardness::hardness;
use super::rows_readings::reading;
use super::rows_services::service;
use super::rows_vans::van;
use super::split::Rows;
use super::text::{folded, is_no_value, plain};

/// What came of one row.
pub(super) struct Outcome {
    pub records: Result<Records, Reason>,
    pub repairs: Vec<Repair>,
    /// Van and day where only the day is known.
    pub day_only: Option<(Arc<str>, Date)>,
    /// The cells put right, where the row was ragged.
    pub aligned: Option<Vec<String>>,
}

/// The records of a row: nearly always one.
#[derive(Debug, PartialEq)]
pub(super) enum Records {
    One(Record),
    Several(Vec<Record>),
}

impl Outcome {
    fn set_aside(reason: Reason) -> Outcome {
        Outcome {
            records: Err(reason),
            repairs: Vec::new(),
            day_only: None,
            aligned: None,
        }
    }
}

/// Judges the present row of `rows`.
pub(super) fn judge(
    ground: &Ground<'_>,
    rows: &Rows<'_>,
    names: &mut Names,
    bare_is_mg_l: bool,
) -> Outcome {
    let layout = ground.layout;
    if let Some(reason) = no_row_of_its_own(layout, rows) {
        return Outcome::set_aside(reason);
    }
    // empty cells beyond the header's are what spreadsheets leave behind all rows
    let last = (0..rows.len()).rposition(|i| !rows.cell(i).trim().is_empty());
    let written = last.map_or(0, |i| i + 1);
    let (fewest, most) = (layout.width(), layout.headers.len());
    let usual = rows.len() == ground.usual_cells && written <= most;
    if rows.len() >= fewest && (rows.len() <= most || usual) {
        judge_cells(ground, rows, None, names, bare_is_mg_l)
    } else {
        let cells: Vec<&str> = (0..rows.len()).map(|i| rows.cell(i)).collect();
        judge_ragged(ground, rows, &cells, names, bare_is_mg_l)
    }
}

fn judge_cells(
    ground: &Ground<'_>,
    rows: &Rows<'_>,
    aligned: Option<&[String]>,
    names: &mut Names,
    bare_is_mg_l: bool,
) -> Outcome {
    let cells = Cells {
        layout: ground.layout,
        rows,
        aligned,
    };
    let mut row = Row::new(ground, cells, names);
    let records = match ground.layout.kind {
        RecordKind::Readings => reading(&mut row),
        RecordKind::Fills => fill(&mut row),
        RecordKind::Services => service(&mut row),
        RecordKind::Vans => van(&mut row),
        RecordKind::Hardness => hardness(&mut row, bare_is_mg_l),
    };
    Outcome {
        records,
        repairs: row.repairs,
        day_only: row.day_only,
        aligned: None,
    }
}

/// A row with too many or too few cells: used where one alignment fits.
fn judge_ragged(
    ground: &Ground<'_>,
    rows: &Rows<'_>,
    cells: &[&str],
    names: &mut Names,
    bare_is_mg_l: bool,
) -> Outcome {
    let width = ground.layout.width();
    let mut sound: Vec<Outcome> = Vec::new();
    for aligned in alignments(cells, width, char::from(ground.layout.delimiter)) {
        let mut outcome = judge_cells(ground, rows, Some(&aligned), names, bare_is_mg_l);
        let known = sound.iter().any(|other| other.records == outcome.records);
        if outcome.records.is_ok() && !known {
            outcome.aligned = Some(aligned);
            sound.push(outcome);
        }
    }
    match (sound.pop(), sound.is_empty()) {
        (Some(mut only), true) => {
            only.repairs.push(Repair {
                column: None,
                what: "cells too many or too few: put right in the only way that makes sense",
            });
            only
        }
        _ => {
            let word = if cells.len() == 1 { "cell" } else { "cells" };
            Outcome::set_aside(format!(
                "{} {word} where the header has {width}",
                cells.len()
            ))
        }
    }
}

/// The header once more, or a total: lines that spreadsheets add.
fn no_row_of_its_own(layout: &Layout, rows: &Rows<'_>) -> Option<Reason> {
    let first = (0..rows.len()).find(|i| !rows.cell(*i).trim().is_empty())?;
    let header = layout.headers.get(first).map_or("", |h| plain(h));
    if plain(rows.cell(first)).eq_ignore_ascii_case(header) {
        let same = |(i, header): (usize, &String)| folded(rows.cell(i)) == folded(header);
        if layout.headers.iter().enumerate().all(same) {
            return Some("the header once more".into());
        }
    }
    let when = [Column::TakenAt, Column::StartedAt, Column::DoneAt];
    let when = when.into_iter().find_map(|column| layout.cell_of(column));
    let undated = when.is_some_and(|i| is_no_value(plain(rows.cell(i))));
    let van = layout.cell_of(Column::Van);
    let no_van = van.is_some_and(|i| rows.cell(i).trim().is_empty());
    let looked_at = if no_van { rows.len() } else { first + 1 };
    (first..looked_at)
        .any(|i| is_total(plain(rows.cell(i)), undated))
        .then(|| "a total, not a row of its own".into())
}

/// Whether a cell heads a line of totals; words that may be names as well do so
/// only in a line without a date.
fn is_total(cell: &str, undated: bool) -> bool {
    if cell.len() < 3 || cell.len() > 13 {
        return false;
    }
    let word = cell.trim_end_matches([':', '.']).to_ascii_lowercase();
    matches!(
        word.as_str(),
        "total" | "totals" | "grand total" | "sum" | "subtotal" | "sub-total" | "sub total"
    ) || (undated
        && matches!(
            word.as_str(),
            "average" | "mean" | "avg" | "count" | "min" | "max" | "minimum" | "maximum"
        ))
}
