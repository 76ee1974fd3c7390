//! `litrewise demo`: the whole job on the sample fleet that is built in.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use jiff::civil::Date;

use super::context::Context;
use super::error::CliError;
use super::looking::Looking;
use super::{report, said};
use crate::ingest::{self, Options};
use crate::settings::Settings;
use crate::store::Store;

/// Do the whole job on an invented fleet: store, assessment, report
///
/// Works from anywhere and needs no files: twelve invented vans are built in.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  litrewise demo --out look-around")]
pub(super) struct DemoArgs {
    /// Folder for the store and the report
    #[arg(long, default_value = "./litrewise-demo", value_name = "DIR")]
    out: PathBuf,
}

pub(super) struct DemoPlan {
    out: PathBuf,
    as_of: Option<Date>,
    settings: Settings,
}

impl DemoArgs {
    pub(super) fn plan(self, context: &Context) -> Result<DemoPlan, CliError> {
        Ok(DemoPlan {
            settings: context.settings(&self.out.join("store"))?,
            out: self.out,
            as_of: context.as_of,
        })
    }
}

/// The sample fleet.
pub(super) const SAMPLE: [(&str, &[u8]); 5] = [
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
    plan: &DemoPlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    prepare(&plan.out)?;
    let store = Store::create_or_open(&plan.out.join("store"))?;
    context.say("1 of 3  taking in the sample fleet's readings, fills and services");
    take_in(&store, &plan.settings, context)?;
    context.say("2 of 3  working out how membranes and resin decline");
    let looking = Looking::at(&store, plan.settings.clone())?;
    let as_of = plan.as_of.unwrap_or(looking.newest_day);
    let assessment = looking.assess(as_of);
    context.say("3 of 3  drawing the report");
    let pages = plan.out.join("report");
    let written = report::write(&assessment, as_of.first_of_month(), &pages, context)?;
    writeln!(out)?;
    out.write_all(crate::report::text::summary(&assessment).as_bytes())?;
    writeln!(out)?;
    writeln!(out, "The report: {}", written.index.display())?;
    writeln!(
        out,
        "With your own files: litrewise ingest FOLDER, then litrewise assess"
    )?;
    Ok(ExitCode::SUCCESS)
}

/// A folder that is new, empty, or was made by an earlier demo.
fn prepare(out: &Path) -> Result<(), CliError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| CliError::Write { path, source }
    };
    std::fs::create_dir_all(out).map_err(failed(out))?;
    let marker = out.join(MARKER);
    if marker.exists() {
        for name in ["store", "report"] {
            let old = out.join(name);
            if old.exists() {
                std::fs::remove_dir_all(&old).map_err(failed(&old))?;
            }
        }
        return Ok(());
    }
    let mut entries = std::fs::read_dir(out).map_err(failed(out))?;
    if entries.next().is_some() {
        return Err(CliError::FolderInUse {
            path: out.to_owned(),
        });
    }
    std::fs::write(
        &marker,
        "The folders beside this file are made anew by every litrewise demo.\n",
    )
    .map_err(failed(&marker))
}

fn take_in(store: &Store, settings: &Settings, context: &Context) -> Result<(), CliError> {
    let options = Options {
        // The sample is of a known day; the clock has no say in it.
        today: jiff::civil::date(2026, 10, 31),
        time_zone: settings.time_zone.clone(),
        date_order: None,
    };
    let mut writer = store.writer()?;
    for (name, bytes) in SAMPLE {
        let rows = ingest::read_bytes(bytes, name, &options)?;
        let told = said::file(rows, &mut writer)?;
        context.say(format_args!("        {}", told.line));
    }
    Ok(())
}
