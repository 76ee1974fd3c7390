//! What became of an earlier work list.

use crate::calendar::{Date, DateExt};
use serde::Serialize;

use super::due::{Job, Task, jobs};
use super::{Assessment, Item, State, VanAssessment};

/// A job of an earlier list as it stands now.
#[derive(Debug, Clone, PartialEq)]
pub struct ListedJob {
    pub job: Job,
    pub outcome: Outcome,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    Done(Date),
    /// No row says that it was done. A change is late from the day that is best for
    /// it as known now, the same that every other list goes by; a check from the day
    /// it was listed for.
    Open {
        days_late: i32,
    },
    /// Not done, and newer rows put it off to this day.
    Later(Date),
    /// It needs doing no more: the alarm is gone.
    Settled,
}

/// The jobs that the list of `before` had up to the day of `now`, in its order;
/// those of vans that left are left out.
pub fn last_list(before: &Assessment, now: &Assessment) -> Vec<ListedJob> {
    let days = now.as_of.days_since(before.as_of);
    let weeks = u32::try_from(days.max(0)).unwrap_or(0).div_ceil(7);
    let listed = jobs(before, weeks).into_iter();
    listed
        .filter(|job| job.date <= now.as_of)
        .filter_map(|job| {
            let van = now.vans.iter().find(|van| van.van == job.van)?;
            let outcome = outcome(&job, van, now.as_of);
            Some(ListedJob { job, outcome })
        })
        .collect()
}

fn outcome(job: &Job, van: &VanAssessment, as_of: Date) -> Outcome {
    let (since, planned) = match job.item {
        Item::Membrane => (van.membrane.fitted_on, van.membrane.replace_on),
        Item::Resin => (van.resin.changed_on, van.resin.replace_on),
        Item::Probe => (None, None),
        _ => (van.prefilter.changed_on, van.prefilter.replace_on),
    };
    let after = |day: Option<Date>| day.filter(|day| *day > job.as_of);
    let done = match job.task {
        Task::Change => after(since),
        Task::Inspect => after(since),
        Task::ReadAgain => after(van.series.last_reading_on).or(after(since)),
        Task::CheckMeter => after(since),
    };
    let alarmed = matches!(van.membrane.state, State::FailingEarly | State::Watch);
    match (done, job.task, planned) {
        (Some(day), ..) => Outcome::Done(day),
        (None, Task::Inspect, _) if !alarmed => Outcome::Settled,
        (None, Task::CheckMeter, _) if !van.membrane.check_meter_first => Outcome::Settled,
        (None, Task::Change, Some(day)) if day > as_of => Outcome::Later(day),
        (None, Task::Change, planned) => Outcome::Open {
            days_late: as_of.days_since(planned.unwrap_or(job.own_day)).max(0),
        },
        (None, ..) => Outcome::Open {
            days_late: as_of.days_since(job.date),
        },
    }
}
