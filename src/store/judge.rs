//! What becomes of each row of a file: new, corrected, known, or of no van.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use rayon::prelude::*;

use super::columns::Kind;
use super::error::StoreError;
use super::lines::Lines;
use super::names::{NoVan, VanNames};
use super::part::Part;
use super::reader::{for_each_row, identity_of};
use super::records::{FileRows, Record};

/// What becomes of one accepted row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    /// The first version of its record.
    New,
    /// A further version of a record.
    Corrected,
    /// Equal to an earlier version.
    AlreadyStored,
    /// Its van is not on the list: stored, but set aside until it is.
    OfNoVan,
    /// Of no van, and listed so already by an earlier ingest of the same file.
    AlreadyListed,
}

impl Verdict {
    pub(super) fn is_written(self) -> bool {
        matches!(self, Verdict::New | Verdict::Corrected | Verdict::OfNoVan)
    }
}

/// A month since year 0, or `None` for a table that is not split.
pub(super) type Month = Option<i32>;

pub(super) fn month_name(month: i32) -> String {
    format!(
        "{:04}-{:02}",
        month.div_euclid(12),
        month.rem_euclid(12) + 1
    )
}

/// The UTC month of a record, for tables split by month.
pub(super) fn month_of<T: Kind>(record: &T) -> Option<Month> {
    if !T::TABLE.is_by_month() {
        return Some(None);
    }
    let (micros, _) = record.when();
    let at = jiff::Timestamp::from_microsecond(micros).ok()?;
    let date = jiff::tz::Offset::UTC.to_datetime(at).date();
    Some(Some(
        i32::from(date.year()) * 12 + i32::from(date.month()) - 1,
    ))
}

/// The identities of a file's vans, numbered.
pub(super) struct Whose {
    numbers: HashMap<Arc<str>, u32>,
    /// Row by row; of vans, the number of its identity.
    pub(super) rows: Vec<Result<u32, NoVan>>,
}

fn identity_of_record(names: &VanNames, record: &Record) -> (Arc<str>, Result<Arc<str>, NoVan>) {
    fn of<T: Kind>(names: &VanNames, record: &T) -> (Arc<str>, Result<Arc<str>, NoVan>) {
        (record.who().clone(), identity_of::<T>(names, record.who()))
    }
    match record {
        Record::Reading(r) => of(names, r),
        Record::Fill(r) => of(names, r),
        Record::Service(r) => of(names, r),
        Record::Van(r) => of(names, r),
        Record::Hardness(r) => of(names, r),
    }
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
    pub(super) fn of(file: &FileRows, names: &VanNames) -> Whose {
        let mut numbers: HashMap<Arc<str>, u32> = HashMap::new();
        let mut known: HashMap<(std::mem::Discriminant<Record>, Arc<str>), Result<u32, NoVan>> =
            HashMap::new();
        let mut last: Option<(std::mem::Discriminant<Record>, Arc<str>, Result<u32, NoVan>)> = None;
        let mut rows = Vec::with_capacity(file.rows.len());
        for (_, record, _) in &file.rows {
            let kind = std::mem::discriminant(record);
            let name = who(record);
            if let Some((last_kind, last_name, number)) = &last
                && *last_kind == kind
                && last_name == name
            {
                rows.push(*number);
                continue;
            }
            let number = *known.entry((kind, name.clone())).or_insert_with(|| {
                let (_, identity) = identity_of_record(names, record);
                identity.map(|identity| {
                    let next = u32::try_from(numbers.len()).unwrap_or(u32::MAX);
                    *numbers.entry(identity).or_insert(next)
                })
            });
            last = Some((kind, name.clone(), number));
            rows.push(number);
        }
        Whose { numbers, rows }
    }
}

