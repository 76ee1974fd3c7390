//! What of a van can need work, what harms the customer's glass first: the
//! order that the list, the pages, the calendar and the terminal share.

use std::collections::BTreeMap;

use crate::calendar::{Date, DateExt};

use crate::advise::{AlarmKind, Assessment, Item, Rank, Span, State, Suspect, Task, VanAssessment};

use super::due::{Job, Visit};
use super::words;

/// One part of a van with what is to be done to it.
#[derive(Debug, Clone)]
pub struct Part<'a> {
    pub item: Item,
    /// RO membranes that share the water, litres of DI resin, sets of pre-filters.
    pub quantity: f64,
    pub rank: Rank,
    pub state: State,
    pub replace_on: Option<Date>,
    pub limit_on: Span<Date>,
    pub reason: &'a str,
    /// The reason in a few words, for lists.
    pub why: String,
    /// What a month's waiting costs, in the fleet's own currency; `None` where it
    /// costs nothing or no price is known.
    pub a_month_longer: Option<f64>,
    pub suspect: Option<Suspect>,
    /// Whether a meter is to be checked before this part is changed.
    pub check_meter: bool,
    /// The day of the visit on which it is done; `None` where none is planned yet.
    pub visit: Option<Date>,
    /// What is done then.
    pub task: Option<Task>,
}

const WEEKS_A_MONTH: f64 = 4.35;
/// So many days early are a weekend's worth, and not worth saying.
pub const EARLY: i32 = 3;

/// The parts that the van has, first what comes first.
fn parts<'a>(van: &'a VanAssessment, assessment: &Assessment) -> Vec<Part<'a>> {
    let (membrane, resin, prefilter) = (&van.membrane, &van.resin, &van.prefilter);
    let (limits, as_of) = (assessment.limits, assessment.as_of);
    let mut parts = Vec::with_capacity(3);
    if van.series.has_membrane {
        parts.push(Part {
            item: Item::Membrane,
            quantity: f64::from(van.membranes.max(1)),
            rank: Rank::of(van, Item::Membrane, &limits),
            state: membrane.state,
            replace_on: membrane.replace_on,
            limit_on: membrane.limit_on,
            reason: &membrane.reason,
            why: why_membrane(van, limits.salt_passage),
            a_month_longer: membrane.costs.map(|c| c.a_month_longer),
            suspect: membrane.suspect,
            check_meter: membrane.check_meter_first,
            visit: None,
            task: None,
        });
    }
    if van.series.has_resin {
        let limit = words::figures(limits.product_ppm);
        parts.push(Part {
            item: Item::Resin,
            quantity: van.resin_litres,
            rank: Rank::of(van, Item::Resin, &limits),
            state: resin.state,
            replace_on: resin.replace_on,
            limit_on: resin.limit_on,
            reason: &resin.reason,
            why: match resin.litres_left.p50 {
                Some(left) if left <= 0.0 => {
                    let read = van.series.product_ppm.last();
                    let newest = read.filter(|r| resin.changed_on.is_none_or(|d| r.0 >= d));
                    match newest {
                        Some((_, ppm)) if *ppm >= limits.product_ppm => {
                            format!("product TDS {ppm:.0} ppm, limit {limit}: spots on glass")
                        }
                        Some((_, ppm)) => {
                            format!(
                                "product TDS was {ppm:.0} ppm, now about {limit}: spots on glass"
                            )
                        }
                        None => format!("product TDS probably at its limit of {limit} ppm"),
                    }
                }
                Some(_) => format!("about {} left", words::litres_short(&resin.litres_left)),
                None => String::new(),
            },
            a_month_longer: None,
            suspect: None,
            check_meter: false,
            visit: None,
            task: None,
        });
    }
    // a van without a membrane may well have no pre-filters either
    if van.series.has_membrane || prefilter.state != State::Unknown {
        parts.push(Part {
            item: Item::Prefilter,
            quantity: 1.0,
            rank: Rank::of(van, Item::Prefilter, &limits),
            state: prefilter.state,
            replace_on: prefilter.replace_on,
            // a set interval, not a forecast: the day itself
            limit_on: Span {
                p10: prefilter.replace_on,
                p50: prefilter.replace_on,
                p90: prefilter.replace_on,
            },
            reason: &prefilter.reason,
            why: prefilter.changed_on.map_or(String::new(), |day| {
                let days = words::days(as_of.days_since(day).max(0));
                match prefilter.replace_on {
                    Some(until) => format!("in for {days}, meant for {}", until.days_since(day)),
                    None => format!("in for {days}"),
                }
            }),
            a_month_longer: prefilter
                .week_late
                .and_then(|w| Some(w.cost? * WEEKS_A_MONTH)),
            suspect: None,
            check_meter: false,
            visit: None,
            task: None,
        });
    }
    // without a membrane the resin takes all that is in the tap water
    let resin = parts
        .iter_mut()
        .filter(|p| p.item == Item::Resin && !p.why.is_empty());
    for part in resin.filter(|_| !van.series.has_membrane) {
        part.why.insert_str(0, "resin only; ");
    }
    parts.sort_by_key(|p| (p.rank, p.replace_on.unwrap_or(Date::MAX), p.item));
    parts
}

