//! The files that were taken in: listed, taken back out, put back.

use std::io::Write;
use std::process::ExitCode;

use super::context::Context;
use super::error::CliError;
use super::ingest::now;
use super::said;
use crate::ingest::shown;
use crate::store::records::{Instant, RowCounts};
use crate::store::{Action, FileLine, Store, UndoEntry};

/// Columns of a terminal.
const WIDTH: usize = 80;

/// What became of a file's rows; what did not happen is not told.
fn counted(counts: RowCounts) -> String {
    let told = [
        (counts.stored, "stored"),
        (counts.already_stored, "already stored"),
        (counts.set_aside, "set aside"),
    ];
    let told: Vec<String> = told
        .into_iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| match n == counts.read {
            true => format!("all {what}"),
            false => format!("{n} {what}"),
        })
        .collect();
    match told.as_slice() {
        [] => format!("{} rows", counts.read),
        told => format!("{} rows: {}", counts.read, told.join(", ")),
    }
}

/// Lists every file with its id, its rows and what was done to it since.
pub(super) fn list(
    store: &Store,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let (files, deeds) = (store.files()?, store.undone()?);
    for file in &files {
        let head = format!(
            "{:>4}  {}  {}",
            file.id,
            when(file.ingested_at),
            shown(&file.name)
        );
        let counts = counted(file.counts);
        // a long name takes a line of its own
        let apart = head.chars().count() + 2 + counts.chars().count() > WIDTH;
        let between = if apart { "\n      " } else { "  " };
        writeln!(out, "{head}{between}{counts}")?;
        for deed in deeds.iter().filter(|deed| deed.file_id == file.id) {
            let by = match deed.by.as_str() {
                "" => String::new(),
                name => format!(" by {}", shown(name)),
            };
            writeln!(out, "      {}  {}{by}", when(deed.at), deed.action.word())?;
        }
    }
    if files.is_empty() {
        context.say("no file was taken in yet");
    } else {
        context.say("rows as they were counted when the file came");
    }
    Ok(ExitCode::SUCCESS)
}

/// Takes a file back out, or puts it back.
pub(super) fn act(
    store: &Store,
    named: &str,
    action: Action,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let mut writer = store.writer()?;
    let file = find(&store.files()?, &store.undone()?, named, action)?;
    let by = std::env::var("USER").or_else(|_| std::env::var("LOGNAME"));
    let changed = writer.act(file.id, action, now(), &by.unwrap_or_default())?;
    let (name, id, word) = (shown(&file.name), file.id, action.word());
    if changed {
        writeln!(out, "{name} (file {id}): {word}")?;
    } else {
        writeln!(
            out,
            "{name} (file {id}): nothing to do, it is {}",
            state(action)
        )?;
    }
    writeln!(out, "store: {}", said::equation(store.row_counts()?))?;
    Ok(ExitCode::SUCCESS)
}

fn state(action: Action) -> &'static str {
    match action {
        Action::TakenBack => "out already",
        Action::PutBack => "in already",
    }
}

/// By id, or by a name, folders left out or not, that only one file has that it
/// can be done to.
fn find(
    files: &[FileLine],
    deeds: &[UndoEntry],
    named: &str,
    action: Action,
) -> Result<FileLine, CliError> {
    if let Ok(id) = named.parse::<u64>()
        && let Some(file) = files.iter().find(|file| file.id == id)
    {
        return Ok(file.clone());
    }
    let is_out = |file: &&FileLine| {
        let last = deeds.iter().rfind(|deed| deed.file_id == file.id);
        last.is_some_and(|deed| deed.action == Action::TakenBack)
    };
    let same = |file: &&FileLine| file.name == named;
    let ends_so = |file: &&FileLine| {
        let tail = file.name.strip_suffix(named);
        tail.is_some_and(|folders| folders.ends_with(['/', '\\']))
    };
    let mut of_name: Vec<&FileLine> = files.iter().filter(same).collect();
    if of_name.is_empty() {
        of_name = files.iter().filter(ends_so).collect();
    }
    let to_do = of_name.iter().copied().filter(|file| {
        let wanted = action == Action::PutBack;
        is_out(file) == wanted
    });
    let to_do: Vec<&FileLine> = to_do.collect();
    match (to_do.as_slice(), of_name.as_slice()) {
        ([only], _) | ([], [only]) => Ok((*only).clone()),
        ([], []) => Err(CliError::Usage(format!(
            "no file {named} was taken in: `litrewise ingest --list` shows names and ids"
        ))),
        ([], [.., last]) => Ok((*last).clone()),
        (several, _) => {
            let ids: Vec<String> = several.iter().map(|file| file.id.to_string()).collect();
            Err(CliError::Usage(format!(
                "{named} was taken in more than once: give one of the ids {} instead of the name",
                ids.join(", ")
            )))
        }
    }
}

/// To the minute, UTC.
fn when(at: Instant) -> String {
    jiff::Timestamp::from_microsecond(at.0).map_or_else(
        |_| "unknown time".to_owned(),
        |stamp| stamp.strftime("%Y-%m-%d %H:%MZ").to_string(),
    )
}
