//! A value of a record in the columns of its table, as text, and back; columns as they
//! are read.

use std::collections::HashMap;
use std::sync::Arc;

use arrow_array::builder::{
    Date32Builder, Float64Builder, Int32Builder, Int64Builder, StringBuilder,
    TimestampMicrosecondBuilder,
};
use arrow_array::cast::AsArray;
use arrow_array::types::{Date32Type, Float64Type, Int32Type, Int64Type, TimestampMicrosecondType};
use arrow_array::{Array, ArrayRef};
use arrow_schema::DataType;
use polars::prelude::{
    Column as FrameColumn, DataType as FrameType, IntoColumn, NamedFrom, PolarsResult, Series,
};

use super::records::{Instant, Item, Source, When};
use super::schema::{Column, Holds};
use crate::calendar::{Date, DateExt};
use crate::water::HardnessUnit;

/// One cell of a row on its way into a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cell<'c> {
    Empty,
    Text(&'c str),
    Real(f64),
    Small(u32),
    Whole(u64),
    /// Microseconds since 1970.
    Instant(i64),
    /// Days since 1970.
    Day(i32),
}

impl<'c> From<Option<&'c str>> for Cell<'c> {
    fn from(text: Option<&'c str>) -> Self {
        text.map_or(Cell::Empty, Cell::Text)
    }
}

/// A column being filled.
#[derive(Debug)]
pub(super) enum Builder {
    Text(StringBuilder),
    Real(Float64Builder),
    Small(Int32Builder),
    Whole(Int64Builder),
    Instant(TimestampMicrosecondBuilder),
    Day(Date32Builder),
}

impl Builder {
    pub(super) fn of(holds: Holds) -> Builder {
        match holds {
            Holds::Name | Holds::Text => Builder::Text(StringBuilder::new()),
            Holds::Real => Builder::Real(Float64Builder::new()),
            Holds::Small => Builder::Small(Int32Builder::new()),
            Holds::Whole => Builder::Whole(Int64Builder::new()),
            Holds::Instant => {
                Builder::Instant(TimestampMicrosecondBuilder::new().with_timezone("UTC"))
            }
            Holds::Day => Builder::Day(Date32Builder::new()),
        }
    }

    /// A cell of another type than the column's is empty.
    pub(super) fn push(&mut self, cell: Cell<'_>) {
        match (self, cell) {
            (Builder::Text(b), Cell::Text(text)) => b.append_value(text),
            (Builder::Text(b), _) => b.append_null(),
            (Builder::Real(b), Cell::Real(value)) => b.append_value(value),
            (Builder::Real(b), _) => b.append_null(),
            // bit for bit: positions and counts stay far below 2^31
            (Builder::Small(b), Cell::Small(value)) => b.append_value(value.cast_signed()),
            (Builder::Small(b), _) => b.append_null(),
            (Builder::Whole(b), Cell::Whole(value)) => b.append_value(value.cast_signed()),
            (Builder::Whole(b), _) => b.append_null(),
            (Builder::Instant(b), Cell::Instant(value)) => b.append_value(value),
            (Builder::Instant(b), _) => b.append_null(),
            (Builder::Day(b), Cell::Day(value)) => b.append_value(value),
            (Builder::Day(b), _) => b.append_null(),
        }
    }

    pub(super) fn finish(&mut self) -> ArrayRef {
        match self {
            Builder::Text(b) => Arc::new(b.finish()),
            Builder::Real(b) => Arc::new(b.finish()),
            Builder::Small(b) => Arc::new(b.finish()),
            Builder::Whole(b) => Arc::new(b.finish()),
            Builder::Instant(b) => Arc::new(b.finish()),
            Builder::Day(b) => Arc::new(b.finish()),
        }
    }
}

/// How times are written as text.
pub(super) trait TimeSpelling {
    fn time(&self, at: Instant) -> String;

    /// The day alone.
    fn day(&self, at: Instant) -> String;
}

/// A value that fills one column of a table or two.
pub(super) trait Field: Sized {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>);
    /// From the columns at `at`, which is moved behind them; `None` where a
    /// value that every row has is missing.
    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self>;
    /// Empty where unknown.
    fn spell(&self, times: &dyn TimeSpelling) -> String;
}

fn next<'c>(columns: &'c [Cells], at: &mut usize) -> Option<&'c Cells> {
    *at += 1;
    columns.get(*at - 1)
}

impl Field for Arc<str> {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
        to.push(Cell::Text(self));
    }

    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
        next(columns, at)?.name(row).cloned()
    }

    fn spell(&self, _: &dyn TimeSpelling) -> String {
        self.to_string()
    }
}

