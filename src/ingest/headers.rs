//! How people head their columns: one table, to be read and extended by whoever
//! knows water and vans.
//!
//! A header is compared after folding: case, accents, plural s, `_ - . / ( )`
//! and spaces do not matter. A unit at its end or in brackets (`ppm`, `µS/cm`,
//! `°F`, `psi`, `gallons`, `L/h` …) is read off separately and need not be
//! listed, nor need a leading `TDS` or `EC`.

use std::collections::HashMap;
use std::sync::LazyLock;

pub use super::columns::Column;
use super::text::folded;

/// The five kinds of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RecordKind {
    Readings,
    Fills,
    Services,
    Vans,
    Hardness,
}

impl RecordKind {
    pub const ALL: [RecordKind; 5] = [
        RecordKind::Readings,
        RecordKind::Fills,
        RecordKind::Services,
        RecordKind::Vans,
        RecordKind::Hardness,
    ];

    /// `readings`, `fills`, `services`, `vans` or `hardness`.
    pub fn word(self) -> &'static str {
        match self {
            RecordKind::Readings => "readings",
            RecordKind::Fills => "fills",
            RecordKind::Services => "services",
            RecordKind::Vans => "vans",
            RecordKind::Hardness => "hardness",
        }
    }
}

impl std::fmt::Display for RecordKind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.word())
    }
}

/// The canonical columns of a kind, in the order in which they are exported.
pub fn canonical_header(kind: RecordKind) -> &'static [&'static str] {
    match kind {
        RecordKind::Readings => &[
            "van",
            "taken_at",
            "postcode",
            "feed_ppm",
            "permeate_ppm",
            "product_ppm",
            "water_c",
            "feed_bar",
            "permeate_lpm",
            "concentrate_lpm",
        ],
        RecordKind::Fills => &[
            "van",
            "started_at",
            "ended_at",
            "postcode",
            "litres",
            "meter_litres",
            "reject_litres",
            "source",
        ],
        RecordKind::Services => &["van", "done_at", "item", "quantity", "cost", "part", "note"],
        RecordKind::Vans => &[
            "van",
            "base_postcode",
            "tank_litres",
            "membranes",
            "resin_litres",
            "in_service_on",
            "out_of_service_on",
            "from",
        ],
        RecordKind::Hardness => &["postcode", "hardness", "unit", "source", "as_of"],
    }
}

/// One column of one kind and how people head it, the canonical name first.
pub struct Heading {
    pub kind: RecordKind,
    pub column: Column,
    pub spellings: &'static [&'static str],
}

const fn heading(kind: RecordKind, column: Column, spellings: &'static [&'static str]) -> Heading {
    Heading {
        kind,
        column,
        spellings,
    }
}

const VAN: &[&str] = &[
    "van",
    "Reg",
    "Registration",
    "Reg No",
    "Reg Number",
    "Registration No",
    "Vehicle",
    "Vehicle Reg",
    "Veh",
    "Veh Reg",
    "Van no",
    "Van number",
    "Van ID",
    "Van Reg",
    "Unit",
    "Unit no",
    "Truck",
    "Rig",
    "Fleet no",
    "Fleet number",
    "Callsign",
    "Call sign",
    "Van name",
    "Vehicle no",
    "Vehicle ID",
];
const POSTCODE: &[&str] = &[
    "postcode",
    "Post code",
    "PC",
    "Area",
    "Where",
    "Location",
    "Site",
    "Zip",
    "Zip code",
    "Fill point",
    "District",
    "Outcode",
    "Postal code",
    "Postcode area",
    "Postcode district",
    "Site postcode",
    "Job postcode",
];
const DAY: &[&str] = &[
    "date",
    "Day",
    "Reading date",
    "Fill date",
    "Date of reading",
    "Date of fill",
    "Start date",
];
const CLOCK: &[&str] = &[
    "time",
    "Time of day",
    "Clock",
    "Clock time",
    "Reading time",
    "Fill time",
    "Start time",
];
const NOTE: &[&str] = &[
    "note",
    "Notes",
    "Comment",
    "Comments",
    "Remarks",
    "Details",
    "Description",
];

