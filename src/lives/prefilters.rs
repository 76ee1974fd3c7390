//! Pre-filter changes: lives, and which litres were made after the set was due.

use crate::calendar::Date;

use super::days::days_between;
use super::history_as_of::Dated;
use super::sizes::Standing;
use super::types::{End, PrefilterLife};
use super::usage::PermeateVolume;
use crate::store::records::Item;

/// Days of recorded pre-filter changes, oldest first, each once.
pub(crate) fn changes(services: &[Dated<'_>]) -> Vec<Date> {
    let mut dates: Vec<Date> = services
        .iter()
        .filter(|dated| dated.service.item == Item::Prefilter)
        .map(|dated| dated.date)
        .collect();
    dates.dedup();
    dates
}

/// Marks what was made more than `prefilter_days` after the last change.
/// Before the first recorded change nothing is known to be late.
pub(crate) fn mark_late(made: &mut [PermeateVolume], changes: &[Date], prefilter_days: f64) {
    let mut next = 0;
    let mut last: Option<Date> = None;
    for fill in made {
        while let Some(change) = changes.get(next)
            && *change <= fill.date
        {
            last = Some(*change);
            next += 1;
        }
        fill.late =
            last.is_some_and(|change| days_between(change, fill.date) as f64 > prefilter_days);
    }
}

/// Lives of the sets, oldest first. `made`: oldest first; `fills_known`:
/// whether fills are recorded at all.
pub(crate) fn lives(
    changes: &[Date],
    made: &[PermeateVolume],
    fills_known: bool,
    standing: Standing,
) -> Vec<PrefilterLife> {
    let litres = |from: Option<Date>, to: Option<Date>| {
        let first = from.map_or(0, |from| made.partition_point(|fill| fill.date < from));
        let end = to.map_or(made.len(), |to| made.partition_point(|fill| fill.date < to));
        let made = made.get(first..end).unwrap_or_default();
        fills_known.then(|| made.iter().map(|fill| fill.litres).sum())
    };
    let mut starts: Vec<Option<Date>> = Vec::new();
    let unrecorded = made
        .first()
        .is_some_and(|fill| changes.first().is_none_or(|change| fill.date < *change));
    if unrecorded {
        starts.push(None);
    }
    starts.extend(changes.iter().copied().map(Some));
    starts
        .iter()
        .enumerate()
        .map(|(n, start)| {
            let next = starts.get(n + 1).copied().flatten();
            PrefilterLife {
                changed_on: *start,
                end: match (next, standing) {
                    (Some(date), _) | (None, Standing::Retired(date)) => End::Replaced(date),
                    (None, _) => End::InUse,
                },
                litres_made: litres(*start, next),
            }
        })
        .collect()
}
