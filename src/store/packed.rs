//! Rows of a plain file between the file and its tables: a few small numbers
//! each, by month, laid down below the store where they are many.

use std::borrow::Cow;
use std::fs::File;
use std::io::Write;
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rayon::prelude::*;

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

/// A decimal as a word, the same for the same value: its digits, and how many
/// stand behind the point. `None` where it has too many.
pub fn pack(mut digits: u32, mut behind: u32) -> Option<u32> {
    while behind > 0 && digits.is_multiple_of(10) {
        digits /= 10;
        behind -= 1;
    }
    (digits < 1 << 28 && (behind as usize) < POWERS_OF_TEN.len()).then_some(digits << 4 | behind)
}

/// A double as a word, if it is the nearest one to a decimal that has a word.
pub(super) fn pack_real(value: f64) -> Option<u32> {
    let text = value.to_string();
    let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
    let digits: u32 = format!("{whole}{fraction}").parse().ok()?;
    let word = pack(digits, u32::try_from(fraction.len()).ok()?)?;
    (real(word)?.to_bits() == value.to_bits()).then_some(word)
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

/// Words of rows, and the texts kept of them.
pub(super) type RowsAndTexts<'r> = (Cow<'r, [u32]>, Cow<'r, [u8]>);

/// Packed rows of one kind, as one reader of the file's blocks gathers them.
#[derive(Debug)]
pub struct PackedRows {
    packing: Packing,
    vans: Arc<[Arc<str>]>,
    texts: Vec<Arc<str>>,
    /// Rows that are held, in the order in which they came, and the texts kept of
    /// them.
    rows: Vec<u32>,
    kept: Vec<u8>,
    heaps: Vec<Heap>,
    /// The day last seen.
    day: Option<u32>,
    /// The heap of its month, and where the run of rows began that goes on.
    open: Option<(usize, Run)>,
    /// How many runs are over.
    runs: usize,
    /// Holds what was laid down, and how many bytes that is.
    file: Option<(File, PathBuf, u64)>,
}

/// Rows of one month.
#[derive(Debug)]
struct Heap {
    /// Since year 0; `None` where the kind is not split.
    month: Option<i32>,
    /// Where those lie among the rows that are held.
    runs: Vec<Run>,
    /// Where others lie in the file: from which byte on, how many bytes of rows
    /// and, behind them, of texts.
    laid_down: Vec<(u64, usize, usize)>,
}

/// Rows one behind the other: their words, and the texts kept of them.
#[derive(Debug, Clone)]
struct Run {
    words: Range<usize>,
    kept: Range<usize>,
}

const DAY_SECONDS: u32 = 86_400;

impl PackedRows {
    pub fn new(packing: Packing) -> PackedRows {
        PackedRows {
            packing,
            vans: Arc::new([]),
            texts: Vec::new(),
            rows: Vec::new(),
            kept: Vec::new(),
            heaps: Vec::new(),
            day: None,
            open: None,
            runs: 0,
            file: None,
        }
    }

    /// Says which vans the numbers of its rows are.
    pub fn set_vans(&mut self, vans: Arc<[Arc<str>]>) {
        self.vans = vans;
    }

    /// Numbers a text.
    pub fn text(&mut self, text: Arc<str>) -> u32 {
        let number = u32::try_from(self.texts.len()).unwrap_or(NONE);
        self.texts.push(text);
        number
    }

    /// Keeps a row; `text` where it cannot be written again from its values.
    pub fn push(&mut self, words: &[u32], text: &[u8]) {
        let seconds = words.get(SECONDS).copied().unwrap_or_default();
        let day = seconds / DAY_SECONDS;
        if self.day != Some(day) {
            self.turn_to(day);
        }
        self.rows.extend_from_slice(words);
        if !text.is_empty() {
            self.kept.extend_from_slice(text);
        }
    }

    /// The next rows are of this day.
    fn turn_to(&mut self, day: u32) {
        self.day = Some(day);
        let month = self.packing.is_by_month().then(|| month_of_day(day));
        if let Some((at, _)) = &self.open
            && self.heaps.get(*at).is_some_and(|heap| heap.month == month)
        {
            return;
        }
        self.end_run();
        let at = match self.heaps.binary_search_by_key(&month, |heap| heap.month) {
            Ok(at) => at,
            Err(at) => {
                let heap = Heap {
                    month,
                    runs: Vec::new(),
                    laid_down: Vec::new(),
                };
                self.heaps.insert(at, heap);
                at
            }
        };
        self.open = Some((at, self.run_from(self.rows.len(), self.kept.len())));
    }

    fn run_from(&self, words: usize, kept: usize) -> Run {
        Run {
            words: words..self.rows.len(),
            kept: kept..self.kept.len(),
        }
    }

    fn end_run(&mut self) {
        if let Some((at, begun)) = self.open.take() {
            let run = self.run_from(begun.words.start, begun.kept.start);
            if let Some(heap) = self.heaps.get_mut(at)
                && !run.words.is_empty()
            {
                heap.runs.push(run);
                self.runs += 1;
            }
        }
    }

    /// Bytes that are held.
    fn size(&self) -> usize {
        4 * self.rows.len() + self.kept.len() + self.runs * size_of::<Run>()
    }

    pub(super) fn packing(&self) -> Packing {
        self.packing
    }

    pub(super) fn van_names(&self) -> &Arc<[Arc<str>]> {
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
    pub(super) fn of_month(&self, month: Option<i32>) -> Result<RowsAndTexts<'_>, StoreError> {
        let found = self.heaps.binary_search_by_key(&month, |heap| heap.month);
        let Some((at, heap)) = found.ok().and_then(|at| Some((at, self.heaps.get(at)?))) else {
            return Ok((Cow::default(), Cow::default()));
        };
        let going_on = self.open.as_ref().filter(|(of, _)| *of == at);
        let going_on = going_on.map(|(_, run)| self.run_from(run.words.start, run.kept.start));
        let runs: Vec<Run> = heap.runs.iter().cloned().chain(going_on).collect();
        let words_of_run = |run: &Run| self.rows.get(run.words.clone()).unwrap_or_default();
        let kept_of_run = |run: &Run| self.kept.get(run.kept.clone()).unwrap_or_default();
        if let [run] = &*runs
            && heap.laid_down.is_empty()
        {
            return Ok((words_of_run(run).into(), kept_of_run(run).into()));
        }
        let laid_down: usize = heap.laid_down.iter().map(|(_, rows, _)| rows).sum();
        let held: usize = runs.iter().map(|run| run.words.len()).sum();
        let mut rows = Vec::with_capacity(laid_down / 4 + held);
        let mut texts = Vec::new();
        if let Some((file, path, _)) = &self.file {
            let mut bytes = Vec::new();
            for (at, row_bytes, text_bytes) in &heap.laid_down {
                let failed = |e| StoreError::io("read", path, e);
                bytes.resize(row_bytes + text_bytes, 0);
                read_at(file, &mut bytes, *at).map_err(failed)?;
                let (own, behind) = bytes.split_at_checked(*row_bytes).unwrap_or_default();
                rows.extend(words_of(own));
                texts.extend_from_slice(behind);
            }
        }
        for run in &runs {
            rows.extend_from_slice(words_of_run(run));
            texts.extend_from_slice(kept_of_run(run));
        }
        Ok((rows.into(), texts.into()))
    }

    fn lay_down(&mut self, folder: &Path, number: usize) -> Result<(), StoreError> {
        self.end_run();
        let mut bytes = Vec::with_capacity(self.size());
        let (file, path, length) = match &mut self.file {
            Some(file) => file,
            none => {
                let path = folder.join(format!("packed-{number}"));
                let file = private::create_to_read_and_write(&path);
                let file = file.map_err(|e| StoreError::io("write", &path, e))?;
                none.insert((file, path, 0))
            }
        };
        for heap in self.heaps.iter_mut().filter(|heap| !heap.runs.is_empty()) {
            let start = bytes.len();
            for run in &heap.runs {
                add_bytes(
                    self.rows.get(run.words.clone()).unwrap_or_default(),
                    &mut bytes,
                );
            }
            let middle = bytes.len();
            for run in &heap.runs {
                bytes.extend_from_slice(self.kept.get(run.kept.clone()).unwrap_or_default());
            }
            let at = *length + start as u64;
            heap.laid_down
                .push((at, middle - start, bytes.len() - middle));
            // the room goes too: the next rows may be of other months
            heap.runs = Vec::new();
        }
        let written = file.write_all(&bytes);
        written.map_err(|e| StoreError::io("write", path, e))?;
        *length += bytes.len() as u64;
        self.rows.clear();
        self.kept.clear();
        (self.day, self.runs) = (None, 0);
        Ok(())
    }
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

fn add_bytes(words: &[u32], bytes: &mut Vec<u8>) {
    let start = bytes.len();
    bytes.resize(start + words.len() * 4, 0);
    let fresh = bytes.get_mut(start..).unwrap_or_default();
    for (bytes, word) in fresh.chunks_exact_mut(4).zip(words) {
        bytes.copy_from_slice(&word.to_le_bytes());
    }
}

fn words_of(bytes: &[u8]) -> impl Iterator<Item = u32> + '_ {
    let word = |bytes: &[u8]| bytes.try_into().map_or(NONE, u32::from_le_bytes);
    bytes.chunks_exact(4).map(word)
}

/// Reads without moving on, as several may read at once.
fn read_at(file: &File, bytes: &mut [u8], at: u64) -> std::io::Result<()> {
    #[cfg(unix)]
    return std::os::unix::fs::FileExt::read_exact_at(file, bytes, at);
    #[cfg(not(unix))]
    {
        use std::io::{Read, Seek, SeekFrom};
        static ONE: std::sync::Mutex<()> = std::sync::Mutex::new(());
        let _one = ONE.lock();
        let mut file = file;
        file.seek(SeekFrom::Start(at))?;
        file.read_exact(bytes)
    }
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

    /// One on which nothing is ever laid down.
    pub fn of_all_memory() -> Shelf {
        Shelf::new(Path::new(""), usize::MAX)
    }

    /// Lays the rows down if they have become too many; `all`: always the same
    /// ones in the same order.
    ///
    /// # Errors
    /// Where they cannot be written.
    pub fn keep_small(&mut self, all: &mut [&mut PackedRows]) -> Result<(), StoreError> {
        let size: usize = all.iter().map(|rows| rows.size()).sum();
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
        let all = all.par_iter_mut().enumerate();
        all.try_for_each(|(number, rows)| rows.lay_down(folder, number))
    }
}

/// Packed rows as they would have come the careful way.
#[cfg(test)]
pub use super::packed_months::unpacked;

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
    #![allow(clippy::unwrap_used, clippy::indexing_slicing)]
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
        assert_eq!(pack(1250, 2), pack(125, 1));
        for value in [0.0, 12.5, 0.007, 1e9, 1.0 / 3.0, -0.0, -1.5] {
            if let Some(word) = pack_real(value) {
                assert_eq!(real(word).map(f64::to_bits), Some(value.to_bits()));
            }
        }
        assert_eq!(pack_real(12.5), pack(125, 1));
        assert_eq!(real(NONE), None);
        assert_eq!(pack(1 << 28, 0), None);
        assert_ne!(pack((1 << 28) - 1, 9), Some(NONE));
    }

    #[test]
    fn rows_laid_down_are_the_rows_that_came() {
        let folder = tempfile::tempdir().unwrap();
        let mut shelf = Shelf::new(folder.path(), 2_000);
        let (mut laid, mut held) = (
            PackedRows::new(Packing::Fills),
            PackedRows::new(Packing::Fills),
        );
        for n in 0..1_000 {
            let mut words = [n; 10];
            words[SECONDS] = 1_700_000_000 + n % 7 * 3_000_000 + n;
            let text = format!("row {n}");
            let text = if n % 3 == 0 { text.as_bytes() } else { &[] };
            laid.push(&words, text);
            held.push(&words, text);
            shelf.keep_small(&mut [&mut laid]).unwrap();
        }
        assert!(laid.heaps.iter().all(|heap| heap.laid_down.len() > 1));
        let months: Vec<_> = held.months().collect();
        assert!(months.len() > 3);
        for month in months {
            assert_eq!(laid.of_month(month).unwrap(), held.of_month(month).unwrap());
        }
        assert!(folder.path().join(spill::FOLDER).is_dir());
        drop(shelf);
        assert!(!folder.path().join(spill::FOLDER).exists());
    }
}
