//! Arrow arrays from plain values and back.

use std::cell::OnceCell;
use std::path::Path;
use std::sync::Arc;

use arrow_array::cast::AsArray;
use arrow_array::types::{
    ArrowPrimitiveType, Date32Type, Float64Type, Int32Type, Int64Type, TimestampMicrosecondType,
};
use arrow_array::{Array, ArrayRef, PrimitiveArray, RecordBatch, StringArray};
use jiff::civil::Date;

use super::error::StoreError;
use super::records::Instant;

const EPOCH: Date = jiff::civil::date(1970, 1, 1);

/// Days since 1970-01-01.
pub(super) fn days(date: Date) -> i32 {
    date.since(EPOCH).map_or(0, |span| span.get_days())
}

pub(super) fn date_of_days(days: i32) -> Option<Date> {
    EPOCH
        .checked_add(jiff::Span::new().try_days(days).ok()?)
        .ok()
}

pub(super) fn strings<'a>(values: impl Iterator<Item = Option<&'a str>>) -> ArrayRef {
    Arc::new(values.collect::<StringArray>())
}

pub(super) fn reals(values: impl Iterator<Item = Option<f64>>) -> ArrayRef {
    Arc::new(values.collect::<PrimitiveArray<Float64Type>>())
}

pub(super) fn smalls(values: impl Iterator<Item = Option<u32>>) -> ArrayRef {
    // Written bit for bit: positions and counts stay far below 2^31.
    Arc::new(
        values
            .map(|v| v.map(u32::cast_signed))
            .collect::<PrimitiveArray<Int32Type>>(),
    )
}

pub(super) fn wholes(values: impl Iterator<Item = Option<u64>>) -> ArrayRef {
    Arc::new(
        values
            .map(|v| v.map(u64::cast_signed))
            .collect::<PrimitiveArray<Int64Type>>(),
    )
}

pub(super) fn instants(values: impl Iterator<Item = Option<Instant>>) -> ArrayRef {
    Arc::new(
        values
            .map(|v| v.map(|i| i.0))
            .collect::<PrimitiveArray<TimestampMicrosecondType>>()
            .with_timezone("UTC"),
    )
}

pub(super) fn dates(values: impl Iterator<Item = Option<Date>>) -> ArrayRef {
    Arc::new(
        values
            .map(|v| v.map(days))
            .collect::<PrimitiveArray<Date32Type>>(),
    )
}

/// A dictionary column: the row's index into the texts that occur.
#[derive(Debug)]
pub(super) struct Names {
    keys: PrimitiveArray<Int32Type>,
    texts: StringArray,
    /// The texts once a row asks for them: a few rows name few of them.
    asked: Vec<OnceCell<Arc<str>>>,
}

impl Names {
    pub(super) fn index(&self, row: usize) -> Option<usize> {
        (self.keys.is_valid(row))
            .then(|| usize::try_from(self.keys.value(row)).ok())
            .flatten()
    }

    pub(super) fn get(&self, row: usize) -> Option<&Arc<str>> {
        self.value(self.index(row)?)
    }

    /// All texts that occur, by index.
    pub(super) fn values(&self) -> impl Iterator<Item = &Arc<str>> {
        (0..self.asked.len()).filter_map(|index| self.value(index))
    }

    fn value(&self, index: usize) -> Option<&Arc<str>> {
        let text = self.asked.get(index)?;
        Some(text.get_or_init(|| match self.texts.is_valid(index) {
            true => self.texts.value(index).into(),
            false => "".into(),
        }))
    }
}

/// A column of texts of which some may be missing.
#[derive(Debug)]
pub(super) struct Texts(StringArray);

impl Texts {
    pub(super) fn get(&self, row: usize) -> Option<&str> {
        self.0.is_valid(row).then(|| self.0.value(row))
    }

    pub(super) fn are_all_there(&self) -> bool {
        self.0.null_count() == 0
    }
}

