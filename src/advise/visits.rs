//! Visits: the jobs of the vans at one base on one working day. A job is done
//! early where that costs less than the visit it saves, and no day has more jobs
//! than its crews can do.

use std::collections::BTreeMap;

use crate::calendar::{Date, DateExt};

use super::due::{Candidate, Job, candidates, end};
use super::plan::cost_of_early;
use super::prices::KnownPrices;
use super::{Assessment, State, add_days};
use crate::settings::{Settings, Work};

/// Jobs at one base on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    pub day: Date,
    /// District; `None` for a van whose base is not known.
    pub base: Option<String>,
    /// The most pressing first.
    pub jobs: Vec<Job>,
}

impl Visit {
    /// The vans that are worked on, in the order of their jobs.
    pub fn vans(&self) -> Vec<&str> {
        let mut vans: Vec<&str> = Vec::new();
        for job in &self.jobs {
            if !vans.contains(&job.van.as_str()) {
                vans.push(&job.van);
            }
        }
        vans
    }
}

/// Visits with a job that is overdue, or within `weeks` of the as-of day, by day
/// and base. The same plan whatever the weeks.
pub fn visits(assessment: &Assessment, weeks: u32) -> Vec<Visit> {
    let end = end(assessment.as_of, weeks);
    let mut by_base: BTreeMap<(Option<&str>, &str), Vec<Candidate<'_>>> = BTreeMap::new();
    for van in &assessment.vans {
        let base = van.postcode.as_deref();
        // A van without a known base shares its visits with no other.
        let own = if base.is_some() { "" } else { van.van.as_str() };
        let here = by_base.entry((base, own)).or_default();
        here.extend(candidates(van, assessment));
    }
    let mut visits: Vec<Visit> = Vec::new();
    let sharing = Sharing {
        saved_visit: assessment.saved_visit,
        most_days_early: assessment.most_days_early,
    };
    for ((base, _), jobs) in by_base {
        let days = plan(jobs, assessment.as_of, sharing, &assessment.work);
        visits.extend(days.into_iter().map(|(day, jobs)| Visit {
            day,
            base: base.map(str::to_owned),
            jobs,
        }));
    }
    let is_wanted = |visit: &Visit| {
        let late = |job: &Job| job.own_day <= job.as_of || job.state == State::FailingEarly;
        visit.day <= end || visit.jobs.iter().any(late)
    };
    visits.retain(is_wanted);
    let key = |visit: &Visit| {
        let van = visit.jobs.first().map(|job| job.van.clone());
        (visit.day, visit.base.is_none(), visit.base.clone(), van)
    };
    visits.sort_by_cached_key(key);
    visits
}

/// What decides whether jobs share a visit.
#[derive(Debug, Clone, Copy)]
struct Sharing {
    /// What a visit less is worth.
    saved_visit: f64,
    most_days_early: i32,
}

/// Days that a job is moved forward by at most to save a visit: those within which it
/// counts as due; within the week where nobody priced a visit.
pub(super) fn most_days_early(known: &KnownPrices, settings: &Settings) -> i32 {
    const A_WEEK: i32 = 7;
    match known.labour_per_visit {
        Some(_) => settings.running.lead_days,
        None => settings.running.lead_days.min(A_WEEK),
    }
}

/// The days of a base's jobs.
fn plan(
    mut jobs: Vec<Candidate<'_>>,
    as_of: Date,
    sharing: Sharing,
    work: &Work,
) -> BTreeMap<Date, Vec<Job>> {
    let first = work.days.on_or_after(add_days(as_of, 1.0));
    let latest = |job: &Job| work.days.on_or_before(job.own_day.max(first)).max(first);
    for candidate in &mut jobs {
        candidate.job.date = latest(&candidate.job);
    }
    jobs.sort_by(|a, b| {
        let key = |c: &Candidate<'_>| (c.job.date, c.job.van.clone(), c.job.item);
        key(a).cmp(&key(b))
    });
    let days: Vec<i32> = jobs.iter().map(|c| c.job.date.days_since(as_of)).collect();
    let early = |job: usize, day: i32| {
        let Some(candidate) = jobs.get(job) else {
            return f64::INFINITY;
        };
        let own = candidate.job.own_day.days_since(as_of);
        let days_early = (own - day).max(0);
        match days_early <= sharing.most_days_early {
            true => cost_of_early(candidate.early, f64::from(days_early)),
            false => f64::INFINITY,
        }
    };
    let shared = shared(&days, &early, sharing.saved_visit);
    let moved = jobs.into_iter().zip(shared).map(|(candidate, day)| Job {
        date: add_days(as_of, f64::from(day)),
        ..candidate.job
    });
    within_capacity(moved.collect(), first, work)
}

