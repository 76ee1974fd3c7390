//! Why a row is set aside: what kind of fault it has, and the words for it.

use crate::calendar::Date;
use crate::store::records::Item;
use crate::water::HardnessUnit;

use super::dates::NoDate;
use super::numbers::NoNumber;

/// Why a row, or what it says of one kind, is set aside.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(super) enum Refusal {
    /// A column that the row cannot do without.
    #[error("{0} is empty")]
    Empty(String),
    #[error("{label} is \"{cell}\", {fault}")]
    Cell {
        label: String,
        cell: String,
        fault: Fault,
    },
    #[error("column \"{header}\" is \"{cell}\", neither a tick nor empty")]
    NoTick { header: String, cell: String },
    #[error("{column} stands in two columns that differ: \"{one}\" and \"{other}\"")]
    TwoDiffer {
        column: &'static str,
        one: String,
        other: String,
    },
    #[error("no meter was read: feed_ppm, permeate_ppm and product_ppm are all empty")]
    NoMeter,
    #[error("123, 12 and 1 ppm look like a test row")]
    TestReading,
    #[error("neither litres nor meter_litres is given")]
    NoLitres,
    #[error("a van and a date, but no reading, no litres and no work")]
    NoRecord,
    #[error("{cells} {} where the header has {width}", cells_word(*cells))]
    Width { cells: usize, width: usize },
    #[error(
        "the file ends in the middle of this row, after {cells} cells where the header has {width}"
    )]
    CutOff { cells: usize, width: usize },
    #[error("the header once more")]
    HeaderAgain,
    #[error("the header once more, its columns in another order")]
    HeaderInOtherOrder,
    #[error("the header of another table: give that table a file of its own")]
    HeaderOfAnother,
    #[error("below the header of another table: give that table a file of its own")]
    BelowAnother,
    #[error("a total, not a row of its own")]
    Total,
    #[error("a line of totals, or a row without its date")]
    TotalOrUndated,
    #[error("a line of more than 1 MiB: no row of ours")]
    TooLong,
    #[error("its quote marks do not match: {0}")]
    Misquoted(Box<Refusal>),
}

fn cells_word(cells: usize) -> &'static str {
    match cells {
        1 => "cell",
        _ => "cells",
    }
}

/// Why a cell cannot be used; said behind `feed_ppm is "…", `.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(super) enum Fault {
    #[error(transparent)]
    Date(#[from] NoDate),
    #[error(transparent)]
    Number(#[from] NoNumber),
    #[error("a ditto mark, not a {0}")]
    Ditto(&'static str),
    #[error("after today ({0})")]
    AfterToday(Date),
    #[error("before the year 2000: a spreadsheet's empty date?")]
    Before2000,
    #[error("ticked, but not when: give the day, or say --done-on")]
    NoDayDone,
    #[error("not a day in the life of a van")]
    NoDayOfAVan,
    #[error("before in_service_on ({0})")]
    BeforeInService(Date),

    #[error("a spreadsheet formula or its error, not a name")]
    Formula,
    #[error("nothing that could be a name")]
    NoName,
    #[error("too long to be a name")]
    LongName,
    #[error("a test row")]
    TestVan,
    #[error("not one van: give each a row of its own")]
    SeveralVans,
    #[error("a stray quote mark within a name")]
    StrayQuote,
    #[error("with quote marks that do not match, so where it ends cannot be told")]
    QuotesDiffer,

    #[error("negative")]
    Negative,
    #[error("not an amount of money")]
    NoMoney,
    #[error("no figure that a meter could read")]
    Unread,
    #[error("a meter that is off, dry or disconnected")]
    MeterOff,
    #[error("more than any drinking water ({0:.0} ppm)")]
    MostPpm(f64),
    #[error("no water")]
    NoWater,
    #[error("less than a litre (cubic metres?)")]
    LeastLitres,
    #[error("more than any tank holds (a counter in the wrong column?)")]
    MostLitres,
    #[error("more than any vessel or shelf holds")]
    MostQuantity,
    #[error("more than any van carries ({0} L)")]
    MostOfAVan(f64),
    #[error("not a count of membranes")]
    NoCount,
    #[error("more than any tap water, in {}", .0.word())]
    MostHardness(HardnessUnit),

    #[error("not a number in a unit of this column (\"{0}\"?)")]
    UnknownUnit(String),
    #[error(
        "litres or tanks? Say --tank-fills 400 where a tank holds 400 L, or --tank-fills litres"
    )]
    LitresOrTanks,
    #[error("neither litres nor pieces")]
    NoUnitOfQuantity,
    #[error("without a unit: mg/L, Clark, French or German degrees? Fill in unit")]
    NoUnitOfHardness,
    #[error("in a unit that is not known")]
    HardnessUnit,
    #[error("but the unit beside it is {0}")]
    UnitsDiffer(String),
    #[error("not one of {}", HardnessUnit::ALL.map(HardnessUnit::word).join(", "))]
    NoHardnessUnit,

    #[error("which may be the van's own plant or another: write mains or bought_in")]
    EitherSource,
    #[error("neither mains nor bought_in")]
    NoSource,
    #[error("not a postcode area, district or sector")]
    NoPostcode,
    #[error("a class, not a number: each scheme draws it elsewhere")]
    HardnessClass,
    #[error("not one of {}", Item::ALL.map(Item::word).join(", "))]
    NoItem,
}

