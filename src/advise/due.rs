//! What to do on which van in the coming weeks, jobs on one van grouped into one
//! visit where doing one early costs less than the visit it saves.

use jiff::civil::Date;

use super::plan::{Early, cost_of_early};
use super::{Assessment, Item, State, VanAssessment, add_days};

/// One job on one van.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    pub van: String,
    /// District in which the van is based.
    pub base: Option<String>,
    pub item: Item,
    /// The day of the visit; it may have passed. For a membrane that fails early
    /// it is no later than the as-of day: look at it now.
    pub date: Date,
    /// The day that would be cheapest for this job alone; `date` is earlier where
    /// that saves a visit.
    pub own_day: Date,
    pub state: State,
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
        (self.own_day - self.date.max(self.as_of)).get_days().max(0)
    }
}

/// A job with what doing it early costs.
struct Candidate<'a> {
    job: Job,
    early: &'a [Early],
}

/// How urgent a state is: the most urgent comes first.
fn urgency(state: State) -> u8 {
    match state {
        State::FailingEarly => 0,
        State::Overdue => 1,
        State::Due => 2,
        State::Watch => 3,
        State::Unknown => 4,
        State::OnCourse => 5,
    }
}

/// Jobs whose visit is overdue or falls within `weeks` of the as-of day: alarms
/// first, then by date, then the most urgent, then by van and item.
pub fn jobs(assessment: &Assessment, weeks: u32) -> Vec<Job> {
    let end = add_days(assessment.as_of, 7.0 * f64::from(weeks));
    let mut jobs: Vec<Job> = Vec::new();
    for van in &assessment.vans {
        let mut candidates = candidates(van, assessment.as_of);
        let days: Vec<i32> = candidates
            .iter()
            .map(|c| (c.job.own_day - assessment.as_of).get_days())
            .collect();
        let lists: Vec<&[Early]> = candidates.iter().map(|c| c.early).collect();
        for (candidate, with) in
            candidates
                .iter_mut()
                .zip(visits(&days, &lists, assessment.saved_visit))
        {
            candidate.job.date = add_days(assessment.as_of, f64::from(with));
        }
        jobs.extend(
            candidates
                .into_iter()
                .map(|c| c.job)
                .filter(|j| j.date <= end),
        );
    }
    jobs.sort_by(|a, b| {
        let key = |j: &Job| (j.state != State::FailingEarly, j.date, urgency(j.state));
        key(a)
            .cmp(&key(b))
            .then_with(|| (&a.van, a.item).cmp(&(&b.van, b.item)))
    });
    jobs
}

/// The next job on each part of a van.
fn candidates(van: &VanAssessment, as_of: Date) -> Vec<Candidate<'_>> {
    let (membrane, resin, prefilter) = (&van.membrane, &van.resin, &van.prefilter);
    let alarm = membrane.state == State::FailingEarly;
    let check = membrane.check_meter_first;
    // An alarm is for now, whatever the calendar had planned.
    let membrane_day = match membrane.replace_on {
        // A meter in doubt is looked at now, and nothing is changed before that.
        _ if check => Some(as_of),
        Some(day) if alarm => Some(day.min(as_of)),
        None if alarm => Some(as_of),
        day => day,
    };
    let parts = [
        (
            if check { Item::Probe } else { Item::Membrane },
            van.series.has_membrane,
            membrane_day,
            if check { State::Due } else { membrane.state },
            &membrane.reason,
            membrane.fitted_on.filter(|_| !check),
            if check { &[] } else { membrane.early.as_slice() },
        ),
        (
            Item::Resin,
            van.series.has_resin,
            resin.replace_on,
            resin.state,
            &resin.reason,
            resin.changed_on,
            resin.early.as_slice(),
        ),
        (
            Item::Prefilter,
            van.series.has_membrane || prefilter.state != State::Unknown,
            prefilter.replace_on,
            prefilter.state,
            &prefilter.reason,
            prefilter.changed_on,
            prefilter.early.as_slice(),
        ),
    ];
    parts
        .into_iter()
        // What is on watch is read again, not changed.
        .filter(|(_, aboard, _, state, ..)| *aboard && *state != State::Watch)
        .filter_map(|(item, _, day, state, why, since, early)| {
            let day = day?;
            let job = Job {
                van: van.van.clone(),
                base: van.postcode.clone(),
                item,
                date: day,
                own_day: day,
                state,
                why: why.clone(),
                since,
                as_of,
            };
            Some(Candidate { job, early })
        })
        .collect()
}

