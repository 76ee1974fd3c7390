//! What becomes of one row: its records, or the reason why it is set aside.

use std::sync::Arc;

use crate::calendar::Date;

use smallvec::{SmallVec, smallvec};

use crate::store::records::Record;

use super::columns::Column;
use super::dates::{WrittenDate, written};
use super::headers::RecordKind;
use super::kind::heads_a_table;
use super::layout::{DELIMITERS, Layout};
use super::meaning::meaning;
use super::names::Names;
use super::notes::Repair;
use super::numbers::DecimalMark;
use super::ragged::{Alignment, Alteration, ways};
use super::refusal::Refusal;
use super::row::{Below, Cells, FileContext, Row};
use super::rows_fills::fill;
use super::rows_hardness::hardness;
use super::rows_readings::reading;
use super::rows_services::service;
use super::rows_vans::van;
use super::sheet::{Sheet, has_part};
use super::split::Rows;
use super::text::{folded, is_no_value, plain};
use super::units::Measure;

/// What came of one row: of each of its parts, where the sheet holds several kinds.
pub(super) struct Outcome {
    pub parts: SmallVec<[Part; 1]>,
    /// The cells put right, where the row was ragged.
    pub aligned: Option<Vec<String>>,
}

/// What came of that which a row says of one kind.
pub(super) struct Part {
    pub kind: RecordKind,
    /// Not so where the line is no row at all.
    pub is_of_its_kind: bool,
    pub records: Result<Records, Refusal>,
    pub repairs: Vec<Repair>,
    /// Van and day where only the day is known.
    pub day_only: Option<(Arc<str>, Date)>,
}

/// The records of a part: nearly always one.
#[derive(Debug, PartialEq)]
pub(super) enum Records {
    One(Record),
    Several(Vec<Record>),
}

impl Outcome {
    fn set_aside(context: &FileContext<'_>, refusal: Refusal) -> Outcome {
        let part = Part {
            kind: context.sheet.main().kind,
            is_of_its_kind: false,
            records: Err(refusal),
            repairs: Vec::new(),
            day_only: None,
        };
        Outcome {
            parts: smallvec![part],
            aligned: None,
        }
    }

    /// Whether nothing of the row is set aside.
    fn is_sound(&self) -> bool {
        self.parts.iter().all(|part| part.records.is_ok())
    }

    fn has_sound_part(&self) -> bool {
        self.parts.iter().any(|part| part.records.is_ok())
    }

    fn says_the_same(&self, other: &Outcome) -> bool {
        let records = |outcome: &Outcome| outcome.parts.len();
        records(self) == records(other)
            && self
                .parts
                .iter()
                .zip(&other.parts)
                .all(|(a, b)| a.records == b.records)
    }

    fn repair(&mut self, what: &'static str) {
        if let Some(part) = self.parts.first_mut() {
            part.repairs.push(Repair { column: None, what });
        }
    }
}

/// Judges the present row of `rows`. `only`: the kind whose part alone is
/// looked at, where the row replaces one that was set aside.
pub(super) fn judge(
    context: &FileContext<'_>,
    rows: &Rows<'_>,
    names: &mut Names,
    only: Option<RecordKind>,
) -> Outcome {
    if let Some(refusal) = no_row_of_its_own(context, rows) {
        return Outcome::set_aside(context, refusal);
    }
    let below = context.below.borrow().clone();
    if below == Below::Foreign {
        return Outcome::set_aside(context, Refusal::BelowAnother);
    }
    let mut judging = Judging {
        context,
        rows,
        names,
        only,
    };
    let mut outcome = match &below {
        Below::Alike { cells, width } => judging.in_their_order(cells, *width),
        _ => judging.row(),
    };
    // a row of as many cells as the header that is sound without its only quote
    // mark can be meant in no other way
    if !outcome.is_sound()
        && below == Below::Own
        && let Some(cells) = without_lone_mark(context, rows)
    {
        let mut other = judging.cells(Some(&cells));
        if other.is_sound() {
            other.repair("a lone quote mark: left out");
            other.aligned = Some(cells);
            outcome = other;
        }
    }
    // what heads a table is never a sound row, so only the others are looked at
    if !outcome.has_sound_part() && heads_a_table((0..rows.len()).map(|i| rows.cell(i))) {
        let alike = alike(context.sheet.main(), rows);
        let refusal = match alike {
            Some(_) => Refusal::HeaderInOtherOrder,
            None => Refusal::HeaderOfAnother,
        };
        context.below.replace(alike.unwrap_or(Below::Foreign));
        return Outcome::set_aside(context, refusal);
    }
    if rows.is_misquoted() {
        for part in &mut outcome.parts {
            if let Err(why) = &mut part.records {
                *why = Refusal::Misquoted(Box::new(why.clone()));
            }
        }
        outcome.repair("a quote mark that nothing closes: left out");
    }
    outcome
}