/// The mapping. Add a spelling to its line, or a line for a new column.
pub const MAPPING: &[Heading] = &[
    // readings: a look at the meters
    heading(RecordKind::Readings, Column::Van, VAN),
    heading(
        RecordKind::Readings,
        Column::TakenAt,
        &[
            "taken_at",
            "Taken",
            "Date/Time",
            "Datetime",
            "Date and time",
            "When",
            "Timestamp",
            "Read on",
            "Read at",
            "Checked",
            "Checked at",
            "Date checked",
            "Logged at",
            "Logged",
            "Test date",
            "Tested on",
            "Measured at",
            "Measured on",
            "Time stamp",
        ],
    ),
    heading(RecordKind::Readings, Column::Day, DAY),
    heading(RecordKind::Readings, Column::Clock, CLOCK),
    heading(RecordKind::Readings, Column::Postcode, POSTCODE),
    heading(
        RecordKind::Readings,
        Column::FeedPpm,
        &[
            "feed_ppm",
            "Feed",
            "TDS in",
            "Tap",
            "Tap TDS",
            "Tap ppm",
            "Tap water",
            "In",
            "Inlet",
            "Incoming",
            "Feed TDS",
            "Feed water",
            "Mains",
            "Mains ppm",
            "Mains TDS",
            "Mains water",
            "Raw",
            "Raw water",
            "Supply",
            "Before",
            "Pre RO",
            "Before RO",
            "Before membrane",
            "TDS1",
            "TDS 1",
            "Source ppm",
            "Source TDS",
            "Source water",
            "Inlet TDS",
            "Incoming TDS",
            "Input",
        ],
    ),
    heading(
        RecordKind::Readings,
        Column::PermeatePpm,
        &[
            "permeate_ppm",
            "Permeate",
            "Membrane",
            "Membrane ppm",
            "After membrane",
            "RO",
            "RO out",
            "RO TDS",
            "RO water",
            "Post RO",
            "After RO",
            "Perm",
            "Before resin",
            "Before DI",
            "Pre DI",
            "Pre resin",
            "Mid",
            "Middle",
            "Between",
            "TDS2",
            "TDS 2",
            "Membrane out",
            "Post membrane",
            "Out of membrane",
        ],
    ),
    heading(
        RecordKind::Readings,
        Column::ProductPpm,
        &[
            "product_ppm",
            "Product",
            "Out",
            "TDS out",
            "Final",
            "Pure",
            "Pure ppm",
            "Pure water",
            "After resin",
            "After DI",
            "Post DI",
            "Post resin",
            "DI",
            "DI out",
            "Resin",
            "Resin out",
            "At pole",
            "Pole",
            "Tank TDS",
            "Tank ppm",
            "End",
            "TDS3",
            "TDS 3",
            "Output",
            "Product water",
            "Final ppm",
            "Pure TDS",
            "Outlet",
        ],
    ),
    heading(
        RecordKind::Readings,
        Column::WaterC,
        &[
            "water_c",
            "Temp",
            "Temperature",
            "Water temp",
            "Water temperature",
            "°C",
            "deg C",
            "Tap temp",
            "T",
            "Feed temp",
            "Feed temperature",
            "°F",
            "deg F",
            "Water",
        ],
    ),
    heading(
        RecordKind::Readings,
        Column::FeedBar,
        &[
            "feed_bar",
            "Pressure",
            "Bar",
            "Inlet pressure",
            "Working pressure",
            "Feed pressure",
            "PSI",
            "Press",
            "kPa",
            "Mains pressure",
            "Tap pressure",
            "Pump pressure",
        ],
    ),
    heading(
        RecordKind::Readings,
        Column::PermeateLpm,
        &[
            "permeate_lpm",
            "Flow",
            "Pure flow",
            "Permeate flow",
            "Product flow",
            "L/min",
            "LPM",
            "Litres a minute",
            "Litres per minute",
            "Make rate",
            "Production",
            "Production rate",
            "L/h",
            "LPH",
            "Flow rate",
            "Pure",
            "Permeate",
        ],
    ),
    heading(
        RecordKind::Readings,
        Column::ConcentrateLpm,
        &[
            "concentrate_lpm",
            "Waste",
            "Waste flow",
            "Reject",
            "Reject flow",
            "Drain",
            "Drain flow",
            "Brine",
            "Brine flow",
            "Conc",
            "Conc flow",
            "Concentrate",
            "Concentrate flow",
        ],
    ),
    // fills: a tank fill
    heading(RecordKind::Fills, Column::Van, VAN),
    heading(
        RecordKind::Fills,
        Column::StartedAt,
        &[
            "started_at",
            "Started",
            "Start",
            "Fill start",
            "From",
            "Began",
            "On",
            "Filled at",
            "Filled on",
            "Date/Time",
            "Datetime",
            "Date and time",
            "When",
            "Timestamp",
            "Fill started",
            "Tap on",
        ],
    ),
    heading(RecordKind::Fills, Column::Day, DAY),
    heading(RecordKind::Fills, Column::Clock, CLOCK),
    heading(
        RecordKind::Fills,
        Column::EndedAt,
        &[
            "ended_at",
            "Ended",
            "End",
            "Finish",
            "Finished",
            "Fill end",
            "End time",
            "Finish time",
            "To",
            "Off",
            "Stopped",
            "Done",
            "Until",
            "Fill ended",
            "Tap off",
        ],
    ),
    heading(RecordKind::Fills, Column::Postcode, POSTCODE),
    heading(
        RecordKind::Fills,
        Column::Litres,
        &[
            "litres",
            "Liters",
            "L",
            "Ltr",
            "Ltrs",
            "Filled",
            "Volume",
            "Vol",
            "Qty filled",
            "Tank fill",
            "Water made",
            "m3",
            "Gallons",
            "Litres filled",
            "Litres made",
            "Pure litres",
            "Product litres",
            "Fill",
            "Quantity",
            "Qty",
            "Amount",
            "Fill volume",
            "Pure water",
        ],
    ),
    heading(
        RecordKind::Fills,
        Column::MeterLitres,
        &[
            "meter_litres",
            "Meter",
            "Counter",
            "Meter reading",
            "Total",
            "Totaliser",
            "Totalizer",
            "Odometer",
            "Cumulative",
            "Clock reading",
            "Water meter",
            "Total litres",
            "Running total",
            "Counter reading",
            "Litre counter",
        ],
    ),
    heading(
        RecordKind::Fills,
        Column::RejectLitres,
        &[
            "reject_litres",
            "Waste litres",
            "Drained",
            "Reject volume",
            "To drain",
            "Waste L",
            "Waste",
            "Reject",
            "Drain",
            "Waste water",
            "Waste volume",
            "Drain litres",
            "Brine",
        ],
    ),
    heading(
        RecordKind::Fills,
        Column::Source,
        &[
            "source",
            "From where",
            "Water from",
            "Type",
            "Mains or bought",
            "Supply type",
            "Water source",
            "Supply",
            "Water type",
            "Fill type",
        ],
    ),
    // services: work done on a van
    heading(RecordKind::Services, Column::Van, VAN),
    heading(
        RecordKind::Services,
        Column::DoneAt,
        &[
            "done_at",
            "Done",
            "Done on",
            "Date done",
            "Fitted",
            "Fitted on",
            "Changed",
            "Changed on",
            "Service date",
            "Replaced",
            "Replaced on",
            "Job date",
            "Date",
            "Day",
            "When",
            "Date/Time",
            "Date fitted",
            "Date changed",
            "Datetime",
            "Timestamp",
            "Work date",
        ],
    ),
    heading(RecordKind::Services, Column::Clock, CLOCK),
    heading(
        RecordKind::Services,
        Column::Item,
        &[
            "item",
            "What",
            "Work",
            "Work done",
            "Job",
            "Service",
            "Component",
            "Type",
            "Serviced",
            "What was done",
            "Job type",
            "Service type",
        ],
    ),
    heading(
        RecordKind::Services,
        Column::Quantity,
        &[
            "quantity",
            "Qty",
            "Amount",
            "How many",
            "Litres resin",
            "Pieces",
            "No of",
            "Number",
            "Bags",
            "Litres",
            "Resin litres",
            "Count",
        ],
    ),
    heading(
        RecordKind::Services,
        Column::Cost,
        &[
            "cost",
            "Price",
            "Paid",
            "£",
            "€",
            "$",
            "Spend",
            "Amount paid",
            "Net",
            "Total cost",
            "Cost £",
            "Cost €",
            "Cost $",
            "Price £",
            "Price €",
            "Net cost",
            "GBP",
            "EUR",
            "USD",
        ],
    ),
    heading(
        RecordKind::Services,
        Column::Part,
        &[
            "part",
            "Parts",
            "Part no",
            "Part number",
            "Make",
            "Model",
            "Size",
            "Batch",
            "Brand",
            "Product",
            "Make and size",
            "Part used",
        ],
    ),
    heading(RecordKind::Services, Column::Note, NOTE),
    // vans: the fleet
    heading(RecordKind::Vans, Column::Van, VAN),
    heading(
        RecordKind::Vans,
        Column::BasePostcode,
        &[
            "base_postcode",
            "Base",
            "Postcode",
            "Post code",
            "Depot",
            "Home",
            "Home postcode",
            "Depot postcode",
            "Yard",
            "Base PC",
            "Based at",
            "Zip",
        ],
    ),
    heading(
        RecordKind::Vans,
        Column::TankLitres,
        &[
            "tank_litres",
            "Tank size",
            "Tank",
            "Tank cap",
            "Tank capacity",
            "Tank volume",
            "Tank L",
        ],
    ),
    heading(
        RecordKind::Vans,
        Column::Membranes,
        &[
            "membranes",
            "Membrane",
            "No of membranes",
            "Number of membranes",
            "ROs",
            "No of ROs",
            "Membrane count",
            "RO membranes",
            "RO units",
            "RO",
        ],
    ),
    heading(
        RecordKind::Vans,
        Column::ResinLitres,
        &[
            "resin_litres",
            "Resin size",
            "Resin",
            "DI litres",
            "DI",
            "DI size",
            "Bottle size",
            "Vessel",
            "Vessel size",
            "Vessel litres",
            "Resin L",
            "Resin volume",
            "Resin vessel",
        ],
    ),
    heading(
        RecordKind::Vans,
        Column::InServiceOn,
        &[
            "in_service_on",
            "In service",
            "Start date",
            "On road",
            "On the road",
            "Bought",
            "In service from",
            "In use from",
            "Started",
        ],
    ),
    heading(
        RecordKind::Vans,
        Column::OutOfServiceOn,
        &[
            "out_of_service_on",
            "Off road",
            "Off the road",
            "Sold",
            "Sold on",
            "Retired",
            "Retired on",
            "Out of service",
            "End date",
            "Scrapped",
        ],
    ),
    heading(
        RecordKind::Vans,
        Column::From,
        &["from", "Valid from", "From date", "Since", "Holds from"],
    ),
    // hardness: what the supplier publishes
    heading(
        RecordKind::Hardness,
        Column::Postcode,
        &[
            "postcode",
            "Post code",
            "PC",
            "Area",
            "Zip",
            "District",
            "Outcode",
            "Sector",
            "Zone",
            "Water zone",
            "Supply zone",
            "Postal code",
            "Postcode area",
            "Postcode district",
            "Postcode sector",
            "Location",
        ],
    ),
    heading(
        RecordKind::Hardness,
        Column::Hardness,
        &[
            "hardness",
            "Total hardness",
            "Water hardness",
            "CaCO3",
            "As CaCO3",
            "Clark",
            "English degrees",
            "°e",
            "French",
            "French degrees",
            "°f",
            "German",
            "German degrees",
            "°dH",
            "dH",
            "mmol/l",
            "Calcium",
            "Ca mg/l",
            "Hardness level",
            "Average hardness",
            "Mean hardness",
            "mg/l CaCO3",
            "Clark degrees",
            "Value",
            "gpg",
        ],
    ),
    heading(
        RecordKind::Hardness,
        Column::Unit,
        &["unit", "Units", "Hardness unit", "Measured in"],
    ),
    heading(
        RecordKind::Hardness,
        Column::Source,
        &[
            "source",
            "Supplier",
            "Published by",
            "Company",
            "Water company",
            "Water supplier",
            "Provider",
            "Reference",
        ],
    ),
    heading(
        RecordKind::Hardness,
        Column::AsOf,
        &[
            "as_of",
            "Year",
            "Updated",
            "Date",
            "Published",
            "Published on",
            "As at",
            "Valid from",
            "Sampled",
            "Updated on",
            "Report year",
        ],
    ),
];

