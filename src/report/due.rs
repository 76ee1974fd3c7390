//! What to do on which van in the coming weeks: for the terminal, a
//! spreadsheet and a calendar (RFC 5545).

use icalendar::{Calendar, Component, Event, EventLike, Property};
use jiff::civil::Date;
use sha2::{Digest, Sha256};

use crate::advise::{Assessment, Item, MonthOfParts, Span, State, stood_still};
pub use crate::advise::{Job, jobs};

use super::axis::days_after;
use super::cautions;
use super::export::{harmless, row};
use super::text::push_wrapped;
use super::words;

/// How the terminal's list is ordered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    Day,
    Base,
}

/// What the job is called: `QV-014: change the resin`.
fn summary(job: &Job) -> String {
    format!("{}: {}", job.van, what(job))
}

/// `change the resin`.
fn what(job: &Job) -> String {
    if job.state == State::FailingEarly {
        return "membrane failing early, look at it".to_owned();
    }
    let mut what = words::job(job.item).to_owned();
    if let Some(first) = what.get_mut(..1) {
        first.make_ascii_lowercase();
    }
    what
}

/// The jobs as CSV with the contract's words; jobs of one van on one date are
/// one visit.
pub fn csv(jobs: &[Job]) -> String {
    let heads = [
        "van",
        "base",
        "item",
        "date",
        "state",
        "why",
        "own_day",
        "days_early",
    ];
    let mut out = row(heads.map(str::to_owned).into_iter());
    for job in jobs {
        let cells = [
            harmless(&job.van),
            harmless(job.base.as_deref().unwrap_or_default()),
            job.item.word().to_owned(),
            job.date.to_string(),
            words::state(job.state).replace(' ', "_"),
            harmless(&job.why),
            job.own_day.to_string(),
            job.days_early().to_string(),
        ];
        out.push_str(&row(cells.into_iter()));
    }
    out
}

/// Jobs of one van on one day.
fn visits<'a>(jobs: &'a [Job]) -> Vec<Vec<&'a Job>> {
    let mut visits: Vec<Vec<&'a Job>> = Vec::new();
    for job in jobs {
        let same = |v: &&mut Vec<&Job>| {
            v.first()
                .is_some_and(|first| first.van == job.van && first.date == job.date)
        };
        match visits.iter_mut().find(same) {
            Some(visit) => visit.push(job),
            None => visits.push(vec![job]),
        }
    }
    visits
}

/// The list for the terminal, at most 80 columns wide: visits by day, or by base
/// and day; then what to watch out for.
pub fn text(jobs: &[Job], assessment: &Assessment, by: By) -> String {
    let mut out = String::new();
    if jobs.is_empty() {
        out.push_str("Nothing to do in this time.\n");
    }
    let mut visits = visits(jobs);
    if by == By::Base {
        let base = |v: &[&Job]| v.first().and_then(|j| j.base.clone());
        // Vans without a base come last; within a base the order stays.
        visits.sort_by_key(|v| {
            let base = base(v);
            (base.is_none(), base)
        });
    }
    let mut heading: Option<Option<&str>> = None;
    for visit in &visits {
        let Some(first) = visit.first() else { continue };
        let base = first.base.as_deref();
        if by == By::Base && heading != Some(base) {
            out.push_str(&format!("{}\n", base.unwrap_or("without a base")));
            heading = Some(base);
        }
        push_visit(&mut out, first, visit, by);
    }
    for (van, weeks) in stood_still(assessment) {
        let said = format!("{van}: {}.", cautions::stood_still(weeks));
        push_wrapped(&mut out, &said, "", "  ");
    }
    if !jobs.is_empty() {
        let items: Vec<Item> = jobs.iter().map(|j| j.item).collect();
        out.push('\n');
        push_wrapped(&mut out, &cautions::for_work(&items), "", "");
    }
    out
}

