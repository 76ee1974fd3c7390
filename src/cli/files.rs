//! `litrewise files`: the files that were taken in: listed, taken back out, put back.

use std::io::Write;
use std::ops::RangeInclusive;
use std::process::ExitCode;

use clap::{Args, Subcommand};
use serde::Serialize;

use super::context::Context;
use super::error::CliError;
use super::format::{Format, one_of};
use super::ingest::now;
use super::{json, said};
use crate::ingest::shown;
use crate::store::records::{self, Instant, RowCounts};
use crate::store::{Action, FileLine, Store, UndoEntry};

/// List the files taken in; take a wrong file or row back out, or put it back
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise files\n  litrewise files take-back october.csv\n  litrewise files put-back october.csv\n  litrewise files take-back october.csv:2\n  litrewise files remarks october.csv"
)]
pub(super) struct FilesArgs {
    #[command(subcommand)]
    command: Option<FilesCommand>,
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json, Format::Csv]))]
    format: Format,
}

#[derive(Debug, Subcommand)]
enum FilesCommand {
    /// Take a file, or single rows by their lines, back out of the store
    ///
    /// What was done stays on record. A row taken back stays out when its file
    /// comes again; one that was set aside leaves the list for good.
    #[command(
        after_help = "Example:\n  litrewise files take-back october.csv:2-3\n  litrewise files take-back october.csv"
    )]
    TakeBack(Rows),
    /// Put a file or rows that were taken back into the store again
    #[command(
        after_help = "Example:\n  litrewise files put-back october.csv\n  litrewise files put-back october.csv:2"
    )]
    PutBack(Rows),
    /// Print every remark that was made when a file was taken in
    #[command(after_help = "Example:\n  litrewise files remarks october.csv")]
    Remarks(Named),
}

#[derive(Debug, Args)]
struct Named {
    /// The file's id, or its name where only one file has it
    #[arg(value_name = "ID-OR-NAME")]
    file: String,
}

#[derive(Debug, Args)]
struct Rows {
    /// The file's id, or its name where only one file has it; with :LINE or
    /// :LINE-LINE behind it only those rows
    #[arg(value_name = "FILE[:LINE]", required = true)]
    of: Vec<String>,
    /// Of a line that holds several kinds, only this one
    #[arg(long, value_name = "KIND", value_parser = records::KINDS)]
    only: Option<String>,
}

pub(super) fn run(
    args: &FilesArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    if args.command.is_some() && args.format != Format::Text {
        return Err(CliError::Usage(
            "--format goes with the list of files only: leave it out here".to_owned(),
        ));
    }
    let store = context.open_store()?;
    match &args.command {
        None => match args.format {
            Format::Json => json::write(&Listing::of(&store)?.0, out)?,
            Format::Csv => csv(&Listing::of(&store)?, out)?,
            _ => list(&store, context, out)?,
        },
        Some(FilesCommand::TakeBack(rows)) => act_on_all(&store, rows, Action::TakenBack, out)?,
        Some(FilesCommand::PutBack(rows)) => act_on_all(&store, rows, Action::PutBack, out)?,
        Some(FilesCommand::Remarks(named)) => remarks(&store, &named.file, context, out)?,
    }
    Ok(ExitCode::SUCCESS)
}

/// The files, for programs.
struct Listing(Vec<Listed>);

#[derive(Serialize)]
struct Listed {
    id: u64,
    file: String,
    taken_in_at: String,
    recognised: String,
    /// Rows as they were counted when the file came.
    rows: RowCounts,
    remarks: usize,
    /// Whether its rows are in the store now.
    in_store: bool,
    history: Vec<ListedDeed>,
}

#[derive(Serialize)]
struct ListedDeed {
    at: String,
    what: &'static str,
    by: String,
    /// The row that it was done to, where not the whole file.
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<u64>,
}

impl Listing {
    fn of(store: &Store) -> Result<Listing, CliError> {
        let (deeds, of_rows) = (store.undone()?, store.rows_undone()?);
        let listed = store.files()?.into_iter().map(|file| {
            let of_file = deeds.iter().filter(|deed| deed.file_id == file.id);
            Listed {
                id: file.id,
                in_store: !is_out(&deeds, &file),
                taken_in_at: when(file.ingested_at),
                recognised: file.recognised,
                rows: file.counts,
                remarks: file.notes.len(),
                history: of_file
                    .map(|deed| ListedDeed {
                        at: when(deed.at),
                        what: deed.action.word(),
                        by: deed.by.clone(),
                        line: None,
                    })
                    .chain(
                        of_rows
                            .iter()
                            .filter(|deed| deed.file_id == file.id)
                            .map(|deed| ListedDeed {
                                at: when(deed.at),
                                what: deed.action.word(),
                                by: deed.by.clone(),
                                line: Some(deed.line()),
                            }),
                    )
                    .collect(),
                file: file.name,
            }
        });
        Ok(Listing(listed.collect()))
    }
}

