//! Files read, and taken into a store of their own.

use litrewise::inside::calendar::{Date, TimeZone, date};
use litrewise::inside::ingest::{self, Options, ReadError};
use litrewise::inside::lives::{self, VanLives};
use litrewise::inside::settings::Settings;
use litrewise::inside::store::records::{FileRows, Fleet, History, Instant, Record, RowCounts};
use litrewise::inside::store::{FileOutcome, Store};

pub const TODAY: Date = date(2026, 11, 25);

pub fn options() -> Options {
    Options::new(TimeZone::LONDON, TODAY)
}

pub fn try_read(bytes: impl AsRef<[u8]>) -> Result<FileRows, ReadError> {
    ingest::read_bytes(bytes.as_ref(), "yard.csv", &options())
}

pub fn read(bytes: impl AsRef<[u8]>) -> FileRows {
    try_read(bytes).unwrap()
}

/// The one record of a file that holds one good row.
pub fn only(text: &str) -> Record {
    let file = read(text);
    assert!(file.set_aside.is_empty(), "{:?}", file.set_aside);
    assert_eq!(file.rows.len(), 1, "{text}");
    file.rows.into_iter().next().unwrap().1
}

/// The reason of the one row of a file, which cannot be used.
pub fn reason(text: &str) -> String {
    let file = read(text);
    assert!(file.rows.is_empty(), "{text}: {:?}", file.rows);
    assert_eq!(file.set_aside.len(), 1, "{text}");
    file.set_aside.into_iter().next().unwrap().reason
}

/// Why a whole file is refused.
pub fn refused(bytes: impl AsRef<[u8]>) -> String {
    try_read(bytes).unwrap_err().to_string()
}

pub fn is_noted(file: &FileRows, part: &str) -> bool {
    file.notes.iter().any(|note| note.text.contains(part))
}

pub fn micros(at: &str) -> i64 {
    at.parse::<chrono::DateTime<chrono::Utc>>()
        .unwrap()
        .timestamp_micros()
}

/// A store in a folder of its own, removed afterwards.
pub struct Yard {
    _folder: tempfile::TempDir,
    store: Store,
    files: i64,
}

impl Yard {
    pub fn new() -> Yard {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::create_or_open(&folder.path().join("store")).unwrap();
        Yard {
            _folder: folder,
            store,
            files: 0,
        }
    }

    pub fn of(texts: &[&str]) -> Yard {
        let mut yard = Yard::new();
        for text in texts {
            yard.take_in(text);
        }
        yard
    }

    /// Takes in a file with a name of its own.
    pub fn take_in(&mut self, text: impl AsRef<[u8]>) -> FileOutcome {
        let name = format!("{}.csv", self.files);
        self.take_in_as(&name, text)
    }

    pub fn take_in_as(&mut self, name: &str, text: impl AsRef<[u8]>) -> FileOutcome {
        self.try_take_in_as(name, text).unwrap()
    }

    pub fn try_take_in_as(
        &mut self,
        name: &str,
        text: impl AsRef<[u8]>,
    ) -> Result<FileOutcome, ReadError> {
        self.files += 1;
        let rows = ingest::read_bytes(text.as_ref(), name, &options())?;
        let mut writer = self.store.writer().unwrap();
        Ok(writer.add(rows, Instant(self.files)).unwrap())
    }

    /// Reason and text of each row set aside.
    pub fn set_aside_rows(&self) -> Vec<(String, String)> {
        let rows = self.store.set_aside().unwrap();
        rows.into_iter().map(|row| (row.reason, row.text)).collect()
    }

    pub fn fleet(&self) -> Fleet {
        self.store.fleet().unwrap()
    }

    pub fn history(&self, van: &str) -> History {
        let fleet = self.fleet();
        let named = fleet.histories.into_iter().find(|h| &*h.van == van);
        named.unwrap_or_else(|| panic!("no van {van}"))
    }

    pub fn counts(&self) -> RowCounts {
        self.store.row_counts().unwrap()
    }

    pub fn reasons(&self) -> Vec<String> {
        let rows = self.store.set_aside().unwrap();
        rows.into_iter().map(|row| row.reason).collect()
    }

    pub fn export(&self) -> [String; 5] {
        let out = tempfile::tempdir().unwrap();
        let out = out.path().join("out");
        self.store.export(&out, &options().time_zone).unwrap();
        ["readings", "fills", "services", "vans", "hardness"]
            .map(|name| std::fs::read_to_string(out.join(format!("{name}.csv"))).unwrap())
    }

    /// One van as the records show it today.
    pub fn lives(&self, van: &str) -> VanLives {
        let cut = lives::cut(&self.fleet(), TODAY, &Settings::default());
        let mut all = cut.vans.into_iter().chain(cut.retired);
        all.find(|lives| &*lives.van == van)
            .unwrap_or_else(|| panic!("no van {van}"))
    }

    pub fn is_remarked(&self, van: &str, part: &str) -> bool {
        self.lives(van)
            .remarks
            .iter()
            .any(|r| r.text.contains(part))
    }
}
