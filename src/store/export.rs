//! The current rows as plain CSV that comes in again unchanged; for the eyes of others
//! under made-up names.

use std::cell::Cell as Flag;
use std::collections::{BTreeMap, HashMap};
use std::io::{BufWriter, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest, Sha256};

use super::error::StoreError;
use super::field::TimeSpelling;
use super::folder;
use super::names::van_key;
use super::part::hex;
use super::records::{Fleet, Hardness, Instant};
use super::row_text::harmless;
use super::schema::Kind;
use crate::calendar::{FixedOffset, TimeZone, iso_time};
use crate::water::HardnessUnit;

/// Writes the five files of the contract, columns in its order.
pub(super) fn write(fleet: &Fleet, out: &Path, tz: &TimeZone) -> Result<(), StoreError> {
    folder::create_folder(out).map_err(|e| StoreError::io("create", out, e))?;
    let vans = fleet.histories.iter();
    write_kind(out, tz, vans.clone().flat_map(|h| &h.readings))?;
    write_kind(out, tz, vans.clone().flat_map(|h| &h.fills))?;
    write_kind(out, tz, vans.clone().flat_map(|h| &h.services))?;
    write_kind(out, tz, vans.flat_map(|h| &h.listed))?;
    write_kind(out, tz, fleet.hardness.iter())
}

fn write_kind<'r, T: Kind + 'r>(
    out: &Path,
    zone: &TimeZone,
    rows: impl Iterator<Item = &'r T>,
) -> Result<(), StoreError> {
    let path = out.join(format!("{}.csv", T::TABLE.folder()));
    let times = LocalTimes {
        zone,
        is_beyond: Flag::new(false),
    };
    let fields = T::TABLE.header();
    let mut table = Csv::create(path)?;
    for field in &fields {
        table.cell(field)?;
    }
    table.end_row()?;
    for row in rows {
        let day = row.day(&times);
        for field in &fields {
            let cell = match &day {
                Some((at, day)) if at == field => day.clone(),
                _ => row.spell(field, &times),
            };
            match T::is_text(field) {
                true => table.cell(harmless(&cell).as_bytes())?,
                false => table.cell(&cell)?,
            }
        }
        table.end_row()?;
        if times.is_beyond.get() {
            return Err(StoreError::Damaged {
                path: table.path,
                what: "a time lies outside the years -9999 to 9999".to_owned(),
            });
        }
    }
    table.finish()
}

/// Times with their offset from UTC.
struct LocalTimes<'z> {
    zone: &'z TimeZone,
    /// A time lay outside all calendars.
    is_beyond: Flag<bool>,
}

impl TimeSpelling for LocalTimes<'_> {
    fn time(&self, at: Instant) -> String {
        let mut offset = self.zone.offset_at(at.0);
        if offset.seconds() % 60 != 0 {
            // Local mean time of long ago, which ISO 8601 cannot write.
            offset = FixedOffset::UTC;
        }
        let Some(local) = offset.local(at.0) else {
            self.is_beyond.set(true);
            return String::new();
        };
        let sign = if offset.seconds() < 0 { '-' } else { '+' };
        let minutes = offset.seconds().unsigned_abs() / 60;
        let (h, m) = (minutes / 60, minutes % 60);
        format!("{}{sign}{h:02}:{m:02}", iso_time(local))
    }

    fn day(&self, at: Instant) -> String {
        at.date_in(self.zone).map_or_else(
            || {
                self.is_beyond.set(true);
                String::new()
            },
            |day| day.to_string(),
        )
    }
}

/// One file being written; remembers its path for what goes wrong.
struct Csv {
    path: PathBuf,
    csv: csv::Writer<BufWriter<std::fs::File>>,
}

impl Csv {
    fn create(path: PathBuf) -> Result<Csv, StoreError> {
        let file = folder::create_file(&path).map_err(|e| StoreError::io("write", &path, e))?;
        Ok(Csv {
            path,
            csv: csv::WriterBuilder::new()
                .terminator(csv::Terminator::CRLF)
                .from_writer(BufWriter::new(file)),
        })
    }

    fn cell(&mut self, cell: impl AsRef<[u8]>) -> Result<(), StoreError> {
        self.csv
            .write_field(cell)
            .map_err(|e| self.failed(e.into()))
    }

    fn end_row(&mut self) -> Result<(), StoreError> {
        self.csv
            .write_record(None::<&[u8]>)
            .map_err(|e| self.failed(e.into()))
    }

    fn failed(&self, source: std::io::Error) -> StoreError {
        StoreError::io("write", &self.path, source)
    }

    fn finish(mut self) -> Result<(), StoreError> {
        // Also empties the buffer below.
        let flushed = self.csv.flush();
        flushed.map_err(|e| self.failed(e))
    }
}

/// The secret from which the names are made. With it they are the same in every
/// export of this store; without it nobody can try names until one fits.
const KEY_FILE: &str = "pseudonyms.key";
/// Hexadecimal digits of a made-up name, more where two would be the same.
const DIGITS: usize = 6;

