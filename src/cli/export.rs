//! `litrewise export`: clean tables for a spreadsheet or another engine.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use crate::settings::Settings;
use crate::store::Store;

/// Write the current rows as five clean CSV files
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise export --out tables\n  litrewise export --anonymous --out to-show"
)]
pub(super) struct ExportArgs {
    /// Folder for the five files
    #[arg(long, short, default_value = "./litrewise-export", value_name = "DIR")]
    out: PathBuf,
    /// For others to see: vans under made-up names, postcodes cut to their area, no free texts
    #[arg(long)]
    anonymous: bool,
}

pub(super) struct ExportPlan {
    store: Store,
    settings: Settings,
    out: PathBuf,
    anonymous: bool,
}

impl ExportArgs {
    pub(super) fn plan(self, context: &Context) -> Result<ExportPlan, CliError> {
        Ok(ExportPlan {
            store: context.open_store()?,
            settings: context.settings(&context.store)?,
            out: self.out,
            anonymous: self.anonymous,
        })
    }
}

pub(super) fn run(plan: &ExportPlan, out: &mut dyn Write) -> Result<ExitCode, CliError> {
    let time_zone = &plan.settings.time_zone;
    if plan.anonymous {
        plan.store.export_anonymous(&plan.out, time_zone)?;
    } else {
        plan.store.export(&plan.out, time_zone)?;
    }
    writeln!(out, "{}", plan.out.display())?;
    Ok(ExitCode::SUCCESS)
}
