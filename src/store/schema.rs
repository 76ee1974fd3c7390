//! The tables and their columns, said once: from this come the Parquet, the
//! Delta and the reading schema.

use std::sync::Arc;

use arrow_schema::{DataType, Field, Schema, SchemaRef, TimeUnit};
use deltalake_core::kernel::{DataType as DeltaType, StructField};

/// The tables below the store folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum TableName {
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
    Files,
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Holds {
    /// Text that repeats: read through a dictionary.
    Name,
    /// Text that differs from row to row.
    Text,
    Real,
    Small,
    Whole,
    Instant,
    Day,
}

pub(super) type Column = (&'static str, Holds);

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

/// Where a row came from; beside the columns of every kind of record.
const ORIGIN: [Column; 4] = [
    (FILE_ID, Holds::Whole),
    (LINE, Holds::Whole),
    (INGESTED_AT, Holds::Instant),
    (TEXT, Holds::Text),
];

impl TableName {
    pub(super) const ALL: [TableName; 9] = [
        TableName::Readings,
        TableName::Fills,
        TableName::Services,
        TableName::Vans,
        TableName::Hardness,
        TableName::SetAside,
        TableName::Repeats,
        TableName::TakenBack,
        TableName::Files,
    ];

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
            TableName::Files => "files",
        }
    }

    /// Whether stores of an earlier litrewise may lack the table.
    pub(super) fn came_later(self) -> bool {
        matches!(self, TableName::Repeats | TableName::TakenBack)
    }

    pub(super) fn is_by_month(self) -> bool {
        matches!(self, TableName::Readings | TableName::Fills)
    }

    /// The record's own columns.
    pub(super) fn own_columns(self) -> &'static [Column] {
        use Holds::{Day, Instant, Name, Real, Small, Text, Whole};
        match self {
            TableName::Readings => &[
                ("van", Name),
                ("taken_at", Instant),
                ("day_position", Small),
                ("postcode", Name),
                ("feed_ppm", Real),
                ("permeate_ppm", Real),
                ("product_ppm", Real),
                ("water_c", Real),
                ("feed_bar", Real),
                ("permeate_lpm", Real),
                ("concentrate_lpm", Real),
            ],
            TableName::Fills => &[
                ("van", Name),
                ("started_at", Instant),
                ("day_position", Small),
                ("ended_at", Instant),
                ("postcode", Name),
                ("litres", Real),
                ("meter_litres", Real),
                ("reject_litres", Real),
                ("source", Name),
            ],
            TableName::Services => &[
                ("van", Name),
                ("done_on", Day),
                ("done_at", Instant),
                ("item", Name),
                ("quantity", Real),
                ("cost", Real),
                ("part", Name),
                ("note", Name),
            ],
            TableName::Vans => &[
                ("van", Name),
                ("from", Day),
                ("base_postcode", Name),
                ("tank_litres", Real),
                ("membranes", Small),
                ("resin_litres", Real),
                ("in_service_on", Day),
                ("out_of_service_on", Day),
            ],
            TableName::Hardness => &[
                ("postcode", Name),
                ("as_of", Day),
                ("hardness", Real),
                ("unit", Name),
                ("source", Name),
            ],
            TableName::SetAside => &[("reason", Name), (DAY_POSITION, Small)],
            TableName::Repeats => &[
                (FILE_ID, Whole),
                (LINE, Whole),
                (OF_FILE_ID, Whole),
                (OF_LINE, Whole),
                // tells apart the records that one line gave
                (OF_MARK, Small),
                // 1 where the row was on the list of rows set aside already
                (IS_LISTED, Small),
            ],
            TableName::TakenBack => &[
                ("id", Whole),
                (FILE_ID, Whole),
                // "taken back" or "put back"
                ("action", Name),
                ("at", Instant),
                ("by", Text),
            ],
            TableName::Files => &[
                ("id", Whole),
                ("name", Text),
                ("sha256", Text),
                ("bytes", Whole),
                (INGESTED_AT, Instant),
                ("recognised", Text),
                ("notes", Text),
                ("rows_read", Whole),
                ("rows_stored", Whole),
                ("rows_already_stored", Whole),
                ("rows_set_aside", Whole),
                ("supersedes", Text),
                // rows set aside that were accepted in an earlier file
                ("known", Text),
                ("header", Text),
                ("delimiter", Text),
                ("habits", Text),
                // how rows without text are written again, JSON
                ("row_style", Text),
            ],
        }
    }

    /// All columns of the Parquet files, in order.
    pub(super) fn columns(self) -> impl Iterator<Item = Column> {
        let origin: &[Column] = match self {
            TableName::Files | TableName::Repeats | TableName::TakenBack => &[],
            _ => &ORIGIN,
        };
        self.own_columns().iter().chain(origin).copied()
    }

    fn arrow_schema(self, type_of: impl Fn(Holds) -> DataType) -> SchemaRef {
        let fields: Vec<Field> = self
            .columns()
            .map(|(name, holds)| Field::new(name, type_of(holds), true))
            .collect();
        Arc::new(Schema::new(fields))
    }

    pub(super) fn written(self) -> SchemaRef {
        self.arrow_schema(|holds| match holds {
            Holds::Name | Holds::Text => DataType::Utf8,
            other => other.arrow(),
        })
    }

    pub(super) fn read(self) -> SchemaRef {
        self.arrow_schema(Holds::arrow)
    }

    pub(super) fn delta_columns(self) -> Vec<StructField> {
        let month = self
            .is_by_month()
            .then(|| StructField::new(MONTH, DeltaType::STRING, true));
        self.columns()
            .map(|(name, holds)| StructField::new(name, holds.delta(), true))
            .chain(month)
            .collect()
    }
}

impl Holds {
    fn arrow(self) -> DataType {
        match self {
            Holds::Name => {
                DataType::Dictionary(Box::new(DataType::Int32), Box::new(DataType::Utf8))
            }
            Holds::Text => DataType::Utf8,
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
