//! One row under the eyes of its rules: typed looks at its cells, each with the
//! reason why it cannot be used or what was repaired.

use std::borrow::Cow;
use std::cell::RefCell;
use std::sync::Arc;

use crate::calendar::Date;

use super::columns::Column;
use super::instants::DateHabits;
use super::judge::total;
use super::layout::Layout;
use super::local_days::LocalDays;
use super::names::Names;
use super::notes::Repair;
use super::numbers::{DecimalMark, both_ways};
use super::postcode::{Postcode, postcode};
use super::refusal::{Fault, Refusal};
use super::settle::says_the_same;
use super::sheet::Sheet;
use super::split::Rows;
use super::text::{collapsed, is_ditto, is_no_value, plain, shown, without_obeyed};

/// What holds for all rows of a file.
pub(super) struct FileContext<'f> {
    pub sheet: &'f Sheet,
    pub mark: DecimalMark,
    pub habits: DateHabits,
    /// How many cells most rows have.
    pub usual_cells: usize,
    /// Whether rows of this file leave out the empty cells at their end.
    pub ends_early: bool,
    /// Below which header the rows now stand.
    pub below: RefCell<Below>,
    pub zone: &'f LocalDays,
    pub today: Date,
    /// How litres are meant that no tank is filled with.
    pub small_litres: SmallLitres,
    /// Hardness without a unit is mg/L, as some figures are too large for degrees.
    pub bare_is_mg_l: bool,
    /// The day of what is ticked without one in a list of jobs.
    pub done_on: Option<Date>,
}

/// Below which header rows stand.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Below {
    /// The file's own.
    Own,
    /// One of the same columns in another order, or of some of them: where each of the
    /// file's own stands there.
    Alike {
        cells: Vec<Option<usize>>,
        width: usize,
    },
    /// One of another kind.
    Foreign,
}

/// How figures are meant in a column of litres that are too small for a fill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum SmallLitres {
    /// As litres: most figures of the file are fills.
    Litres,
    /// As tanks of so many litres: the user said so.
    Tanks(f64),
    /// Nothing tells.
    Open,
}

const CONTROL: &str = "control characters left out";

/// The cells of one row by their columns.
#[derive(Clone, Copy)]
pub(super) struct Cells<'r> {
    pub layout: &'r Layout,
    pub rows: &'r Rows<'r>,
    /// The cells put right, where the row was ragged.
    pub aligned: Option<&'r [String]>,
}

impl<'r> Cells<'r> {
    /// A column's cell, trimmed; empty where the file has no such column.
    pub fn get(&self, column: Column) -> &'r str {
        let Some(index) = self.layout.cell_of(column) else {
            return "";
        };
        let cell = self.trimmed(index);
        if !self.layout.has_twins() {
            return cell;
        }
        // what may be thousands or decimals is told by the cell that says it plainly
        let is_unclear = |cell: &str| cell.is_empty() || both_ways(cell).is_some();
        if !is_unclear(cell) {
            return cell;
        }
        let twins = self.layout.twins().iter();
        let twins = twins.filter(|(of, _)| *of == column);
        let cells = twins.map(|(_, twin)| self.trimmed(*twin));
        let mut cells: Vec<&str> = cells.filter(|other| !other.is_empty()).collect();
        cells.sort_by_key(|other| is_unclear(other));
        match cells.first() {
            Some(other) if cell.is_empty() || !is_unclear(other) => other,
            _ => cell,
        }
    }

    /// A cell as it stands.
    pub fn at(&self, index: usize) -> &'r str {
        match self.aligned {
            Some(cells) => cells.get(index).map_or("", String::as_str),
            None => self.rows.cell(index),
        }
    }

    /// Two cells that stand for one column and do not say the same.
    pub fn contradiction(&self) -> Option<(Column, &'r str, &'r str)> {
        self.layout.twins().iter().find_map(|(column, twin)| {
            let own = self.trimmed(self.layout.cell_of(*column)?);
            let other = self.trimmed(*twin);
            let differ =
                !is_no_value(own) && !is_no_value(other) && !says_the_same(*column, own, other);
            differ.then_some((*column, own, other))
        })
    }

    fn trimmed(&self, index: usize) -> &'r str {
        let cell = plain(self.at(index));
        // a mark that nobody closed is no part of what was meant; alone it is a ditto
        match cell.trim_matches('"').trim() {
            inner if self.rows.is_misquoted() && !inner.is_empty() => inner,
            _ => cell,
        }
    }

    /// Whether a column's cell holds quote marks that do not match.
    fn is_misquoted(&self, column: Column) -> bool {
        let index = self.layout.cell_of(column);
        self.rows.is_misquoted() && index.is_some_and(|i| self.at(i).contains('"'))
    }
}

