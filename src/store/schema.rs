//! The tables and their columns, each named once: from here come the records,
//! the Parquet, Arrow and Delta schemas, the export's header and what makes two
//! rows versions of one record.

use std::sync::Arc;

use crate::calendar::{Date, TimeZone};
use arrow_schema::{DataType, Field as ArrowField, Schema, SchemaRef, TimeUnit};
use deltalake_core::kernel::{DataType as DeltaType, StructField};

use super::field::Cells;
use super::field::{Cell, Field, TimeSpelling, date_of_days};
use super::records::{Instant, Item, Record, Source, When};
use crate::water::HardnessUnit;

/// The tables below the store folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TableName {
    Readings,
    Fills,
    Services,
    Vans,
    Hardness,
    SetAside,
    /// Rows that were stored already when they came.
    Repeats,
    /// Files taken back out, and put back.
    TakenBack,
    /// The same of single rows.
    RowsTakenBack,
    /// Vans that were given another name.
    Renamed,
    Files,
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    /// Text that repeats.
    Name,
    /// Text that differs from row to row.
    Text,
    Real,
    Small,
    Whole,
    Instant,
    Day,
}

/// What a column is to its record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    /// Whose the record is: a van or a postcode.
    Who,
    /// The rest of what tells it from other records.
    Key,
    /// What it says: two versions of a record differ here.
    Value,
}

/// A column of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Column {
    pub(super) name: &'static str,
    pub(super) holds: Holds,
    pub(super) role: Role,
}

/// The column by which readings and fills are split into folders.
pub(super) const MONTH: &str = "month";
pub(super) const FILE_ID: &str = "file_id";
pub(super) const LINE: &str = "line";
pub(super) const INGESTED_AT: &str = "ingested_at";
pub(super) const TEXT: &str = "text";
pub(super) const OF_FILE_ID: &str = "of_file_id";
pub(super) const OF_LINE: &str = "of_line";
pub(super) const OF_MARK: &str = "of_mark";
pub(super) const DAY_POSITION: &str = "day_position";
pub(super) const IS_LISTED: &str = "is_listed";

/// A kind of record that has a table.
pub(super) trait Kind: Sized + Clone + Send + Sync + std::fmt::Debug {
    const TABLE: TableName;
    /// In the order of the export.
    const COLUMNS: &'static [Column];
    /// The record's fields by name, in the same order.
    const FIELDS: &'static [&'static str];

    fn into_record(self) -> Record;
    /// The first part of the record's key.
    fn set_who(&mut self, who: Arc<str>);
    fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>);
    /// `None` where a column that must be filled is empty.
    fn get(columns: &[Cells], row: usize) -> Option<Self>;
    /// One field as text.
    fn spell(&self, field: &str, times: &dyn TimeSpelling) -> String;

    /// Where only the day is known: the field, and the day as text.
    fn day(&self, times: &dyn TimeSpelling) -> Option<(&'static str, String)> {
        let mut cells = Vec::with_capacity(Self::COLUMNS.len());
        self.cells(&mut cells);
        let mut columns = Self::COLUMNS.iter().zip(&cells);
        let is_day = |cell: &Cell<'_>| matches!(cell, Cell::Small(_));
        columns
            .clone()
            .find(|(column, cell)| column.name == DAY_POSITION && is_day(cell))?;
        columns.find_map(|(column, cell)| match cell {
            Cell::Instant(at) if column.role == Role::Key => {
                Some((column.name, times.day(Instant(*at))))
            }
            _ => None,
        })
    }

    /// Whether the field is text as people write it.
    fn is_text(field: &str) -> bool {
        let of_field = |column: &&Column| column.name == field;
        let column = Self::COLUMNS.iter().find(of_field);
        column.is_some_and(|column| matches!(column.holds, Holds::Name | Holds::Text))
    }
}

