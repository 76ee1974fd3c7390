//! The log of a table, read without the table library where the library cannot
//! read it, or to be checked: one JSON object a line, one file a commit.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::error::StoreError;
use super::integrity::is_what_its_name_says;
use super::part::{Part, file_id_of};
use super::schema::MONTH;
use super::table::sort;

/// What a line of a log may be about.
const KNOWN: [&str; 10] = [
    "add",
    "remove",
    "metaData",
    "protocol",
    "commitInfo",
    "txn",
    "cdc",
    "domainMetadata",
    "checkpointMetadata",
    "sidecar",
];

/// Values by name.
type Said = serde_json::Map<String, serde_json::Value>;

/// What the log says, as far as it can be read.
#[derive(Debug, Default)]
pub(super) struct Log {
    /// Parquet files that are part of the table: path below it → size and rows.
    live: BTreeMap<String, (Option<u64>, Option<u64>)>,
    removed: BTreeSet<String>,
    pub(super) commits: u64,
    /// How often it says how the table is to be read, and what its columns are.
    made: (u64, u64),
    /// Something else is said than which files are in a table as we make them.
    is_special: bool,
    /// The columns that the newest description of the table names.
    pub(super) columns: BTreeSet<String>,
    /// Log files that cannot be read, and why.
    pub(super) damaged: Vec<(PathBuf, String)>,
}

