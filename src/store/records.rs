//! What the store keeps and hands out in plain types; the records themselves
//! stand with their columns in `schema`.

use std::sync::Arc;

use crate::calendar::{Date, TimeZone};

pub use super::schema::{Fill, Hardness, Reading, Service, Van};

/// Microseconds since 1970-01-01T00:00:00Z.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
pub struct Instant(pub i64);

/// A day, or an instant where the time of day is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum When {
    /// A plain date in the fleet's time zone.
    Day(Date),
    /// A known instant.
    At(Instant),
}

impl Instant {
    /// The day in that zone; `None` beyond all calendars.
    pub fn date_in(self, zone: &TimeZone) -> Option<Date> {
        Some(zone.local(self.0)?.date())
    }
}

impl When {
    /// As for [`Instant::date_in`].
    pub fn date_in(self, zone: &TimeZone) -> Option<Date> {
        match self {
            When::Day(day) => Some(day),
            When::At(at) => at.date_in(zone),
        }
    }
}

/// Where the water of a fill came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Source {
    /// Tap water through the van's own plant.
    Mains,
    /// Purified elsewhere: passed neither membrane nor resin.
    BoughtIn,
}

impl Source {
    /// The contract's word for the source.
    pub fn word(self) -> &'static str {
        match self {
            Source::Mains => "mains",
            Source::BoughtIn => "bought_in",
        }
    }

    /// The source of that word.
    pub fn of_word(word: &str) -> Option<Source> {
        let all = [Source::Mains, Source::BoughtIn];
        all.into_iter().find(|source| source.word() == word)
    }
}

/// What was worked on.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
)]
pub enum Item {
    Prefilter,
    Membrane,
    Resin,
    Flush,
    Probe,
    Tank,
}

impl Item {
    /// All items, in the contract's order.
    pub const ALL: [Item; 6] = [
        Item::Prefilter,
        Item::Membrane,
        Item::Resin,
        Item::Flush,
        Item::Probe,
        Item::Tank,
    ];

    /// The contract's word for the item.
    pub fn word(self) -> &'static str {
        match self {
            Item::Prefilter => "prefilter",
            Item::Membrane => "membrane",
            Item::Resin => "resin",
            Item::Flush => "flush",
            Item::Probe => "probe",
            Item::Tank => "tank",
        }
    }

    /// The item of that word.
    pub fn of_word(word: &str) -> Option<Item> {
        Item::ALL.into_iter().find(|item| item.word() == word)
    }
}

/// One accepted row, of any kind.
#[derive(Debug, Clone, PartialEq)]
pub enum Record {
    Reading(Reading),
    Fill(Fill),
    Service(Service),
    Van(Van),
    Hardness(Hardness),
}

/// A row that could not be used: kept, counted, listed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SetAside {
    /// Name of the file as the user gave it.
    pub file: String,
    /// 1-based physical line on which the row starts; `None` for a whole file.
    pub line: Option<u64>,
    /// Which part of its line it is, where that holds several kinds; 0 for all
    /// of it.
    pub part: u8,
    pub reason: String,
    /// The row as it stood in the file, decoded, without its line end. Of a
    /// row of more than 64 KiB only the start, with ` […]` behind it.
    pub text: String,
    /// As for [`Reading::day_position`]: the place kept for the row, where its
    /// van and day could be read.
    pub day_position: Option<u32>,
}

impl SetAside {
    /// The number of the row.
    pub fn number(&self) -> Option<u64> {
        self.line.map(|line| part_number(line, self.part))
    }

    /// The kind of the part of its line that it is.
    pub fn kind(&self) -> Option<&'static str> {
        KINDS.get(usize::from(self.part).checked_sub(1)?).copied()
    }
}

/// Where the part stands in a row's number: no file has as many lines.
const PART_BIT: u32 = 48;

/// The number of a part of a line, where a sheet holds several kinds of record:
/// so a line gives a row of each. `kind`: from 1; 0 for the line as a whole,
/// whose number is its own.
pub fn part_number(line: u64, kind: u8) -> u64 {
    line | u64::from(kind) << PART_BIT
}

/// The physical line of a row's number.
pub fn line_of(number: u64) -> u64 {
    number & ((1 << PART_BIT) - 1)
}

/// Which kind of part a row's number stands for; 0 for the whole line.
pub fn part_of(number: u64) -> u8 {
    (number >> PART_BIT) as u8
}

/// The kinds of record by the number of their part, from 1.
pub const KINDS: [&str; 5] = ["readings", "fills", "services", "vans", "hardness"];

impl Record {
    /// The number of its kind among the parts of a line.
    pub fn part(&self) -> u8 {
        match self {
            Record::Reading(_) => 1,
            Record::Fill(_) => 2,
            Record::Service(_) => 3,
            Record::Van(_) => 4,
            Record::Hardness(_) => 5,
        }
    }
}

