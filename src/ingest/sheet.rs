//! A sheet whose header is known, and what it holds of each kind: nearly always
//! one; the weekly log of an owner holds several.

use super::columns::Column;
use super::headers::RecordKind;
use super::layout::Layout;
use super::remarks::{Tick, says_no_work, tick, work_in};
use super::row::Cells;
use super::text::{is_no_value, plain};

/// Never without a part.
#[derive(Debug)]
pub(super) struct Sheet {
    main: Layout,
    others: Vec<Layout>,
}

impl Sheet {
    pub fn new(main: Layout, others: Vec<Layout>) -> Sheet {
        Sheet { main, others }
    }

    /// The part that stands for the whole: separator, header and quote marks
    /// are the same in all.
    pub fn main(&self) -> &Layout {
        &self.main
    }

    pub fn parts(&self) -> impl Iterator<Item = &Layout> {
        std::iter::once(&self.main).chain(&self.others)
    }

    pub fn parts_mut(&mut self) -> impl Iterator<Item = &mut Layout> {
        std::iter::once(&mut self.main).chain(&mut self.others)
    }

    /// Whether a row may give records of several kinds.
    pub fn is_mixed(&self) -> bool {
        !self.others.is_empty()
    }

    /// `readings`, `readings and fills`
    pub fn kinds(&self) -> String {
        let words: Vec<&str> = self.parts().map(|part| part.kind.word()).collect();
        match words.split_last() {
            Some((last, [])) => (*last).to_owned(),
            Some((last, before)) => format!("{} and {last}", before.join(", ")),
            None => String::new(),
        }
    }

    /// How a column is headed here.
    pub fn label(&self, column: Column) -> String {
        let part = self.parts().find(|part| part.has(column));
        part.unwrap_or(&self.main).label(column)
    }
}

/// The columns of a kind that no other has: a row holds a record of the kind
/// where one of them is filled in. Where water came from and how long it ran
/// belong to a fill but make none.
fn own_columns(kind: RecordKind) -> &'static [Column] {
    match kind {
        RecordKind::Readings => &[
            Column::FeedPpm,
            Column::PermeatePpm,
            Column::ProductPpm,
            Column::FeedUsCm,
            Column::PermeateUsCm,
            Column::ProductUsCm,
            Column::WaterC,
            Column::FeedBar,
            Column::PermeateLpm,
            Column::ConcentrateLpm,
        ],
        RecordKind::Fills => &[Column::Litres, Column::MeterLitres, Column::RejectLitres],
        RecordKind::Services => &[Column::Item, Column::Quantity, Column::Cost, Column::Part],
        RecordKind::Vans | RecordKind::Hardness => &[],
    }
}

/// Whether a column is of a kind's very own matter.
pub(super) fn is_own_column(kind: RecordKind, column: Column) -> bool {
    own_columns(kind).contains(&column)
}

/// Whether a row of a sheet of several kinds has a part of this one.
pub(super) fn has_part(cells: &Cells<'_>) -> bool {
    let layout = cells.layout;
    let is_given = |column: &Column| {
        let cell = cells.get(*column);
        !(is_no_value(cell) || *column == Column::Item && says_no_work(cell))
    };
    own_columns(layout.kind).iter().any(is_given)
        || (layout.kind == RecordKind::Services
            && (!work_in(cells.get(Column::Note)).is_empty()
                || layout
                    .jobs
                    .iter()
                    .any(|job| tick(plain(cells.at(job.cell))) != Tick::No)))
}