/// On which day (from today, past ones negative) each of a van's jobs is done:
/// the cheapest way to share visits, where a shared visit is on the earliest day
/// of its jobs. `own` and `early` belong to one job each, at most a handful.
fn visits(own: &[i32], early: &[&[Early]], saved_visit: f64) -> Vec<i32> {
    let n = own.len();
    let mut best = (0.0, own.to_vec());
    // Every way to put the jobs into groups, by group number.
    let mut group = vec![0_usize; n];
    loop {
        let (cost, days) = shared(own, early, saved_visit, &group);
        if cost < best.0 - 1e-9 {
            best = (cost, days);
        }
        // The next way, counting in base n.
        let Some(place) = group.iter().rposition(|g| g + 1 < n) else {
            return best.1;
        };
        if let Some(g) = group.get_mut(place) {
            *g += 1;
        }
        group.iter_mut().skip(place + 1).for_each(|g| *g = 0);
    }
}

/// What a grouping costs over a visit for each job, and the days it gives.
fn shared(own: &[i32], early: &[&[Early]], saved_visit: f64, group: &[usize]) -> (f64, Vec<i32>) {
    let first = |g: usize| {
        own.iter()
            .zip(group)
            .filter(|(_, other)| **other == g)
            .map(|(day, _)| *day)
            .min()
    };
    let mut cost = 0.0;
    let mut days = Vec::with_capacity(own.len());
    let mut visits: Vec<usize> = group.to_vec();
    visits.sort_unstable();
    visits.dedup();
    for ((day, list), g) in own.iter().zip(early).zip(group) {
        let shared = group.iter().filter(|other| *other == g).count() > 1;
        let visit = first(*g).unwrap_or(*day);
        // A visit that is shared is today at the earliest.
        let visit = if shared { visit.max(0) } else { visit };
        let moved = f64::from((*day - visit).max(0));
        cost += cost_of_early(list, moved);
        days.push(visit);
    }
    cost -= saved_visit * (own.len() - visits.len()) as f64;
    (cost, days)
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

#[cfg(test)]
mod tests {
    use super::*;

    const CHEAP: &[Early] = &[Early {
        days: 100.0,
        cost: 10.0,
    }];
    const DEAR: &[Early] = &[Early {
        days: 100.0,
        cost: 500.0,
    }];

    #[test]
    fn a_job_is_moved_where_that_costs_less_than_the_visit_it_saves() {
        // 30 days early cost 3: less than a visit at 20.
        assert_eq!(visits(&[10, 40], &[CHEAP, CHEAP], 20.0), [10, 10]);
        // 30 days early cost 150.
        assert_eq!(visits(&[10, 40], &[CHEAP, DEAR], 20.0), [10, 40]);
        // Nobody's visit is worth anything.
        assert_eq!(visits(&[10, 40], &[CHEAP, CHEAP], 0.0), [10, 40]);
        assert_eq!(visits(&[], &[], 20.0), [0_i32; 0]);
    }

    #[test]
    fn a_job_never_moves_back_and_the_best_partner_is_found() {
        // The dear one keeps its day; the cheap ones join what is before them.
        assert_eq!(
            visits(&[5, 12, 60], &[CHEAP, DEAR, CHEAP], 20.0),
            [5, 12, 12]
        );
        assert_eq!(visits(&[5, 5, 90], &[DEAR, DEAR, CHEAP], 20.0), [5, 5, 5]);
    }

    #[test]
    fn what_is_overdue_is_joined_today_not_in_the_past() {
        // 20 days early from today, not 50.
        assert_eq!(visits(&[-30, 20], &[CHEAP, CHEAP], 2.5), [0, 0]);
        assert_eq!(visits(&[-30, -2], &[DEAR, DEAR], 2.5), [0, 0]);
        assert_eq!(visits(&[-30, 20], &[CHEAP, CHEAP], 1.5), [-30, 20]);
    }

    #[test]
    fn beyond_what_is_known_nothing_moves() {
        assert_eq!(visits(&[0, 150], &[CHEAP, CHEAP], 1e6), [0, 150]);
        assert_eq!(visits(&[0, 3], &[CHEAP, &[]], 1e6), [0, 3]);
    }
}