/// The file's rows of one kind that belong to someone, month by month, in
/// the order of the file.
fn by_month<T: Kind>(
    file: &FileRows,
    whose: &Whose,
) -> Result<BTreeMap<Month, Vec<usize>>, StoreError> {
    let mut months: BTreeMap<Month, Vec<usize>> = BTreeMap::new();
    for (i, ((line, record, _), who)) in file.rows.iter().zip(&whose.rows).enumerate() {
        let Some(record) = T::of(record) else {
            continue;
        };
        if who.is_ok() {
            let month = month_of(record).ok_or_else(|| StoreError::TimeOutOfRange {
                file: file.name.clone(),
                line: *line,
            })?;
            months.entry(month).or_default().push(i);
        }
    }
    Ok(months)
}

/// Writes the verdicts on the file's rows of one kind, reading only the
/// months that the file touches.
///
/// `verdicts`: one for every row of the file.
pub(super) fn judge_kind<T: Kind>(
    file: &FileRows,
    whose: &Whose,
    parts: &[Part],
    superseded: &Lines,
    names: &VanNames,
    verdicts: &mut [Verdict],
) -> Result<(), StoreError> {
    let months: Vec<(Month, Vec<usize>)> = by_month::<T>(file, whose)?.into_iter().collect();
    let judged: Vec<Vec<(usize, Verdict)>> = months
        .par_iter()
        .map(|(month, rows)| {
            let month = month.map(month_name);
            let touched = parts.iter().filter(|part| part.month == month);
            judge_month::<T>(file, whose, rows, touched, superseded, names)
        })
        .collect::<Result<_, _>>()?;
    for (i, verdict) in judged.into_iter().flatten() {
        if let Some(slot) = verdicts.get_mut(i) {
            *slot = verdict;
        }
    }
    Ok(())
}

/// The versions of one record: those stored, then those of this file.
struct Versions<'f, T> {
    stored: Vec<T>,
    first: Option<&'f T>,
    further: Vec<&'f T>,
}

impl<'f, T: Kind> Versions<'f, T> {
    fn judge(&mut self, row: &'f T) -> Verdict {
        let known = self.stored.iter().chain(self.first);
        if known
            .chain(self.further.iter().copied())
            .any(|v| v.equals(row))
        {
            Verdict::AlreadyStored
        } else if self.first.is_none() {
            self.first = Some(row);
            if self.stored.is_empty() {
                Verdict::New
            } else {
                Verdict::Corrected
            }
        } else {
            self.further.push(row);
            Verdict::Corrected
        }
    }
}

fn judge_month<'p, T: Kind>(
    file: &FileRows,
    whose: &Whose,
    rows: &[usize],
    parts: impl Iterator<Item = &'p Part>,
    superseded: &Lines,
    names: &VanNames,
) -> Result<Vec<(usize, Verdict)>, StoreError> {
    type Key = (u32, (i64, u32));
    let row_at = |i: usize| -> Option<(&T, Key)> {
        let record = T::of(&file.rows.get(i)?.1)?;
        let who = whose.rows.get(i)?.ok()?;
        Some((record, (who, record.when())))
    };
    let mut records: HashMap<Key, Versions<'_, T>> = HashMap::with_capacity(rows.len());
    for (_, key) in rows.iter().filter_map(|i| row_at(*i)) {
        records.entry(key).or_insert_with(|| Versions {
            stored: Vec::new(),
            first: None,
            further: Vec::new(),
        });
    }
    let mut numbers: HashMap<Arc<str>, Option<u32>> = HashMap::new();
    for part in parts {
        for_each_row::<T>(part, superseded, |batch, row, _| {
            let name = T::names(batch).get(row)?;
            let number = match numbers.get(name) {
                Some(number) => *number,
                None => {
                    let identity = identity_of::<T>(names, name).ok();
                    let number = identity.and_then(|who| whose.numbers.get(&who).copied());
                    numbers.insert(name.clone(), number);
                    number
                }
            };
            if let Some(who) = number
                && let Some(versions) = records.get_mut(&(who, T::when_at(batch, row)?))
            {
                versions.stored.push(T::get(batch, row)?);
            }
            Some(())
        })?;
    }
    let mut verdicts = Vec::with_capacity(rows.len());
    for i in rows {
        if let Some((record, key)) = row_at(*i)
            && let Some(versions) = records.get_mut(&key)
        {
            verdicts.push((*i, versions.judge(record)));
        }
    }
    Ok(verdicts)
}