impl Log {
    /// # Errors
    /// Where the folder itself cannot be read.
    pub(super) fn read(log_folder: &Path) -> Result<Log, StoreError> {
        let failed = |e| StoreError::io("read", log_folder, e);
        let mut commits: BTreeMap<u64, PathBuf> = BTreeMap::new();
        for entry in std::fs::read_dir(log_folder).map_err(failed)? {
            let path = entry.map_err(failed)?.path();
            let number = path
                .file_stem()
                .and_then(|stem| stem.to_str()?.parse().ok());
            if let Some(number) = number
                && path.extension().is_some_and(|e| e == "json")
            {
                commits.insert(number, path);
            }
        }
        let mut log = Log::default();
        let newest = commits.keys().next_back().copied();
        for number in 0..=newest.unwrap_or(0) {
            log.commits += 1;
            let name = log_folder.join(format!("{number:020}.json"));
            // by its name: a commit made just now may not have been listed yet
            let path = commits.get(&number).unwrap_or(&name);
            match std::fs::read(path) {
                Ok(bytes) => log.read_commit(path, &bytes),
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                    log.damaged.push((name, "is missing".to_owned()));
                }
                Err(e) => {
                    let what = format!("cannot be read: {e}");
                    log.damaged.push((path.clone(), what));
                }
            }
        }
        let pointer = log_folder.join("_last_checkpoint");
        if let Ok(bytes) = std::fs::read(&pointer)
            && serde_json::from_slice::<serde_json::Value>(&bytes).is_err()
        {
            log.damaged
                .push((pointer, "is no JSON any more".to_owned()));
        }
        Ok(log)
    }

    /// The number of the newest commit, where the whole log says nothing but
    /// which files are part of a table that is still as we made it: then nothing
    /// in it can speak against further files.
    pub(super) fn newest_of_plain(&self) -> Option<u64> {
        let is_plain = self.damaged.is_empty() && !self.is_special && self.made == (1, 1);
        is_plain.then(|| self.commits.checked_sub(1)).flatten()
    }

    /// Takes note of what more than files the log speaks of.
    fn look_for_special(&mut self, action: &Said, info: Option<&serde_json::Value>) {
        // stated twice by a first commit of ours
        let stated = |what: &str| {
            let stated = info?.get("operationParameters")?.get(what)?.as_str()?;
            serde_json::from_str::<serde_json::Value>(stated).ok()
        };
        for (about, what) in action {
            self.is_special |= match about.as_str() {
                "protocol" => {
                    self.made.0 += 1;
                    *what != serde_json::json!({"minReaderVersion": 1, "minWriterVersion": 2})
                        || stated("protocol").as_ref() != Some(what)
                }
                "metaData" => {
                    self.made.1 += 1;
                    what.get("configuration") != Some(&serde_json::json!({}))
                        || stated("metadata").as_ref() != Some(what)
                }
                "add" => {
                    let is = |key: &str, is: fn(&serde_json::Value) -> bool| {
                        what.get(key).is_some_and(is)
                    };
                    !is("path", serde_json::Value::is_string)
                        || !is("partitionValues", serde_json::Value::is_object)
                        || !is("size", serde_json::Value::is_u64)
                        || !is("modificationTime", serde_json::Value::is_i64)
                        || !is("dataChange", serde_json::Value::is_boolean)
                }
                "remove" | "commitInfo" => false,
                _ => true,
            };
        }
    }

    fn read_commit(&mut self, path: &Path, bytes: &[u8]) {
        let mut actions = 0;
        let before = self.damaged.len();
        let mut added: BTreeMap<String, Option<String>> = BTreeMap::new();
        let mut hashes = BTreeMap::new();
        let mut info: Option<serde_json::Value> = None;
        for (n, line) in bytes.split(|b| *b == b'\n').enumerate() {
            if line.is_empty() {
                continue;
            }
            match serde_json::from_slice::<serde_json::Value>(line) {
                Ok(serde_json::Value::Object(mut action)) => {
                    actions += 1;
                    if let Some(unknown) = action.keys().find(|k| !KNOWN.contains(&k.as_str())) {
                        let what = format!("says \"{unknown}\", which means nothing");
                        self.damaged.push((path.to_owned(), what));
                    }
                    if let Some(add) = action.get("add") {
                        let text = |value: Option<&serde_json::Value>| {
                            value.and_then(|v| v.as_str().map(str::to_owned))
                        };
                        let hash = text(add.get("tags").and_then(|tags| tags.get("sha256")));
                        added.insert(text(add.get("path")).unwrap_or_default(), hash);
                    }
                    let stated = action.get("commitInfo").and_then(|info| info.get("sha256"));
                    for (part, hash) in stated.and_then(|s| s.as_object()).into_iter().flatten() {
                        hashes.insert(part.clone(), hash.as_str().map(str::to_owned));
                    }
                    self.take(&action);
                    self.look_for_special(&action, info.as_ref());
                    info = action.remove("commitInfo").or(info);
                }
                _ => {
                    let what = format!("is no JSON any more in line {}", n + 1);
                    self.damaged.push((path.to_owned(), what));
                }
            }
        }
        // Ours state the hash of each file twice; a commit of another program
        // does not.
        let is_ours = !hashes.is_empty() || added.values().any(Option::is_some);
        if is_ours && hashes != added && self.damaged.len() == before {
            self.damaged
                .push((path.to_owned(), "contradicts itself".to_owned()));
        }
        if actions == 0 {
            self.damaged
                .push((path.to_owned(), "says nothing".to_owned()));
        }
    }

    fn take(&mut self, action: &Said) {
        if let Some(described) = action.get("metaData") {
            self.columns = columns_of(described).unwrap_or_default();
        }
        let path_of = |what: &str| action.get(what)?.get("path")?.as_str().map(str::to_owned);
        if let Some(path) = path_of("remove") {
            self.live.remove(&path);
            self.removed.insert(path);
        }
        if let Some(path) = path_of("add") {
            let add = action.get("add");
            let size = add.and_then(|add| add.get("size")?.as_u64());
            let rows = add.and_then(|add| {
                let stats = add.get("stats")?.as_str()?;
                let stats: serde_json::Value = serde_json::from_str(stats).ok()?;
                stats.get("numRecords")?.as_u64()
            });
            self.removed.remove(&path);
            self.live.insert(path, (size, rows));
        }
    }

    /// The Parquet files of the table. Where commits cannot be read, also those
    /// that lie there, that nothing removed and that are what their names say.
    pub(super) fn parts(&self, table_folder: &Path) -> Vec<Part> {
        let mut parts: Vec<Part> = self
            .live
            .iter()
            .filter_map(|(relative, (bytes, rows))| {
                let mut part = part_of(table_folder, relative)?;
                (part.bytes, part.rows) = (*bytes, *rows);
                Some(part)
            })
            .collect();
        if !self.damaged.is_empty() {
            let mut found = Vec::new();
            lying_there(table_folder, "", &mut found);
            for relative in found {
                if !self.live.contains_key(&relative)
                    && !self.removed.contains(&relative)
                    && let Some(part) = part_of(table_folder, &relative)
                    && is_what_its_name_says(&part.path)
                {
                    parts.push(part);
                }
            }
        }
        sort(&mut parts);
        parts
    }
}

fn columns_of(metadata: &serde_json::Value) -> Option<BTreeSet<String>> {
    let schema = metadata.get("schemaString")?.as_str()?;
    let schema: serde_json::Value = serde_json::from_str(schema).ok()?;
    let fields = schema.get("fields")?.as_array()?.iter();
    fields
        .map(|field| Some(field.get("name")?.as_str()?.to_owned()))
        .collect()
}

fn part_of(table_folder: &Path, relative: &str) -> Option<Part> {
    // a name from a damaged log must not lead out of the table
    let is_below = relative
        .split('/')
        .all(|step| !matches!(step, "" | "." | ".."));
    let month = relative
        .split_once('/')
        .and_then(|(folder, _)| folder.strip_prefix(MONTH)?.strip_prefix('='));
    is_below.then_some(())?;
    Some(Part {
        path: table_folder.join(relative),
        file_id: file_id_of(relative)?,
        month: month.map(str::to_owned),
        bytes: None,
        rows: None,
    })
}

fn lying_there(folder: &Path, below: &str, found: &mut Vec<String>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.path().is_dir() {
            if name.starts_with(MONTH) {
                lying_there(&entry.path(), &format!("{name}/"), found);
            }
        } else if name.ends_with(".parquet") {
            found.push(format!("{below}{name}"));
        }
    }
}