/// A record and the columns of its table. Of each field: its name and type, and
/// the columns that it fills, with what they hold and are to the record.
macro_rules! record {
    (
        $(#[$of:meta])*
        $name:ident in $table:ident by $who:ident {
            $( $(#[$doc:meta])* $field:ident: $type:ty = $( $column:ident $holds:ident $role:ident ),+ ; )+
        }
    ) => {
        $(#[$of])*
        #[derive(Debug, Clone, PartialEq)]
        pub struct $name { $( $(#[$doc])* pub $field: $type, )+ }

        impl Kind for $name {
            const TABLE: TableName = TableName::$table;
            const COLUMNS: &'static [Column] = &[ $( $( Column {
                name: stringify!($column),
                holds: Holds::$holds,
                role: Role::$role,
            }, )+ )+ ];
            const FIELDS: &'static [&'static str] = &[ $( stringify!($field), )+ ];

            fn into_record(self) -> Record {
                Record::$name(self)
            }

            fn set_who(&mut self, who: Arc<str>) {
                self.$who = who;
            }

            fn cells<'c>(&'c self, to: &mut Vec<Cell<'c>>) {
                $( Field::cells(&self.$field, to); )+
            }

            fn get(columns: &[Cells], row: usize) -> Option<Self> {
                let mut at = 0;
                Some($name { $( $field: Field::get(columns, &mut at, row)?, )+ })
            }

            fn spell(&self, field: &str, times: &dyn TimeSpelling) -> String {
                match field {
                    $( stringify!($field) => Field::spell(&self.$field, times), )+
                    _ => String::new(),
                }
            }
        }
    };
}

record! {
    /// A look at the meters. At least one of the three ppm values is known.
    Reading in Readings by van {
        /// The van's name as the store resolves it.
        van: Arc<str> = van Name Who;
        /// When the meters were read; local noon where only the day is known.
        taken_at: Instant = taken_at Instant Key;
        /// `Some` where only the day is known: the row's position among that
        /// van's rows of that day in its file, from 0.
        day_position: Option<u32> = day_position Small Key;
        /// Where the van stood; `None` means the van's base on that day.
        postcode: Option<Arc<str>> = postcode Name Value;
        /// Dissolved solids before the membrane, ppm on the 0.5 scale.
        feed_ppm: Option<f64> = feed_ppm Real Value;
        /// Dissolved solids after the membrane, before the resin, ppm.
        permeate_ppm: Option<f64> = permeate_ppm Real Value;
        /// Dissolved solids after the resin, ppm.
        product_ppm: Option<f64> = product_ppm Real Value;
        /// Feed water temperature, °C.
        water_c: Option<f64> = water_c Real Value;
        /// Feed pressure, bar.
        feed_bar: Option<f64> = feed_bar Real Value;
        /// Permeate flow, L/min.
        permeate_lpm: Option<f64> = permeate_lpm Real Value;
        /// Concentrate flow, L/min.
        concentrate_lpm: Option<f64> = concentrate_lpm Real Value;
        /// What was written beside it, as people write it.
        note: Option<Arc<str>> = note Name Value;
    }
}

impl Reading {
    /// One of that van and time at which nothing was read.
    pub fn of(van: Arc<str>, taken_at: Instant) -> Reading {
        Reading {
            van,
            taken_at,
            day_position: None,
            postcode: None,
            feed_ppm: None,
            permeate_ppm: None,
            product_ppm: None,
            water_c: None,
            feed_bar: None,
            permeate_lpm: None,
            concentrate_lpm: None,
            note: None,
        }
    }
}

record! {
    /// A tank fill. At least one of `litres` and `meter_litres` is known.
    Fill in Fills by van {
        van: Arc<str> = van Name Who;
        started_at: Instant = started_at Instant Key;
        /// As for [`Reading::day_position`].
        day_position: Option<u32> = day_position Small Key;
        ended_at: Option<Instant> = ended_at Instant Value;
        postcode: Option<Arc<str>> = postcode Name Value;
        /// Purified water into the tank, L.
        litres: Option<f64> = litres Real Value;
        /// A running counter read after the fill, L.
        meter_litres: Option<f64> = meter_litres Real Value;
        /// Water to drain, L.
        reject_litres: Option<f64> = reject_litres Real Value;
        source: Source = source Name Value;
    }
}

record! {
    /// Work done on a van.
    Service in Services by van {
        van: Arc<str> = van Name Who;
        done_at: When = done_on Day Key, done_at Instant Key;
        item: Item = item Name Key;
        /// L for resin, otherwise pieces.
        quantity: Option<f64> = quantity Real Value;
        /// In the fleet's own currency; negative for a credit.
        cost: Option<f64> = cost Real Value;
        part: Option<Arc<str>> = part Name Value;
        note: Option<Arc<str>> = note Name Value;
    }
}

record! {
    /// A row of the van list: sizes and base from a date on.
    Van in Vans by van {
        van: Arc<str> = van Name Who;
        base_postcode: Option<Arc<str>> = base_postcode Name Value;
        tank_litres: Option<f64> = tank_litres Real Value;
        /// How many membranes share the water; 0 = resin only.
        membranes: Option<u32> = membranes Small Value;
        /// Resin in the vessel, L; 0 = no resin.
        resin_litres: Option<f64> = resin_litres Real Value;
        in_service_on: Option<Date> = in_service_on Day Value;
        out_of_service_on: Option<Date> = out_of_service_on Day Value;
        /// Date from which base and sizes hold; `None`: ever.
        from: Option<Date> = from Day Key;
    }
}

record! {
    /// What the supplier publishes for a postcode area, district or sector.
    Hardness in Hardness by postcode {
        postcode: Arc<str> = postcode Name Who;
        /// As given, in `unit`.
        hardness: f64 = hardness Real Value;
        unit: HardnessUnit = unit Name Value;
        source: Option<Arc<str>> = source Name Value;
        as_of: Option<Date> = as_of Day Key;
    }
}

/// Runs the same for the kind of record that a table holds.
macro_rules! of_kind {
    ($table:expr, $kind:ident => $run:expr, else $other:expr) => {
        match $table {
            TableName::Readings => {
                type $kind = Reading;
                $run
            }
            TableName::Fills => {
                type $kind = Fill;
                $run
            }
            TableName::Services => {
                type $kind = Service;
                $run
            }
            TableName::Vans => {
                type $kind = Van;
                $run
            }
            TableName::Hardness => {
                type $kind = Hardness;
                $run
            }
            _ => $other,
        }
    };
}

pub(super) use of_kind;

macro_rules! columns {
    ($($name:expr => $holds:ident),+ $(,)?) => {
        &[$(Column { name: $name, holds: Holds::$holds, role: Role::Value }),+]
    };
}

/// Where a row came from; beside the columns of every kind of record.
const ORIGIN: &[Column] = columns! {
    FILE_ID => Whole, LINE => Whole, INGESTED_AT => Instant, TEXT => Text
};
const SET_ASIDE: &[Column] = columns! { "reason" => Name, DAY_POSITION => Small };
const REPEATS: &[Column] = columns! {
    FILE_ID => Whole, LINE => Whole, OF_FILE_ID => Whole, OF_LINE => Whole,
    // tells apart the records that one line gave
    OF_MARK => Small,
    // 1 where the row was on the list of rows set aside already
    IS_LISTED => Small,
};
const TAKEN_BACK: &[Column] = columns! {
    "id" => Whole, FILE_ID => Whole,
    // "taken back" or "put back"
    "action" => Name,
    "at" => Instant, "by" => Text,
};
const ROWS_TAKEN_BACK: &[Column] = columns! {
    "id" => Whole, FILE_ID => Whole, LINE => Whole, "action" => Name, "at" => Instant, "by" => Text,
};
const RENAMED: &[Column] = columns! {
    // no other name: it bears its own again
    "id" => Whole, "van" => Text, "to_van" => Text, "at" => Instant, "by" => Text,
};
const FILES: &[Column] = columns! {
    "id" => Whole, "name" => Text, "sha256" => Text, "bytes" => Whole,
    INGESTED_AT => Instant, "recognised" => Text, "notes" => Text,
    "rows_read" => Whole, "rows_stored" => Whole, "rows_already_stored" => Whole,
    "rows_set_aside" => Whole,
    "supersedes" => Text,
    // rows set aside that were accepted in an earlier file
    "known" => Text,
    "header" => Text, "delimiter" => Text, "habits" => Text,
    // how rows without text are written again, JSON
    "row_style" => Text,
};

impl TableName {
    pub(super) const ALL: [TableName; 11] = [
        TableName::Readings,
        TableName::Fills,
        TableName::Services,
        TableName::Vans,
        TableName::Hardness,
        TableName::SetAside,
        TableName::Repeats,
        TableName::TakenBack,
        TableName::RowsTakenBack,
        TableName::Renamed,
        TableName::Files,
    ];
    /// Those of records.
    pub(super) const KINDS: [TableName; 5] = [
        TableName::Readings,
        TableName::Fills,
        TableName::Services,
        TableName::Vans,
        TableName::Hardness,
    ];
    /// Those of what happened to a van.
    pub(super) const OF_VANS: [TableName; 3] =
        [TableName::Readings, TableName::Fills, TableName::Services];

    pub(super) fn folder(self) -> &'static str {
        match self {
            TableName::Readings => "readings",
            TableName::Fills => "fills",
            TableName::Services => "services",
            TableName::Vans => "vans",
            TableName::Hardness => "hardness",
            TableName::SetAside => "set_aside",
            TableName::Repeats => "repeats",
            TableName::TakenBack => "taken_back",
            TableName::RowsTakenBack => "rows_taken_back",
            TableName::Renamed => "renamed",
            TableName::Files => "files",
        }
    }

    /// Whether stores of an earlier litrewise may lack the table.
    pub(super) fn came_later(self) -> bool {
        matches!(
            self,
            TableName::Repeats
                | TableName::TakenBack
                | TableName::RowsTakenBack
                | TableName::Renamed
        )
    }

    pub(super) fn is_by_month(self) -> bool {
        matches!(self, TableName::Readings | TableName::Fills)
    }

    /// Whether its rows name vans that the van list may know.
    pub(super) fn is_of_vans(self) -> bool {
        TableName::OF_VANS.contains(&self)
    }

    /// The record's own columns.
    pub(super) fn own_columns(self) -> &'static [Column] {
        match self {
            TableName::Readings => Reading::COLUMNS,
            TableName::Fills => Fill::COLUMNS,
            TableName::Services => Service::COLUMNS,
            TableName::Vans => Van::COLUMNS,
            TableName::Hardness => Hardness::COLUMNS,
            TableName::SetAside => SET_ASIDE,
            TableName::Repeats => REPEATS,
            TableName::TakenBack => TAKEN_BACK,
            TableName::RowsTakenBack => ROWS_TAKEN_BACK,
            TableName::Renamed => RENAMED,
            TableName::Files => FILES,
        }
    }

    /// The columns of a record as it goes out and comes in: where only the day is
    /// known, the day stands for the moment. Empty for tables of other things.
    pub fn header(self) -> Vec<&'static str> {
        let fields: &[&str] = of_kind!(self, T => T::FIELDS, else &[]);
        let fields = fields.iter().filter(|field| **field != DAY_POSITION);
        fields.copied().collect()
    }

    /// How many columns of its own a record has.
    pub fn width(self) -> usize {
        self.own_columns().len()
    }

    /// The place of a column among the record's own.
    pub fn position_of(self, name: &str) -> Option<usize> {
        self.own_columns().iter().position(|c| c.name == name)
    }

    /// All columns of the Parquet files, in order.
    pub(super) fn columns(self) -> impl Iterator<Item = Column> {
        let origin = match self {
            TableName::Files
            | TableName::Repeats
            | TableName::TakenBack
            | TableName::RowsTakenBack
            | TableName::Renamed => &[],
            _ => ORIGIN,
        };
        self.own_columns().iter().chain(origin).copied()
    }

    /// The columns by which versions of its records are told apart and compared.
    pub(super) fn names_of(self, role: Role) -> impl Iterator<Item = &'static str> {
        let own = self.own_columns().iter();
        own.filter(move |column| column.role == role)
            .map(|column| column.name)
    }

    pub(super) fn written(self) -> SchemaRef {
        let fields: Vec<ArrowField> = self.columns().map(Column::arrow).collect();
        Arc::new(Schema::new(fields))
    }

    /// A record's columns on their way from the reader: its own, its line and
    /// its text where that is kept.
    pub(super) fn taken(self) -> SchemaRef {
        let fields: Vec<ArrowField> = self.taken_columns().map(Column::arrow).collect();
        Arc::new(Schema::new(fields))
    }

    pub(super) fn taken_columns(self) -> impl Iterator<Item = Column> {
        let beside = ORIGIN.iter().filter(|c| matches!(c.name, LINE | TEXT));
        self.own_columns().iter().chain(beside).copied()
    }

    pub(super) fn delta_columns(self) -> Vec<StructField> {
        let month = self
            .is_by_month()
            .then(|| StructField::new(MONTH, DeltaType::STRING, true));
        self.columns()
            .map(|column| StructField::new(column.name, column.holds.delta(), true))
            .chain(month)
            .collect()
    }
}

