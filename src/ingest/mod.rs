//! CSV files into checked rows: what a row means, or why it is set aside.
//!
//! A file is recognised by its header; its delimiter, decimal mark, encoding and
//! order of day and month are taken from the file itself. A row is judged by its
//! own file alone: what needs the van's past or the van list is for the store
//! and later.

mod answers;
mod bulk;
mod calendar;
mod clock;
mod columns;
mod dates;
#[cfg(fuzzing)]
pub mod doors;
mod encoding;
mod error;
mod evidence;
mod files;
mod headers;
mod instants;
mod json_lines;
mod judge;
mod kind;
mod layout;
mod local_days;
mod meaning;
mod mend_file;
mod names;
mod notes;
mod numbers;
mod own_output;
mod postcode;
mod quotes;
mod ragged;
mod read;
mod refusal;
mod remarks;
mod row;
mod row_dates;
mod row_numbers;
mod rows_fills;
mod rows_hardness;
mod rows_readings;
mod rows_services;
mod rows_vans;
mod settle;
mod sheet;
mod source;
mod split;
mod text;
mod units;
mod words;
mod workbook;

#[cfg(test)]
mod tests;

pub use answers::Answers;
pub use dates::DateOrder;
pub use error::ReadError;
pub use files::{Table, files_in, tables_in};
pub use headers::{HEADINGS, RecordKind, canonical_header, is_column};
pub use mend_file::{ToMend, mend_file};
pub use read::{FileReader, read_bytes};
pub use text::shown;

/// How files are read.
#[derive(Debug, Clone)]
pub struct Options {
    /// The order of day and month in files in which neither a row nor the header
    /// settles it; `None` sets the rows in question aside.
    pub date_order: Option<DateOrder>,
    /// Days and local times are those of this zone.
    pub time_zone: crate::calendar::TimeZone,
    /// Rows that happened after this day are set aside.
    pub today: crate::calendar::Date,
    /// Headings and the columns that they are meant for.
    pub columns: Vec<(String, String)>,
    /// How litres are meant that fill no tank; `None` sets them aside where
    /// nearly all of a file are so.
    pub tank_fills: Option<TankFills>,
    /// The van of files that name none.
    pub van: Option<String>,
    /// What was said before of files of the same shape.
    pub kept: Answers,
    /// A list of jobs that are due comes in as work done, as far as it is ticked.
    pub done: Option<Done>,
}

impl Options {
    /// How files are read where nobody has said anything of them.
    pub fn new(time_zone: crate::calendar::TimeZone, today: crate::calendar::Date) -> Options {
        Options {
            date_order: None,
            time_zone,
            today,
            columns: Vec::new(),
            tank_fills: None,
            van: None,
            kept: Answers::default(),
            done: None,
        }
    }
}

/// What small figures in a column of litres are.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub enum TankFills {
    Litres,
    /// Tanks of so many litres.
    Tanks(f64),
}

/// What was done of a list of jobs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Done {
    /// The day of what is ticked without one.
    pub on: Option<crate::calendar::Date>,
}
