//! Rows of a plain file between the file and its tables: a few small numbers
//! each, by month, laid down below the store where they are many.

use std::fs::OpenOptions;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::error::StoreError;
use super::private;
use super::spill;

/// Stands for a value that is not there.
pub const NONE: u32 = u32::MAX;

/// Words that every packed row begins with: the number of its van, seconds
/// since 1970, its line, and how many bytes of text are kept of it (none where
/// the row can be written again from its values).
pub const VAN: usize = 0;
pub const SECONDS: usize = 1;
pub const LINE: usize = 2;
pub const TEXT: usize = 3;

/// Words of a reading: a text and seven numbers.
pub mod reading {
    pub const PLACE: usize = 4;
    pub const FEED: usize = 5;
    pub const PERMEATE: usize = 6;
    pub const PRODUCT: usize = 7;
    pub const WATER: usize = 8;
    pub const BAR: usize = 9;
    pub const PERMEATE_FLOW: usize = 10;
    pub const CONCENTRATE_FLOW: usize = 11;
}

/// Words of a fill: seconds it took, a text, three numbers, 1 where bought in.
pub mod fill {
    pub const TOOK: usize = 4;
    pub const PLACE: usize = 5;
    pub const LITRES: usize = 6;
    pub const METER: usize = 7;
    pub const REJECT: usize = 8;
    pub const BOUGHT: usize = 9;
}

/// Words of a service: 1 where the time of day is known, the place of the item
/// in [`super::records::Item::ALL`], two numbers, two texts.
pub mod service {
    pub const TIMED: usize = 4;
    pub const ITEM: usize = 5;
    pub const QUANTITY: usize = 6;
    pub const COST: usize = 7;
    pub const PART: usize = 8;
    pub const NOTE: usize = 9;
}

/// More words than any row has.
pub const MOST_WORDS: usize = 12;

/// The kinds of record that can be packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packing {
    Readings,
    Fills,
    Services,
}

impl Packing {
    /// Words of a row.
    pub fn width(self) -> usize {
        match self {
            Packing::Readings => 12,
            Packing::Fills | Packing::Services => 10,
        }
    }

    fn is_by_month(self) -> bool {
        self != Packing::Services
    }

    /// The words that are numbers of texts.
    pub(super) fn texts(self) -> &'static [usize] {
        match self {
            Packing::Readings => &[reading::PLACE],
            Packing::Fills => &[fill::PLACE],
            Packing::Services => &[service::PART, service::NOTE],
        }
    }
}

const POWERS_OF_TEN: [f64; 10] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9];

/// A decimal as a word: its digits, and how many stand behind the point.
/// `None` where it has too many.
pub fn pack(digits: u32, behind: u32) -> Option<u32> {
    (digits < 1 << 28 && (behind as usize) < POWERS_OF_TEN.len()).then_some(digits << 4 | behind)
}

/// The double nearest to a packed decimal.
pub fn real(word: u32) -> Option<f64> {
    if word == NONE {
        return None;
    }
    let digits = f64::from(word >> 4);
    let power = POWERS_OF_TEN.get((word & 15) as usize)?;
    // both exact in a double, so the quotient is the nearest one to the digits
    Some(digits / power)
}

/// Packed rows of one kind, as one reader of the file's blocks gathers them.
#[derive(Debug)]
pub struct PackedRows {
    packing: Packing,
    vans: Vec<Arc<str>>,
    texts: Vec<Arc<str>>,
    heaps: Vec<Heap>,
    /// The day last seen, and where its month's heap is.
    last: Option<(u32, usize)>,
    size: usize,
}

/// Rows of one month.
#[derive(Debug)]
struct Heap {
    /// Since year 0; `None` where the kind is not split.
    month: Option<i32>,
    rows: Vec<u32>,
    texts: Vec<u8>,
    laid_down: Option<PathBuf>,
}

const DAY_SECONDS: u32 = 86_400;

