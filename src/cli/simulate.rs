//! `litrewise simulate`: an invented fleet as CSV.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Args;

use super::context::Context;
use super::error::CliError;
use crate::demo;

/// Invent a fleet and write its readings, fills, services, vans and hardness as CSV
///
/// The fleet comes from simple physics, not from the model that is fitted. The
/// same options give the same bytes.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise simulate --vans 12 --months 24 --seed 7 --out invented-fleet\n  litrewise ingest invented-fleet\n  litrewise simulate --vans 60 --months 36 --proving --out fleet --truth truth"
)]
pub(super) struct SimulateArgs {
    /// How many vans
    #[arg(long, default_value_t = 12, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=20_000))]
    vans: u32,
    /// How many months, the last one ending on 2026-10-31
    #[arg(long, default_value_t = 24, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=240))]
    months: u32,
    /// Another seed gives another fleet
    #[arg(long, default_value_t = 7, value_name = "N")]
    seed: u64,
    /// Ordinary vans only, in a world of its own for every seed: a proving ground
    #[arg(long)]
    proving: bool,
    /// Also write what is true (lives of elements, charges, districts) into this folder
    #[arg(long, value_name = "DIR")]
    truth: Option<PathBuf>,
    /// Folder for the five files
    #[arg(long, default_value = "./litrewise-invented", value_name = "DIR")]
    out: PathBuf,
}

pub(super) struct SimulatePlan {
    fleet: demo::Plan,
    truth: Option<PathBuf>,
    out: PathBuf,
}

impl SimulateArgs {
    pub(super) fn plan(self) -> Result<SimulatePlan, CliError> {
        Ok(SimulatePlan {
            fleet: demo::Plan {
                vans: self.vans as usize,
                months: self.months,
                seed: self.seed,
                start: demo::Plan::start_for(self.months),
                cast: if self.proving {
                    demo::Cast::Proving
                } else {
                    demo::Cast::Sample
                },
                ahead_days: if self.truth.is_some() {
                    demo::TRUTH_AHEAD_DAYS
                } else {
                    0
                },
                keep_history: false,
                neglected_prefilters: false,
            },
            truth: self.truth,
            out: self.out,
        })
    }
}

pub(super) fn run(
    plan: &SimulatePlan,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let fleet = demo::simulate(&plan.fleet);
    demo::write_csv(&fleet, &plan.out)?;
    if let Some(truth) = &plan.truth {
        demo::write_truth(&fleet, truth)?;
    }
    context.say(format_args!(
        "{} vans from {} to {}: {} readings, {} fills, {} services",
        plan.fleet.vans,
        fleet.first_day,
        fleet.last_day,
        fleet.readings.len(),
        fleet.fills.len(),
        fleet.services.len()
    ));
    writeln!(out, "{}", plan.out.display())?;
    Ok(ExitCode::SUCCESS)
}