/// What speaks for the membrane's job: its rejection, or the meter that it rests on.
fn why_membrane(van: &VanAssessment, limit: f64) -> String {
    let membrane = &van.membrane;
    let now = words::rejection_beside(&membrane.salt_passage, limit);
    let now = now.map_or(String::new(), |now| format!("rejection {now}"));
    match membrane.alarm.as_ref().map(|alarm| alarm.kind) {
        Some(kind) if membrane.state == State::FailingEarly => format!("{now}, {}", fell(kind)),
        _ if membrane.check_meter_first => words::meter_to_check(van).unwrap_or(now),
        _ => now,
    }
}

/// How the rejection of a membrane that fails early came down.
fn fell(kind: AlarmKind) -> &'static str {
    match kind {
        AlarmKind::Fast => "falling faster than normal",
        AlarmKind::Step => "down suddenly",
        AlarmKind::Pressure => "down since the pressure fell",
    }
}

impl Part<'_> {
    /// Its state; a meter to check is due, whatever is thought of the membrane.
    pub fn shown_as(&self) -> State {
        match self.check_meter {
            true if Rank::from(self.state) > Rank::Due => State::Due,
            _ => self.state,
        }
    }

    /// `RO membrane`, `both RO membranes`.
    pub fn name(&self) -> String {
        words::part(self.item, self.quantity)
    }

    fn is_plural(&self) -> bool {
        self.item == Item::Prefilter || (self.item == Item::Membrane && self.quantity > 1.0)
    }

    /// `RO membrane overdue: was due by Thu 3 Sep, 58 days late`, `DI resin by
    /// Mon 12 Oct`, `RO membrane to watch`.
    pub fn phrase(&self, as_of: Date) -> String {
        if self.check_meter {
            return self.checked(as_of);
        }
        let name = self.name();
        match self.state {
            State::Overdue => format!("{name} overdue: {}", self.when(as_of)),
            State::Due => format!("{name} due {}", self.when(as_of)),
            State::Watch => format!("{name} to watch{}", self.check_first(as_of)),
            State::FailingEarly => format!("{name} failing early{}", self.check_first(as_of)),
            State::Unknown => format!("{name}: {}", self.when(as_of)),
            State::OnCourse => format!("{name} {}", self.when(as_of)),
        }
    }

    /// A headline for the van's own page: `DI resin due: change it by Thu 12 Nov`.
    pub fn headline(&self, as_of: Date) -> String {
        let name = self.name();
        let it = if self.is_plural() { "them" } else { "it" };
        let change = match self.replace_on {
            Some(_) => format!("change {it} {}", self.when(as_of)),
            None => "no change needed within ten years".to_owned(),
        };
        let said = match self.state {
            _ if self.check_meter => self.checked(as_of),
            State::OnCourse => format!("{name} on course; {change}"),
            State::Due => format!("{name} due: {change}"),
            _ => self.phrase(as_of),
        };
        words::capital(&said)
    }

    /// `check the meter; membrane by 2 Nov if it is right`.
    fn checked(&self, as_of: Date) -> String {
        let name = self.name();
        let visit = self.visit.map_or(String::new(), |day| {
            format!(", visit {}", words::weekday_near(day, as_of))
        });
        let then = match self.replace_on {
            Some(_) => format!("{name} {}", self.own(as_of)),
            None => format!("{name} lasts"),
        };
        format!("check the TDS meter first{visit}; {then} if it is right")
    }

    /// By when it is to be changed by itself.
    fn own(&self, as_of: Date) -> String {
        let own = words::act(self.replace_on, &self.limit_on, as_of, self.state);
        match self.is_plural() {
            true => own.replacen("was due", "were due", 1),
            false => own,
        }
    }

    fn when(&self, as_of: Date) -> String {
        match (self.visit, self.replace_on) {
            // a day of its own: late, so that it is done on a visit still to come
            (Some(visit), Some(day)) if day <= as_of && visit > as_of => {
                let own = self.own(as_of);
                format!("{own}; visit {}", words::weekday_near(visit, as_of))
            }
            // early, to save a visit
            (Some(visit), Some(day)) if day.days_since(visit) > EARLY => format!(
                "on {} with other jobs, {} early",
                words::weekday_near(visit, as_of),
                words::days(day.days_since(visit))
            ),
            (Some(visit), Some(_)) => format!("on {}", words::weekday_near(visit, as_of)),
            _ => self.own(as_of),
        }
    }

    /// What to check first, else by when to act, else nothing.
    fn check_first(&self, as_of: Date) -> String {
        let visit = self.visit.map_or(String::new(), |day| {
            format!(", visit {}", words::weekday_near(day, as_of))
        });
        match (self.suspect, self.replace_on) {
            (Some(suspect), _) => format!(": {}{visit}", words::suspect(suspect)),
            (None, Some(_)) if self.visit.is_none() => format!(", {}", self.when(as_of)),
            (None, _) => visit,
        }
    }
}