fn csv(Listing(files): &Listing, out: &mut dyn Write) -> Result<(), CliError> {
    let mut writer = csv::Writer::from_writer(out);
    let heads = [
        "id",
        "file",
        "taken_in_at",
        "read",
        "stored",
        "already_stored",
        "set_aside",
        "remarks",
        "in_store",
    ];
    writer.write_record(heads).map_err(std::io::Error::from)?;
    for file in files {
        let counts = file.rows;
        let cells = [
            file.id.to_string(),
            crate::report::harmless(&file.file),
            file.taken_in_at.clone(),
            counts.read.to_string(),
            counts.stored.to_string(),
            counts.already_stored.to_string(),
            counts.set_aside.to_string(),
            file.remarks.to_string(),
            if file.in_store { "yes" } else { "no" }.to_owned(),
        ];
        writer.write_record(cells).map_err(std::io::Error::from)?;
    }
    writer.flush()?;
    Ok(())
}

/// Every remark with its line.
fn remarks(
    store: &Store,
    named: &str,
    context: &Context,
    out: &mut dyn Write,
) -> Result<(), CliError> {
    let files = store.files()?;
    // The newest of that name, if several have it.
    let of_name = by_id_or_name(&files, named);
    let file = of_name.last().ok_or_else(|| no_file(named))?;
    for remark in said::remarks(&file.notes, usize::MAX) {
        writeln!(out, "{}", shown(&remark))?;
    }
    if file.notes.is_empty() {
        context.say(format_args!("no remarks were made on {}", file.name));
    }
    Ok(())
}

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
fn list(store: &Store, context: &Context, out: &mut dyn Write) -> Result<(), CliError> {
    let (files, deeds, of_rows) = (store.files()?, store.undone()?, store.rows_undone()?);
    for file in &files {
        let head = format!(
            "{:>4}  {}  {}",
            file.id,
            when(file.ingested_at),
            shown(&file.name)
        );
        let counts = counted(file.counts);
        // a long name takes a line of its own
        let apart = head.chars().count() + 2 + counts.chars().count() > context.screen.width;
        let between = if apart { "\n      " } else { "  " };
        writeln!(out, "{head}{between}{counts}")?;
        for deed in deeds.iter().filter(|deed| deed.file_id == file.id) {
            let by = by_whom(&deed.by);
            writeln!(out, "      {}  {}{by}", when(deed.at), deed.action.word())?;
        }
        // of the parts of a line it is said once
        let mut of_file: Vec<_> = of_rows
            .iter()
            .filter(|deed| deed.file_id == file.id)
            .collect();
        of_file.dedup_by_key(|deed| (deed.line(), deed.action, deed.at));
        for deed in of_file {
            let (line, by) = (deed.line(), by_whom(&deed.by));
            writeln!(
                out,
                "      {}  line {line} {}{by}",
                when(deed.at),
                deed.action.word()
            )?;
        }
    }
    if files.is_empty() {
        context.say("no file was taken in yet");
    } else {
        context.say("rows as they were counted when the file came");
    }
    Ok(())
}

fn by_whom(by: &str) -> String {
    match by {
        "" => String::new(),
        name => format!(" by {}", shown(name)),
    }
}

/// Takes files and rows back out, or puts them back.
fn act_on_all(
    store: &Store,
    rows: &Rows,
    action: Action,
    out: &mut dyn Write,
) -> Result<(), CliError> {
    for named in &rows.of {
        let files = store.files()?;
        match lines_of(named).filter(|_| by_id_or_name(&files, named).is_empty()) {
            Some((file, lines)) => act_on_rows(store, (file, &lines), rows, action, out)?,
            None if rows.only.is_some() => {
                let why = "--only goes with a line of a file, as in october.csv:2";
                return Err(CliError::Usage(why.to_owned()));
            }
            None => act(store, named, action, out)?,
        }
    }
    writeln!(out, "store: {}", said::equation(store.row_counts()?))?;
    Ok(())
}

/// `october.csv:2`, `12:5-6`
fn lines_of(named: &str) -> Option<(&str, RangeInclusive<u64>)> {
    let (file, lines) = named.rsplit_once(':')?;
    let (first, last) = lines.split_once('-').unwrap_or((lines, lines));
    let lines = first.parse().ok()?..=last.parse().ok()?;
    (!lines.is_empty()).then_some((file, lines))
}