/// A row being read.
pub(super) struct Row<'r> {
    pub context: &'r FileContext<'r>,
    pub cells: Cells<'r>,
    names: &'r mut Names,
    /// Repairs made so far; kept only if the row is accepted.
    pub repairs: Vec<Repair>,
    /// Van and day where only the day is known.
    pub day_only: Option<(Arc<str>, Date)>,
    /// The first column whose meter showed no figure.
    pub unread: Option<Column>,
}

impl<'r> Row<'r> {
    pub fn new(context: &'r FileContext<'r>, cells: Cells<'r>, names: &'r mut Names) -> Row<'r> {
        Row {
            context,
            cells,
            names,
            repairs: Vec::new(),
            day_only: None,
            unread: None,
        }
    }

    /// Where the file keeps what of the row's kind.
    pub fn layout(&self) -> &'r Layout {
        self.cells.layout
    }

    /// A column's cell, trimmed; empty where the file has no such column.
    pub fn cell(&self, column: Column) -> &'r str {
        self.cells.get(column)
    }

    /// `feed_ppm is "1,2O4", …`, with the row's own header where it differs.
    pub fn fault(&self, column: Column, fault: impl Into<Fault>) -> Refusal {
        let cell = self.cell(column);
        let start: String = cell.chars().take(60).collect();
        let more = if start.len() < cell.len() { "…" } else { "" };
        Refusal::Cell {
            label: self.layout().label(column),
            cell: format!("{}{more}", shown(&start)),
            fault: fault.into(),
        }
    }

    pub fn empty(&self, column: Column) -> Refusal {
        Refusal::Empty(self.layout().label(column))
    }

    pub fn repair(&mut self, column: Column, what: &'static str) {
        self.repairs.push(Repair {
            column: Some(column),
            what,
        });
    }

    /// The van, which every row but one of hardness needs.
    pub fn van(&mut self) -> Result<Arc<str>, Refusal> {
        if let (Some(van), false) = (&self.layout().van, self.layout().has(Column::Van)) {
            return Ok(self.names.van(van));
        }
        let cell = self.cell(Column::Van);
        if is_no_value(cell) {
            return Err(self.empty(Column::Van));
        }
        let mut repairs = Vec::new();
        let name = van_name(cell, &mut repairs).map_err(|why| self.fault(Column::Van, why))?;
        for what in repairs {
            self.repair(Column::Van, what);
        }
        Ok(self.names.van(&name))
    }

    /// A free text; `None` where the cell is empty.
    pub fn text(&mut self, column: Column) -> Result<Option<Arc<str>>, Refusal> {
        if self.cells.is_misquoted(column) {
            return Err(self.fault(column, Fault::QuotesDiffer));
        }
        let cell = self.cell(column);
        if let Some(text) = without_obeyed(cell) {
            self.repair(column, CONTROL);
            let text = plain(&text);
            return Ok((!text.is_empty()).then(|| self.names.text(text)));
        }
        Ok((!cell.is_empty()).then(|| self.names.text(cell)))
    }

    /// Where the van stood; what is no postcode is dropped and noted.
    pub fn place(&mut self, column: Column) -> Result<Option<Arc<str>>, Refusal> {
        let cell = self.cell(column);
        if is_no_value(cell) {
            return Ok(None);
        }
        if is_ditto(cell) {
            return Err(self.fault(column, Fault::Ditto("postcode")));
        }
        if let Some(known) = self.names.place(cell) {
            return Ok(Some(known));
        }
        let code = match postcode(cell) {
            Postcode::Known(code) | Postcode::Foreign(code) => code,
            Postcode::Repaired(code, what) => {
                self.repair(column, what);
                return Ok(Some(self.names.text(&code)));
            }
            Postcode::None => {
                self.repair(column, "not a postcode: left out, so the van's base holds");
                return Ok(None);
            }
        };
        Ok(Some(self.names.keep_place(cell, &code)))
    }
}

