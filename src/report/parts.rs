//! What of a van can need work, most urgent first: the order that the list,
//! the pages, the calendar and the terminal share.

use jiff::civil::Date;

use crate::advise::{Assessment, Item, Span, State, Suspect, VanAssessment};

use super::words;

/// One part of a van with what is to be done to it.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    pub item: Item,
    pub state: State,
    pub replace_on: Option<Date>,
    pub limit_on: Span<Date>,
    pub reason: &'a str,
    pub suspect: Option<Suspect>,
    /// Whether a meter is to be checked before this part is changed.
    pub check_meter: bool,
}

/// The parts that the van has, most urgent first.
pub fn parts(van: &VanAssessment) -> Vec<Part<'_>> {
    let (membrane, resin, prefilter) = (&van.membrane, &van.resin, &van.prefilter);
    let mut parts = Vec::with_capacity(3);
    if van.series.has_membrane {
        parts.push(Part {
            item: Item::Membrane,
            state: membrane.state,
            replace_on: membrane.replace_on,
            limit_on: membrane.limit_on,
            reason: &membrane.reason,
            suspect: membrane.suspect,
            check_meter: membrane.check_meter_first,
        });
    }
    if van.series.has_resin {
        parts.push(Part {
            item: Item::Resin,
            state: resin.state,
            replace_on: resin.replace_on,
            limit_on: resin.limit_on,
            reason: &resin.reason,
            suspect: None,
            check_meter: false,
        });
    }
    // a van without a membrane may well have no pre-filters either
    if van.series.has_membrane || prefilter.state != State::Unknown {
        parts.push(Part {
            item: Item::Prefilter,
            state: prefilter.state,
            replace_on: prefilter.replace_on,
            // a habit, not a forecast: the day itself
            limit_on: Span {
                p10: prefilter.replace_on,
                p50: prefilter.replace_on,
                p90: prefilter.replace_on,
            },
            reason: &prefilter.reason,
            suspect: None,
            check_meter: false,
        });
    }
    parts.sort_by_key(|p| {
        (
            words::urgency(p.state),
            p.replace_on.unwrap_or(Date::MAX),
            p.item,
        )
    });
    parts
}

impl Part<'_> {
    /// `membrane overdue since 3 Sep`, `resin by 12 Oct`, `membrane to watch`.
    pub fn phrase(&self, as_of: Date) -> String {
        let name = words::item(self.item);
        if self.check_meter {
            return self.checked(as_of);
        }
        match self.state {
            State::OnCourse | State::Unknown => format!("{name} {}", self.when(as_of)),
            State::Watch => format!("{name} to watch{}", self.check_first(as_of)),
            State::FailingEarly => format!("{name} failing early{}", self.check_first(as_of)),
            state => format!("{name} {} {}", words::state(state), self.when(as_of)),
        }
    }

    /// The phrase where the state stands beside it already.
    fn phrase_beside_state(&self, as_of: Date) -> String {
        let name = words::item(self.item);
        if self.check_meter {
            return self.checked(as_of);
        }
        match self.state {
            State::Watch | State::FailingEarly => format!("{name}{}", self.check_first(as_of)),
            _ => format!("{name} {}", self.when(as_of)),
        }
    }

    /// A headline for the van's own page: `Resin due: change it by 12 Nov`.
    pub fn headline(&self, as_of: Date) -> String {
        let name = words::item(self.item);
        let it = if self.item == Item::Prefilter {
            "them"
        } else {
            "it"
        };
        let change = match self.replace_on {
            Some(_) => format!("change {it} {}", self.when(as_of)),
            None => "no change needed within ten years, as far as can be told".to_owned(),
        };
        let said = match self.state {
            _ if self.check_meter => self.checked(as_of),
            State::OnCourse => format!("{name} on course; {change}"),
            State::Due => format!("{name} due: {change}"),
            State::Unknown => format!("{name}: cannot be told yet"),
            _ => self.phrase(as_of),
        };
        words::capital(&said)
    }

    /// `check the meter; membrane by 2 Nov if it is right`.
    fn checked(&self, as_of: Date) -> String {
        let name = words::item(self.item);
        match self.replace_on {
            Some(_) => format!("check the meter; {name} {} if it is right", self.when(as_of)),
            None => format!("check the meter; {name} lasts if it is right"),
        }
    }

    fn when(&self, as_of: Date) -> String {
        words::act(self.replace_on, &self.limit_on, as_of, self.state)
    }

    /// What to check first, else by when to act, else nothing.
    fn check_first(&self, as_of: Date) -> String {
        match (self.suspect, self.replace_on) {
            (Some(suspect), _) => format!(": {}", words::suspect(suspect)),
            (None, Some(_)) => format!(", {}", self.when(as_of)),
            (None, None) => String::new(),
        }
    }
}