fn push_visit(out: &mut String, first: &Job, visit: &[&Job], by: By) {
    const INDENT: &str = "             ";
    let date = format!("{:>11}  ", words::day(first.date));
    if let [only] = visit {
        let base = only
            .base
            .as_deref()
            .filter(|_| by == By::Day)
            .map_or(String::new(), |b| format!(" in {b}"));
        let head = format!("{}{base} ({})", summary(only), words::state(only.state));
        push_wrapped(out, &head, &date, INDENT);
        push_wrapped(out, &only.why, INDENT, INDENT);
        return;
    }
    let base = first
        .base
        .as_deref()
        .filter(|_| by == By::Day)
        .map_or(String::new(), |b| format!(" in {b}"));
    let head = format!("{}{base}: one visit for {} jobs", first.van, visit.len());
    push_wrapped(out, &head, &date, INDENT);
    for job in visit {
        let early = match job.days_early() {
            0 => words::state(job.state).to_owned(),
            days => format!(
                "{} before its own day, {}, which saves a visit",
                words::count(days as usize, "day", "days"),
                words::day(job.own_day)
            ),
        };
        let said = format!("- {} ({early}). {}", what(job), job.why);
        push_wrapped(out, &said, INDENT, "               ");
    }
}

/// The parts of the coming months for the terminal.
pub fn parts_text(months: &[MonthOfParts]) -> String {
    let mut out = String::from(
        "month     membranes  pre-filter sets  resin, L   (low to high, four times in five)\n",
    );
    let cell = |s: &Span<f64>| match (s.p10, s.p90) {
        (Some(a), Some(b)) if a == b => format!("{a:.0}"),
        (Some(a), Some(b)) => format!("{a:.0} to {b:.0}"),
        _ => "–".to_owned(),
    };
    for m in months {
        out.push_str(&format!(
            "{:<8}  {:>9}  {:>15}  {:>8}\n",
            m.month,
            cell(&m.membranes),
            cell(&m.prefilter_sets),
            cell(&m.resin_litres)
        ));
    }
    out
}

/// The parts of the coming months as CSV.
pub fn parts_csv(months: &[MonthOfParts]) -> String {
    let mut heads = vec!["month".to_owned()];
    for part in ["membranes", "prefilter_sets", "resin_litres"] {
        heads.extend(["low", "middle", "high"].map(|end| format!("{part}_{end}")));
    }
    let mut out = row(heads.into_iter());
    for m in months {
        let numbers = [&m.membranes, &m.prefilter_sets, &m.resin_litres]
            .into_iter()
            .flat_map(|s| [s.p10, s.p50, s.p90])
            .map(|x| x.map_or(String::new(), |x| format!("{x:.0}")));
        out.push_str(&row(std::iter::once(m.month.clone()).chain(numbers)));
    }
    out
}

/// The jobs as a calendar of all-day events. The same job keeps its identity
/// from one list to the next, so that a later list moves it.
pub fn icalendar(jobs: &[Job]) -> String {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", "-//litrewise//due//EN"));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    for job in jobs {
        let mut event = Event::new();
        event
            .uid(&identity(job))
            .summary(&summary(job))
            .description(&description(job))
            // A later list replaces an earlier one, whatever the clock says.
            .sequence(sequence(job.as_of));
        if let Some(base) = &job.base {
            event.location(base);
        }
        event.append_property(Property::new(
            "DTSTAMP",
            format!("{}T000000Z", compact(job.as_of)),
        ));
        let day = |name: &str, date: Date| {
            Property::new(name, compact(date))
                .add_parameter("VALUE", "DATE")
                .done()
        };
        event.append_property(day("DTSTART", job.date));
        event.append_property(day("DTEND", days_after(job.date, 1)));
        event.append_property(Property::new("TRANSP", "TRANSPARENT"));
        calendar.push(event.done());
    }
    calendar.to_string()
}

fn description(job: &Job) -> String {
    let early = match job.days_early() {
        0 => String::new(),
        days => format!(
            " Done {} early, on the visit for the van's other work; its own day would be {}.",
            words::count(days as usize, "day", "days"),
            words::day(job.own_day)
        ),
    };
    format!("{}{early} {}", job.why, cautions::for_work(&[job.item]))
}

/// Days from the beginning of 2000 to the day the list was made; 0 before.
fn sequence(as_of: Date) -> u32 {
    let days = (as_of - jiff::civil::date(2000, 1, 1)).get_days();
    u32::try_from(days).unwrap_or(0)
}

fn compact(date: Date) -> String {
    format!("{:04}{:02}{:02}", date.year(), date.month(), date.day())
}

/// Van, item and when the part in use was fitted: the next part is a new job.
fn identity(job: &Job) -> String {
    let since = job.since.map_or(String::new(), |d| d.to_string());
    let hash = Sha256::digest(format!("{}\0{}\0{since}", job.van, job.item.word()));
    let hex: String = hash.iter().take(16).map(|b| format!("{b:02x}")).collect();
    format!("{hex}@litrewise")
}
