//! The forms in which listings come.

use clap::ValueEnum;
use clap::builder::{PossibleValuesParser, TypedValueParser};

/// What `--format` may name; each command says which of them it has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// For people
    Text,
    /// For a spreadsheet
    Csv,
    /// For scripts
    Json,
    /// One JSON object a line
    Jsonl,
    /// iCalendar, for a calendar
    Ics,
}

/// Takes these and no others.
pub(super) fn one_of(formats: &'static [Format]) -> impl TypedValueParser<Value = Format> {
    let names = formats.iter().filter_map(Format::to_possible_value);
    PossibleValuesParser::new(names).try_map(|name| Format::from_str(&name, false))
}