/// Takes the rows on some lines back out, or puts them back.
fn act_on_rows(
    store: &Store,
    (named, lines): (&str, &RangeInclusive<u64>),
    asked: &Rows,
    action: Action,
    out: &mut dyn Write,
) -> Result<(), CliError> {
    let mut writer = store.writer()?;
    let (files, deeds) = (store.files()?, store.undone()?);
    // the newest version of that name that is in the store
    let of_name = by_id_or_name(&files, named);
    let file = of_name.iter().rev().find(|file| !is_out(&deeds, file));
    let file = file.ok_or_else(|| match of_name.is_empty() {
        true => no_file(named),
        false => CliError::Usage(format!(
            "{named} was taken back as a whole: `litrewise files put-back {named}` first"
        )),
    })?;
    let mut rows = store.rows_on(file.id, lines)?;
    rows.retain(|row| asked.only.is_none() || row.kind == asked.only.as_deref());
    let (name, id, word) = (shown(&file.name), file.id, action.word());
    let line = match lines.start() == lines.end() {
        true => format!("line {}", lines.start()),
        false => format!("lines {} to {}", lines.start(), lines.end()),
    };
    if rows.is_empty() {
        return Err(CliError::Usage(format!(
            "{name} (file {id}): no row stands on {line}; a row is named by the line on which it starts"
        )));
    }
    let rows = writer.act_on_rows(rows, action, now(), &user())?;
    if rows.is_empty() {
        let state = state(action);
        writeln!(
            out,
            "{name} (file {id}), {line}: nothing to do, it is {state}"
        )?;
        return Ok(());
    }
    writeln!(out, "{name} (file {id}), {line}: {word}")?;
    for row in &rows {
        let kind = row.kind.map(|kind| format!("{kind}: ")).unwrap_or_default();
        writeln!(out, "    {kind}{}", shown(row.text.trim()))?;
    }
    Ok(())
}

/// Who is logged in, for the record.
pub(super) fn user() -> String {
    let name = std::env::var("USER").or_else(|_| std::env::var("LOGNAME"));
    name.unwrap_or_default()
}

/// Takes a file back out, or puts it back.
fn act(store: &Store, named: &str, action: Action, out: &mut dyn Write) -> Result<(), CliError> {
    let mut writer = store.writer()?;
    let file = find(&store.files()?, &store.undone()?, named, action)?;
    let changed = writer.act(file.id, action, now(), &user())?;
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
    Ok(())
}

fn state(action: Action) -> &'static str {
    match action {
        Action::TakenBack => "out already",
        Action::PutBack => "in already",
    }
}

/// The file of that id; else those of that name, folders left out or not.
fn by_id_or_name<'a>(files: &'a [FileLine], named: &str) -> Vec<&'a FileLine> {
    if let Ok(id) = named.parse::<u64>()
        && let Some(file) = files.iter().find(|file| file.id == id)
    {
        return vec![file];
    }
    let same = |file: &&FileLine| file.name == named;
    let ends_so = |file: &&FileLine| {
        let tail = file.name.strip_suffix(named);
        tail.is_some_and(|folders| folders.ends_with(['/', '\\']))
    };
    let of_name: Vec<&FileLine> = files.iter().filter(same).collect();
    match of_name.is_empty() {
        true => files.iter().filter(ends_so).collect(),
        false => of_name,
    }
}

fn no_file(named: &str) -> CliError {
    CliError::Usage(format!(
        "no file {named} was taken in: `litrewise files` lists names and ids"
    ))
}

/// Whether the file was taken back last.
fn is_out(deeds: &[UndoEntry], file: &FileLine) -> bool {
    let last = deeds.iter().rfind(|deed| deed.file_id == file.id);
    last.is_some_and(|deed| deed.action == Action::TakenBack)
}

/// The one file of that id or name that it can be done to.
fn find(
    files: &[FileLine],
    deeds: &[UndoEntry],
    named: &str,
    action: Action,
) -> Result<FileLine, CliError> {
    let of_name = by_id_or_name(files, named);
    let wanted = action == Action::PutBack;
    let to_do = of_name.iter().copied();
    let to_do: Vec<&FileLine> = to_do.filter(|file| is_out(deeds, file) == wanted).collect();
    match (to_do.as_slice(), of_name.as_slice()) {
        ([only], _) | ([], [only]) => Ok((*only).clone()),
        ([], []) => Err(no_file(named)),
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
pub(super) fn when(at: Instant) -> String {
    crate::calendar::utc(at.0).map_or_else(
        || "unknown time".to_owned(),
        |at| at.format("%Y-%m-%d %H:%MZ").to_string(),
    )
}
