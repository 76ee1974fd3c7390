//! The names of vans and the texts in a file's rows, numbered.

use std::sync::Arc;

use rayon::prelude::*;

use super::super::columns::Kind;
use super::super::names::{NoVan, VanNames};
use super::super::packed::{NONE, VAN};
use super::super::rows::identity_of;
use super::Words;

/// The names and texts of a file's rows.
#[derive(Debug, Default)]
pub(in crate::store) struct Names {
    /// In order, so that a name's number is its place among them.
    pub(super) vans: Vec<Arc<str>>,
    /// In order too.
    pub(super) texts: Vec<Arc<str>>,
    /// For each name the first name that means the same van.
    pub(super) whose: Vec<Result<u32, NoVan>>,
    /// In order: which van is meant by the first name that means it.
    identities: Vec<(Arc<str>, u32)>,
    /// Whether every van is written in one way only.
    pub(super) is_spelt_alike: bool,
}

impl Names {
    /// `vans` and `texts`: in order.
    pub(super) fn new<T: Kind>(
        vans: Vec<Arc<str>>,
        texts: Vec<Arc<str>>,
        van_names: &VanNames,
    ) -> Names {
        let meant: Vec<Result<Arc<str>, NoVan>> = vans
            .par_iter()
            .map(|name| identity_of::<T>(van_names, name))
            .collect();
        let mut identities: Vec<(Arc<str>, u32)> = meant
            .iter()
            .zip(0..)
            .filter_map(|(identity, van)| Some((identity.as_ref().ok()?.clone(), van)))
            .collect();
        identities.sort_unstable();
        let mut whose: Vec<Result<u32, NoVan>> = meant
            .iter()
            .zip(0..)
            .map(|(identity, van)| identity.as_ref().map(|_| van).map_err(|none| *none))
            .collect();
        let all = identities.len();
        for alike in identities.chunk_by(|a, b| a.0 == b.0) {
            let first = alike.first().map_or(NONE, |(_, van)| *van);
            for (_, van) in alike {
                if let Some(slot) = whose.get_mut(*van as usize) {
                    *slot = Ok(first);
                }
            }
        }
        identities.dedup_by(|b, a| a.0 == b.0);
        let is_spelt_alike = identities.len() == all;
        Names {
            vans,
            texts,
            whose,
            identities,
            is_spelt_alike,
        }
    }

    pub(super) fn van_at(&self, number: usize) -> &str {
        self.vans.get(number).map_or("", |van| van)
    }

    pub(super) fn number_of_text(&self, text: &str) -> Option<usize> {
        let found = self.texts.binary_search_by(|known| (**known).cmp(text));
        found.ok()
    }

    pub(in crate::store) fn shared_van(&self, words: Words<'_>) -> Arc<str> {
        let van = self.vans.get(words.get(VAN) as usize).cloned();
        van.unwrap_or_else(|| "".into())
    }

    pub(in crate::store) fn shared_text(&self, words: Words<'_>, at: usize) -> Option<Arc<str>> {
        self.texts.get(words.get(at) as usize).cloned()
    }

    pub(super) fn identity(&self, van: u32) -> u32 {
        let whose = self.whose.get(van as usize);
        whose.and_then(|whose| whose.ok()).unwrap_or(van)
    }

    /// The first name that means the van.
    pub(super) fn first_of(&self, identity: &Arc<str>) -> Option<u32> {
        let found = self
            .identities
            .binary_search_by(|(known, _)| known.cmp(identity));
        Some(self.identities.get(found.ok()?)?.1)
    }

    pub(super) fn is_of_no_van(&self, van: u32) -> bool {
        self.whose.get(van as usize).is_none_or(Result::is_err)
    }
}

pub(super) fn number_among(name: &Arc<str>, all: &[Arc<str>]) -> u32 {
    let found = all.binary_search(name).ok();
    found.and_then(|at| u32::try_from(at).ok()).unwrap_or(NONE)
}

/// The names of all lists, each once and in order; and for each list the numbers of
/// its names among them.
pub(super) fn numbered<'n>(
    lists: impl Iterator<Item = &'n [Arc<str>]>,
) -> (Vec<Arc<str>>, Vec<Vec<u32>>) {
    let (mut places, mut maps) = (Vec::new(), Vec::new());
    for (list, names) in lists.enumerate() {
        let own = names.iter().enumerate();
        places.extend(own.map(|(at, name)| (start_of(name), name, list, at)));
        maps.push(vec![NONE; names.len()]);
    }
    places.sort_unstable();
    let mut all: Vec<Arc<str>> = Vec::new();
    for (_, name, list, at) in places {
        if all.last() != Some(name) {
            all.push(name.clone());
        }
        if let Some(slot) = maps.get_mut(list).and_then(|map| map.get_mut(at)) {
            *slot = u32::try_from(all.len() - 1).unwrap_or(NONE);
        }
    }
    (all, maps)
}

/// The first bytes of a name as a number: in the order of the names, as far as it
/// tells them apart.
fn start_of(name: &str) -> u64 {
    let mut start = [0; 8];
    for (to, byte) in start.iter_mut().zip(name.bytes()) {
        *to = byte;
    }
    u64::from_be_bytes(start)
}
