//! The vans of a file, known to all who read its blocks: one small table that
//! is only looked at while blocks are read, and what is new beside it.

use std::collections::HashMap;
use std::hash::BuildHasherDefault;
use std::sync::{Arc, Mutex, PoisonError};

use crate::store::packed::NONE;

use super::super::row::is_plain_van;
use super::known::{MOST_TEXT, Quick};

/// Cells that name a van, and the vans' numbers; [`NONE`] where a cell is not
/// plain.
#[derive(Default)]
pub(super) struct Vans {
    /// Cells of up to 15 bytes, each at its hash or behind it; 0 where none is.
    keys: Vec<u128>,
    numbers: Vec<u32>,
    count: usize,
    long: HashMap<Box<[u8]>, u32, BuildHasherDefault<Quick>>,
    fresh: Mutex<Fresh>,
}

/// Cells met since the table was last added to.
#[derive(Default)]
struct Fresh {
    /// Those of up to 15 bytes.
    short: HashMap<u128, u32, BuildHasherDefault<Quick>>,
    long: HashMap<Box<[u8]>, u32, BuildHasherDefault<Quick>>,
    names: Vec<Arc<str>>,
    bytes: usize,
}

impl Vans {
    /// The number of the van that a cell names; `None` where it is not plain.
    pub fn number(&self, cell: &[u8], key: Option<u128>) -> Option<u32> {
        let known = match key {
            Some(key) => self.find(key).and_then(|at| self.numbers.get(at)),
            None => self.long.get(cell),
        };
        let number = match known {
            Some(number) => *number,
            None => self.fresh(cell, key)?,
        };
        Some(number).filter(|number| *number != NONE)
    }

    fn fresh(&self, cell: &[u8], key: Option<u128>) -> Option<u32> {
        let mut fresh = self.fresh.lock().unwrap_or_else(PoisonError::into_inner);
        let known = match key {
            Some(key) => fresh.short.get(&key),
            None => fresh.long.get(cell),
        };
        if let Some(number) = known {
            return Some(*number);
        }
        fresh.bytes += cell.len();
        if fresh.bytes > MOST_TEXT {
            return None;
        }
        let name = std::str::from_utf8(cell)
            .ok()
            .filter(|name| is_plain_van(name));
        let number = match name {
            Some(name) => {
                fresh.names.push(name.into());
                u32::try_from(fresh.names.len() - 1).unwrap_or(NONE)
            }
            None => NONE,
        };
        match key {
            Some(key) => fresh.short.insert(key, number),
            None => fresh.long.insert(cell.into(), number),
        };
        Some(number)
    }

    /// Puts what is new into the table.
    pub fn settle(&mut self) {
        let fresh = self.fresh.get_mut().unwrap_or_else(PoisonError::into_inner);
        self.long.extend(fresh.long.drain());
        for (key, number) in std::mem::take(&mut fresh.short) {
            if (self.count + 1) * 2 > self.keys.len() {
                self.grow();
            }
            self.put(key, number);
            self.count += 1;
        }
    }

    pub fn into_names(self) -> Vec<Arc<str>> {
        let fresh = self.fresh.into_inner();
        fresh.unwrap_or_else(PoisonError::into_inner).names
    }

    fn find(&self, key: u128) -> Option<usize> {
        let at = self.place(key)?;
        (self.keys.get(at) == Some(&key)).then_some(at)
    }

    /// Where the key is, or would be put.
    fn place(&self, key: u128) -> Option<usize> {
        let mask = self.keys.len().checked_sub(1)?;
        let word = (key as u64) ^ ((key >> 64) as u64).rotate_left(29);
        // the highest bits: every byte of the cell has a say in them
        let hash = word.wrapping_mul(0x9e37_79b9_7f4a_7c15);
        let mut at = hash.unbounded_shr(self.keys.len().leading_zeros() + 1) as usize & mask;
        loop {
            let there = *self.keys.get(at)?;
            if there == key || there == 0 {
                return Some(at);
            }
            at = (at + 1) & mask;
        }
    }

    fn put(&mut self, key: u128, number: u32) {
        if let Some(at) = self.place(key)
            && let (Some(slot), Some(own)) = (self.keys.get_mut(at), self.numbers.get_mut(at))
        {
            (*slot, *own) = (key, number);
        }
    }

    fn grow(&mut self) {
        let room = (self.keys.len() * 2).max(1 << 8);
        let keys = std::mem::replace(&mut self.keys, vec![0; room]);
        let numbers = std::mem::replace(&mut self.numbers, vec![0; room]);
        for (key, number) in keys.into_iter().zip(numbers) {
            if key != 0 {
                self.put(key, number);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::known::short_key;
    use super::*;

    #[test]
    fn a_van_keeps_its_number_however_many_there_are() {
        let mut vans = Vans::default();
        let number =
            |vans: &Vans, name: &str| vans.number(name.as_bytes(), short_key(name.as_bytes()));
        for round in 0..3 {
            for n in 0..3_000_u32 {
                assert_eq!(number(&vans, &format!("QV-{n}")), Some(2 * n), "{round}");
                let long = format!("Quarrytown Valley {n}");
                assert_eq!(number(&vans, &long), Some(2 * n + 1));
            }
            assert_eq!(number(&vans, "test"), None);
            assert_eq!(number(&vans, ""), None);
            vans.settle();
        }
        assert_eq!(vans.into_names().len(), 6_000);
    }
}
