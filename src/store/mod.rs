//! The tables on disk: schema, append, snapshot, history, the set-aside list.
//!
//! One Delta table per kind of record, `set_aside` and `files` beside them. A
//! row is never changed: a corrected one is added, and the newest version of a
//! record wins on reading. A file is in the store once its line in `files` is
//! committed, which happens last.

mod by_hand;
mod by_month;
mod error;
mod export;
mod field;
mod files;
mod folder;
mod in_force;
mod integrity;
mod judge;
mod lineage;
mod log;
mod mend;
pub mod names;
mod part;
mod partition;
pub mod records;
mod row_text;
mod schema;
mod set_aside;
mod snapshot;
mod summary;
mod table;
mod taking;
mod vans;
mod writer;

#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::Arc;

pub use by_hand::{Renaming, RowDeed, RowFound};
pub use by_month::{DistrictMonth, Placed, PlacedRow, by_district_and_month};
pub use error::StoreError;
pub use field::Cell;
pub use files::FileLine;
pub use integrity::{Checked, Damage};
pub use lineage::{Action, UndoEntry};
pub use partition::{KindRows, RowBatch, RowBuilder};
pub use records::{FileOutcome, Vanished};
pub use row_text::RowStyle;
pub use row_text::{harmless, print_of};
pub use schema::TableName;
pub use summary::Input;
pub use taking::Taking;
pub use vans::VanChunks;
pub use writer::Writer;

use folder::{LOCK_FILE, WriteLock};
use integrity::Sound;
use log::Log;
use part::Part;
use records::{Fleet, RowCounts, SetAside};
use snapshot::Snapshot;
use table::{LOG_FOLDER, Table, Worker};

/// Version of the layout of the store as a whole.
const FORMAT: u64 = 1;
/// Says that a folder is a store, and of which format.
const MARKER: &str = "litrewise.json";
/// Rows in memory while all are counted.
const ROWS_COUNTED_AT_ONCE: u64 = 300_000;
/// What may lie in a folder that is to become a store.
const OWN_NAMES: [&str; 4] = ["litrewise.toml", MARKER, "litrewise.json.new", LOCK_FILE];

/// A folder with everything a fleet has told.
#[derive(Debug)]
pub struct Store {
    path: PathBuf,
    worker: Worker,
    sound: Arc<Sound>,
}

/// What is found damaged in a store while it is read.
#[derive(Debug, Clone)]
pub struct DamageSeen(Arc<Sound>);

impl DamageSeen {
    /// So far, in order of path.
    pub fn list(&self) -> Vec<Damage> {
        self.0.damage()
    }
}

/// A fleet as read from the store.
#[derive(Debug)]
pub enum Read {
    Whole(records::Fleet),
    /// Some vans at a time.
    InTurn(Box<VanChunks>),
}

impl Store {
    /// Opens the store, made first if the folder is new or empty.
    ///
    /// # Errors
    /// [`StoreError::NotAStore`] where the folder holds other things,
    /// [`StoreError::NewerFormat`], or what kept it from being made.
    pub fn create_or_open(path: &Path) -> Result<Store, StoreError> {
        // An empty one says nothing: its making was cut off.
        let marked = || std::fs::metadata(path.join(MARKER)).is_ok_and(|m| m.len() > 0);
        if marked() {
            return Store::open(path);
        }
        refuse_other_folders(path)?;
        folder::create_folder(path).map_err(|e| StoreError::io("create", path, e))?;
        // Two processes that make it at once would trip over each other.
        let lock = WriteLock::take(path, Some(&|| {}))?;
        if marked() {
            drop(lock);
            return Store::open(path);
        }
        let store = Store {
            path: path.to_owned(),
            worker: Worker::start()?,
            sound: Arc::default(),
        };
        for name in TableName::ALL {
            Table::create(&store.worker, path, name)?;
        }
        let marker = path.join(MARKER);
        let text = format!("{{\"format\": {FORMAT}}}\n");
        folder::write_file(&marker, text.as_bytes())
            .map_err(|e| StoreError::io("write", &marker, e))?;
        Ok(store)
    }

