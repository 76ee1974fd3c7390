//! Whether the store's files are still what was written: each Parquet file is
//! held against the size that its commit states and the hash in its name,
//! before anything is read from it. What is not sound is named and passed over.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use super::Store;
use super::error::StoreError;
use super::files::FileLine;
use super::log::Log;
use super::part::{Part, file_id_of, hex};
use super::schema::TableName;
use super::table::{LOG_FOLDER, Table};

/// A file of the store that is not what was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    pub path: PathBuf,
    /// Said behind the path: `is missing`.
    pub what: String,
    /// Whether its bytes are gone; otherwise they only cannot be read now.
    pub is_lost: bool,
    /// The ingested file whose rows it holds, if it is that kind of file.
    pub file_id: Option<u64>,
    /// How many rows it holds, if that is known.
    pub rows: Option<u64>,
}

/// What was looked at so far; nothing is looked at twice.
#[derive(Debug, Default)]
pub(super) struct Sound {
    seen: Mutex<BTreeMap<PathBuf, Option<Damage>>>,
}

impl Sound {
    fn seen(&self) -> std::sync::MutexGuard<'_, BTreeMap<PathBuf, Option<Damage>>> {
        self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether the Parquet file is as it was written.
    pub(super) fn is_sound(&self, part: &Part) -> bool {
        if let Some(known) = self.seen().get(&part.path) {
            return known.is_none();
        }
        let damage = look_at(&part.path, part.bytes).map(|what| Damage {
            path: part.path.clone(),
            is_lost: !what.starts_with(UNREADABLE),
            what,
            file_id: Some(part.file_id),
            rows: part.rows,
        });
        let is_sound = damage.is_none();
        self.seen().insert(part.path.clone(), damage);
        is_sound
    }

    /// Only those that are.
    pub(super) fn only_sound(&self, parts: Vec<Part>) -> Vec<Part> {
        let looked_at = parts.into_par_iter().filter(|part| self.is_sound(part));
        looked_at.collect()
    }

    /// Keeps in mind that something else is damaged.
    pub(super) fn note(&self, path: &Path, what: String) {
        let damage = Damage {
            path: path.to_owned(),
            what,
            is_lost: true,
            file_id: None,
            rows: None,
        };
        self.seen().insert(path.to_owned(), Some(damage));
    }

    /// Whether the Parquet file's bytes are gone for good.
    pub(super) fn is_lost(&self, part: &Part) -> bool {
        let is_sound = self.is_sound(part);
        let seen = self.seen();
        let damage = seen.get(&part.path).and_then(Option::as_ref);
        !is_sound && damage.is_some_and(|damage| damage.is_lost)
    }

    /// Everything found damaged so far, in order of path.
    pub(super) fn damage(&self) -> Vec<Damage> {
        self.seen().values().flatten().cloned().collect()
    }
}

const UNREADABLE: &str = "cannot be read";

/// What is wrong with a Parquet file, if anything.
fn look_at(path: &Path, expected: Option<u64>) -> Option<String> {
    let (bytes, sha256) = match hash_of(path) {
        Ok(found) => found,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Some("is missing".to_owned()),
        Err(e) => return Some(format!("{UNREADABLE}: {e}")),
    };
    if let Some(expected) = expected.filter(|expected| *expected != bytes) {
        return Some(format!(
            "is {bytes} bytes long where {expected} were written"
        ));
    }
    let stated = stated_hash(path)?;
    (!sha256.starts_with(&stated)).then(|| "holds other bytes than were written".to_owned())
}

/// The start of the hash, from the name.
fn stated_hash(path: &Path) -> Option<String> {
    let name = path.file_stem()?.to_str()?;
    file_id_of(name)?;
    Some(name.rsplit('-').next()?.to_owned())
}

fn hash_of(path: &Path) -> io::Result<(u64, String)> {
    let mut file = File::open(path)?;
    let mut hash = Sha256::new();
    let mut block = vec![0; 1 << 18];
    let mut bytes = 0;
    loop {
        let count = file.read(&mut block)?;
        if count == 0 {
            return Ok((bytes, hex(&hash.finalize())));
        }
        bytes += count as u64;
        hash.update(block.get(..count).unwrap_or_default());
    }
}

/// Whether a file that no commit names, or whose commit cannot be read, is
/// what its name says.
pub(super) fn is_what_its_name_says(path: &Path) -> bool {
    stated_hash(path).is_some() && look_at(path, None).is_none()
}

/// What a check of the whole store found.
#[derive(Debug, Clone, Default)]
pub struct Checked {
    /// Parquet files looked at, their bytes and rows.
    pub files: u64,
    pub bytes: u64,
    pub rows: u64,
    /// Commits whose log was read.
    pub commits: u64,
    pub damage: Vec<Damage>,
    /// The ingested files that damaged rows came from, with the rows that
    /// ingesting them again brings back.
    pub sources: Vec<(FileLine, u64)>,
}

pub(super) fn check(store: &Store) -> Result<Checked, StoreError> {
    let mut checked = Checked::default();
    for name in TableName::ALL {
        let folder = store.path.join(name.folder());
        let log_folder = folder.join(LOG_FOLDER);
        if !log_folder.is_dir() {
            if !name.came_later() {
                store.sound.note(&log_folder, "is missing".to_owned());
            }
            continue;
        }
        let log = Log::read(&log_folder)?;
        checked.commits += log.commits;
        for (path, what) in &log.damaged {
            store.sound.note(path, what.clone());
        }
        let parts = log.parts(&folder);
        checked.files += parts.len() as u64;
        checked.bytes += parts.iter().filter_map(|part| part.bytes).sum::<u64>();
        checked.rows += parts.iter().filter_map(|part| part.rows).sum::<u64>();
        store.sound.only_sound(parts);
        // The library's own view of it, which may fail where ours does not.
        if log.damaged.is_empty() {
            let table = Table::load(&store.path, name);
            let read = table.and_then(|mut table| table.is_read_by_library(&store.worker));
            if let Err(error) = read {
                store
                    .sound
                    .note(&folder, format!("cannot be read: {error}"));
            }
        }
    }
    checked.damage = store.sound.damage();
    let files: BTreeMap<u64, FileLine> = store.files()?.into_iter().map(|f| (f.id, f)).collect();
    let ids: BTreeSet<u64> = checked.damage.iter().filter_map(|d| d.file_id).collect();
    for id in ids {
        let of_file = checked.damage.iter().filter(|d| d.file_id == Some(id));
        let rows = of_file.filter_map(|damage| damage.rows).sum();
        let line = files.get(&id).cloned();
        checked.sources.extend(line.map(|line| (line, rows)));
    }
    Ok(checked)
}