/// On which day each job is done: the cheapest way to share visits. `days` are
/// the last days that suit, ascending; `early(job, day)` is what doing it on an
/// earlier day costs. A shared visit is on the first of its jobs' days, so jobs
/// that share one lie side by side.
fn shared(days: &[i32], early: &dyn Fn(usize, i32) -> f64, saved_visit: f64) -> Vec<i32> {
    let n = days.len();
    // Cost of the first so many jobs, and where their last visit begins.
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for last in 0..n {
        let mut found = (f64::INFINITY, last);
        for begin in (0..=last).rev() {
            let (Some(day), Some((before, _))) = (days.get(begin), best.get(begin)) else {
                continue;
            };
            let visit = (begin..=last).map(|job| match days.get(job) {
                Some(own) if own > day => early(job, *day),
                _ => 0.0,
            });
            let cost = before + saved_visit + visit.sum::<f64>();
            // Beyond what is known nothing moves, and no further either.
            if cost.is_infinite() {
                break;
            }
            // The same day is the same visit, even where a visit costs nothing.
            let same = days.get(begin) == days.get(begin + 1) && begin < last;
            if cost < found.0 - 1e-9 || (same && cost <= found.0 + 1e-9) {
                found = (cost, begin);
            }
        }
        best.push(found);
    }
    let mut on = days.to_vec();
    let mut end = n;
    while end > 0 {
        let begin = best.get(end).map_or(0, |(_, begin)| *begin).min(end - 1);
        let day = days.get(begin).copied();
        for slot in on.iter_mut().take(end).skip(begin) {
            *slot = day.unwrap_or(*slot);
        }
        end = begin;
    }
    on
}

/// Jobs on a day with room for them: what presses most keeps its day, the others
/// go to the nearest working day before, else after it. The jobs of one van on
/// one day stay together.
fn within_capacity(jobs: Vec<Job>, first: Date, work: &Work) -> BTreeMap<Date, Vec<Job>> {
    /// Working days that a job is moved forward by at most, before it is late.
    const MOST_BEFORE: usize = 10;
    let base = jobs.first().and_then(|job| job.base.clone());
    let most = work.jobs_a_day(base.as_deref());
    let mut of_van: BTreeMap<(Date, String), Vec<Job>> = BTreeMap::new();
    for job in jobs {
        let key = (job.date, job.van.clone());
        of_van.entry(key).or_default().push(job);
    }
    let rank = |jobs: &[Job]| jobs.iter().map(|job| (job.rank, job.own_day)).min();
    let mut of_van: Vec<((Date, String), Vec<Job>)> = of_van.into_iter().collect();
    of_van.sort_by(|((a, van_a), jobs_a), ((b, van_b), jobs_b)| {
        (a, rank(jobs_a), van_a).cmp(&(b, rank(jobs_b), van_b))
    });
    let mut days: BTreeMap<Date, Vec<Job>> = BTreeMap::new();
    for ((wanted, _), jobs) in of_van {
        let has_room = |day: &Date| {
            let there = days.get(day).map_or(0, Vec::len);
            there == 0 || there + jobs.len() <= most
        };
        let before = std::iter::successors(Some(wanted), |day| {
            Some(work.days.on_or_before(add_days(*day, -1.0)))
        });
        let before = before.take(MOST_BEFORE + 1).take_while(|day| *day >= first);
        let mut after = std::iter::successors(Some(wanted), |day| {
            let next = work.days.on_or_after(add_days(*day, 1.0));
            (next > *day).then_some(next)
        });
        let day = before.into_iter().find(has_room);
        let day = day.or_else(|| after.find(has_room)).unwrap_or(wanted);
        let there = days.entry(day).or_default();
        there.extend(jobs.into_iter().map(|job| Job { date: day, ..job }));
    }
    for jobs in days.values_mut() {
        jobs.sort_by(|a, b| {
            (a.rank, a.own_day, &a.van, a.item).cmp(&(b.rank, b.own_day, &b.van, b.item))
        });
        together(jobs);
    }
    days
}