impl Field for f64 {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
        to.push(Cell::Real(*self));
    }

    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
        next(columns, at)?.real(row)
    }

    /// The shortest digits that read back as the same number.
    fn spell(&self, _: &dyn TimeSpelling) -> String {
        self.to_string()
    }
}

impl Field for u32 {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
        to.push(Cell::Small(*self));
    }

    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
        u32::try_from(next(columns, at)?.whole(row)?).ok()
    }

    fn spell(&self, _: &dyn TimeSpelling) -> String {
        self.to_string()
    }
}

impl Field for Instant {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
        to.push(Cell::Instant(self.0));
    }

    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
        next(columns, at)?.whole(row).map(Instant)
    }

    fn spell(&self, times: &dyn TimeSpelling) -> String {
        times.time(*self)
    }
}

impl Field for Date {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
        to.push(Cell::Day(days(*self)));
    }

    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
        date_of_days(i32::try_from(next(columns, at)?.whole(row)?).ok()?)
    }

    fn spell(&self, _: &dyn TimeSpelling) -> String {
        self.to_string()
    }
}

/// Unknown is an empty cell.
impl<F: Field> Field for Option<F> {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
        match self {
            Some(value) => value.cells(to),
            None => to.push(Cell::Empty),
        }
    }

    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
        Some(F::get(columns, at, row))
    }

    fn spell(&self, times: &dyn TimeSpelling) -> String {
        self.as_ref()
            .map_or_else(String::new, |value| value.spell(times))
    }
}

/// One of a few words.
macro_rules! word_field {
    ($type:ty, $of:expr) => {
        impl Field for $type {
            fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
                to.push(Cell::Text(self.word()));
            }

            fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
                let of: fn(&str) -> Option<$type> = $of;
                of(next(columns, at)?.name(row)?)
            }

            fn spell(&self, _: &dyn TimeSpelling) -> String {
                self.word().to_owned()
            }
        }
    };
}

word_field!(Source, Source::of_word);
word_field!(Item, Item::of_word);
word_field!(HardnessUnit, HardnessUnit::from_word);

/// A day in one column, an instant in the next.
impl Field for When {
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
        to.extend(match self {
            When::Day(day) => [Cell::Day(days(*day)), Cell::Empty],
            When::At(at) => [Cell::Empty, Cell::Instant(at.0)],
        });
    }

    fn get(columns: &[Cells], at: &mut usize, row: usize) -> Option<Self> {
        let day = <Option<Date> as Field>::get(columns, at, row)?;
        let instant = <Option<Instant> as Field>::get(columns, at, row)?;
        day.map(When::Day).or(instant.map(When::At))
    }

    fn spell(&self, times: &dyn TimeSpelling) -> String {
        match self {
            When::Day(day) => day.spell(times),
            When::At(at) => at.spell(times),
        }
    }
}

const EPOCH: Date = crate::calendar::date(1970, 1, 1);

/// Days since 1970-01-01.
pub(super) fn days(date: Date) -> i32 {
    date.days_since(EPOCH)
}

pub(super) fn date_of_days(days: i32) -> Option<Date> {
    EPOCH.checked_plus_days(i64::from(days))
}

/// Bytes of the arrays that a batch of rows takes up, about.
pub(super) fn bytes_of(batch: &arrow_array::RecordBatch) -> usize {
    let columns = batch.columns().iter();
    columns.map(|column| column.get_buffer_memory_size()).sum()
}

/// One column; rows without a value are `None`.
#[derive(Debug, Clone)]
pub(super) enum Cells {
    /// Texts that repeat, each kept once; [`NO_TEXT`] where there is none.
    Texts {
        of: Vec<u32>,
        texts: Vec<Arc<str>>,
    },
    Reals(Vec<Option<f64>>),
    /// Whole numbers, instants in microseconds and days, both since 1970.
    Wholes(Vec<Option<i64>>),
    /// A column that the file was written without.
    Missing,
}

const NO_TEXT: u32 = u32::MAX;

/// Texts kept once each.
#[derive(Default)]
struct Interner<'t> {
    known: HashMap<&'t str, u32>,
    texts: Vec<Arc<str>>,
    last: Option<(&'t str, u32)>,
}

impl<'t> Interner<'t> {
    fn number(&mut self, text: Option<&'t str>) -> u32 {
        let Some(text) = text else { return NO_TEXT };
        // rows of one van lie side by side
        if let Some((last, number)) = self.last
            && last == text
        {
            return number;
        }
        let texts = &mut self.texts;
        let number = *self.known.entry(text).or_insert_with(|| {
            texts.push(text.into());
            u32::try_from(texts.len() - 1).unwrap_or(NO_TEXT)
        });
        self.last = Some((text, number));
        number
    }
}

