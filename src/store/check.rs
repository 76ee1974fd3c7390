//! The whole store held against what was written.

use std::collections::{BTreeMap, BTreeSet};

use super::Store;
use super::error::StoreError;
use super::files::FileLine;
use super::log::Log;
use super::schema::TableName;
use super::sound::Damage;
use super::table::{LOG_FOLDER, Table};

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
