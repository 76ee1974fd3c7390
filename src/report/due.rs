//! The work list: for the terminal, a spreadsheet, other programs and a calendar
//! (RFC 5545). Jobs come in visits: those of the vans at one base on one day.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use crate::calendar::{Date, DateExt, Datelike};
use icalendar::{Calendar, Component, Event, EventLike, Property};
use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::advise::{Assessment, Item, ListedJob, Outcome, State, Task, stood_still};
pub use crate::advise::{Job, Visit, visits};

use super::axis::days_after;
use super::cautions;
use super::error::ReportError;
use super::export::{harmless, row};
use super::parts::EARLY;
use super::text::{Screen, push_wrapped};
use super::words;

/// How the terminal's list is ordered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    Day,
    Base,
}

/// What is to be done: `change both membranes`.
pub fn what(job: &Job) -> String {
    match (job.task, job.item) {
        (Task::Inspect, _) => "check the RO membrane: it is failing early".to_owned(),
        (Task::ReadAgain, _) => "read tap and membrane TDS again".to_owned(),
        (Task::CheckMeter, _) => "check the TDS meter first".to_owned(),
        (Task::Change, Item::Membrane) if job.quantity == 2.0 => {
            "change both RO membranes".to_owned()
        }
        (Task::Change, Item::Membrane) if job.quantity > 2.0 => {
            format!("change all {:.0} RO membranes", job.quantity)
        }
        (Task::Change, item) => {
            let mut what = words::job(item).to_owned();
            if let Some(first) = what.get_mut(..1) {
                first.make_ascii_lowercase();
            }
            what
        }
    }
}

/// What to take along: `2 × RO membrane, 4040 low pressure`, `11 L of DI resin`.
pub fn takes(job: &Job) -> Option<String> {
    if job.task != Task::Change || job.quantity <= 0.0 {
        return None;
    }
    let what = words::named(job.item, job.part.as_deref());
    match job.item {
        Item::Resin => Some(format!("{} L of {what}", job.quantity)),
        Item::Membrane | Item::Prefilter => Some(format!("{:.0} × {what}", job.quantity)),
        Item::Flush | Item::Probe | Item::Tank => None,
    }
}

/// What a job takes beside its part, to do it safely (common practice, no source).
pub fn tools(job: &Job) -> &'static [&'static str] {
    match (job.task, job.item) {
        (Task::Change, Item::Resin) => &[
            "funnel",
            "gloves and eye protection",
            "a bag for the old resin",
            "O-rings and grease",
        ],
        (Task::Change, Item::Membrane | Item::Prefilter) => &[
            "O-rings and grease",
            "housing spanner",
            "gloves and eye protection",
        ],
        (Task::Change, _) => &[],
        (Task::CheckMeter, _) => &["a second TDS meter", "a TDS standard solution", "a cup"],
        (Task::Inspect, _) => &[
            "a second TDS meter",
            "O-rings and grease",
            "housing spanner",
        ],
        (Task::ReadAgain, _) => &["a second TDS meter"],
    }
}

/// The unit that a job's quantity is in.
fn unit(job: &Job) -> &'static str {
    match (job.quantity > 0.0, job.item) {
        (true, Item::Resin) => "L",
        (true, Item::Membrane) => "membranes",
        (true, Item::Prefilter) => "sets",
        _ => "",
    }
}

/// How late, or how much before its own day: `29 days late`.
fn timing(job: &Job) -> Option<String> {
    match (job.days_late(), job.days_early()) {
        (late, _) if late > 0 && job.task == Task::Change => {
            Some(format!("{} late", words::days(late)))
        }
        (_, early) if early > EARLY => Some(format!(
            "{} before its own day, {}, which saves a visit",
            words::days(early),
            words::day(job.own_day)
        )),
        _ => None,
    }
}

/// The task as programs read it.
fn task_word(task: Task) -> &'static str {
    match task {
        Task::Change => "change",
        Task::Inspect => "inspect",
        Task::ReadAgain => "read_again",
        Task::CheckMeter => "check_meter",
    }
}

