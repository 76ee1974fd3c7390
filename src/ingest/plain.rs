//! The quick way through a plain file, in one pass over its bytes: rows written
//! as machines write them become numbers where they stand. Any other row is kept
//! aside as text and goes the careful way, once the whole file has told its
//! habits; a file that is not plain throughout is left to the careful way.

mod block;
mod cells;
mod days;
mod known;
mod layout;
#[cfg(test)]
mod tests;
mod vans;

use std::io::{self, Read};
use std::sync::Arc;

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use crate::store::packed::{PackedRows, Shelf};
use crate::store::{RowStyle, StoreError};

use super::Options;
use super::encoding::{START, first_window, plain_mark, refuse_what_is_no_table};
use super::error::ReadError;
use super::evidence::Evidence;
use super::kind::recognise;
use super::layout::Layout;
use super::mend_file;
use super::notes::Notes;
use super::numbers::DecimalMark;
use super::read::CarefulReader;
use super::source::{Seen, Source, Stamp, hex};
use super::split::Rows;
use block::Slot;
use layout::Plan;
use vans::Vans;

/// Bytes of a block, which ends with a whole line.
const BLOCK: usize = 1 << 18;
/// Blocks read at once, by as many readers; whatever the number of cores, so
/// that the same rows are always held and laid down together.
const SLOTS: usize = 8;
/// Bytes of rows that may go the careful way; beyond, all do.
const MOST_ODD: usize = 16 << 20;

/// A file whose start looks plain.
pub(super) struct PlainStart {
    start: Vec<u8>,
    layout: Layout,
    header: String,
    /// Where the rows begin, and on which line.
    first_row: usize,
    first_line: u64,
    notes: Notes,
    plan: Plan,
    stamp: Stamp,
}

/// A plain file, read.
pub struct PlainFile<'b> {
    pub(super) reader: CarefulReader<'b>,
    pub(super) rows: Vec<PackedRows>,
    /// How many rows were packed.
    pub(super) count: u64,
    pub(super) style: RowStyle,
    pub(super) odd: Vec<OddRow>,
}

/// A row that goes the careful way.
#[derive(Debug)]
pub(super) struct OddRow {
    pub line: u64,
    /// With its line end.
    pub text: String,
}

impl PlainStart {
    /// `None` where the file must go the careful way, which says what is wrong.
    pub fn of(source: &Source<'_>, name: &str, options: &Options) -> Option<PlainStart> {
        let stamp = source.stamp()?;
        let mut start = Vec::with_capacity(START);
        let mut bytes = source.from(0).ok()?;
        bytes
            .by_ref()
            .take(START as u64)
            .read_to_end(&mut start)
            .ok()?;
        let mark = plain_mark(&start, name).ok().flatten()?;
        let (text, is_whole) = first_window(&start, mark)?;
        refuse_what_is_no_table(text, is_whole, name).ok()?;
        let mut notes = Notes::default();
        let layout = recognise(text, name, &mut notes).ok()?;
        if layout.quote != b'"' || mend_file::find(&layout.headers).is_some() {
            return None;
        }
        let mut rows = Rows::new(text, layout.delimiter);
        rows.rewind_behind(layout.header);
        let (behind, line) = rows.place();
        drop(rows);
        let first = text.get(behind..)?.trim_start_matches(['\r', '\n']);
        let plan = Plan::of(&layout, first, options)?;
        let header = super::read::header_of(&layout, text);
        Some(PlainStart {
            header,
            first_row: mark + behind,
            first_line: line,
            start,
            layout,
            notes,
            plan,
            stamp,
        })
    }