/// A van in the order of what needs doing first.
#[derive(Debug, Clone)]
pub struct VanLine<'a> {
    pub van: &'a VanAssessment,
    /// Its place among the assessment's vans.
    pub place: usize,
    /// The most urgent state of its parts.
    pub state: State,
    pub parts: Vec<Part<'a>>,
}

impl VanLine<'_> {
    /// What to do, in one line: everything that is not on course, or the next
    /// thing to come; then what cannot be told.
    pub fn to_do(&self, as_of: Date) -> String {
        self.said(as_of, |part| part.phrase(as_of))
    }

    /// The same for a list in which the van's state stands beside it.
    pub fn to_do_beside_state(&self, as_of: Date) -> String {
        self.said(as_of, |part| {
            if part.state == self.state {
                part.phrase_beside_state(as_of)
            } else {
                part.phrase(as_of)
            }
        })
    }

    fn said(&self, as_of: Date, phrase: impl Fn(&Part<'_>) -> String) -> String {
        let told = |p: &&Part<'_>| {
            p.check_meter || !matches!(p.state, State::OnCourse | State::Unknown)
        };
        let mut said: Vec<String> = self.parts.iter().filter(told).map(&phrase).collect();
        if said.is_empty() {
            let next = self.parts.iter().filter(|p| p.replace_on.is_some());
            said.extend(
                next.min_by_key(|p| p.replace_on)
                    .map(|p| format!("next: {}", p.phrase(as_of))),
            );
        }
        let unknown: Vec<&Part<'_>> = self
            .parts
            .iter()
            .filter(|p| p.state == State::Unknown)
            .collect();
        match unknown.as_slice() {
            [one] => said.push(phrase(one)),
            [] => {}
            many => {
                let names: Vec<String> = many
                    .iter()
                    .map(|p| words::item(p.item).to_owned())
                    .collect();
                said.push(format!("{} cannot be told yet", words::list(&names)));
            }
        }
        if said.is_empty() {
            return "nothing to do".to_owned();
        }
        said.join("; ")
    }
}

/// All vans, most urgent first, then by the earliest date, then by name.
pub fn by_urgency(assessment: &Assessment) -> Vec<VanLine<'_>> {
    let mut lines: Vec<VanLine<'_>> = assessment
        .vans
        .iter()
        .enumerate()
        .map(|(place, van)| {
            let parts = parts(van);
            let state = parts.first().map_or(State::Unknown, |p| p.state);
            VanLine {
                van,
                place,
                state,
                parts,
            }
        })
        .collect();
    lines.sort_by(|a, b| {
        let date = |line: &VanLine<'_>| line.parts.iter().filter_map(|p| p.replace_on).min();
        let key = |line| {
            (
                words::urgency(line_state(line)),
                date(line).unwrap_or(Date::MAX),
            )
        };
        key(a).cmp(&key(b)).then_with(|| a.van.van.cmp(&b.van.van))
    });
    lines
}

fn line_state(line: &VanLine<'_>) -> State {
    line.state
}

/// How many vans are in a state.
pub fn in_state(lines: &[VanLine<'_>], state: State) -> usize {
    lines.iter().filter(|line| line.state == state).count()
}

/// The month's finding: `3 of 12 vans need work now; 2 more within two weeks`.
pub fn finding(lines: &[VanLine<'_>]) -> String {
    if lines.is_empty() {
        return "No vans yet: nothing has been read in".to_owned();
    }
    let now = in_state(lines, State::FailingEarly) + in_state(lines, State::Overdue);
    let soon = in_state(lines, State::Due);
    let unknown = in_state(lines, State::Unknown);
    let vans = words::count(lines.len(), "van", "vans");
    let mut said = match (now, soon) {
        (0, 0) => "No van needs work now".to_owned(),
        (0, soon) => format!("{soon} of {vans} {} due for work", is_or_are(soon)),
        (now, 0) => format!("{now} of {vans} {} work now", need(now)),
        (now, soon) => format!("{now} of {vans} {} work now, {soon} more soon", need(now)),
    };
    if unknown > 0 {
        said.push_str(&format!("; for {unknown} it cannot be told"));
    }
    said
}

fn need(n: usize) -> &'static str {
    if n == 1 { "needs" } else { "need" }
}

fn is_or_are(n: usize) -> &'static str {
    if n == 1 { "is" } else { "are" }
}
