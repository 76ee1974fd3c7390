//! What becomes of each row of a file: new, corrected, known, or of no van.

use std::collections::{BTreeMap, HashMap};
use std::mem::{Discriminant, discriminant};
use std::sync::Arc;

use rayon::prelude::*;

use super::columns::Kind;
use super::error::StoreError;
use super::months::{Month, MonthFinder, month_name};
use super::names::{NoVan, VanNames};
use super::part::Part;
use super::records::{AcceptedRow, Fill, Hardness, Reading, Record, Service, Van, line_of};
use super::rows::{RowPlace, for_each_row, identity_of};
use super::sound::Sound;
use super::ties::Place;
use super::versions::Known;
use super::view::View;

/// What becomes of one accepted row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// The first version of its record.
    New,
    /// A further version of a record.
    Corrected,
    /// Equal to an earlier version: of which stored row, and its mark; `None`
    /// for a row of the same file.
    AlreadyStored(Option<(Place, u32)>),
    /// Its van is not on the list: stored, but set aside until it is.
    OfNoVan,
    /// Of no van, and listed so already by an earlier ingest of the same file.
    AlreadyListed(Place),
}

impl Verdict {
    pub(super) fn is_written(self) -> bool {
        matches!(self, Verdict::New | Verdict::Corrected | Verdict::OfNoVan)
    }

    /// Whether a stored row of another file stands for it.
    pub(super) fn is_repeat(self) -> bool {
        matches!(
            self,
            Verdict::AlreadyStored(Some(_)) | Verdict::AlreadyListed(_)
        )
    }
}

/// The identities of a file's vans, numbered.
pub(super) struct Whose {
    numbers: HashMap<Arc<str>, u32>,
    /// Row by row; of vans, the number of its identity.
    pub(super) rows: Vec<Result<u32, NoVan>>,
}

pub(super) fn who(record: &Record) -> &Arc<str> {
    match record {
        Record::Reading(r) => r.who(),
        Record::Fill(r) => r.who(),
        Record::Service(r) => r.who(),
        Record::Van(r) => r.who(),
        Record::Hardness(r) => r.who(),
    }
}

impl Whose {
    pub(super) fn of(file: &[AcceptedRow], names: &VanNames) -> Whose {
        let mut numbers: HashMap<Arc<str>, u32> = HashMap::new();
        let mut known: HashMap<(Discriminant<Record>, Arc<str>), Result<u32, NoVan>> =
            HashMap::new();
        let mut rows: Vec<Result<u32, NoVan>> = Vec::with_capacity(file.len());
        let mut before: Option<(Discriminant<Record>, &Arc<str>)> = None;
        for (_, record, _) in file {
            let name = (discriminant(record), who(record));
            let number = match rows.last() {
                // Rows of one van often stand together.
                Some(number) if before == Some(name) => *number,
                _ => *known
                    .entry((name.0, name.1.clone()))
                    .or_insert_with(|| number_of(names, record, &mut numbers)),
            };
            before = Some(name);
            rows.push(number);
        }
        Whose { numbers, rows }
    }
}

fn number_of(
    names: &VanNames,
    record: &Record,
    numbers: &mut HashMap<Arc<str>, u32>,
) -> Result<u32, NoVan> {
    let identity = match record {
        Record::Reading(r) => identity_of::<Reading>(names, r.who()),
        Record::Fill(r) => identity_of::<Fill>(names, r.who()),
        Record::Service(r) => identity_of::<Service>(names, r.who()),
        Record::Van(r) => identity_of::<Van>(names, r.who()),
        Record::Hardness(r) => identity_of::<Hardness>(names, r.who()),
    }?;
    let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
    Ok(*numbers.entry(identity).or_insert(next))
}

/// The rows of one kind that belong to someone, month by month, in the order
/// of the file.
fn by_month<T: Kind>(
    file: &str,
    rows: &[AcceptedRow],
    whose: &Whose,
) -> Result<BTreeMap<Month, Vec<usize>>, StoreError> {
    let mut months: BTreeMap<Month, Vec<usize>> = BTreeMap::new();
    let mut finder = MonthFinder::default();
    for (i, ((line, record, _), who)) in rows.iter().zip(&whose.rows).enumerate() {
        let Some(record) = T::of(record) else {
            continue;
        };
        if who.is_ok() {
            let month = finder
                .month_of(record)
                .ok_or_else(|| StoreError::TimeOutOfRange {
                    file: file.to_owned(),
                    line: line_of(*line),
                })?;
            months.entry(month).or_default().push(i);
        }
    }
    Ok(months)
}

/// What a file's rows are held against.
pub(super) struct Against<'s> {
    /// The file's name.
    pub(super) file: &'s str,
    pub(super) view: &'s View,
    pub(super) sound: &'s Sound,
    pub(super) names: &'s VanNames,
}