/// The store's secret, made when it is first needed.
pub(super) fn key(store: &Path) -> Result<Vec<u8>, StoreError> {
    let path = store.join(KEY_FILE);
    match std::fs::read(&path) {
        Ok(key) if key.len() >= 32 => return Ok(key),
        Ok(_) => {}
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
        Err(e) => return Err(StoreError::io("read", &path, e)),
    }
    let key = random();
    folder::write_file(&path, &key).map_err(|e| StoreError::io("write", &path, e))?;
    Ok(key)
}

/// 32 bytes that cannot be foretold.
fn random() -> Vec<u8> {
    let mut bytes = vec![0; 32];
    let source = std::fs::File::open("/dev/urandom");
    if source.and_then(|mut s| s.read_exact(&mut bytes)).is_err() {
        // Hash maps are seeded by the system's own source of chance.
        use std::hash::{BuildHasher, RandomState};
        bytes.clear();
        for n in 0u8..4 {
            bytes.extend(RandomState::new().hash_one(n).to_le_bytes());
        }
    }
    bytes
}

/// The fleet under made-up names, in their order.
pub(super) fn anonymous(mut fleet: Fleet, key: &[u8]) -> Fleet {
    let names = made_up(fleet.histories.iter().map(|h| h.van.clone()), key);
    for history in &mut fleet.histories {
        let van = names.get(&history.van).unwrap_or(&history.van).clone();
        for reading in &mut history.readings {
            reading.van = van.clone();
            reading.postcode = reading.postcode.as_deref().and_then(area);
            reading.note = None;
        }
        for fill in &mut history.fills {
            fill.van = van.clone();
            fill.postcode = fill.postcode.as_deref().and_then(area);
        }
        for service in &mut history.services {
            service.van = van.clone();
            (service.part, service.note) = (None, None);
        }
        for listed in &mut history.listed {
            listed.van = van.clone();
            listed.base_postcode = listed.base_postcode.as_deref().and_then(area);
        }
        history.van = van;
    }
    fleet.histories.sort_by(|a, b| a.van.cmp(&b.van));
    fleet.hardness = by_area(&fleet.hardness);
    fleet
}

fn made_up(vans: impl Iterator<Item = Arc<str>>, key: &[u8]) -> HashMap<Arc<str>, Arc<str>> {
    let hashes: BTreeMap<Arc<str>, String> = vans
        .map(|van| {
            let mut hash = Sha256::new();
            hash.update(key);
            hash.update(van_key(&van).as_bytes());
            (van, hex(&hash.finalize()))
        })
        .collect();
    let mut digits = DIGITS;
    loop {
        let short = |hash: &str| format!("V-{}", hash.get(..digits).unwrap_or(hash));
        let names: std::collections::BTreeSet<String> =
            hashes.values().map(|hash| short(hash)).collect();
        if names.len() == hashes.len() || digits >= 64 {
            let named = hashes.iter();
            return named
                .map(|(van, hash)| (van.clone(), short(hash).into()))
                .collect();
        }
        digits += 1;
    }
}

/// `QA3 4XX` → `QA`; `None` where a code has no area.
fn area(postcode: &str) -> Option<Arc<str>> {
    let letters = postcode.bytes().take_while(u8::is_ascii_alphabetic).count();
    let has_more = postcode.len() > letters;
    let area = postcode.get(..letters)?;
    ((1..=2).contains(&letters) && (has_more || letters == postcode.len()))
        .then(|| area.to_ascii_uppercase().into())
}

/// The mean of what stood for parts of an area on a day.
fn by_area(hardness: &[Hardness]) -> Vec<Hardness> {
    let mut areas: BTreeMap<(Arc<str>, Option<crate::calendar::Date>), Vec<&Hardness>> =
        BTreeMap::new();
    for row in hardness {
        if let Some(area) = area(&row.postcode) {
            areas.entry((area, row.as_of)).or_default().push(row);
        }
    }
    areas
        .into_iter()
        .map(|((postcode, as_of), rows)| {
            let (hardness, unit) = match rows.as_slice() {
                [only] => (only.hardness, only.unit),
                several => {
                    let sum: f64 = several
                        .iter()
                        .map(|row| row.unit.to_mg_l_caco3(row.hardness))
                        .sum();
                    (sum / several.len() as f64, HardnessUnit::MgLCaco3)
                }
            };
            Hardness {
                postcode,
                as_of,
                hardness,
                unit,
                // often a supplier's name, which tells the region
                source: None,
            }
        })
        .collect()
}

#[cfg(test)]
mod anonymous_tests {
    use super::*;

    #[test]
    fn postcodes_are_cut_to_their_area() {
        for (code, expected) in [
            ("QA3 4XX", Some("QA")),
            ("QA12", Some("QA")),
            ("Q1", Some("Q")),
            ("QA", Some("QA")),
            ("90210", None),
            ("QABC", None),
        ] {
            assert_eq!(area(code).as_deref(), expected, "{code}");
        }
    }

    #[test]
    fn made_up_names_differ_however_many_there_are() {
        let vans: Vec<Arc<str>> = (0..20_000).map(|i| format!("QV-{i}").into()).collect();
        let names = made_up(vans.into_iter(), b"secret");
        let different: std::collections::BTreeSet<_> = names.values().collect();
        assert_eq!(different.len(), 20_000);
        let other = made_up(std::iter::once("QV-1".into()), b"another");
        assert_ne!(names.get("QV-1"), other.get("QV-1"));
    }
}