impl Cells {
    fn of_texts<'t>(values: impl Iterator<Item = Option<&'t str>>) -> Cells {
        let mut interner = Interner::default();
        let of = values.map(|text| interner.number(text)).collect();
        Cells::Texts {
            of,
            texts: interner.texts,
        }
    }

    pub(super) fn of_frame(column: &FrameColumn) -> PolarsResult<Cells> {
        let series = column.as_materialized_series().to_physical_repr();
        Ok(match series.dtype() {
            FrameType::String => Cells::of_texts(series.str()?.iter()),
            FrameType::Float64 => Cells::Reals(series.f64()?.iter().collect()),
            FrameType::Int32 => {
                Cells::Wholes(series.i32()?.iter().map(|n| n.map(i64::from)).collect())
            }
            FrameType::Int64 => Cells::Wholes(series.i64()?.iter().collect()),
            _ => Cells::Missing,
        })
    }

    /// `None` where the array is of a type that no column of ours has.
    pub(super) fn of_array(array: &ArrayRef) -> Option<Cells> {
        Some(match array.data_type() {
            DataType::Utf8 => Cells::of_texts(array.as_string_opt::<i32>()?.iter()),
            DataType::Dictionary(..) => {
                let dictionary = array.as_dictionary_opt::<Int32Type>()?;
                let texts = dictionary.values().as_string_opt::<i32>()?;
                let text = |key: Option<i32>| {
                    let key = usize::try_from(key?).ok()?;
                    texts.is_valid(key).then(|| texts.value(key))
                };
                Cells::of_texts(dictionary.keys().iter().map(text))
            }
            DataType::Float64 => {
                Cells::Reals(array.as_primitive_opt::<Float64Type>()?.iter().collect())
            }
            DataType::Int32 => {
                let values = array.as_primitive_opt::<Int32Type>()?.iter();
                Cells::Wholes(values.map(|n| n.map(i64::from)).collect())
            }
            DataType::Date32 => {
                let values = array.as_primitive_opt::<Date32Type>()?.iter();
                Cells::Wholes(values.map(|n| n.map(i64::from)).collect())
            }
            DataType::Int64 => {
                Cells::Wholes(array.as_primitive_opt::<Int64Type>()?.iter().collect())
            }
            DataType::Timestamp(..) => {
                let values = array.as_primitive_opt::<TimestampMicrosecondType>()?;
                Cells::Wholes(values.iter().collect())
            }
            _ => return None,
        })
    }

    pub(super) fn len(&self) -> usize {
        match self {
            Cells::Texts { of, .. } => of.len(),
            Cells::Reals(values) => values.len(),
            Cells::Wholes(values) => values.len(),
            Cells::Missing => 0,
        }
    }

    pub(super) fn name(&self, row: usize) -> Option<&Arc<str>> {
        let Cells::Texts { texts, .. } = self else {
            return None;
        };
        texts.get(self.number(row)?)
    }

    /// Which of [`Cells::names`] stands in the row.
    pub(super) fn number(&self, row: usize) -> Option<usize> {
        let Cells::Texts { of, .. } = self else {
            return None;
        };
        of.get(row).filter(|n| **n != NO_TEXT).map(|n| *n as usize)
    }

    /// The texts that occur.
    pub(super) fn names(&self) -> &[Arc<str>] {
        match self {
            Cells::Texts { texts, .. } => texts,
            _ => &[],
        }
    }

    pub(super) fn real(&self, row: usize) -> Option<f64> {
        match self {
            Cells::Reals(values) => values.get(row).copied().flatten(),
            _ => None,
        }
    }

    pub(super) fn whole(&self, row: usize) -> Option<i64> {
        match self {
            Cells::Wholes(values) => values.get(row).copied().flatten(),
            _ => None,
        }
    }

    /// The same of counts, lines and ids.
    pub(super) fn count(&self, row: usize) -> Option<u64> {
        self.whole(row).map(i64::cast_unsigned)
    }

    /// Some rows, as a column of a frame.
    pub(super) fn of_rows(
        column: Column,
        rows: impl Iterator<Item = (usize, usize)>,
        tables: &[&[Cells]],
        at: usize,
    ) -> FrameColumn {
        let name = column.name.into();
        let cells = |table: usize| tables.get(table).and_then(|columns| columns.get(at));
        match column.holds {
            Holds::Name | Holds::Text => {
                let texts = rows.map(|(table, row)| cells(table)?.name(row).map(|t| &**t));
                Series::new(name, texts.collect::<Vec<Option<&str>>>()).into_column()
            }
            Holds::Real => {
                let values = rows.map(|(table, row)| cells(table)?.real(row));
                Series::new(name, values.collect::<Vec<Option<f64>>>()).into_column()
            }
            _ => {
                let values = rows.map(|(table, row)| cells(table)?.whole(row));
                Series::new(name, values.collect::<Vec<Option<i64>>>()).into_column()
            }
        }
    }
}