impl PackedRows {
    pub fn new(packing: Packing) -> PackedRows {
        PackedRows {
            packing,
            vans: Vec::new(),
            texts: Vec::new(),
            heaps: Vec::new(),
            last: None,
            size: 0,
        }
    }

    /// Numbers a van.
    pub fn van(&mut self, name: Arc<str>) -> u32 {
        numbered(&mut self.vans, name)
    }

    /// Numbers a text.
    pub fn text(&mut self, text: Arc<str>) -> u32 {
        numbered(&mut self.texts, text)
    }

    /// Keeps a row; `text` where it cannot be written again from its values.
    pub fn push(&mut self, words: &[u32], text: &[u8]) {
        let seconds = words.get(SECONDS).copied().unwrap_or_default();
        let at = match self.last {
            Some((day, at)) if day == seconds / DAY_SECONDS => at,
            _ => self.heap_of_day(seconds / DAY_SECONDS),
        };
        if let Some(heap) = self.heaps.get_mut(at) {
            heap.rows.extend_from_slice(words);
            heap.texts.extend_from_slice(text);
            self.size += 4 * words.len() + text.len();
        }
    }

    fn heap_of_day(&mut self, day: u32) -> usize {
        let month = self.packing.is_by_month().then(|| month_of_day(day));
        let at = match self.heaps.binary_search_by_key(&month, |heap| heap.month) {
            Ok(at) => at,
            Err(at) => {
                let heap = Heap {
                    month,
                    rows: Vec::new(),
                    texts: Vec::new(),
                    laid_down: None,
                };
                self.heaps.insert(at, heap);
                at
            }
        };
        self.last = Some((day, at));
        at
    }

    pub(super) fn packing(&self) -> Packing {
        self.packing
    }

    pub(super) fn van_names(&self) -> &[Arc<str>] {
        &self.vans
    }

    pub(super) fn text_values(&self) -> &[Arc<str>] {
        &self.texts
    }

    pub(super) fn months(&self) -> impl Iterator<Item = Option<i32>> + '_ {
        self.heaps.iter().map(|heap| heap.month)
    }

    /// The rows of a month and the texts kept of them, in the order in which
    /// they came.
    pub(super) fn of_month(&self, month: Option<i32>) -> Result<(Vec<u32>, Vec<u8>), StoreError> {
        let Ok(at) = self.heaps.binary_search_by_key(&month, |heap| heap.month) else {
            return Ok((Vec::new(), Vec::new()));
        };
        let Some(heap) = self.heaps.get(at) else {
            return Ok((Vec::new(), Vec::new()));
        };
        let (mut rows, mut texts) = (Vec::new(), Vec::new());
        if let Some(path) = &heap.laid_down {
            rows = words_of(&read(&path.with_extension("rows"))?);
            texts = read(&path.with_extension("texts"))?;
        }
        rows.extend_from_slice(&heap.rows);
        texts.extend_from_slice(&heap.texts);
        Ok((rows, texts))
    }

    fn lay_down(&mut self, folder: &Path, number: usize) -> Result<(), StoreError> {
        for heap in &mut self.heaps {
            if heap.rows.is_empty() {
                continue;
            }
            let path = heap.laid_down.get_or_insert_with(|| {
                let month = heap.month.unwrap_or_default();
                folder.join(format!("{number}-{month:05}"))
            });
            append(&path.with_extension("rows"), &bytes_of(&heap.rows))?;
            append(&path.with_extension("texts"), &heap.texts)?;
            heap.rows.clear();
            heap.texts.clear();
        }
        self.size = 0;
        Ok(())
    }
}

fn numbered(all: &mut Vec<Arc<str>>, text: Arc<str>) -> u32 {
    let number = u32::try_from(all.len()).unwrap_or(NONE);
    all.push(text);
    number
}