/// The cells of a row without its only quote mark. One that stands alone in its cell is
/// a ditto.
fn without_lone_mark(context: &FileContext<'_>, rows: &Rows<'_>) -> Option<Vec<String>> {
    let layout = context.sheet.main();
    let is_whole = (layout.width()..=layout.headers.len()).contains(&rows.len());
    if !is_whole || layout.quote != b'"' || rows.is_cut_off() {
        return None;
    }
    let cells = || (0..rows.len()).map(|i| rows.cell(i));
    let marks: usize = cells().map(|cell| cell.matches('"').count()).sum();
    let is_ditto = cells().any(|cell| plain(cell) == "\"");
    // a text that opens in the last cell may go on below
    let goes_on = rows.is_misquoted() && cells().next_back().is_some_and(|cell| cell.contains('"'));
    (marks == 1 && !is_ditto && !goes_on)
        .then(|| cells().map(|cell| cell.replace('"', "")).collect())
}

/// A header of columns that the file's own one has too, letter for letter, and of such as
/// this kind of record has no use for: where each of the file's own stands in it.
fn alike(layout: &Layout, rows: &Rows<'_>) -> Option<Below> {
    let theirs: Vec<String> = (0..rows.len()).map(|i| folded(rows.cell(i))).collect();
    let own: Vec<String> = layout.headers.iter().map(|h| folded(h)).collect();
    let is_known = |(i, header): (usize, &String)| {
        let is_ours = meaning(layout.kind, rows.cell(i)).column().is_some();
        own.contains(header) || !is_ours
    };
    let is_alike = theirs.iter().enumerate().all(is_known);
    let place = |header: &String| theirs.iter().position(|h| h == header && !h.is_empty());
    is_alike.then(|| Below::Alike {
        cells: own.iter().map(place).collect(),
        width: theirs.len(),
    })
}

/// A row being judged.
struct Judging<'j> {
    context: &'j FileContext<'j>,
    rows: &'j Rows<'j>,
    names: &'j mut Names,
    only: Option<RecordKind>,
}