static BY_SPELLING: LazyLock<HashMap<(RecordKind, String), Column>> = LazyLock::new(|| {
    let mut map = HashMap::new();
    for heading in MAPPING {
        for spelling in heading.spellings {
            // the first line that lists a spelling keeps it
            map.entry((heading.kind, folded(spelling)))
                .or_insert(heading.column);
        }
    }
    map
});

/// The column that a folded header names among those of a kind.
pub(super) fn column_headed(kind: RecordKind, folded: &str) -> Option<Column> {
    BY_SPELLING.get(&(kind, folded.to_owned())).copied()
}

/// Further columns with a spelling, for those that a unit tells apart.
pub(super) fn columns_headed(
    kind: RecordKind,
    folded_header: &str,
) -> impl Iterator<Item = Column> + '_ {
    MAPPING
        .iter()
        .filter(move |heading| heading.kind == kind)
        .filter(move |heading| heading.spellings.iter().any(|s| folded(s) == folded_header))
        .map(|heading| heading.column)
}

/// Whether the header is the canonical name itself.
pub(super) fn is_canonical(header: &str, column: Column) -> bool {
    header == column.name()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_canonical_column_heads_its_own_line() {
        for kind in RecordKind::ALL {
            for name in canonical_header(kind) {
                let column = column_headed(kind, &folded(name)).map(Column::name);
                assert_eq!(column, Some(*name), "{kind}");
            }
        }
        for heading in MAPPING {
            assert_eq!(heading.spellings.first(), Some(&heading.column.name()));
        }
    }

    #[test]
    fn no_spelling_names_two_columns_unless_a_unit_tells_them_apart() {
        let told_by_unit = ["pure", "permeate"];
        for kind in RecordKind::ALL {
            for heading in MAPPING.iter().filter(|h| h.kind == kind) {
                for spelling in heading.spellings {
                    let word = folded(spelling);
                    let columns = columns_headed(kind, &word).count();
                    assert!(
                        columns == 1 || told_by_unit.contains(&word.as_str()),
                        "{kind}: {spelling} heads {columns} columns"
                    );
                }
            }
        }
    }
}