/// A van in the order of what needs doing first.
#[derive(Debug, Clone)]
pub struct VanLine<'a> {
    pub van: &'a VanAssessment,
    /// Its place among the assessment's vans.
    pub place: usize,
    /// Of its part that comes first.
    pub rank: Rank,
    /// The most urgent state of its parts.
    pub state: State,
    pub parts: Vec<Part<'a>>,
    /// What the work list holds for the van, in its order.
    pub jobs: Vec<Job>,
}

impl VanLine<'_> {
    /// What to do, in one line: the visits with their jobs, then what else is
    /// not on course; then what has no forecast.
    pub fn to_do(&self, as_of: Date) -> String {
        let is_calm = |p: &Part<'_>| p.shown_as() == State::OnCourse;
        let mut days: Vec<Date> = self.parts.iter().filter_map(|p| p.visit).collect();
        days.sort_unstable();
        days.dedup();
        let mut said = Vec::new();
        for (i, day) in days.into_iter().enumerate() {
            let parts = self.parts.iter().filter(|p| p.visit == Some(day));
            let parts: Vec<&Part<'_>> = parts.collect();
            let calm = parts.iter().all(|p| is_calm(p));
            if calm && i > 0 {
                continue;
            }
            said.push(format!(
                "{}{}: {}",
                if calm { "next: " } else { "" },
                words::weekday_near(day, as_of),
                jobs_in_words(&parts, as_of)
            ));
        }
        let rest = || self.parts.iter().filter(|p| p.visit.is_none());
        let told = |p: &&Part<'_>| !is_calm(p) && p.state != State::Unknown;
        said.extend(rest().filter(told).map(|p| p.phrase(as_of)));
        if said.is_empty() {
            let ahead = self.parts.iter().filter(|p| p.replace_on.is_some());
            said.extend(
                ahead
                    .min_by_key(|p| p.replace_on)
                    .map(|p| format!("next: {}", p.phrase(as_of))),
            );
        }
        let unknown = rest().filter(|p| p.state == State::Unknown);
        let unknown: Vec<String> = unknown.map(Part::name).collect();
        if !unknown.is_empty() {
            said.push(format!("{}: no forecast", words::list(&unknown)));
        }
        if said.is_empty() {
            return "nothing to do".to_owned();
        }
        said.join("; ")
    }

    /// Why the first thing comes first, and what a month's waiting costs.
    pub fn why(&self, currency: Option<&str>) -> String {
        let Some(first) = self.parts.first() else {
            return String::new();
        };
        let mut why = first.why.clone();
        let now = first.rank <= Rank::Due;
        let waiting = first.a_month_longer.filter(|cost| now && *cost >= 1.0);
        if let Some(cost) = waiting {
            let cost = words::money(cost, currency);
            why.push_str(&format!("; waiting a month costs {cost}"));
        }
        words::capital(&why)
    }
}