/// Characters of the longest name of a van.
const LONGEST_NAME: usize = 80;

/// A name under which people try things out.
fn is_test(name: &str) -> bool {
    matches!(
        name.to_lowercase().as_str(),
        "test" | "xx" | "xxx" | "testing" | "test van" | "dummy"
    )
}

/// A word for several vans.
fn is_several(name: &str) -> bool {
    matches!(
        name.to_lowercase().as_str(),
        "all" | "both" | "all vans" | "both vans" | "every van" | "various" | "alle" | "beide"
    )
}

/// The van that a cell names, and what was repaired of it.
fn van_name<'c>(cell: &'c str, repairs: &mut Vec<&'static str>) -> Result<Cow<'c, str>, Fault> {
    if is_ditto(cell) {
        return Err(Fault::Ditto("name"));
    }
    if cell.starts_with(['#', '=']) {
        return Err(Fault::Formula);
    }
    let mut inner = cell;
    if cell.matches('"').count() == 1 {
        // a mark that nobody closed
        inner = cell.trim_matches('"').trim();
        if inner.contains('"') || inner.is_empty() {
            return Err(Fault::StrayQuote);
        }
        repairs.push("a stray quote mark left out");
    }
    let name = match without_obeyed(inner) {
        None => collapsed(inner),
        Some(name) => {
            repairs.push(CONTROL);
            collapsed(&name).into_owned().into()
        }
    };
    if is_no_value(&name) {
        return Err(Fault::NoName);
    }
    if name.chars().count() > LONGEST_NAME {
        return Err(Fault::LongName);
    }
    if is_test(&name) {
        return Err(Fault::TestVan);
    }
    if is_several(&name) {
        return Err(Fault::SeveralVans);
    }
    if has_letter_o_for_zero(&name) {
        repairs.push("a letter O beside a digit: meant for a zero where a van is called so");
    }
    Ok(name)
}

/// Whether a cell names a van just as it stands, without any repair.
pub(super) fn is_plain_van(cell: &str) -> bool {
    let mut repairs = Vec::new();
    plain(cell) == cell
        && !cell.contains('"')
        && van_name(cell, &mut repairs).is_ok_and(|name| name == cell)
        && repairs.is_empty()
        && total(cell).is_none()
}

/// Whether a cell that is not empty is a text just as it stands.
pub(super) fn is_plain_text(cell: &str) -> bool {
    plain(cell) == cell && !cell.contains(['"', '\r', '\0']) && without_obeyed(cell).is_none()
}

/// The postcode in a cell that needs no repair.
pub(super) fn plain_place(cell: &str) -> Option<String> {
    if plain(cell) != cell || is_no_value(cell) || is_ditto(cell) || cell.contains('"') {
        return None;
    }
    match postcode(cell) {
        Postcode::Known(code) | Postcode::Foreign(code) => Some(code),
        Postcode::Repaired(..) | Postcode::None => None,
    }
}

/// `Qv-O14`.
fn has_letter_o_for_zero(name: &str) -> bool {
    let bytes = name.as_bytes();
    bytes.windows(2).any(|pair| match pair {
        [a, b] => {
            (matches!(a, b'O' | b'o') && b.is_ascii_digit())
                || (matches!(b, b'O' | b'o') && a.is_ascii_digit())
        }
        _ => false,
    })
}
