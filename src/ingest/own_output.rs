//! Files that the program itself writes for people: taken in as records, a plan
//! would become work done and an assessment a list of vans.

use super::text::{folded, plain};

/// A file of ours that holds no records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OwnOutput {
    /// Jobs that are due.
    WorkList,
    /// What became of the vans.
    Assessment,
    /// Parts to order.
    Parts,
    /// Rows set aside, as a list.
    SetAside,
    /// A report's workbook.
    Workbook,
}

impl OwnOutput {
    /// What it is, and what to do.
    pub fn label(self) -> &'static str {
        match self {
            OwnOutput::WorkList => {
                "litrewise's own list of jobs that are due, not of work done: tick what was done in a column headed done_on (the day, or an x) and say `litrewise ingest --done`"
            }
            OwnOutput::Assessment => {
                "litrewise's own assessment, not records: ingest the files that you keep"
            }
            OwnOutput::Parts => {
                "litrewise's own list of parts to order, not records: ingest the files that you keep"
            }
            OwnOutput::SetAside => {
                "litrewise's own list of rows set aside, not records: `litrewise set-aside --out fix.csv` writes a file that can be corrected and ingested"
            }
            OwnOutput::Workbook => {
                "litrewise's own report, not records: ingest the files that you keep"
            }
        }
    }
}

/// Headings that stand in no file but our own.
const SIGNS: &[(OwnOutput, &[&str])] = &[
    (OwnOutput::WorkList, &["own day", "day early"]),
    (OwnOutput::WorkList, &["item", "date", "state", "why"]),
    (OwnOutput::Assessment, &["membrane state", "resin state"]),
    (
        OwnOutput::Assessment,
        &["membrane replace on", "resin replace on"],
    ),
    (
        OwnOutput::Parts,
        &["month", "membrane low", "membrane high"],
    ),
    (OwnOutput::Parts, &["needed", "on shelf", "to order"]),
    (OwnOutput::SetAside, &["file", "line", "reason", "text"]),
];

/// Which of our files a line heads.
pub(super) fn of(headers: &[String]) -> Option<OwnOutput> {
    let headers: Vec<String> = headers.iter().map(|header| folded(plain(header))).collect();
    let has = |sign: &&str| headers.iter().any(|header| header == sign);
    let found = SIGNS.iter().find(|(_, signs)| signs.iter().all(&has));
    found.map(|(output, _)| *output)
}

/// Whether a column of the list of jobs holds what is planned.
pub(super) fn is_planned(header: &str) -> bool {
    let planned = [
        "base",
        "task",
        "date",
        "day",
        "state",
        "why",
        "own day",
        "day early",
        "day late",
        "unit",
        "district",
    ];
    planned.contains(&folded(plain(header)).as_str())
}

/// Whether a column of the list of jobs says what is to be done.
pub(super) fn is_task(header: &str) -> bool {
    folded(plain(header)) == "task"
}

/// Whether a job changes nothing.
pub(super) fn is_look(task: &str) -> bool {
    ["inspect", "read again"].contains(&folded(plain(task)).as_str())
}

/// Whether a column that says which of the jobs were done says when.
pub(super) fn is_day_done(header: &str) -> bool {
    let days = ["done on", "done at", "date done", "completed on"];
    days.contains(&folded(plain(header)).as_str())
}

/// Whether a column says which of the jobs were done.
pub(super) fn is_tick(header: &str) -> bool {
    let ticks = [
        "done on",
        "done",
        "done at",
        "date done",
        "ticked",
        "tick",
        "completed",
        "completed on",
        "finished",
        "✓",
        "✔",
        "x",
    ];
    let header = plain(header);
    ticks.contains(&folded(header).as_str()) || matches!(header, "✓" | "✔")
}
