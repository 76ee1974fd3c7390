//! `litrewise vans`: the vans of the store, and the names that they were given.

use std::io::Write;
use std::process::ExitCode;

use clap::{Args, Subcommand};
use serde::Serialize;

use super::context::Context;
use super::error::CliError;
use super::files::{user, when};
use super::format::{Format, one_of};
use super::ingest::now;
use super::{json, said, van_names};
use crate::ingest::shown;
use crate::store::Store;
use crate::store::names::van_key;

/// List the vans; give one another name, or merge two that are one
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise vans\n  litrewise vans rename QV-003 Barque\n  litrewise vans take-back QV-003"
)]
pub(super) struct VansArgs {
    #[command(subcommand)]
    command: Option<VansCommand>,
    /// Output format
    #[arg(long, short, default_value = "text", value_parser = one_of(&[Format::Text, Format::Json]))]
    format: Format,
}

#[derive(Debug, Subcommand)]
enum VansCommand {
    /// Give a van another name; where a van has that name, the two become one
    ///
    /// Rows stay as they were written; rows to come that bear the old name are
    /// the new one's too. What was done stays on record.
    #[command(after_help = "Example:\n  litrewise vans rename QV-003 Barque")]
    Rename {
        #[arg(value_name = "VAN")]
        van: String,
        #[arg(value_name = "NAME")]
        name: String,
    },
    /// Take a renaming back: the van bears its own name again
    #[command(
        after_help = "Example:\n  litrewise vans rename QV-003 Barque\n  litrewise vans take-back QV-003"
    )]
    TakeBack {
        /// The name that it had before
        #[arg(value_name = "VAN")]
        van: String,
    },
}

#[derive(Serialize)]
struct Document {
    vans: Vec<Listed>,
    history: Vec<ListedRenaming>,
}

#[derive(Serialize)]
struct Listed {
    van: String,
    readings: usize,
    fills: usize,
    services: usize,
}

#[derive(Serialize)]
struct ListedRenaming {
    at: String,
    van: String,
    /// `null`: a renaming was taken back.
    to: Option<String>,
    by: String,
}

impl Document {
    fn of(store: &Store) -> Result<Document, CliError> {
        let vans = store.fleet()?.histories.into_iter().map(|history| Listed {
            van: history.van.to_string(),
            readings: history.readings.len(),
            fills: history.fills.len(),
            services: history.services.len(),
        });
        let history = store
            .renamings()?
            .into_iter()
            .map(|renaming| ListedRenaming {
                at: when(renaming.at),
                van: renaming.van.to_string(),
                to: renaming.to.map(|to| to.to_string()),
                by: renaming.by,
            });
        Ok(Document {
            vans: vans.collect(),
            history: history.collect(),
        })
    }
}

pub(super) fn run(
    args: &VansArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    if args.command.is_some() && args.format != Format::Text {
        return Err(CliError::Usage(
            "--format goes with the list of vans only: leave it out here".to_owned(),
        ));
    }
    let store = context.open_store()?;
    match &args.command {
        None => match args.format {
            Format::Json => json::write(&Document::of(&store)?, out)?,
            _ => list(&store, context, out)?,
        },
        Some(VansCommand::Rename { van, name }) => rename(&store, van, name, out)?,
        Some(VansCommand::TakeBack { van }) => take_back(&store, van, out)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn list(store: &Store, context: &Context, out: &mut dyn Write) -> Result<(), CliError> {
    let document = Document::of(store)?;
    let wide = document
        .vans
        .iter()
        .map(|van| van.van.chars().count())
        .max();
    let wide = wide.unwrap_or(0);
    for van in &document.vans {
        let counted = [
            (van.readings, "readings"),
            (van.fills, "fills"),
            (van.services, "services"),
        ];
        let counted: Vec<String> = counted
            .into_iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, what)| match count {
                1 => format!("1 {}", what.trim_end_matches('s')),
                _ => format!("{count} {what}"),
            })
            .collect();
        let counted = match counted.is_empty() {
            true => "in the van list only".to_owned(),
            false => counted.join(", "),
        };
        writeln!(out, "{:wide$}  {counted}", shown(&van.van))?;
    }
    for renaming in &document.history {
        let (van, at) = (shown(&renaming.van), &renaming.at);
        match &renaming.to {
            Some(to) => writeln!(out, "{at}  {van} renamed {}", shown(to))?,
            None => writeln!(out, "{at}  {van}: renaming taken back")?,
        }
    }
    if document.vans.is_empty() {
        context.say("no vans yet");
    }
    Ok(())
}

/// Those of a van list, and those that it does not know.
fn names_of(store: &Store) -> Result<Vec<String>, CliError> {
    let vans = store.van_chunks(u64::MAX)?;
    let names = vans.vans().chain(vans.unlisted());
    Ok(names.map(ToString::to_string).collect())
}

/// Characters of the longest name of a van.
const LONGEST_NAME: usize = 80;

fn rename(store: &Store, van: &str, name: &str, out: &mut dyn Write) -> Result<(), CliError> {
    let mut writer = store.writer()?;
    let names = names_of(store)?;
    let van = van_names::named(van, names.iter().map(String::as_str))?;
    let name = name.trim();
    let key = van_key(name);
    if key.is_empty() || name.chars().count() > LONGEST_NAME {
        let why = format!("a name has 1 to {LONGEST_NAME} characters");
        return Err(CliError::Usage(why));
    }
    if van == name {
        return Err(CliError::Usage(format!("{van} is called that already")));
    }
    // a van that gave this name up would lead in a circle
    let gave_up = store
        .renamings()?
        .into_iter()
        .rev()
        .find(|r| van_key(&r.van) == key);
    if let Some(to) = gave_up.and_then(|r| r.to) {
        return Err(CliError::Usage(format!(
            "{name} was renamed {to}: `litrewise vans take-back {name}` first"
        )));
    }
    let is_merged = names
        .iter()
        .any(|known| van_key(known) == key && *known != van);
    writer.rename(&van, Some(name), now(), &user())?;
    drop(writer);
    match is_merged {
        true => writeln!(out, "{van} and {name} are one van now: {name}")?,
        false => writeln!(out, "{van} is {name} now")?,
    }
    writeln!(out, "store: {}", said::equation(store.row_counts()?))?;
    Ok(())
}

fn take_back(store: &Store, van: &str, out: &mut dyn Write) -> Result<(), CliError> {
    let mut writer = store.writer()?;
    let key = van_key(van);
    let last = store
        .renamings()?
        .into_iter()
        .rev()
        .find(|r| van_key(&r.van) == key);
    let Some(renaming) = last.filter(|renaming| renaming.to.is_some()) else {
        return Err(CliError::Usage(format!(
            "no van {van} was renamed: `litrewise vans` lists what was done"
        )));
    };
    writer.rename(&renaming.van, None, now(), &user())?;
    drop(writer);
    writeln!(out, "{} bears its own name again", renaming.van)?;
    writeln!(out, "store: {}", said::equation(store.row_counts()?))?;
    Ok(())
}
