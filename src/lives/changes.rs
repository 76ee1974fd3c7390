//! When a membrane or a resin charge was changed: recorded, or inferred.

use std::sync::Arc;

use crate::calendar::{Date, TimeZone};

use super::days::{Days, days_after, days_between};
use super::history_as_of::{Dated, HistoryAsOf};
use super::observations::Observation;
use super::remarks::Remarks;
use super::types::{About, ServiceMark, Start};
use crate::store::records::{Instant, Item, When};

/// A new membrane or resin charge.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Change {
    pub date: Date,
    /// Rows from here on belong to the new one.
    pub from: Instant,
    /// Whether only the day is known, so that a row of that day may belong to either.
    pub day_only: bool,
    pub start: Start,
    pub part: Option<Arc<str>>,
    pub quantity: Option<f64>,
}

/// A recorded change this near to a recovery is the same event.
pub(crate) const SAME_EVENT_DAYS: i64 = 7;

/// Recorded changes, oldest first, one a day. `services`: those that changed
/// the thing, oldest first.
pub(crate) fn recorded<'a>(services: impl Iterator<Item = &'a Dated<'a>>) -> Vec<Change> {
    let mut changes: Vec<Change> = Vec::new();
    for dated in services {
        let service = dated.service;
        match changes.last_mut() {
            Some(last) if last.date == dated.date => {
                last.quantity = match (last.quantity, service.quantity) {
                    (Some(a), Some(b)) => Some(a + b),
                    (a, b) => a.or(b),
                };
                last.part = last.part.clone().or_else(|| service.part.clone());
            }
            _ => changes.push(Change {
                date: dated.date,
                from: dated.from,
                day_only: matches!(service.done_at, When::Day(_)),
                start: Start::Recorded,
                part: service.part.clone(),
                quantity: service.quantity,
            }),
        }
    }
    changes
}

/// Adds the recoveries (looks before and after each) to the recorded changes.
///
/// A recorded change near a recovery is the same event: it keeps its day, and
/// its rows are parted where the readings say.
pub(crate) fn with_inferred(
    mut changes: Vec<Change>,
    recoveries: &[(usize, usize)],
    observations: &[Observation],
    time_zone: &TimeZone,
) -> Vec<Change> {
    let days = Days::new(*time_zone);
    for (before, after) in recoveries {
        let (Some(before), Some(after)) = (observations.get(*before), observations.get(*after))
        else {
            continue;
        };
        let middle = Instant(before.at.0 + (after.at.0 - before.at.0 + 1) / 2);
        let near = changes.iter_mut().find(|change| {
            change.date >= days_after(before.date, -SAME_EVENT_DAYS)
                && change.date <= days_after(after.date, SAME_EVENT_DAYS)
        });
        match near {
            Some(change) => {
                if change.from <= before.at || change.from > after.at {
                    change.from = middle;
                    change.day_only = false;
                }
            }
            None => changes.push(Change {
                date: days.date(middle),
                from: middle,
                day_only: false,
                start: Start::Inferred,
                part: None,
                quantity: None,
            }),
        }
    }
    changes.sort_by_key(|change| change.from);
    changes
}

/// Marks for the inferred ones among `changes`, with a remark for each.
pub(crate) fn inferred_marks(
    changes: &[Change],
    item: Item,
    remarks: &mut Remarks,
) -> Vec<ServiceMark> {
    let what = match item {
        Item::Resin => "DI resin",
        _ => "RO membrane",
    };
    changes
        .iter()
        .filter(|change| change.start == Start::Inferred)
        .map(|change| {
            remarks.note(
                About::Services,
                Some(change.date),
                format!(
                    "the {what} looks replaced about this day, not recorded; \
                     please add the job, or correct the readings"
                ),
            );
            ServiceMark {
                date: change.date,
                item,
                quantity: None,
                cost: None,
                part: None,
                note: None,
                inferred: true,
            }
        })
        .collect()
}

/// For each look a number that changes where the van's base moves or a probe
/// is worked on: readings from both sides of such a day do not compare.
pub(crate) fn regimes(seen: &HistoryAsOf<'_>, observations: &[Observation]) -> Vec<u32> {
    let probes: Vec<Date> = seen
        .services
        .iter()
        .filter(|dated| dated.service.item == Item::Probe)
        .map(|dated| dated.date)
        .collect();
    let mut serviced = 0;
    let mut regime = 0;
    let mut base = None;
    observations
        .iter()
        .map(|observation| {
            let mut breaks = false;
            while let Some(probe) = probes.get(serviced)
                && days_between(*probe, observation.date) >= 0
            {
                serviced += 1;
                breaks = true;
            }
            let here = seen.base.on(observation.date);
            if breaks || base.is_some_and(|before| before != here) {
                regime += 1;
            }
            base = Some(here);
            regime
        })
        .collect()
}
