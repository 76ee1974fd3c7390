//! `litrewise demo --remake .`: the sample of a checkout made anew, with the
//! report and the gallery of charts that are made from it.

use crate::calendar::DateExt;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::context::Context;
use super::demo::{in_pounds, take_in};
use super::error::CliError;
use super::looking::Looking;
use super::scratch::ScratchStore;
use crate::settings::Settings;
use crate::store::Store;
use crate::{demo, report};

const SAMPLE_FILES: [&str; 5] = [
    "vans.csv",
    "hardness.csv",
    "readings.csv",
    "fills.csv",
    "services.csv",
];

/// Remakes `sample-data`, `notebooks-free-reports` and `charts` in `checkout`,
/// with the settings as they are by default.
pub(super) fn run(
    checkout: &Path,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let sample = checkout.join("sample-data");
    demo::write_csv(&demo::simulate(&demo::Plan::default()), &sample)?;
    let files = SAMPLE_FILES
        .into_iter()
        .map(|name| Ok((name, read(&sample.join(name))?)))
        .collect::<Result<Vec<_>, CliError>>()?;

    let scratch = ScratchStore::empty()?;
    let store = Store::create_or_open(&scratch.path())?;
    let settings = in_pounds(Settings::default());
    take_in(&store, &files, &settings, context)?;
    let looking = Looking::at(&store, settings)?;
    let as_of = looking.newest_day;
    let told = looking.month(as_of, true, context)?;

    let pages = checkout.join("notebooks-free-reports");
    super::report::write(&told, as_of.first_of_month(), &pages, context)?;
    let charts = checkout.join("charts");
    report::gallery(&told.assessment, told.backtest.as_ref(), &charts)?;
    for folder in [sample, pages, charts] {
        writeln!(out, "{}", folder.display())?;
    }
    Ok(ExitCode::SUCCESS)
}

fn read(path: &PathBuf) -> Result<Vec<u8>, CliError> {
    std::fs::read(path).map_err(|source| CliError::Read {
        path: path.clone(),
        source,
    })
}