/// The jobs as CSV with the contract's words; jobs of one base on one date are one
/// visit. `tick` and `done_on` are for whoever does the work: `litrewise ingest
/// --done` takes the ticked list in.
pub fn csv<'a>(jobs: impl IntoIterator<Item = &'a Job>) -> String {
    let heads = [
        "van",
        "base",
        "item",
        "task",
        "date",
        "state",
        "why",
        "own_day",
        "days_early",
        "days_late",
        "quantity",
        "unit",
        "part",
        "tick",
        "done_on",
    ];
    let mut out = row(heads.map(str::to_owned).into_iter());
    for job in jobs {
        let cells = [
            harmless(&job.van),
            harmless(job.base.as_deref().unwrap_or_default()),
            job.item.word().to_owned(),
            task_word(job.task).to_owned(),
            job.date.to_string(),
            words::state(job.state).replace(' ', "_"),
            harmless(&job.why),
            job.own_day.to_string(),
            job.days_early().to_string(),
            job.days_late().to_string(),
            match job.quantity > 0.0 {
                true => job.quantity.to_string(),
                false => String::new(),
            },
            unit(job).to_owned(),
            harmless(job.part.as_deref().unwrap_or_default()),
            String::new(),
            String::new(),
        ];
        out.push_str(&row(cells.into_iter()));
    }
    out
}

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    as_of: Date,
    visits: Vec<VisitOut<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_list: Option<Vec<ListedOut<'a>>>,
}

#[derive(Serialize)]
struct VisitOut<'a> {
    day: Date,
    base: Option<&'a str>,
    jobs: Vec<JobOut<'a>>,
}

#[derive(Serialize)]
struct JobOut<'a> {
    van: &'a str,
    item: &'a str,
    task: Task,
    what: String,
    state: State,
    quantity: Option<f64>,
    unit: &'a str,
    part: Option<&'a str>,
    own_day: Date,
    days_early: i32,
    days_late: i32,
    why: &'a str,
}

#[derive(Serialize)]
struct ListedOut<'a> {
    van: &'a str,
    item: &'a str,
    task: Task,
    listed_for: Date,
    #[serde(flatten)]
    outcome: OutcomeOut,
}

/// What became of a listed job.
#[derive(Serialize)]
struct OutcomeOut {
    outcome: &'static str,
    done_on: Option<Date>,
    days_late: Option<i32>,
    put_off_to: Option<Date>,
}

/// The visits, and what became of an earlier list, as JSON.
///
/// # Errors
/// [`ReportError::CannotSerialise`]
pub fn json(
    visits: &[Visit],
    as_of: Date,
    last: Option<&[ListedJob]>,
) -> Result<String, ReportError> {
    let document = Document {
        schema: "litrewise/due/1",
        as_of,
        visits: visits.iter().map(visit_out).collect(),
        last_list: last.map(|list| list.iter().map(listed_out).collect()),
    };
    let text = serde_json::to_string_pretty(&document);
    Ok(text.map_err(ReportError::CannotSerialise)? + "\n")
}

fn visit_out(visit: &Visit) -> VisitOut<'_> {
    let jobs = visit.jobs.iter().map(|job| JobOut {
        van: &job.van,
        item: job.item.word(),
        task: job.task,
        what: what(job),
        state: job.state,
        quantity: (job.quantity > 0.0).then_some(job.quantity),
        unit: unit(job),
        part: job.part.as_deref(),
        own_day: job.own_day,
        days_early: job.days_early(),
        days_late: job.days_late(),
        why: &job.why,
    });
    VisitOut {
        day: visit.day,
        base: visit.base.as_deref(),
        jobs: jobs.collect(),
    }
}

fn listed_out(listed: &ListedJob) -> ListedOut<'_> {
    let (outcome, done_on, days_late, put_off_to) = match listed.outcome {
        Outcome::Done(day) => ("done", Some(day), None, None),
        Outcome::Open { days_late } => ("open", None, Some(days_late), None),
        Outcome::Later(day) => ("later", None, None, Some(day)),
        Outcome::Settled => ("settled", None, None, None),
    };
    ListedOut {
        van: &listed.job.van,
        item: listed.job.item.word(),
        task: listed.job.task,
        listed_for: listed.job.date,
        outcome: OutcomeOut {
            outcome,
            done_on,
            days_late,
            put_off_to,
        },
    }
}

/// `Mon 2 Nov 2026`.
pub fn weekday(day: Date) -> String {
    format!("{} {}", day.format("%a"), words::day(day))
}

