//! What to do on which van in the coming weeks: for the terminal, a
//! spreadsheet and a calendar (RFC 5545).

use icalendar::{Calendar, Component, Event, EventLike, Property};
use jiff::civil::Date;
use sha2::{Digest, Sha256};

use crate::advise::{Assessment, Item, State};

use super::axis::days_after;
use super::cautions;
use super::export::{harmless, row};
use super::parts::parts;
use super::words;

/// One job on one van.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    pub van: String,
    /// District in which the van is based.
    pub base: Option<String>,
    pub item: Item,
    /// The suggested day; it may have passed. For a membrane that fails early
    /// without a suggested day it is the as-of day: look at it now.
    pub date: Date,
    pub state: State,
    /// The reason, one sentence.
    pub why: String,
    /// When the part in use was fitted; `None` if unknown.
    pub since: Option<Date>,
    /// The day the list was made.
    pub as_of: Date,
}

/// Jobs that are overdue or fall within `weeks` of the as-of day: by date,
/// then the most urgent, then by van and item.
pub fn jobs(assessment: &Assessment, weeks: u32) -> Vec<Job> {
    let days = i32::try_from(weeks.saturating_mul(7)).unwrap_or(i32::MAX);
    let end = assessment
        .as_of
        .checked_add(jiff::Span::new().days(days.min(100_000)))
        .unwrap_or(Date::MAX);
    let mut jobs = Vec::new();
    for van in &assessment.vans {
        for part in parts(van) {
            let now = (part.state == State::FailingEarly).then_some(assessment.as_of);
            let Some(date) = part
                .replace_on
                .or(now)
                .filter(|d| *d <= end || now.is_some())
            else {
                continue;
            };
            jobs.push(Job {
                van: van.van.clone(),
                base: van.postcode.clone(),
                item: part.item,
                // an alarm is for now, whatever the calendar had planned
                date: now.map_or(date, |today| date.min(today)),
                state: part.state,
                why: part.reason.to_owned(),
                since: part.since,
                as_of: assessment.as_of,
            });
        }
    }
    jobs.sort_by(|a, b| {
        let key = |j: &Job| (j.date, words::urgency(j.state));
        key(a)
            .cmp(&key(b))
            .then_with(|| (&a.van, a.item).cmp(&(&b.van, b.item)))
    });
    jobs
}

/// What the job is called: `QV-014: change the resin`.
fn summary(job: &Job) -> String {
    if job.state == State::FailingEarly {
        return format!("{}: membrane failing early, look at it", job.van);
    }
    let mut what = words::job(job.item).to_owned();
    if let Some(first) = what.get_mut(..1) {
        first.make_ascii_lowercase();
    }
    format!("{}: {what}", job.van)
}

/// The jobs as CSV with the contract's words.
pub fn csv(jobs: &[Job]) -> String {
    let mut out = row(["van", "base", "item", "date", "state", "why"]
        .map(str::to_owned)
        .into_iter());
    for job in jobs {
        let cells = [
            harmless(&job.van),
            harmless(job.base.as_deref().unwrap_or_default()),
            job.item.word().to_owned(),
            job.date.to_string(),
            words::state(job.state).replace(' ', "_"),
            harmless(&job.why),
        ];
        out.push_str(&row(cells.into_iter()));
    }
    out
}

/// The jobs for the terminal, at most 80 columns wide.
pub fn text(jobs: &[Job]) -> String {
    if jobs.is_empty() {
        return "Nothing to do in this time.\n".to_owned();
    }
    let mut out = String::new();
    for job in jobs {
        let base = job
            .base
            .as_deref()
            .map_or(String::new(), |b| format!(" in {b}"));
        let date = format!("{:>11}  ", words::day(job.date));
        let head = format!("{}{base} ({})", summary(job), words::state(job.state));
        super::text::push_wrapped(&mut out, &head, &date, "             ");
        super::text::push_wrapped(&mut out, &job.why, "             ", "             ");
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
            .description(&format!("{} {}", job.why, cautions::FOOT));
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