    /// Opens a store that is there.
    ///
    /// # Errors
    /// [`StoreError::NoStore`], [`StoreError::NewerFormat`], or what kept it
    /// from being read.
    pub fn open(path: &Path) -> Result<Store, StoreError> {
        check_format(path)?;
        Ok(Store {
            path: path.to_owned(),
            worker: Worker::start()?,
            sound: Arc::default(),
        })
    }

    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Takes the lock and clears what an interrupted ingest left.
    ///
    /// # Errors
    /// [`StoreError::Busy`] where another process writes.
    pub fn writer(&self) -> Result<Writer<'_>, StoreError> {
        Writer::open(self, None)
    }

    /// The same, after the end of another process that writes; `say` is called
    /// once before it is waited for.
    ///
    /// # Errors
    /// Where the store cannot be read or written.
    pub fn writer_in_turn(&self, say: &(dyn Fn() + Sync)) -> Result<Writer<'_>, StoreError> {
        Writer::open(self, Some(say))
    }

    fn snapshot(&self) -> Result<Snapshot, StoreError> {
        Snapshot::load(self)
    }

    /// The sound Parquet files of a table. What is damaged is noted and left out.
    fn listed(&self, name: TableName) -> Result<Vec<Part>, StoreError> {
        let folder = self.path.join(name.folder());
        let parts = match Table::load_if_there(&self.path, name) {
            Ok(Some(table)) => Ok(table.parts().to_vec()),
            Ok(None) => {
                if !name.came_later() {
                    self.sound.note(&folder, "is missing".to_owned());
                }
                return Ok(Vec::new());
            }
            Err(e) => Err(e),
        };
        let parts = match parts {
            Ok(parts) => parts,
            Err(error) => {
                let log = Log::read(&folder.join(LOG_FOLDER))?;
                if log.damaged.is_empty() {
                    self.sound.note(&folder, format!("cannot be read: {error}"));
                }
                for (path, what) in &log.damaged {
                    self.sound.note(path, what.clone());
                }
                log.parts(&folder)
            }
        };
        Ok(self.sound.only_sound(parts))
    }

    /// What is found damaged while the store is read from now on.
    pub fn damage_seen(&self) -> DamageSeen {
        DamageSeen(self.sound.clone())
    }

    /// Holds every file of the store against what was written.
    ///
    /// # Errors
    /// Where a folder cannot be read.
    pub fn check(&self) -> Result<Checked, StoreError> {
        integrity::check(self)
    }

    /// Everything current, van by van, oldest first.
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn fleet(&self) -> Result<Fleet, StoreError> {
        self.snapshot()?.fleet()
    }

    /// The same where it has at most so many rows; else its vans some at a time,
    /// as for [`Store::van_chunks`].
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn fleet_up_to(&self, most_rows: u64, rows_at_once: u64) -> Result<Read, StoreError> {
        let snapshot = self.snapshot()?;
        let parts = TableName::OF_VANS
            .into_iter()
            .flat_map(|name| snapshot.parts(name));
        let rows: u64 = parts.filter_map(|part| part.rows).sum();
        Ok(match rows <= most_rows {
            true => Read::Whole(snapshot.fleet()?),
            false => Read::InTurn(Box::new(VanChunks::new(&snapshot, rows_at_once)?)),
        })
    }

    /// The same from vans summed up before; lists, counts and the hardness table
    /// come from the store.
    ///
    /// # Errors
    /// Where the tables or the summaries cannot be read.
    pub fn fleet_of_summaries(&self, sources: &[Input]) -> Result<Fleet, StoreError> {
        let summaries = summary::read(sources)?;
        let lists = self.snapshot()?.lists()?;
        Ok(lists.fleet(summaries.vans, summaries.rows))
    }

    /// Sums up every van and writes the summaries as an Arrow stream.
    ///
    /// # Errors
    /// Where the tables cannot be read or `out` not be written to.
    pub fn summarise(&self, out: &mut dyn std::io::Write) -> Result<(), StoreError> {
        summary::write_own(&self.snapshot()?, out)
    }

    /// The same for whole vans' rows that another engine hands over: the
    /// columns of `readings`, `fills` and `services` in one table, and `kind`,
    /// which holds the table's name. Rows that are not in force are passed over.
    ///
    /// # Errors
    /// As above; and where the rows are not what is expected.
    pub fn summarise_rows(
        &self,
        rows: &[Input],
        out: &mut dyn std::io::Write,
    ) -> Result<(), StoreError> {
        let snapshot = self.snapshot()?;
        let names = snapshot.van_names()?;
        summary::write(summary::of_rows(rows, &snapshot, &names)?, out)
    }

    /// Every row set aside now, in order of ingest, then of line.
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn set_aside(&self) -> Result<Vec<SetAside>, StoreError> {
        let rows = self.set_aside_by_file()?.into_iter();
        Ok(rows.map(|(_, row)| row).collect())
    }

    /// Every row set aside now, with the id of its file.
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn set_aside_by_file(&self) -> Result<Vec<(u64, SetAside)>, StoreError> {
        self.snapshot()?.set_aside()
    }

    /// Every ingested file, in order of ingest, those taken back included.
    ///
    /// # Errors
    /// Where the table cannot be read.
    pub fn files(&self) -> Result<Vec<FileLine>, StoreError> {
        let finished = snapshot::load_files(self)?;
        Ok(finished.files.into_iter().map(|f| f.line).collect())
    }

    /// What was done to files after they were taken in, in order.
    ///
    /// # Errors
    /// Where the table cannot be read.
    pub fn undone(&self) -> Result<Vec<UndoEntry>, StoreError> {
        Ok(self.snapshot()?.undone)
    }

    /// What was done to single rows, in order.
    ///
    /// # Errors
    /// Where the table cannot be read.
    pub fn rows_undone(&self) -> Result<Vec<RowDeed>, StoreError> {
        Ok(self.snapshot()?.row_deeds)
    }

    /// The names that vans were given, in order.
    ///
    /// # Errors
    /// Where the table cannot be read.
    pub fn renamings(&self) -> Result<Vec<Renaming>, StoreError> {
        Ok(self.snapshot()?.renamings)
    }

    /// What stands on some lines of a file, stored or set aside.
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn rows_on(
        &self,
        file_id: u64,
        lines: &std::ops::RangeInclusive<u64>,
    ) -> Result<Vec<RowFound>, StoreError> {
        self.snapshot()?.rows_on(file_id, lines)
    }

    /// Totals over everything in the store now.
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn row_counts(&self) -> Result<RowCounts, StoreError> {
        let mut chunks = self.van_chunks(ROWS_COUNTED_AT_ONCE)?;
        for chunk in &mut chunks {
            chunk?;
        }
        Ok(chunks.rows())
    }

    /// Everything current, some vans at a time in order of their names: as many
    /// as have so many rows together, at least one.
    ///
    /// # Errors
    /// Where the tables cannot be read.
    pub fn van_chunks(&self, rows_at_once: u64) -> Result<VanChunks, StoreError> {
        VanChunks::new(&self.snapshot()?, rows_at_once)
    }

    /// Writes the current rows as the five CSV files of the contract, their
    /// times with the offset of `tz`.
    ///
    /// # Errors
    /// Where the tables cannot be read or the folder not be written.
    pub fn export(&self, out: &Path, tz: &crate::calendar::TimeZone) -> Result<(), StoreError> {
        export::write(&self.fleet()?, out, tz)
    }

    /// The same for the eyes of others: vans under made-up names, which are the
    /// same in every export of this store, postcodes cut to their area, parts,
    /// notes and sources left out.
    ///
    /// # Errors
    /// As for [`Store::export`]; and where the secret of the names cannot be
    /// kept in the store.
    pub fn export_anonymous(
        &self,
        out: &Path,
        tz: &crate::calendar::TimeZone,
    ) -> Result<(), StoreError> {
        let key = export::key(&self.path)?;
        export::write(&export::anonymous(self.fleet()?, &key), out, tz)
    }
}