/// What kind of fault a row has, as it is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum RefusalKind {
    /// A cell that the row needs says nothing.
    Missing,
    Date,
    Number,
    /// A number, but not one that there can be.
    Implausible,
    Unit,
    /// The name of a van.
    Name,
    /// A word that is none of those that the column knows.
    Word,
    /// Two cells that do not say the same.
    Contradiction,
    /// Too many or too few cells, or quote marks that do not match.
    Cells,
    /// A header, a total or a row for trying things out.
    NoRow,
    /// What belongs to another table.
    OtherTable,
}

impl RefusalKind {
    /// Said behind a count of rows and `by`.
    pub fn word(self) -> &'static str {
        match self {
            RefusalKind::Missing => "something missing",
            RefusalKind::Date => "the date",
            RefusalKind::Number => "a figure that is no number",
            RefusalKind::Implausible => "a figure that cannot be",
            RefusalKind::Unit => "a unit",
            RefusalKind::Name => "the van's name",
            RefusalKind::Word => "a word that is not known",
            RefusalKind::Contradiction => "cells that contradict each other",
            RefusalKind::Cells => "cells out of place",
            RefusalKind::NoRow => "no rows of their own",
            RefusalKind::OtherTable => "another table",
        }
    }
}

impl Refusal {
    pub fn kind(&self) -> RefusalKind {
        match self {
            Refusal::Empty(_) | Refusal::NoMeter | Refusal::NoLitres | Refusal::NoRecord => {
                RefusalKind::Missing
            }
            Refusal::Cell { fault, .. } => fault.kind(),
            Refusal::NoTick { .. } => RefusalKind::Word,
            Refusal::TwoDiffer { .. } => RefusalKind::Contradiction,
            Refusal::Width { .. }
            | Refusal::CutOff { .. }
            | Refusal::TooLong
            | Refusal::Misquoted(_) => RefusalKind::Cells,
            Refusal::HeaderAgain
            | Refusal::HeaderInOtherOrder
            | Refusal::Total
            | Refusal::TotalOrUndated
            | Refusal::TestReading => RefusalKind::NoRow,
            Refusal::HeaderOfAnother | Refusal::BelowAnother => RefusalKind::OtherTable,
        }
    }
}

impl Fault {
    fn kind(&self) -> RefusalKind {
        match self {
            Fault::Date(_)
            | Fault::AfterToday(_)
            | Fault::Before2000
            | Fault::NoDayDone
            | Fault::NoDayOfAVan => RefusalKind::Date,
            Fault::Number(_) | Fault::NoMoney | Fault::Unread => RefusalKind::Number,
            Fault::Negative
            | Fault::MeterOff
            | Fault::MostPpm(_)
            | Fault::NoWater
            | Fault::LeastLitres
            | Fault::MostLitres
            | Fault::MostQuantity
            | Fault::MostOfAVan(_)
            | Fault::NoCount
            | Fault::MostHardness(_) => RefusalKind::Implausible,
            Fault::UnknownUnit(_)
            | Fault::LitresOrTanks
            | Fault::NoUnitOfQuantity
            | Fault::NoUnitOfHardness
            | Fault::HardnessUnit
            | Fault::NoHardnessUnit => RefusalKind::Unit,
            Fault::Formula
            | Fault::NoName
            | Fault::LongName
            | Fault::SeveralVans
            | Fault::StrayQuote => RefusalKind::Name,
            Fault::TestVan => RefusalKind::NoRow,
            Fault::QuotesDiffer => RefusalKind::Cells,
            Fault::UnitsDiffer(_) | Fault::BeforeInService(_) => RefusalKind::Contradiction,
            Fault::Ditto(_)
            | Fault::EitherSource
            | Fault::NoSource
            | Fault::NoPostcode
            | Fault::HardnessClass
            | Fault::NoItem => RefusalKind::Word,
        }
    }
}