/// The list for the terminal: visits by day, or by base and day; then what to
/// watch out for.
pub fn text(visits: &[Visit], assessment: &Assessment, by: By, screen: Screen) -> String {
    let mut out = String::new();
    if visits.is_empty() {
        out.push_str("Nothing to do in this time.\n");
    }
    let mut visits: Vec<&Visit> = visits.iter().collect();
    if by == By::Base {
        // Vans without a base come last; within a base the order stays.
        visits.sort_by_key(|v| (v.base.is_none(), v.base.clone()));
    }
    let mut heading: Option<Option<&str>> = None;
    for visit in &visits {
        let base = visit.base.as_deref();
        if by == By::Base && heading != Some(base) {
            out.push_str(&format!("{}\n", base.unwrap_or("no base known")));
            heading = Some(base);
        }
        let at = base.filter(|_| by == By::Day);
        push_visit(&mut out, visit, at, screen);
    }
    for (van, weeks) in stood_still(assessment) {
        let said = format!("{van}: {}.", cautions::stood_still(weeks));
        push_wrapped(&mut out, &said, ("", "  "), screen);
    }
    if !visits.is_empty() {
        let jobs = visits.iter().flat_map(|visit| &visit.jobs);
        let items: Vec<Item> = jobs.map(|job| job.item).collect();
        out.push('\n');
        push_wrapped(&mut out, &cautions::for_work(&items), ("", ""), screen);
    }
    out
}

fn push_visit(out: &mut String, visit: &Visit, base: Option<&str>, screen: Screen) {
    let base = base.map_or(String::new(), |base| format!("  {base}"));
    out.push_str(&format!("{}{base}: {}\n", weekday(visit.day), size(visit)));
    let wide = visit.vans().iter().map(|van| van.chars().count()).max();
    let wide = wide.unwrap_or(0).min(14);
    let mut before: Option<&str> = None;
    for job in &visit.jobs {
        let name = if before == Some(&job.van) {
            ""
        } else {
            &job.van
        };
        before = Some(&job.van);
        let mut said = what(job);
        if let Some(takes) = takes(job) {
            said.push_str(&format!(" ({takes})"));
        }
        match timing(job) {
            Some(timing) => said.push_str(&format!(", {timing}")),
            None => said.push_str(&format!(", {}", words::state(job.state))),
        }
        said.push_str(&format!(". {}", job.why));
        let (first, next) = (format!("  {name:wide$}  "), " ".repeat(wide + 4));
        push_wrapped(out, &said, (&first, &next), screen);
    }
}

/// `3 jobs on 2 vans`.
fn size(visit: &Visit) -> String {
    let jobs = words::count(visit.jobs.len(), "job", "jobs");
    format!(
        "{jobs} on {}",
        words::count(visit.vans().len(), "van", "vans")
    )
}

/// What became of an earlier list, for the terminal.
pub fn last_list_text(list: &[ListedJob], before: Date, screen: Screen) -> String {
    let mut out = String::new();
    for line in last_list(list, before) {
        push_wrapped(&mut out, &line, ("", "  "), screen);
    }
    out
}

/// The same as sentences: how much was done, then what is open and how late.
pub fn last_list(list: &[ListedJob], before: Date) -> Vec<String> {
    if list.is_empty() {
        return vec![format!("No jobs were planned on {}.", words::day(before))];
    }
    let name = |listed: &ListedJob| format!("{} {}", listed.job.van, part_of(&listed.job));
    let mut put_off: Vec<String> = Vec::new();
    // by how late they are, the latest first
    let mut open: BTreeMap<Reverse<i32>, Vec<String>> = BTreeMap::new();
    for listed in list {
        match listed.outcome {
            Outcome::Open { days_late } => {
                let named = open.entry(Reverse(days_late)).or_default();
                named.push(name(listed));
            }
            Outcome::Later(day) => put_off.push(format!("{} (now {})", name(listed), weekday(day))),
            Outcome::Done(_) | Outcome::Settled => {}
        }
    }
    let still: usize = open.values().map(Vec::len).sum();
    let done = list.len() - still - put_off.len();
    let mut counts = match done {
        0 => "none is done".to_owned(),
        1 => "1 is done or settled".to_owned(),
        _ => format!("{done} are done or settled"),
    };
    for (n, what) in [(still, "still open"), (put_off.len(), "put off")] {
        if n > 0 {
            counts.push_str(&format!(", {n} {what}"));
        }
    }
    let mut said = vec![format!(
        "Of {} planned on {}, {counts}.",
        words::count(list.len(), "job", "jobs"),
        words::day(before),
    )];
    if still > 0 {
        let open = open.into_iter().map(|(Reverse(late), named)| {
            let late = match late {
                0 => "due today".to_owned(),
                late => format!("{} late", words::days(late)),
            };
            format!("{} ({late})", words::list(&named))
        });
        said.push(format!(
            "Still open: {}.",
            open.collect::<Vec<String>>().join("; ")
        ));
    }
    if !put_off.is_empty() {
        said.push(format!(
            "Put off by newer readings: {}.",
            words::list(&put_off)
        ));
    }
    said
}