/// The jobs of one visit: `change pre-filters (37 days late) and DI resin; failing
/// early: check the TDS meters first`.
fn jobs_in_words(parts: &[&Part<'_>], as_of: Date) -> String {
    let is_change = |p: &&&Part<'_>| p.task == Some(Task::Change);
    let change = parts.iter().filter(is_change).map(|p| {
        let (visit, own) = (p.visit.unwrap_or(as_of), p.replace_on.unwrap_or(as_of));
        match (as_of.days_since(own), own.days_since(visit)) {
            (late, _) if late > 0 => format!("{} ({} late)", p.name(), words::days(late)),
            (_, early) if early > EARLY => format!("{} ({} early)", p.name(), words::days(early)),
            _ => p.name(),
        }
    });
    let change: Vec<String> = change.collect();
    let mut said = Vec::new();
    if !change.is_empty() {
        said.push(format!("change {}", words::list(&change)));
    }
    said.extend(parts.iter().filter(|p| !is_change(p)).map(|p| {
        if p.check_meter {
            return "check the TDS meter first".to_owned();
        }
        let check = p.suspect.map_or("test it again", words::suspect);
        format!("{}: {check}", words::state(p.state))
    }));
    said.join("; ")
}

/// All vans with their jobs on these visits, by what comes first, then by the earliest date, then by name.
pub fn by_urgency<'a>(assessment: &'a Assessment, visits: &[Visit]) -> Vec<VanLine<'a>> {
    let mut by_van: BTreeMap<&str, Vec<Job>> = BTreeMap::new();
    for job in visits.iter().flat_map(|visit| &visit.jobs) {
        by_van.entry(&job.van).or_default().push(job.clone());
    }
    let mut lines: Vec<VanLine<'_>> = assessment
        .vans
        .iter()
        .enumerate()
        .map(|(place, van)| {
            let mut parts = parts(van, assessment);
            let jobs = by_van.remove(van.van.as_str()).unwrap_or_default();
            for part in &mut parts {
                let job = jobs.iter().find(|j| {
                    j.item == part.item || (part.check_meter && j.task == Task::CheckMeter)
                });
                part.visit = job.map(|j| j.date);
                part.task = job.map(|j| j.task);
            }
            let states = parts.iter().map(Part::shown_as);
            VanLine {
                van,
                place,
                rank: parts.first().map_or(Rank::NoForecast, |p| p.rank),
                state: states
                    .min_by_key(|s| Rank::from(*s))
                    .unwrap_or(State::Unknown),
                parts,
                jobs,
            }
        })
        .collect();
    lines.sort_by(|a, b| {
        let first = |line: &VanLine<'_>| line.parts.iter().filter_map(|p| p.replace_on).min();
        let key = |line: &VanLine<'_>| (line.rank, first(line).unwrap_or(Date::MAX));
        key(a).cmp(&key(b)).then_with(|| a.van.van.cmp(&b.van.van))
    });
    lines
}

/// How many vans are in a state.
pub fn in_state(lines: &[VanLine<'_>], state: State) -> usize {
    lines.iter().filter(|line| line.state == state).count()
}

/// The month's finding: `3 of 12 vans need work now, 2 more soon`.
pub fn finding(lines: &[VanLine<'_>]) -> String {
    if lines.is_empty() {
        return "No vans yet: no records have been taken in".to_owned();
    }
    let ranked = |within: &dyn Fn(Rank) -> bool| lines.iter().filter(|l| within(l.rank)).count();
    let now = ranked(&|rank| rank <= Rank::Late);
    let soon = ranked(&|rank| rank == Rank::Due);
    let unknown = ranked(&|rank| rank == Rank::NoForecast);
    if let ([only], false) = (lines, now + soon == 0) {
        let when = if now > 0 {
            "needs work now"
        } else {
            "is due for work"
        };
        return format!("{} {when}", only.van.van);
    }
    let vans = words::count(lines.len(), "van", "vans");
    let mut said = match (now, soon) {
        (0, 0) => "No van needs work now".to_owned(),
        (0, soon) => format!("{soon} of {vans} {} due for work", is_or_are(soon)),
        (now, 0) => format!("{now} of {vans} {} work now", need(now)),
        (now, soon) => format!("{now} of {vans} {} work now, {soon} more soon", need(now)),
    };
    if unknown > 0 {
        let vans = words::count(unknown, "van", "vans");
        said.push_str(&format!("; no forecast for {vans}"));
    }
    said
}

/// The same, and how many vans the first visits are for.
pub fn finding_and_visits(lines: &[VanLine<'_>]) -> String {
    finding(lines) + &first_visits(lines)
}

/// How many vans have a job on the first day of visits: what is due soon, or on
/// course, may share that day with what is needed now.
fn first_visits(lines: &[VanLine<'_>]) -> String {
    let jobs = lines.iter().flat_map(|line| &line.jobs);
    let first = jobs.min_by_key(|job| job.date);
    let Some(first) = first.filter(|_| lines.len() > 1) else {
        return String::new();
    };
    let there = |line: &&VanLine<'_>| line.jobs.iter().any(|job| job.date == first.date);
    let vans = words::count(lines.iter().filter(there).count(), "van", "vans");
    let day = words::weekday_near(first.date, first.as_of);
    format!("; first visits {day}: {vans}")
}

fn need(n: usize) -> &'static str {
    if n == 1 { "needs" } else { "need" }
}

fn is_or_are(n: usize) -> &'static str {
    if n == 1 { "is" } else { "are" }
}