impl Against<'_> {
    /// Writes the verdicts on the rows of one kind, reading only the months
    /// that they touch.
    ///
    /// `rows`: all of a file, or all of some of its records; `verdicts`: one
    /// for every row.
    pub(super) fn judge_kind<T: Kind>(
        &self,
        rows: &[AcceptedRow],
        whose: &Whose,
        parts: &[Part],
        verdicts: &mut [Verdict],
    ) -> Result<(), StoreError> {
        let months = by_month::<T>(self.file, rows, whose)?;
        let months: Vec<(Month, Vec<usize>)> = months.into_iter().collect();
        let judged: Vec<Vec<(usize, Verdict)>> = months
            .par_iter()
            .map(|(month, of_month)| {
                let month = month.map(month_name);
                let touched = parts.iter().filter(|part| part.month == month);
                let touched = touched.filter(|part| self.sound.is_sound(part));
                self.judge_month::<T>(rows, whose, of_month, touched)
            })
            .collect::<Result<_, _>>()?;
        for (i, verdict) in judged.into_iter().flatten() {
            if let Some(slot) = verdicts.get_mut(i) {
                *slot = verdict;
            }
        }
        Ok(())
    }

    fn judge_month<'p, T: Kind>(
        &self,
        rows: &[AcceptedRow],
        whose: &Whose,
        of_month: &[usize],
        parts: impl Iterator<Item = &'p Part>,
    ) -> Result<Vec<(usize, Verdict)>, StoreError> {
        let mut month = MonthOfFile::<T>::new(rows, whose, of_month);
        let mut numbers: HashMap<Arc<str>, Option<u32>> = HashMap::new();
        let mut last: Option<(Arc<str>, Option<u32>)> = None;
        for part in parts {
            month.read_stored(part, self.view, |name| {
                // Rows of one van lie side by side, their name shared.
                if let Some((known, number)) = &last
                    && Arc::ptr_eq(known, name)
                {
                    return *number;
                }
                let number = *numbers.entry(name.clone()).or_insert_with(|| {
                    let identity = identity_of::<T>(self.names, name).ok()?;
                    whose.numbers.get(&identity).copied()
                });
                last = Some((name.clone(), number));
                number
            })?;
        }
        Ok(month.verdicts())
    }
}

/// What tells a record from all others: whose, and when.
type Key = (u32, (i64, u32));

/// The file's rows of one month, in order of key, then of the file; and the
/// stored versions of their records.
struct MonthOfFile<'f, T> {
    rows: Vec<(Key, usize, &'f T)>,
    /// Place in `rows` of the record's first row, and a stored version of it.
    stored: Vec<(usize, T, RowPlace)>,
}

impl<'f, T: Kind> MonthOfFile<'f, T> {
    fn new(file: &'f [AcceptedRow], whose: &Whose, rows: &[usize]) -> Self {
        let row_at = |i: &usize| {
            let record = T::of(&file.get(*i)?.1)?;
            let who = whose.rows.get(*i)?.ok()?;
            Some(((who, record.when()), *i, record))
        };
        let mut rows: Vec<_> = rows.iter().filter_map(row_at).collect();
        // Stable, and quick where the file is sorted already.
        rows.sort_by_key(|(key, _, _)| *key);
        MonthOfFile {
            rows,
            stored: Vec::new(),
        }
    }

    fn first_of(&self, key: Key) -> Option<usize> {
        let first = self.rows.partition_point(|(k, _, _)| *k < key);
        (self.rows.get(first)?.0 == key).then_some(first)
    }

    fn read_stored(
        &mut self,
        part: &Part,
        view: &View,
        mut number_of: impl FnMut(&Arc<str>) -> Option<u32>,
    ) -> Result<(), StoreError> {
        for_each_row::<T>(part, view, |batch, row, place| {
            if let Some(who) = number_of(T::names(batch).get(row)?)
                && let Some(first) = self.first_of((who, T::when_at(batch, row)?))
            {
                self.stored.push((first, T::get(batch, row)?, place));
            }
            Some(())
        })
    }

    fn verdicts(mut self) -> Vec<(usize, Verdict)> {
        self.stored.sort_by_key(|(first, ..)| *first);
        let mut stored = self.stored.into_iter().peekable();
        let mut verdicts = Vec::with_capacity(self.rows.len());
        let mut start = 0;
        for versions in self.rows.chunk_by(|(a, _, _), (b, _, _)| a == b) {
            let mut known = Known::default();
            let mut places = Vec::new();
            while let Some((_, version, place)) = stored.next_if(|(first, ..)| *first == start) {
                known.push(version);
                places.push((place.stored, place.mark));
            }
            start += versions.len();
            if let ([(_, i, _)], []) = (versions, places.as_slice()) {
                verdicts.push((*i, Verdict::New));
                continue;
            }
            for (_, i, row) in versions {
                let verdict = match known.find(row) {
                    Some(equal) => Verdict::AlreadyStored(places.get(equal).copied()),
                    None => {
                        let is_first = known.rows.is_empty();
                        known.push((*row).clone());
                        if is_first {
                            Verdict::New
                        } else {
                            Verdict::Corrected
                        }
                    }
                };
                verdicts.push((*i, verdict));
            }
        }
        verdicts
    }
}