#[derive(serde::Deserialize)]
struct Marker {
    format: u64,
}

fn check_format(path: &Path) -> Result<(), StoreError> {
    let marker = path.join(MARKER);
    let text = match std::fs::read_to_string(&marker) {
        Ok(text) => text,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            return Err(StoreError::NoStore {
                path: path.to_owned(),
            });
        }
        Err(e) => return Err(StoreError::io("read", &marker, e)),
    };
    let Ok(Marker { format }) = serde_json::from_str(&text) else {
        return Err(StoreError::UnreadableMarker { path: marker });
    };
    if format > FORMAT {
        return Err(StoreError::NewerFormat {
            found: format,
            reads: FORMAT,
        });
    }
    Ok(())
}

/// A folder that holds something of somebody else's does not become a store;
/// one whose making was interrupted does.
fn refuse_other_folders(path: &Path) -> Result<(), StoreError> {
    let entries = match std::fs::read_dir(path) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(e) => return Err(StoreError::io("read", path, e)),
    };
    for entry in entries {
        let name = entry
            .map_err(|e| StoreError::io("read", path, e))?
            .file_name();
        let is_table = TableName::ALL.iter().any(|t| name == t.folder());
        if !is_table && !OWN_NAMES.iter().any(|own| name == *own) {
            return Err(StoreError::NotAStore {
                path: path.to_owned(),
            });
        }
    }
    Ok(())
}