/// The month, since year 0, of a day since 1970.
fn month_of_day(day: u32) -> i32 {
    // days since 1 March of year 0, in eras of 400 years
    let day = i64::from(day) + 719_468;
    let (era, day) = (day / 146_097, day % 146_097);
    let year = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let day = day - (365 * year + year / 4 - year / 100);
    let month = (5 * day + 2) / 153 + 2;
    let months = (era * 400 + year) * 12 + month;
    i32::try_from(months).unwrap_or_default()
}

fn bytes_of(words: &[u32]) -> Vec<u8> {
    let mut bytes = vec![0; words.len() * 4];
    for (bytes, word) in bytes.chunks_exact_mut(4).zip(words) {
        bytes.copy_from_slice(&word.to_le_bytes());
    }
    bytes
}

fn words_of(bytes: &[u8]) -> Vec<u32> {
    let word = |bytes: &[u8]| bytes.try_into().map_or(NONE, u32::from_le_bytes);
    bytes.chunks_exact(4).map(word).collect()
}

fn append(path: &Path, bytes: &[u8]) -> Result<(), StoreError> {
    let failed = |e| StoreError::io("write", path, e);
    let mut options = OpenOptions::new();
    options.append(true).create(true);
    let mut file = options.open(path).map_err(failed)?;
    file.write_all(bytes).map_err(failed)
}

fn read(path: &Path) -> Result<Vec<u8>, StoreError> {
    let failed = |e| StoreError::io("read", path, e);
    let mut bytes = Vec::new();
    let mut file = std::fs::File::open(path).map_err(failed)?;
    file.read_to_end(&mut bytes).map_err(failed)?;
    Ok(bytes)
}

/// Where packed rows are laid down that are too many to be held.
#[derive(Debug)]
pub struct Shelf {
    store: PathBuf,
    folder: Option<PathBuf>,
    /// Bytes that may be held.
    held: usize,
}

impl Shelf {
    pub(super) fn new(store: &Path, held: usize) -> Shelf {
        Shelf {
            store: store.to_owned(),
            folder: None,
            held,
        }
    }

    /// Lays the rows down if they have become too many; `all`: always the same
    /// ones in the same order.
    ///
    /// # Errors
    /// Where they cannot be written.
    pub fn keep_small(&mut self, all: &mut [&mut PackedRows]) -> Result<(), StoreError> {
        let size: usize = all.iter().map(|rows| rows.size).sum();
        if size <= self.held {
            return Ok(());
        }
        let folder = match &self.folder {
            Some(folder) => folder,
            None => {
                spill::clear(&self.store)?;
                let folder = self.store.join(spill::FOLDER);
                private::create_folder(&folder)
                    .map_err(|e| StoreError::io("create", &folder, e))?;
                self.folder.insert(folder)
            }
        };
        for (number, rows) in all.iter_mut().enumerate() {
            rows.lay_down(folder, number)?;
        }
        Ok(())
    }
}

impl Drop for Shelf {
    fn drop(&mut self) {
        if self.folder.is_some() {
            // the next writer clears what cannot be removed now
            let _ = spill::clear(&self.store);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_fall_into_their_months() {
        let mut date = jiff::civil::date(1970, 1, 1);
        for day in 0..60_000 {
            let month = i32::from(date.year()) * 12 + i32::from(date.month()) - 1;
            assert_eq!(month_of_day(day), month, "{date}");
            date = date.tomorrow().unwrap_or(date);
        }
    }

    #[test]
    fn decimals_are_the_nearest_doubles() {
        for (digits, behind, text) in [(319, 0, "319"), (125, 1, "12.5"), (7, 3, "0.007")] {
            let value = pack(digits, behind).and_then(real);
            assert_eq!(value, text.parse().ok());
        }
        assert_eq!(real(NONE), None);
        assert_eq!(pack(1 << 28, 0), None);
        assert_ne!(pack((1 << 28) - 1, 9), Some(NONE));
    }
}