impl Column {
    fn arrow(self) -> ArrowField {
        ArrowField::new(self.name, self.holds.arrow(), true)
    }
}

impl Holds {
    fn arrow(self) -> DataType {
        match self {
            Holds::Name | Holds::Text => DataType::Utf8,
            Holds::Real => DataType::Float64,
            Holds::Small => DataType::Int32,
            Holds::Whole => DataType::Int64,
            Holds::Instant => DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())),
            Holds::Day => DataType::Date32,
        }
    }

    fn delta(self) -> DeltaType {
        match self {
            Holds::Name | Holds::Text => DeltaType::STRING,
            Holds::Real => DeltaType::DOUBLE,
            Holds::Small => DeltaType::INTEGER,
            Holds::Whole => DeltaType::LONG,
            Holds::Instant => DeltaType::TIMESTAMP,
            Holds::Day => DeltaType::DATE,
        }
    }
}

/// When a record happened, as far as that is part of its key: records sort by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) struct Moment(pub(super) i64, pub(super) u32);

const DAY_MICROSECONDS: i64 = 86_400_000_000;
/// Position of a record with a known time of day: behind those without.
const TIMED: u32 = u32::MAX;

impl Moment {
    /// From the columns of the key beside whose it is.
    pub(super) fn of(table: TableName, columns: &[Cells], row: usize) -> Option<Moment> {
        let (mut instant, mut day, mut small, mut name) = (None, None, None, None);
        for (column, cells) in table.own_columns().iter().zip(columns) {
            if column.role == Role::Key {
                match column.holds {
                    Holds::Instant => instant = cells.whole(row),
                    Holds::Day => day = cells.whole(row),
                    Holds::Small => small = cells.whole(row),
                    _ => name = cells.name(row),
                }
            }
        }
        match table {
            TableName::Services => {
                let nth = (Item::of_word(name?)? as u32) * 2;
                // a plain day before the times of that day (UTC)
                Some(match day {
                    Some(day) => Moment(day * DAY_MICROSECONDS, nth),
                    None => Moment(instant?, nth + 1),
                })
            }
            TableName::Vans | TableName::Hardness => Some(Moment(day.unwrap_or(i64::MIN), 0)),
            _ => {
                let position = small.and_then(|n| u32::try_from(n).ok());
                Some(Moment(instant?, position.unwrap_or(TIMED)))
            }
        }
    }

    /// The day in that zone; `None` beyond all calendars.
    pub(super) fn date_in(self, table: TableName, zone: &TimeZone) -> Option<Date> {
        match table {
            TableName::Services if self.1.is_multiple_of(2) => {
                date_of_days(i32::try_from(self.0 / DAY_MICROSECONDS).ok()?)
            }
            _ => Instant(self.0).date_in(zone),
        }
    }

    /// Tells records apart that one line of a file may give.
    pub(super) fn mark(self, table: TableName) -> u32 {
        match table {
            TableName::Services => self.1 / 2 + 1,
            _ => 0,
        }
    }
}