/// Something repaired or worth knowing about an accepted row or a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    pub line: Option<u64>,
    pub text: String,
}

/// An accepted row: its number (its 1-based physical start line, see
/// [`part_number`]), what it means, and its original text (needed should the van list reject the row later).
pub type AcceptedRow = (u64, Record, Box<str>);

/// What is known of a file before its rows are read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileHead {
    /// Name as the user gave it.
    pub name: String,
    /// SHA-256 of the file's bytes, hex.
    pub sha256: String,
    pub bytes: u64,
}

/// Which row set aside a line of a mended file replaces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mends {
    /// Id of the ingested file, and the row's line in it.
    pub file_id: u64,
    pub line: u64,
    /// Tells whether that row is still the one meant.
    pub print: u32,
}

/// How a file writes its rows: what it takes to write some of them anew.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Dialect {
    /// The line of headers, and that of units below it where there is one.
    pub header: String,
    /// What separates cells.
    pub delimiter: String,
    /// What the rows settled together: `day first; decimal comma`.
    pub habits: String,
}

/// What is known of a file once its rows have been read.
#[derive(Debug, Clone, Default)]
pub struct FileTail {
    pub notes: Vec<Note>,
    /// What was recognised, for people: `semicolon, decimal comma, day first`.
    pub recognised: String,
    pub dialect: Dialect,
    /// What is wrong with rows set aside, in a few words, and with how many.
    pub refused: Vec<(&'static str, u64)>,
}

/// One file as `ingest` understood it, ready for the store.
#[derive(Debug, Clone)]
pub struct FileRows {
    /// Name as the user gave it.
    pub name: String,
    /// SHA-256 of the file's bytes, hex.
    pub sha256: String,
    pub bytes: u64,
    /// In the order of the file.
    pub rows: Vec<AcceptedRow>,
    pub set_aside: Vec<SetAside>,
    pub notes: Vec<Note>,
    /// What was recognised, for people: `semicolon, decimal comma, day first`.
    pub recognised: String,
    pub dialect: Dialect,
}

/// What a file brought.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct FileOutcome {
    pub counts: RowCounts,
    /// Of those stored: corrected versions of records known before.
    pub replaced: u64,
    /// Of those stored: records not known before.
    pub new: u64,
    /// Names that the van list does not know, with their rows; by name.
    pub unknown_vans: Vec<(String, u64)>,
    /// Rows set aside before that are in now.
    pub mended: u64,
    /// Rows that say which row set aside they replace, where there is none.
    pub stray: u64,
    /// Rows that were taken back by hand before, and stay out.
    pub kept_out: u64,
    /// Rows that are stored already, but of which a later version holds.
    pub overruled: Vec<Overruled>,
    /// Rows stored from an earlier file of this name that it does not hold any
    /// more, though it holds those around them.
    pub vanished: Vec<Vanished>,
}

/// A row that is stored already, but of which a later version holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overruled {
    pub line: u64,
    /// The file of the version that holds, and its line there.
    pub by_file: String,
    pub by_id: u64,
    pub by_line: u64,
}

/// A stored row that the file does not hold any more.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vanished {
    pub file_id: u64,
    pub line: u64,
    pub kind: &'static str,
    pub text: String,
}

/// Rows of the store, counted. `read = stored + already_stored + set_aside`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct RowCounts {
    pub read: u64,
    pub stored: u64,
    pub already_stored: u64,
    pub set_aside: u64,
}

impl RowCounts {
    /// Both together.
    pub fn with(self, other: RowCounts) -> RowCounts {
        let stored = self.stored + other.stored;
        let already_stored = self.already_stored + other.already_stored;
        let set_aside = self.set_aside + other.set_aside;
        RowCounts {
            read: stored + already_stored + set_aside,
            stored,
            already_stored,
            set_aside,
        }
    }
}

/// One van's current rows, each list oldest first, possibly empty.
#[derive(Debug, Clone, Default)]
pub struct History {
    pub van: Arc<str>,
    pub readings: Vec<Reading>,
    pub fills: Vec<Fill>,
    pub services: Vec<Service>,
    /// The van's rows of the van list, by `from`; empty without a list.
    pub listed: Vec<Van>,
}

/// Everything current in the store.
#[derive(Debug, Clone, Default)]
pub struct Fleet {
    /// In order of van name.
    pub histories: Vec<History>,
    /// Sorted by postcode, then `as_of`.
    pub hardness: Vec<Hardness>,
    /// Whether the store holds a van list at all.
    pub has_van_list: bool,
    pub rows: RowCounts,
}
