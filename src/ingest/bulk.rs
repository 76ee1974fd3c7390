//! Rows in bulk: whole columns of rows written as machines write them, read
//! where they stand, block by block on all cores. A row that is odd in any way
//! is kept as text for the careful rules, which are the only ones that repair;
//! from the first row on of which they must tell where it ends, they read alone.

mod cells;
mod days;
mod plan;
mod row;

use std::io::{self, Read};

use crate::store::KindRows;

use super::Options;
use super::evidence::BulkEvidence;
pub(super) use plan::Plan;
use row::{BlockRead, Reader};

/// Bytes of a block, which ends with a whole line.
const BLOCK: usize = 1 << 18;
/// Blocks read at once, by as many readers; whatever the number of cores, so
/// that the same rows are always handed on together.
const READERS: usize = 8;
/// Bytes of odd rows that are kept; beyond, the careful rules read on.
const MOST_ODD: usize = 16 << 20;

/// A row for the careful rules.
#[derive(Debug)]
pub(super) struct OddRow {
    pub line: u64,
    /// With its line end.
    pub text: String,
}

/// A file as far as it could be read in bulk.
#[derive(Default)]
pub(super) struct BulkRead {
    pub counted: BulkEvidence,
    pub odd: Vec<OddRow>,
    /// Where the careful rules read on: the place in the file, and the line.
    pub rest: Option<(u64, u64)>,
}

/// Reads rows from `bytes`, which begin at a place of the file and on a line;
/// hands those on that are not odd.
pub(super) fn read<E: From<io::Error>>(
    plan: &Plan,
    bytes: impl Read,
    (place, line): (u64, u64),
    options: &Options,
    mut take: impl FnMut(Vec<KindRows>) -> Result<(), E>,
) -> Result<BulkRead, E> {
    let mut blocks = Blocks {
        bytes,
        place,
        line,
        left: Vec::new(),
        stop: None,
    };
    let mut readers: Vec<Reader<'_>> = (0..READERS).map(|_| Reader::new(plan, options)).collect();
    let [mut now, mut next] = [(); 2].map(|()| group());
    let mut all = BulkRead::default();
    let mut odd_bytes = 0;
    let mut ready: Vec<KindRows> = Vec::new();
    let mut filled = blocks.fill(&mut now);
    loop {
        filled?;
        if now.iter().all(|block| block.length == 0) {
            break;
        }
        let mut read: Vec<Option<BlockRead>> = Vec::new();
        read.resize_with(READERS, || None);
        // while these are read, those before are handed on and the next come in
        let (handed_on, next_filled) = rayon::in_place_scope(|scope| {
            for ((reader, block), slot) in readers.iter_mut().zip(&now).zip(&mut read) {
                scope.spawn(move |_| *slot = Some(reader.read(block.bytes(), block.line)));
            }
            let handed_on = take(std::mem::take(&mut ready));
            (handed_on, blocks.fill(&mut next))
        });
        handed_on?;
        filled = next_filled;
        for (block, read) in now.iter().zip(read) {
            let Some(read) = read else { continue };
            all.counted.add(&read.counted);
            odd_bytes += read
                .odd
                .iter()
                .map(|row| row.text.len() + 32)
                .sum::<usize>();
            all.odd.extend(read.odd);
            ready.extend(read.rows);
            if let Some((at, line)) = read.stop {
                all.rest = Some((block.place + at as u64, line));
                break;
            }
        }
        if all.rest.is_none() && odd_bytes > MOST_ODD {
            all.rest = next.first().map(|block| (block.place, block.line));
        }
        if all.rest.is_some() {
            break;
        }
        std::mem::swap(&mut now, &mut next);
    }
    take(ready)?;
    all.rest = all.rest.or(blocks.stop);
    Ok(all)
}

/// Some whole lines of a file.
struct Block {
    buffer: Vec<u8>,
    length: usize,
    place: u64,
    line: u64,
}

impl Block {
    fn bytes(&self) -> &[u8] {
        self.buffer.get(..self.length).unwrap_or_default()
    }
}

fn group() -> Vec<Block> {
    let block = || Block {
        buffer: vec![0; BLOCK],
        length: 0,
        place: 0,
        line: 0,
    };
    (0..READERS).map(|_| block()).collect()
}

/// A file's bytes in blocks of whole lines.
struct Blocks<R> {
    bytes: R,
    place: u64,
    line: u64,
    /// The start of a line whose end comes with the next block.
    left: Vec<u8>,
    /// A line is longer than a block: where it begins.
    stop: Option<(u64, u64)>,
}

impl<R: Read> Blocks<R> {
    fn fill(&mut self, group: &mut [Block]) -> io::Result<()> {
        for block in group.iter_mut() {
            block.length = 0;
        }
        for block in group {
            (block.place, block.line) = (self.place, self.line);
            if self.stop.is_none() {
                self.fill_block(block)?;
            }
        }
        Ok(())
    }

    fn fill_block(&mut self, block: &mut Block) -> io::Result<()> {
        let buffer = &mut block.buffer;
        let mut end = self.left.len();
        if let Some(start) = buffer.get_mut(..end) {
            start.copy_from_slice(&self.left);
        }
        self.left.clear();
        let mut is_at_end = false;
        while let Some(free) = buffer.get_mut(end..).filter(|free| !free.is_empty()) {
            match self.bytes.read(free) {
                Ok(0) => {
                    is_at_end = true;
                    break;
                }
                Ok(count) => end += count,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
        let filled = buffer.get(..end).unwrap_or_default();
        let whole = match memchr::memrchr(b'\n', filled) {
            _ if is_at_end => end,
            Some(last) => last + 1,
            None => {
                self.stop = Some((self.place, self.line));
                return Ok(());
            }
        };
        let (lines, left) = filled.split_at_checked(whole).unwrap_or((filled, &[]));
        self.left.extend_from_slice(left);
        self.place += whole as u64;
        self.line += memchr::memchr_iter(b'\n', lines).count() as u64;
        block.length = whole;
        Ok(())
    }
}
