//! Cells met before, and what they are packed as.

use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

use crate::store::packed::NONE;

/// Cells met so far, and what they are packed as; [`NONE`] where they are not
/// plain.
#[derive(Default)]
pub(super) struct Known {
    /// Those of up to 15 bytes, as most are.
    short: HashMap<u128, u32, BuildHasherDefault<Quick>>,
    long: HashMap<Box<[u8]>, u32, BuildHasherDefault<Quick>>,
    last: Option<(u128, u32)>,
    bytes: usize,
}

impl Known {
    /// What a cell met before is packed as, or one that is new; `None` where it
    /// is not plain.
    ///
    /// `key`: as [`short_key`] gives it.
    pub fn word(
        &mut self,
        cell: &[u8],
        key: Option<u128>,
        read: impl FnOnce(&str) -> Option<u32>,
    ) -> Option<u32> {
        let word = match (key, self.last) {
            (Some(key), Some((last, word))) if key == last => word,
            (Some(key), _) => match self.short.get(&key) {
                Some(word) => *word,
                None => self.add(cell, Some(key), read)?,
            },
            (None, _) => match self.long.get(cell) {
                Some(word) => *word,
                None => self.add(cell, None, read)?,
            },
        };
        if let Some(key) = key {
            self.last = Some((key, word));
        }
        Some(word).filter(|word| *word != NONE)
    }

    fn add(
        &mut self,
        cell: &[u8],
        key: Option<u128>,
        read: impl FnOnce(&str) -> Option<u32>,
    ) -> Option<u32> {
        self.bytes += cell.len();
        if self.bytes > MOST_TEXT {
            return None;
        }
        let word = std::str::from_utf8(cell)
            .ok()
            .and_then(read)
            .unwrap_or(NONE);
        match key {
            Some(key) => self.short.insert(key, word),
            None => self.long.insert(cell.into(), word),
        };
        Some(word)
    }
}

/// The cell of so many bytes at the start of `bytes` as [`short_key`] gives it:
/// quick where more stands behind it.
pub(super) fn key_at(bytes: &[u8], length: usize) -> Option<u128> {
    let Some(chunk) = bytes.first_chunk::<16>().filter(|_| length < 16) else {
        return short_key(bytes.get(..length)?);
    };
    let own = u128::from_le_bytes(*chunk) & ((1 << (8 * length)) - 1);
    Some(own | (length as u128 + 1) << 120)
}

/// A cell of up to 15 bytes as a number, which is never 0.
pub(super) fn short_key(cell: &[u8]) -> Option<u128> {
    let mut bytes = [0; 16];
    let (last, start) = bytes.split_last_mut()?;
    start.get_mut(..cell.len())?.copy_from_slice(cell);
    *last = u8::try_from(cell.len() + 1).ok()?;
    Some(u128::from_le_bytes(bytes))
}

/// Bytes of different cells that a reader knows at most.
pub(super) const MOST_TEXT: usize = 1 << 24;

/// A hash for short cells of a file that somebody reads on purpose.
#[derive(Debug, Default)]
pub(super) struct Quick(u64);

impl Hasher for Quick {
    fn write(&mut self, bytes: &[u8]) {
        let mut chunks = bytes.chunks_exact(8);
        for chunk in &mut chunks {
            self.add(chunk.try_into().map_or(0, u64::from_le_bytes));
        }
        let rest = chunks.remainder().iter();
        self.add(rest.fold(0, |word, byte| word << 8 | u64::from(*byte)));
    }

    fn write_u128(&mut self, number: u128) {
        self.add(number as u64);
        self.add((number >> 64) as u64);
    }

    fn write_usize(&mut self, n: usize) {
        self.add(n as u64);
    }

    fn finish(&self) -> u64 {
        self.0 ^ self.0 >> 32
    }
}

impl Quick {
    fn add(&mut self, word: u64) {
        self.0 = (self.0.rotate_left(23) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_has_one_key_whatever_stands_behind_it() {
        let text = b"QV-00040,2026-10-01T08:00,QA3 4XY";
        for length in 0..text.len() {
            let cell = text.get(..length).unwrap_or_default();
            assert_eq!(key_at(text, length), short_key(cell));
            assert_eq!(key_at(cell, length), short_key(cell));
            assert_ne!(short_key(cell), Some(0));
        }
    }
}
