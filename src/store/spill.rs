//! Rows of a file too long to be held in memory, laid down by kind and month
//! until they are judged.

use std::collections::BTreeMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::path::{Path, PathBuf};

use super::arrays::Columns;
use super::columns::Kind;
use super::error::StoreError;
use super::names::VanNames;
use super::part;
use super::private;
use super::records::{AcceptedRow, Fill, Hardness, Reading, Record, Service, Van};
use super::rows::identity_of;
use super::schema::{LINE, TEXT, TableName};
use super::write::Origin;

/// Below the store, while a long file is being read.
pub(super) const FOLDER: &str = "being-read";

/// Versions of one record always lie in the same heap.
#[derive(Debug)]
pub(super) struct Spill {
    folder: PathBuf,
    heaps: BTreeMap<(TableName, Option<String>), Heap>,
    written: u64,
}

/// Rows of one kind and month.
#[derive(Debug, Default)]
pub(super) struct Heap {
    files: Vec<PathBuf>,
    rows: u64,
    /// Of text, about.
    bytes: u64,
}

impl Spill {
    pub(super) fn create(store: &Path) -> Result<Spill, StoreError> {
        clear(store)?;
        let folder = store.join(FOLDER);
        private::create_folder(&folder).map_err(|e| StoreError::io("create", &folder, e))?;
        Ok(Spill {
            folder,
            heaps: BTreeMap::new(),
            written: 0,
        })
    }

    /// Lays rows down.
    pub(super) fn lay_down(
        &mut self,
        origin: &Origin<'_>,
        rows: &[AcceptedRow],
    ) -> Result<(), StoreError> {
        self.lay_down_kind::<Reading>(origin, rows)?;
        self.lay_down_kind::<Fill>(origin, rows)?;
        self.lay_down_kind::<Service>(origin, rows)?;
        self.lay_down_kind::<Van>(origin, rows)?;
        self.lay_down_kind::<Hardness>(origin, rows)
    }

    fn lay_down_kind<T: Kind>(
        &mut self,
        origin: &Origin<'_>,
        rows: &[AcceptedRow],
    ) -> Result<(), StoreError> {
        self.written += 1;
        let folder = self.folder.join(format!("{:06}", self.written));
        let text: usize = rows.iter().map(|(_, _, text)| text.len()).sum();
        let text_of_row = (text as u64).div_ceil(rows.len().max(1) as u64);
        for part in origin.write_kind::<T>(&folder, rows, |_| true)? {
            let heap = self.heaps.entry((T::TABLE, part.month)).or_default();
            heap.rows += part.rows;
            heap.bytes += part.rows * text_of_row;
            heap.files.push(part.path);
        }
        Ok(())
    }

    pub(super) fn into_heaps(self) -> Vec<(TableName, Heap)> {
        let heaps = self.heaps.into_iter();
        heaps.map(|((table, _), heap)| (table, heap)).collect()
    }
}

/// Removes what was laid down.
pub(super) fn clear(store: &Path) -> Result<(), StoreError> {
    let folder = store.join(FOLDER);
    match std::fs::remove_dir_all(&folder) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => {
            Err(StoreError::io("clear", &folder, e))
        }
        _ => Ok(()),
    }
}

impl Heap {
    /// Rows of a heap that are judged together: as many as `limit`, and so
    /// many bytes of them, may be in memory.
    pub(super) fn for_each_share(
        &self,
        table: TableName,
        limit: u64,
        bytes: u64,
        names: &VanNames,
        each: impl FnMut(Vec<AcceptedRow>) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        let shares = self
            .rows
            .div_ceil(limit.max(1))
            .max(self.bytes.div_ceil(bytes.max(1)));
        match table {
            TableName::Readings => self.shares::<Reading>(shares, names, each),
            TableName::Fills => self.shares::<Fill>(shares, names, each),
            TableName::Services => self.shares::<Service>(shares, names, each),
            TableName::Vans => self.shares::<Van>(shares, names, each),
            TableName::Hardness => self.shares::<Hardness>(shares, names, each),
            TableName::SetAside | TableName::Repeats | TableName::TakenBack | TableName::Files => {
                Ok(())
            }
        }
    }

    /// A heap of more than one share is laid down once more, share by share.
    fn shares<T: Kind>(
        &self,
        shares: u64,
        names: &VanNames,
        mut each: impl FnMut(Vec<AcceptedRow>) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        if shares <= 1 {
            let mut rows = Vec::new();
            for file in &self.files {
                read_back::<T>(file, |row| rows.push(row))?;
            }
            return each(rows);
        }
        let Some(folder) = self.files.first().and_then(|file| file.parent()) else {
            return Ok(());
        };
        let origin = Origin {
            file: "",
            id: 0,
            at: super::records::Instant(0),
        };
        let mut parts: Vec<Vec<PathBuf>> = Vec::new();
        parts.resize_with(usize::try_from(shares).unwrap_or(usize::MAX), Vec::new);
        for (n, file) in self.files.iter().enumerate() {
            let mut split: Vec<Vec<AcceptedRow>> = Vec::new();
            split.resize_with(parts.len(), Vec::new);
            read_back::<T>(file, |row| {
                let share = usize::try_from(share_of::<T>(&row.1, names) % shares).unwrap_or(0);
                if let Some(rows) = split.get_mut(share) {
                    rows.push(row);
                }
            })?;
            for (share, (rows, files)) in split.iter().zip(&mut parts).enumerate() {
                let folder = folder.join(format!("share-{n:06}-{share:06}"));
                let written = origin.write_kind::<T>(&folder, rows, |_| true)?;
                files.extend(written.into_iter().map(|part| part.path));
            }
        }
        for files in parts {
            let mut rows = Vec::new();
            for file in &files {
                read_back::<T>(file, |row| rows.push(row))?;
            }
            each(rows)?;
        }
        Ok(())
    }
}

/// The same for all versions of one record.
fn share_of<T: Kind>(record: &Record, names: &VanNames) -> u64 {
    let mut hasher = DefaultHasher::new();
    if let Some(record) = T::of(record) {
        match identity_of::<T>(names, record.who()) {
            Ok(identity) => identity.hash(&mut hasher),
            Err(_) => record.who().hash(&mut hasher),
        }
        record.when().hash(&mut hasher);
    }
    hasher.finish()
}

fn read_back<T: Kind>(path: &Path, mut each: impl FnMut(AcceptedRow)) -> Result<(), StoreError> {
    let broken = || StoreError::Damaged {
        path: path.to_owned(),
        what: "a row that was just written lacks a value".to_owned(),
    };
    for batch in part::batches(path, T::TABLE, None)? {
        let batch = batch?;
        let columns = Columns {
            batch: &batch,
            path,
        };
        let opened = T::open(&columns)?;
        let lines = columns.wholes(LINE)?;
        let texts = columns.texts(TEXT)?;
        for row in 0..batch.num_rows() {
            let line = lines.get(row).ok_or_else(broken)?;
            let record = T::get(&opened, row).ok_or_else(broken)?;
            each((line, record.into_record(), texts.value(row).into()));
        }
    }
    Ok(())
}