/// What a job is about, in a word or two.
fn part_of(job: &Job) -> String {
    match job.task {
        Task::CheckMeter => "TDS meter check".to_owned(),
        Task::Inspect | Task::ReadAgain => "RO membrane check".to_owned(),
        Task::Change => words::part(job.item, job.quantity),
    }
}

/// The visits as a calendar of all-day events. The same visit keeps its identity
/// from one list to the next, so that a later list moves it.
pub fn icalendar(visits: &[Visit]) -> String {
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("PRODID", "-//litrewise//due//EN"));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    for visit in visits {
        let Some(as_of) = visit.jobs.first().map(|job| job.as_of) else {
            continue;
        };
        let mut event = Event::new();
        event
            .uid(&identity(visit))
            .summary(&summary(visit))
            .description(&description(visit))
            // A later list replaces an earlier one, whatever the clock says.
            .sequence(sequence(as_of));
        if let Some(base) = &visit.base {
            event.location(base);
        }
        event.append_property(Property::new(
            "DTSTAMP",
            format!("{}T000000Z", compact(as_of)),
        ));
        let day = |name: &str, date: Date| {
            Property::new(name, compact(date))
                .add_parameter("VALUE", "DATE")
                .done()
        };
        event.append_property(day("DTSTART", visit.day));
        event.append_property(day("DTEND", days_after(visit.day, 1)));
        event.append_property(Property::new("TRANSP", "TRANSPARENT"));
        calendar.push(event.done());
    }
    calendar.to_string()
}

/// `QA3: QV-014 change the resin`, or how much it is where that is shorter.
fn summary(visit: &Visit) -> String {
    /// Jobs that are still named one by one.
    const NAMED: usize = 3;
    let base = visit.base.as_ref();
    let base = base.map_or(String::new(), |base| format!("{base}: "));
    if visit.jobs.len() > NAMED {
        let vans: Vec<String> = visit.vans().into_iter().map(str::to_owned).collect();
        return match vans.len() > NAMED {
            true => format!("{base}{}", size(visit)),
            false => format!("{base}{} jobs on {}", visit.jobs.len(), words::list(&vans)),
        };
    }
    let jobs = visit.jobs.iter();
    let jobs: Vec<String> = jobs
        .map(|job| format!("{} {}", job.van, what(job)))
        .collect();
    format!("{base}{}", jobs.join("; "))
}

fn description(visit: &Visit) -> String {
    let mut said: Vec<String> = Vec::new();
    for job in &visit.jobs {
        let takes = takes(job).map_or(String::new(), |takes| format!(" ({takes})"));
        let timing = timing(job).map_or(String::new(), |timing| format!(", {timing}"));
        said.push(format!(
            "{}: {}{takes}{timing}. {}",
            job.van,
            what(job),
            job.why
        ));
    }
    let items: Vec<Item> = visit.jobs.iter().map(|job| job.item).collect();
    said.push(cautions::for_work(&items));
    said.join("\n")
}

/// Days from the beginning of 2000 to the day the list was made; 0 before.
fn sequence(as_of: Date) -> u32 {
    let days = as_of.days_since(crate::calendar::date(2000, 1, 1));
    u32::try_from(days).unwrap_or(0)
}

fn compact(date: Date) -> String {
    format!("{:04}{:02}{:02}", date.year(), date.month(), date.day())
}

/// Of the job that the visit is for: van, item and when the part in use was
/// fitted. The next part is a new visit.
fn identity(visit: &Visit) -> String {
    let of_job = |job: &Job| (job.own_day, job.van.clone(), job.item);
    let first = visit.jobs.iter().min_by_key(|job| of_job(job));
    let named = first.map_or(String::new(), |job| {
        let since = job.since.map_or(String::new(), |d| d.to_string());
        format!("{}\0{}\0{since}", job.van, job.item.word())
    });
    let hash = Sha256::digest(named);
    let hex: String = hash.iter().take(16).map(|b| format!("{b:02x}")).collect();
    format!("{hex}@litrewise")
}
