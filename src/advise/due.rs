//! What to do on which van: the job on each part, what it takes and how much it
//! presses. [`super::visits`] puts jobs into visits.

use crate::calendar::{Date, DateExt};
use serde::Serialize;

use super::plan::Early;
use super::{Assessment, Item, Rank, State, VanAssessment, add_days, visits};

/// What is done to a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Task {
    /// A new one goes in.
    Change,
    /// A membrane that fails early is looked at before anything is bought.
    Inspect,
    /// Readings do not settle it yet: tap and membrane TDS are read again.
    ReadAgain,
    /// A meter is doubted: it is checked before anything is bought.
    CheckMeter,
}

/// One job on one van.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    pub van: String,
    /// District in which the van is based.
    pub base: Option<String>,
    pub item: Item,
    pub task: Task,
    /// What it takes: membranes, sets of pre-filters, litres of resin; 0 where
    /// nothing is fitted or it is not known.
    pub quantity: f64,
    /// Make and size, as the last service that named it did.
    pub part: Option<String>,
    /// The day of the visit: a working day after the as-of day.
    pub date: Date,
    /// The day that would be cheapest for this job alone; it may have passed.
    pub own_day: Date,
    pub state: State,
    /// How much it presses.
    pub rank: Rank,
    /// The reason, one sentence.
    pub why: String,
    /// When the part in use was fitted; `None` if unknown.
    pub since: Option<Date>,
    /// The day the list was made.
    pub as_of: Date,
}

impl Job {
    /// Days that the job is done before its own day.
    pub fn days_early(&self) -> i32 {
        self.own_day.days_since(self.date.max(self.as_of)).max(0)
    }

    /// Days by which its own day has passed on the day of the list.
    pub fn days_late(&self) -> i32 {
        self.as_of.days_since(self.own_day).max(0)
    }
}

/// A job with what doing it early costs.
pub(super) struct Candidate<'a> {
    pub job: Job,
    pub early: &'a [Early],
}

/// Jobs that are overdue or whose visit falls within `weeks` of the as-of day, by
/// visit: by day and base, the most pressing first.
pub fn jobs(assessment: &Assessment, weeks: u32) -> Vec<Job> {
    let visits = visits::visits(assessment, weeks).into_iter();
    visits.flat_map(|visit| visit.jobs).collect()
}

/// The next job on each part of a van.
pub(super) fn candidates<'a>(
    van: &'a VanAssessment,
    assessment: &Assessment,
) -> Vec<Candidate<'a>> {
    let as_of = assessment.as_of;
    let candidate = |item, task, day, early| {
        let (state, why, since) = match item {
            Item::Membrane => (
                van.membrane.state,
                &van.membrane.reason,
                van.membrane.fitted_on,
            ),
            Item::Probe => (State::Due, &van.membrane.reason, None),
            Item::Resin => (van.resin.state, &van.resin.reason, van.resin.changed_on),
            _ => (
                van.prefilter.state,
                &van.prefilter.reason,
                van.prefilter.changed_on,
            ),
        };
        let (quantity, part) = match task {
            Task::Change => van.series.fitted.takes(item),
            Task::Inspect | Task::ReadAgain | Task::CheckMeter => (0.0, None),
        };
        let job = Job {
            van: van.van.clone(),
            base: van.postcode.clone(),
            item,
            task,
            quantity,
            part,
            date: day,
            own_day: day,
            state,
            rank: Rank::of(van, item, &assessment.limits),
            why: why.clone(),
            since,
            as_of,
        };
        Candidate { job, early }
    };
    let mut candidates = Vec::with_capacity(3);
    if van.series.has_membrane {
        let membrane = &van.membrane;
        // An alarm is for now, whatever the calendar had planned; what it changes
        // is decided by what is found.
        candidates.extend(match (membrane.state, membrane.replace_on) {
            // A meter in doubt is checked now, and nothing is changed before that.
            _ if membrane.check_meter_first => {
                Some(candidate(Item::Probe, Task::CheckMeter, as_of, &[]))
            }
            (State::FailingEarly, _) => Some(candidate(Item::Membrane, Task::Inspect, as_of, &[])),
            (State::Watch, _) if membrane.alarm.is_some() => {
                Some(candidate(Item::Membrane, Task::ReadAgain, as_of, &[]))
            }
            // What is on watch is read again, not changed.
            (State::Watch, _) | (_, None) => None,
            (_, Some(day)) => Some(candidate(
                Item::Membrane,
                Task::Change,
                day,
                membrane.early.as_slice(),
            )),
        });
    }
    let resin_day = van.resin.replace_on.filter(|_| van.series.has_resin);
    if let Some(day) = resin_day.filter(|_| van.resin.state != State::Watch) {
        candidates.push(candidate(Item::Resin, Task::Change, day, &van.resin.early));
    }
    // a van without a membrane may well have no pre-filters either
    let filters = van.series.has_membrane || van.prefilter.state != State::Unknown;
    if let Some(day) = van.prefilter.replace_on.filter(|_| filters) {
        candidates.push(candidate(
            Item::Prefilter,
            Task::Change,
            day,
            &van.prefilter.early,
        ));
    }
    candidates
}

/// The end of the time that a list covers.
pub(super) fn end(as_of: Date, weeks: u32) -> Date {
    add_days(as_of, 7.0 * f64::from(weeks))
}

/// Vans that made no water in the last weeks on record, with how many weeks.
pub fn stood_still(assessment: &Assessment) -> Vec<(String, usize)> {
    const LONG: usize = 3;
    assessment
        .vans
        .iter()
        .filter_map(|van| {
            // The last week may not be over.
            let full = van.series.weeks.len().checked_sub(1)?;
            let weeks = van.series.weeks.get(..full)?;
            let still = weeks.iter().rev().take_while(|w| w.litres < 1.0).count();
            (still >= LONG).then(|| (van.van.clone(), still))
        })
        .collect()
}