impl Judging<'_> {
    fn row(&mut self) -> Outcome {
        let (context, rows) = (self.context, self.rows);
        let layout = context.sheet.main();
        // empty cells beyond the header's are what spreadsheets leave behind all rows
        let last = (0..rows.len()).rposition(|i| !plain(rows.cell(i)).is_empty());
        let written = last.map_or(0, |i| i + 1);
        let (fewest, most) = (layout.width(), layout.headers.len());
        let usual = rows.len() == context.usual_cells && written <= most;
        if rows.len() >= fewest && (rows.len() <= most || usual) {
            self.cells(None)
        } else {
            let cells: Vec<&str> = (0..rows.len()).map(|i| rows.cell(i)).collect();
            self.ragged(&cells)
        }
    }

    /// A row whose cells stand in another order than the file's own.
    fn in_their_order(&mut self, places: &[Option<usize>], width: usize) -> Outcome {
        let rows = self.rows;
        if rows.len() != width {
            let cells = rows.len();
            return Outcome::set_aside(self.context, Refusal::Width { cells, width });
        }
        let cell = |place: &Option<usize>| place.map_or(String::new(), |i| rows.cell(i).to_owned());
        let cells: Vec<String> = places.iter().map(cell).collect();
        let mut outcome = self.cells(Some(&cells));
        outcome.aligned = Some(cells);
        outcome
    }

    /// Every part of the row.
    fn cells(&mut self, aligned: Option<&[String]>) -> Outcome {
        let (context, rows) = (self.context, self.rows);
        let mut parts = SmallVec::new();
        for layout in context.sheet.parts() {
            let cells = Cells {
                layout,
                rows,
                aligned,
            };
            let is_asked_for = match self.only {
                Some(kind) => kind == layout.kind,
                None => !context.sheet.is_mixed() || has_part(&cells),
            };
            if is_asked_for {
                parts.push(self.part(cells));
            }
        }
        if parts.is_empty() {
            return Outcome::set_aside(context, Refusal::NoRecord);
        }
        Outcome {
            parts,
            aligned: None,
        }
    }

    fn part(&mut self, cells: Cells<'_>) -> Part {
        let kind = cells.layout.kind;
        let mut row = Row::new(self.context, cells, self.names);
        let records = match cells.contradiction() {
            Some((column, one, other)) => Err(Refusal::TwoDiffer {
                column: column.name(),
                one: one.to_owned(),
                other: other.to_owned(),
            }),
            None => match kind {
                RecordKind::Readings => reading(&mut row),
                RecordKind::Fills => fill(&mut row),
                RecordKind::Services => service(&mut row),
                RecordKind::Vans => van(&mut row),
                RecordKind::Hardness => hardness(&mut row),
            },
        };
        Part {
            kind,
            is_of_its_kind: true,
            records,
            repairs: row.repairs,
            day_only: row.day_only,
        }
    }

    /// A row with too many or too few cells: used where it can be meant in one way only.
    fn ragged(&mut self, cells: &[&str]) -> Outcome {
        let (context, rows) = (self.context, self.rows);
        let layout = context.sheet.main();
        let width = layout.width();
        let wrong = || {
            let cells = cells.len();
            Outcome::set_aside(context, Refusal::Width { cells, width })
        };
        let mut judged = |cells: Vec<String>, what: &'static str| {
            let mut outcome = self.cells(Some(&cells));
            outcome.repair(what);
            outcome.aligned = Some(cells);
            outcome
        };
        // a line with a quote mark out of place was split at each separator
        let line = match cells {
            [line] => Some((*line).to_owned()),
            _ if rows.is_misquoted() => Some(cells.join(&char::from(layout.delimiter).to_string())),
            _ => None,
        };
        if let Some(line) = line
            && let Some(cells) = separated_otherwise(layout, &line)
        {
            let outcome = judged(cells, "separated unlike the other rows: split all the same");
            return if outcome.is_sound() { outcome } else { wrong() };
        }
        if cells.len() < width && rows.is_cut_off() {
            let cells = cells.len();
            return Outcome::set_aside(context, Refusal::CutOff { cells, width });
        }
        let mut sound: Vec<(Alteration, Outcome)> = Vec::new();
        for way in ways(cells, width, char::from(layout.delimiter)) {
            if context.ends_early && way.how == Alteration::EndsEarly {
                return judged(way.cells, way.how.label());
            }
            if is_no_number(context, &way) {
                continue;
            }
            let outcome = judged(way.cells, way.how.label());
            // of a row that lacks a cell each other one has to be of use
            let costs_a_cell = outcome.parts.iter().any(|part| part.repairs.len() > 1);
            if cells.len() < width && costs_a_cell {
                continue;
            }
            let known = sound.iter().any(|(_, o)| o.says_the_same(&outcome));
            if outcome.is_sound() && !known {
                sound.push((way.how, outcome));
            }
        }
        match (sound.pop(), sound.is_empty()) {
            (Some((how, only)), true) if is_believed(context, how, cells) => only,
            _ => wrong(),
        }
    }
}

/// Whether a way is taken where it is the only one that makes a sound row.
fn is_believed(context: &FileContext<'_>, how: Alteration, cells: &[&str]) -> bool {
    let pieces = (cells.len() + 1).saturating_sub(context.sheet.main().width());
    match how {
        // a separator forgotten, or a line broken off, would look the same
        Alteration::EndsEarly | Alteration::Gap => false,
        Alteration::EmptyOut | Alteration::Parted => true,
        Alteration::Joined(at) => {
            // a date of its own is no part of a text: two rows stand on this line
            let joined = cells.iter().skip(at).take(pieces);
            let is_one_row = pieces <= PIECES_OF_A_REMARK
                && !joined.into_iter().any(|piece| is_dated(plain(piece)));
            match column_at(context.sheet, at) {
                // a remark in a column that is none of ours, not a number of the row
                None => {
                    let headers = &context.sheet.main().headers;
                    let is_headed = headers.get(at).is_some_and(|h| !plain(h).is_empty());
                    is_one_row && is_headed
                }
                Some(Column::Note | Column::Part | Column::Item) => is_one_row,
                Some(Column::Source) => {
                    is_one_row && context.sheet.main().kind == RecordKind::Hardness
                }
                Some(Column::Postcode | Column::BasePostcode) => {
                    // only a house has a number of its own
                    let behind = cells.iter().skip(at + 1).take(pieces.saturating_sub(1));
                    let has_figure = |piece: &&str| plain(piece).parse::<f64>().is_ok();
                    is_one_row && !behind.into_iter().any(has_figure)
                }
                Some(column) => column.measure() == Measure::Date,
            }
        }
    }
}

/// The column of ours that a cell holds, of whatever kind.
fn column_at(sheet: &Sheet, cell: usize) -> Option<Column> {
    sheet.parts().find_map(|layout| layout.column_at(cell))
}

