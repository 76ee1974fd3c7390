//! The columns of some rows as plain values: the door behind which neither
//! Arrow's nor the dataframes' types are seen.

use std::collections::HashMap;
use std::sync::Arc;

use arrow_array::cast::AsArray;
use arrow_array::types::{Date32Type, Float64Type, Int32Type, Int64Type, TimestampMicrosecondType};
use arrow_array::{Array, ArrayRef};
use arrow_schema::DataType;
use polars::prelude::{
    Column as FrameColumn, DataType as FrameType, IntoColumn, NamedFrom, PolarsResult, Series,
};

use super::schema::{Column, Holds};

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
