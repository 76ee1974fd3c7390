//! `litrewise demo`: the whole job on the sample fleet that is built in.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use crate::calendar::{Date, DateExt};
use clap::Args;

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use super::{remake, report, said};
use crate::ingest::{FileReader, Options};
use crate::report::text;
use crate::settings::{FILE_NAME, Settings};
use crate::store::Store;

/// Run everything on a made-up fleet: store, assessment, report
///
/// Works from anywhere and needs no files: twelve invented vans are built in.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise demo --out look-around")]
pub(super) struct DemoArgs {
    /// Folder for the store and the report
    #[arg(long, short, default_value = "./litrewise-demo", value_name = "DIR")]
    out: PathBuf,
    /// In a checkout: simulate the sample anew, and what is made from it
    #[arg(long, hide = true, value_name = "CHECKOUT")]
    remake: Option<PathBuf>,
}

struct DemoPlan {
    out: PathBuf,
    as_of: Option<Date>,
    settings: Settings,
}

impl DemoArgs {
    fn plan(self, context: &Context) -> Result<DemoPlan, CliError> {
        let settings = context.settings(&self.out.join("store"))?;
        Ok(DemoPlan {
            settings: in_pounds(settings),
            out: self.out,
            as_of: context.as_of,
        })
    }
}

/// The sample fleet pays in pounds, unless said otherwise.
pub(super) fn in_pounds(mut settings: Settings) -> Settings {
    let currency = &mut settings.prices.currency;
    currency.get_or_insert_with(|| "£".to_owned());
    settings
}

/// The sample fleet.
const SAMPLE: [(&str, &[u8]); 5] = [
    ("vans.csv", include_bytes!("../../sample-data/vans.csv")),
    (
        "hardness.csv",
        include_bytes!("../../sample-data/hardness.csv"),
    ),
    (
        "readings.csv",
        include_bytes!("../../sample-data/readings.csv"),
    ),
    ("fills.csv", include_bytes!("../../sample-data/fills.csv")),
    (
        "services.csv",
        include_bytes!("../../sample-data/services.csv"),
    ),
];

/// Says that a folder was made by an earlier demo and may be made again.
const MARKER: &str = "made-by-litrewise-demo.txt";

pub(super) fn run(
    mut args: DemoArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    match args.remake.take() {
        Some(checkout) => remake::run(&checkout, context, out),
        None => show(&args.plan(context)?, context, out),
    }
}

fn show(plan: &DemoPlan, context: &Context, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    prepare(&plan.out)?;
    let store = Store::create_or_open(&plan.out.join("store"))?;
    context.say("1 of 3  taking in the sample fleet's readings, fills and services");
    let files = SAMPLE.map(|(name, bytes)| (name, bytes.to_vec()));
    take_in(&store, &files, &plan.settings, context)?;
    context.say("2 of 3  working out how membranes and resin decline");
    let looking = Looking::at(&store, plan.settings.clone())?;
    let as_of = plan.as_of.unwrap_or(looking.newest_day);
    let told = looking.month(as_of, true, context)?;
    context.say("3 of 3  drawing the report");
    let pages = plan.out.join("report");
    let written = report::write(&told, as_of.first_of_month(), &pages, context)?;
    writeln!(out)?;
    let (assessment, screen) = (&told.assessment, context.screen);
    out.write_all(text::reservations(assessment, screen).as_bytes())?;
    out.write_all(text::summary(assessment, screen).as_bytes())?;
    writeln!(out)?;
    writeln!(out, "The report: {}", written.index.display())?;
    writeln!(out, "With your own files: litrewise month FOLDER")?;
    Ok(ExitCode::SUCCESS)
}

/// A folder that is new, empty, or was made by an earlier demo.
fn prepare(out: &Path) -> Result<(), CliError> {
    std::fs::create_dir_all(out).map_err(cannot_write(out))?;
    let marker = out.join(MARKER);
    if marker.exists() {
        return clear(&out.join("report"), "").and_then(|()| clear(&out.join("store"), FILE_NAME));
    }
    let mut entries = std::fs::read_dir(out).map_err(cannot_write(out))?;
    if entries.next().is_some() {
        return Err(CliError::FolderInUse {
            path: out.to_owned(),
        });
    }
    std::fs::write(
        &marker,
        "The folders beside this file are made anew by every litrewise demo.\n",
    )
    .map_err(cannot_write(&marker))
}

/// Empties a folder but for one file that is the user's.
fn clear(folder: &Path, kept: &str) -> Result<(), CliError> {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(e) => return Err(cannot_write(folder)(e)),
    };
    for entry in entries {
        let entry = entry.map_err(cannot_write(folder))?;
        let path = entry.path();
        let removed = if entry.file_name() == kept {
            Ok(())
        } else if path.is_dir() {
            std::fs::remove_dir_all(&path)
        } else {
            std::fs::remove_file(&path)
        };
        removed.map_err(cannot_write(&path))?;
    }
    Ok(())
}

fn cannot_write(path: &Path) -> impl FnOnce(std::io::Error) -> CliError {
    let path = path.to_owned();
    move |source| CliError::Write { path, source }
}

/// Takes the sample's files into a store.
pub(super) fn take_in(
    store: &Store,
    files: &[(&str, Vec<u8>)],
    settings: &Settings,
    context: &Context,
) -> Result<(), CliError> {
    // The sample is of a known time; the clock has no say in it.
    let today = crate::calendar::date(2026, 10, 31);
    let options = Options::new(settings.time_zone, today);
    let mut writer = store.writer()?;
    for (name, bytes) in files {
        let file = FileReader::of_bytes(bytes, name, &options)?;
        let told = said::file(file, &mut writer)?;
        context.say(format_args!("        {}", told.line));
    }
    Ok(())
}