    /// Reads the file through. `None` where it is not plain throughout: nothing
    /// of it was kept then.
    pub fn read<'b, E: From<ReadError> + From<StoreError>>(
        self,
        source: Source<'b>,
        name: &str,
        options: &Options,
        shelf: &mut Shelf,
    ) -> Result<Result<PlainFile<'b>, Source<'b>>, E> {
        let unreadable = |source| super::read::unreadable(name, source);
        let rest = source.from(self.start.len() as u64).map_err(unreadable)?;
        let mut blocks = Blocks::new(&self, rest);
        let mut slots: Vec<Slot<'_>> = (0..SLOTS).map(|_| Slot::new(&self.plan, options)).collect();
        let mut vans = Vans::default();
        let (mut now, mut next) = (Group::default(), Group::default());
        let mut read = blocks.fill(&mut now);
        loop {
            read.map_err(unreadable)?;
            if now.blocks.iter().all(|block| block.length == 0) || blocks.is_not_plain {
                break;
            }
            let pairs = slots.par_iter_mut().zip(&now.blocks).with_max_len(1);
            let parse =
                || pairs.for_each(|(slot, block)| slot.read(block.bytes(), block.line, &vans));
            (read, ()) = rayon::join(|| blocks.fill(&mut next), parse);
            std::mem::swap(&mut now, &mut next);
            vans.settle();
            let odd: usize = slots.iter().map(|slot| slot.odd_bytes).sum();
            if odd > MOST_ODD || slots.iter().any(|slot| slot.is_not_plain) {
                break;
            }
            let mut rows: Vec<&mut PackedRows> =
                slots.iter_mut().map(|slot| &mut slot.rows).collect();
            shelf.keep_small(&mut rows)?;
        }
        let is_plain = !blocks.is_not_plain && !slots.iter().any(|slot| slot.is_not_plain);
        let odd: usize = slots.iter().map(|slot| slot.odd_bytes).sum();
        if !is_plain || odd > MOST_ODD {
            drop(blocks);
            return Ok(Err(source));
        }
        let seen = blocks.seen();
        let mut evidence = Evidence::default();
        let (mut rows, mut odd, mut count) = (Vec::new(), Vec::new(), 0);
        let mut has_points = false;
        for slot in slots {
            evidence.add_plain(&slot.counted, self.layout.headers.len());
            has_points |= slot.counted.has_points;
            count += slot.counted.rows;
            odd.extend(slot.odd);
            rows.push(slot.rows);
        }
        let names: Arc<[Arc<str>]> = vans.into_names().into();
        rows.iter_mut()
            .for_each(|rows: &mut PackedRows| rows.set_vans(names.clone()));
        odd.sort_by_key(|row: &OddRow| row.line);
        for row in &odd {
            let mut cells = Rows::of_line(&row.text, row.line, &self.layout);
            evidence.add(&mut cells, &self.layout, options.today);
        }
        // the decimals were read as such, whatever odd rows tell of them
        let mark = evidence.decimal_mark(self.layout.delimiter);
        let is_point = matches!(mark, DecimalMark::Point | DecimalMark::PointByDelimiter);
        if has_points && !is_point {
            return Ok(Err(source));
        }
        if !source.is_still(&self.stamp, &seen).map_err(unreadable)? {
            let file = name.to_owned();
            return Err(ReadError::Changed { file }.into());
        }
        let style = self.plan.style;
        let reader = CarefulReader::of_plain(
            source,
            name,
            seen,
            (self.layout, self.header),
            (evidence, self.notes),
            options,
        );
        Ok(Ok(PlainFile {
            reader,
            rows,
            count,
            style,
            odd,
        }))
    }
}

/// Some blocks that are read at once.
struct Group {
    blocks: Vec<Block>,
}

impl Default for Group {
    fn default() -> Self {
        let block = || Block {
            buffer: vec![0; BLOCK],
            length: 0,
            line: 0,
        };
        Group {
            blocks: (0..SLOTS).map(|_| block()).collect(),
        }
    }
}

struct Block {
    buffer: Vec<u8>,
    length: usize,
    /// The line on which it begins.
    line: u64,
}

impl Block {
    fn bytes(&self) -> &[u8] {
        self.buffer.get(..self.length).unwrap_or_default()
    }
}

/// A file's bytes, counted and hashed, in blocks of whole lines.
struct Blocks<'s> {
    bytes: Box<dyn Read + Send + 's>,
    hash: Sha256,
    count: u64,
    line: u64,
    /// The start of a line whose end comes with the next block.
    left: Vec<u8>,
    /// A line is longer than any row.
    is_not_plain: bool,
}

impl<'s> Blocks<'s> {
    fn new(start: &'s PlainStart, rest: Box<dyn Read + Send + 's>) -> Blocks<'s> {
        let (above, rows) = start
            .start
            .split_at_checked(start.first_row)
            .unwrap_or_default();
        Blocks {
            bytes: Box::new(rows.chain(rest)),
            hash: Sha256::new_with_prefix(above),
            count: above.len() as u64,
            line: start.first_line,
            left: Vec::new(),
            is_not_plain: false,
        }
    }

    fn fill(&mut self, group: &mut Group) -> io::Result<()> {
        for block in &mut group.blocks {
            block.length = 0;
        }
        for block in &mut group.blocks {
            self.fill_block(block)?;
        }
        Ok(())
    }

    fn fill_block(&mut self, block: &mut Block) -> io::Result<()> {
        let buffer = &mut block.buffer;
        let mut end = self.left.len();
        match buffer.get_mut(..end) {
            Some(start) => start.copy_from_slice(&self.left),
            None => self.is_not_plain = true,
        }
        self.left.clear();
        let fresh = end;
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
        self.hash.update(buffer.get(fresh..end).unwrap_or_default());
        self.count += (end - fresh) as u64;
        let filled = buffer.get(..end).unwrap_or_default();
        let whole = match memchr::memrchr(b'\n', filled) {
            _ if is_at_end => end,
            Some(last) => last + 1,
            None => {
                self.is_not_plain = true;
                0
            }
        };
        let (lines, left) = filled.split_at_checked(whole).unwrap_or((filled, &[]));
        self.left.extend_from_slice(left);
        block.line = self.line;
        self.line += memchr::memchr_iter(b'\n', lines).count() as u64;
        block.length = whole;
        Ok(())
    }

    fn seen(self) -> Seen {
        Seen {
            bytes: self.count,
            sha256: hex(&self.hash.finalize()),
        }
    }
}