/// Puts the jobs of a van behind its most pressing one.
fn together(jobs: &mut [Job]) {
    let mut order: Vec<String> = Vec::new();
    for job in jobs.iter() {
        if !order.contains(&job.van) {
            order.push(job.van.clone());
        }
    }
    let place = |job: &Job| order.iter().position(|van| *van == job.van);
    jobs.sort_by_key(place);
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::Rank;
    use super::super::due::Task;
    use super::super::plan::Early;
    use super::*;
    use crate::calendar::date;
    use crate::lives::Item;

    const RANKS: [Rank; 6] = [
        Rank::ProductOver,
        Rank::MembraneOver,
        Rank::FailingEarly,
        Rank::Late,
        Rank::Due,
        Rank::Watch,
    ];

    const CHEAP: &[Early] = &[Early {
        days: 100.0,
        cost: 10.0,
    }];
    const DEAR: &[Early] = &[Early {
        days: 100.0,
        cost: 500.0,
    }];

    fn shared_of(days: &[i32], lists: &[&[Early]], saved_visit: f64) -> Vec<i32> {
        let early =
            |job: usize, day: i32| cost_of_early(lists[job], f64::from((days[job] - day).max(0)));
        shared(days, &early, saved_visit)
    }

    #[test]
    fn a_job_is_moved_where_that_costs_less_than_the_visit_it_saves() {
        // 30 days early cost 3: less than a visit at 20.
        assert_eq!(shared_of(&[10, 40], &[CHEAP, CHEAP], 20.0), [10, 10]);
        // 30 days early cost 150.
        assert_eq!(shared_of(&[10, 40], &[CHEAP, DEAR], 20.0), [10, 40]);
        // Nobody's visit is worth anything.
        assert_eq!(shared_of(&[10, 40], &[CHEAP, CHEAP], 0.0), [10, 40]);
        assert_eq!(shared_of(&[], &[], 20.0), [0_i32; 0]);
    }

    #[test]
    fn a_job_never_moves_back_and_the_best_partner_is_found() {
        // The dear one keeps its day; the cheap ones join what is before them.
        assert_eq!(
            shared_of(&[5, 12, 60], &[CHEAP, DEAR, CHEAP], 20.0),
            [5, 12, 12]
        );
        assert_eq!(
            shared_of(&[5, 5, 90], &[DEAR, DEAR, CHEAP], 20.0),
            [5, 5, 5]
        );
    }

    #[test]
    fn beyond_what_is_known_nothing_moves() {
        assert_eq!(shared_of(&[0, 150], &[CHEAP, CHEAP], 1e6), [0, 150]);
        assert_eq!(shared_of(&[0, 3], &[CHEAP, &[]], 1e6), [0, 3]);
    }

    /// The cheapest of all ways to share, tried one by one.
    #[test]
    fn no_other_way_to_share_is_cheaper() {
        let days = [3, 7, 8, 20, 41];
        let lists = [CHEAP, DEAR, CHEAP, CHEAP, DEAR];
        let cost = |on: &[i32]| {
            let early = on.iter().zip(days).zip(lists);
            let early: f64 = early
                .map(|((on, own), list)| cost_of_early(list, f64::from(own - on)))
                .sum();
            let mut visits = on.to_vec();
            visits.sort_unstable();
            visits.dedup();
            early + 15.0 * visits.len() as f64
        };
        let found = cost(&shared_of(&days, &lists, 15.0));
        let mut least = f64::INFINITY;
        for way in 0..days.len().pow(5) {
            let mut rest = way;
            let on: Vec<i32> = days
                .iter()
                .map(|own| {
                    let day = days[rest % days.len()];
                    rest /= days.len();
                    day.min(*own)
                })
                .collect();
            least = least.min(cost(&on));
        }
        assert!((found - least).abs() < 1e-9, "{found} against {least}");
    }

    fn job(van: &str, own_day: Date, rank: Rank) -> Candidate<'static> {
        Candidate {
            early: CHEAP,
            job: Job {
                van: van.to_owned(),
                base: Some("QA3".to_owned()),
                item: Item::Resin,
                task: Task::Change,
                quantity: 11.0,
                part: None,
                date: own_day,
                own_day,
                state: State::Due,
                rank,
                why: String::new(),
                since: None,
                as_of: date(2026, 10, 31),
            },
        }
    }

    fn sharing(saved_visit: f64) -> Sharing {
        Sharing {
            saved_visit,
            most_days_early: 14,
        }
    }

    #[test]
    fn a_job_is_never_moved_further_than_it_counts_as_due() {
        let as_of = date(2026, 10, 31);
        let jobs = |later: Date| {
            vec![
                job("a", date(2026, 11, 2), RANKS[4]),
                job("b", later, RANKS[4]),
            ]
        };
        let visits = |later: Date| plan(jobs(later), as_of, sharing(1e6), &Work::default()).len();
        assert_eq!(visits(date(2026, 11, 16)), 1);
        assert_eq!(visits(date(2026, 11, 17)), 2);
    }

    #[test]
    fn visits_are_on_working_days_after_today_and_never_later_than_wished() {
        let as_of = date(2026, 10, 31);
        let jobs = vec![
            job("a", date(2026, 9, 1), RANKS[3]),
            job("b", date(2026, 11, 8), RANKS[4]),
            job("c", date(2026, 11, 14), RANKS[4]),
        ];
        let days = plan(jobs, as_of, sharing(0.0), &Work::default());
        let days: Vec<Date> = days.into_keys().collect();
        // A Saturday's list: Monday; the Fridays before a Sunday and a Saturday.
        assert_eq!(
            days,
            [date(2026, 11, 2), date(2026, 11, 6), date(2026, 11, 13)]
        );
    }

    #[test]
    fn what_presses_most_goes_first_where_a_day_is_full() {
        let as_of = date(2026, 10, 31);
        let work = Work {
            jobs_per_day: 2,
            ..Work::default()
        };
        let late = date(2026, 10, 1);
        let jobs = (0..5).map(|n| job(&format!("van {n}"), late, RANKS[5 - n]));
        let days = plan(jobs.collect(), as_of, sharing(20.0), &work);
        let vans: Vec<(Date, Vec<String>)> = days
            .into_iter()
            .map(|(day, jobs)| (day, jobs.into_iter().map(|j| j.van).collect()))
            .collect();
        let of = |n: [usize; 2]| n.map(|n| format!("van {n}")).to_vec();
        assert_eq!(vans[0], (date(2026, 11, 2), of([4, 3])));
        assert_eq!(vans[1], (date(2026, 11, 3), of([2, 1])));
        assert_eq!(vans[2].0, date(2026, 11, 4));
        // Two crews do twice as much.
        let work = Work {
            crews: [("QA3".to_owned(), 2.0)].into(),
            ..work
        };
        let jobs = (0..5).map(|n| job(&format!("van {n}"), late, RANKS[5 - n]));
        assert_eq!(plan(jobs.collect(), as_of, sharing(20.0), &work).len(), 2);
    }

    #[test]
    fn a_full_day_moves_planned_jobs_forward_not_back() {
        let as_of = date(2026, 10, 31);
        let work = Work {
            jobs_per_day: 1,
            ..Work::default()
        };
        let day = date(2026, 11, 18);
        let jobs = vec![
            job("a", day, RANKS[4]),
            job("b", day, RANKS[4]),
            job("c", day, RANKS[3]),
        ];
        let days = plan(jobs, as_of, sharing(0.0), &work);
        let days: Vec<(Date, String)> = days
            .into_iter()
            .map(|(day, jobs)| (day, jobs[0].van.clone()))
            .collect();
        let [b, a, c] = [(16, "b"), (17, "a"), (18, "c")];
        let of = |(d, van): (u32, &str)| (date(2026, 11, d), van.to_owned());
        assert_eq!(days, [of(b), of(a), of(c)]);
    }
}