/// The columns of one batch of a Parquet file, by name.
pub(super) struct Columns<'a> {
    pub(super) batch: &'a RecordBatch,
    pub(super) path: &'a Path,
}

impl Columns<'_> {
    fn missing(&self, column: &str) -> StoreError {
        StoreError::Column {
            path: self.path.to_owned(),
            column: column.to_owned(),
        }
    }

    fn column(&self, name: &str) -> Result<&ArrayRef, StoreError> {
        self.batch
            .column_by_name(name)
            .ok_or_else(|| self.missing(name))
    }

    fn primitive<T: ArrowPrimitiveType>(
        &self,
        name: &str,
    ) -> Result<PrimitiveArray<T>, StoreError> {
        self.column(name)?
            .as_primitive_opt::<T>()
            .cloned()
            .ok_or_else(|| self.missing(name))
    }

    pub(super) fn names(&self, name: &str) -> Result<Names, StoreError> {
        let column = self.column(name)?.clone();
        let dictionary = column
            .as_dictionary_opt::<Int32Type>()
            .ok_or_else(|| self.missing(name))?;
        let texts = dictionary
            .values()
            .as_string_opt::<i32>()
            .ok_or_else(|| self.missing(name))?;
        Ok(Names {
            keys: dictionary.keys().clone(),
            asked: vec![OnceCell::new(); texts.len()],
            texts: texts.clone(),
        })
    }

    pub(super) fn texts(&self, name: &str) -> Result<StringArray, StoreError> {
        self.column(name)?
            .as_string_opt::<i32>()
            .cloned()
            .ok_or_else(|| self.missing(name))
    }

    /// Texts that may be missing.
    pub(super) fn optional_texts(&self, name: &str) -> Result<Texts, StoreError> {
        self.texts(name).map(Texts)
    }

    /// `None` where the file was written before the column was added.
    pub(super) fn texts_if_there(&self, name: &str) -> Result<Option<StringArray>, StoreError> {
        match self.batch.column_by_name(name) {
            Some(_) => self.texts(name).map(Some),
            None => Ok(None),
        }
    }

    /// The same for small whole numbers.
    pub(super) fn smalls_if_there(&self, name: &str) -> Result<Option<Smalls>, StoreError> {
        match self.batch.column_by_name(name) {
            Some(_) => self.smalls(name).map(Some),
            None => Ok(None),
        }
    }

    pub(super) fn reals(&self, name: &str) -> Result<Reals, StoreError> {
        self.primitive(name).map(Reals)
    }

    pub(super) fn smalls(&self, name: &str) -> Result<Smalls, StoreError> {
        self.primitive(name).map(Smalls)
    }

    pub(super) fn wholes(&self, name: &str) -> Result<Wholes, StoreError> {
        self.primitive(name).map(Wholes)
    }

    pub(super) fn instants(&self, name: &str) -> Result<Instants, StoreError> {
        self.primitive(name).map(Instants)
    }

    pub(super) fn dates(&self, name: &str) -> Result<Dates, StoreError> {
        self.primitive(name).map(Dates)
    }
}

macro_rules! typed_column {
    ($name:ident, $arrow:ty, $plain:ty, $from:expr) => {
        #[derive(Debug)]
        pub(super) struct $name(PrimitiveArray<$arrow>);

        impl $name {
            pub(super) fn get(&self, row: usize) -> Option<$plain> {
                let from: fn(<$arrow as ArrowPrimitiveType>::Native) -> Option<$plain> = $from;
                self.0
                    .is_valid(row)
                    .then(|| from(self.0.value(row)))
                    .flatten()
            }
        }
    };
}

typed_column!(Reals, Float64Type, f64, Some);
typed_column!(Smalls, Int32Type, u32, |v| Some(v.cast_unsigned()));
typed_column!(Wholes, Int64Type, u64, |v| Some(v.cast_unsigned()));
typed_column!(Instants, TimestampMicrosecondType, Instant, |v| Some(
    Instant(v)
));
typed_column!(Dates, Date32Type, Date, date_of_days);