/// Separators within a remark are few; where there are more, two rows stand on
/// one line.
const PIECES_OF_A_REMARK: usize = 4;

/// Whether joining makes no number that anyone writes in this file: `12,5` in a
/// file of decimal points. `1,200` may always be one.
fn is_no_number(context: &FileContext<'_>, way: &Alignment) -> bool {
    let Alteration::Joined(at) = way.how else {
        return false;
    };
    let measure = column_at(context.sheet, at).map(Column::measure);
    if matches!(measure, None | Some(Measure::Text | Measure::Date)) {
        return false;
    }
    let joined = way.cells.get(at).map_or("", String::as_str);
    let thousands = joined
        .rsplit(char::from(context.sheet.main().delimiter))
        .next()
        .is_some_and(|last| last.trim().bytes().take_while(u8::is_ascii_digit).count() == 3);
    context.mark == DecimalMark::Point && !thousands
}

/// The cells of a line that another of the usual separators splits into as many
/// as the header has.
fn separated_otherwise(layout: &Layout, line: &str) -> Option<Vec<String>> {
    let others = DELIMITERS.iter().filter(|(d, _)| *d != layout.delimiter);
    let mut fitting = others.filter_map(|(delimiter, _)| {
        let mut rows = Rows::new(line, *delimiter);
        rows.next_row()?;
        let fits = (layout.width()..=layout.headers.len()).contains(&rows.len());
        (fits && !rows.is_misquoted())
            .then(|| (0..rows.len()).map(|i| rows.cell(i).to_owned()).collect())
    });
    let only = fitting.next()?;
    fitting.next().is_none().then_some(only)
}

/// The header once more, or a total: lines that spreadsheets add.
fn no_row_of_its_own(context: &FileContext<'_>, rows: &Rows<'_>) -> Option<Refusal> {
    let layout = context.sheet.main();
    let first = (0..rows.len()).find(|i| !plain(rows.cell(*i)).is_empty())?;
    let header = layout.headers.get(first).map_or("", |h| plain(h));
    if plain(rows.cell(first)).eq_ignore_ascii_case(header) {
        let same = |(i, header): (usize, &String)| folded(rows.cell(i)) == folded(header);
        let beyond = layout.headers.len()..rows.len();
        let is_all = beyond.into_iter().all(|i| plain(rows.cell(i)).is_empty());
        if is_all && layout.headers.iter().enumerate().all(same) {
            context.below.replace(Below::Own);
            return Some(Refusal::HeaderAgain);
        }
    }
    let when = [Column::TakenAt, Column::StartedAt, Column::DoneAt];
    let when = when.into_iter().find_map(|column| layout.cell_of(column));
    let undated = when.is_some_and(|i| is_no_value(plain(rows.cell(i))))
        && !(0..rows.len()).any(|i| is_dated(plain(rows.cell(i))));
    let van = layout.cell_of(Column::Van);
    let no_van = van.is_some_and(|i| plain(rows.cell(i)).is_empty());
    let looked_at = if no_van { rows.len() } else { first + 1 };
    let found = (first..looked_at).find_map(|i| total(plain(rows.cell(i))))?;
    match found {
        Total::Surely => Some(Refusal::Total),
        // a list of vans has no dates, and no van is called "Average"
        Total::Undated if layout.kind == RecordKind::Vans => {
            let name = plain(rows.cell(first)).to_ascii_lowercase();
            let is_name = matches!(name.as_str(), "max" | "min");
            (!is_name).then_some(Refusal::Total)
        }
        Total::Undated if undated => Some(Refusal::TotalOrUndated),
        Total::Undated => None,
    }
}

fn is_dated(cell: &str) -> bool {
    let certain = |date| matches!(date, WrittenDate::Sure(_) | WrittenDate::Numbers(_));
    written(cell).is_ok_and(|written| certain(written.date))
}

/// What a word at the head of a line of totals tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Total {
    Surely,
    /// A name as well: only in a line without a date.
    Undated,
}

pub(super) fn total(cell: &str) -> Option<Total> {
    if cell.len() < 3 || cell.len() > 13 {
        return None;
    }
    let word = cell.trim_end_matches([':', '.']).to_ascii_lowercase();
    match word.as_str() {
        "total" | "totals" | "grand total" | "sum" | "subtotal" | "sub-total" | "sub total" => {
            Some(Total::Surely)
        }
        "average" | "mean" | "avg" | "count" | "min" | "max" | "minimum" | "maximum" => {
            Some(Total::Undated)
        }
        _ => None,
    }
}
