//! `litrewise files`: the files that were taken in: listed, taken back out, put back.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, Subcommand, ValueEnum};
use serde::Serialize;

use super::context::Context;
use super::error::CliError;
use super::ingest::now;
use super::{json, said};
use crate::ingest::shown;
use crate::store::records::{Instant, RowCounts};
use crate::store::{Action, FileLine, Store, UndoEntry};

/// List the files taken in; take a wrong one back out, or put it back
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise files\n  litrewise files take-back october.csv\n  litrewise files put-back october.csv\n  litrewise files remarks october.csv"
)]
pub(super) struct FilesArgs {
    #[command(subcommand)]
    command: Option<FilesCommand>,
    /// Output format
    #[arg(long, short, value_enum, default_value_t = Format::Text)]
    format: Format,
}

#[derive(Debug, Subcommand)]
enum FilesCommand {
    /// Take a file's rows back out of the store; what was done stays on record
    #[command(after_help = "Example:\n  litrewise files take-back october.csv")]
    TakeBack(Named),
    /// Put the rows of a file that was taken back into the store again
    #[command(after_help = "Example:\n  litrewise files put-back october.csv")]
    PutBack(Named),
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

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For people
    Text,
    /// For scripts
    Json,
    /// For a spreadsheet
    Csv,
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
            Format::Text => list(&store, context, out)?,
            Format::Json => json::write(&Listing::of(&store)?.0, out)?,
            Format::Csv => csv(&Listing::of(&store)?, out)?,
        },
        Some(FilesCommand::TakeBack(named)) => act(&store, &named.file, Action::TakenBack, out)?,
        Some(FilesCommand::PutBack(named)) => act(&store, &named.file, Action::PutBack, out)?,
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
}

impl Listing {
    fn of(store: &Store) -> Result<Listing, CliError> {
        let deeds = store.undone()?;
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
                    })
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
        let apart = head.chars().count() + 2 + counts.chars().count() > context.screen.width;
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
    Ok(())
}

/// Takes a file back out, or puts it back.
fn act(store: &Store, named: &str, action: Action, out: &mut dyn Write) -> Result<(), CliError> {
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
fn when(at: Instant) -> String {
    crate::calendar::utc(at.0).map_or_else(
        || "unknown time".to_owned(),
        |at| at.format("%Y-%m-%d %H:%MZ").to_string(),
    )
}
