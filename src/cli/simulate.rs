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
    after_help = "Example:\n  litrewise simulate --vans 12 --months 24 --seed 7 --out invented-fleet\n  litrewise ingest invented-fleet\n  litrewise simulate --vans 6 --months 18 --proving --out fleet --truth truth"
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
    #[arg(
        long,
        short,
        default_value = "./litrewise-invented",
        value_name = "DIR"
    )]
    out: PathBuf,
}

pub(super) fn run(
    args: &SimulateArgs,
    context: &Context,
    out: &mut dyn Write,
) -> Result<ExitCode, CliError> {
    let fleet = demo::simulate(&demo::Plan {
        vans: args.vans as usize,
        months: args.months,
        seed: args.seed,
        start: demo::Plan::start_for(args.months),
        cast: match args.proving {
            true => demo::Cast::Proving,
            false => demo::Cast::Sample,
        },
        ahead_days: match args.truth {
            Some(_) => demo::TRUTH_AHEAD_DAYS,
            None => 0,
        },
        keep_history: false,
        neglected_prefilters: false,
    });
    demo::write_csv(&fleet, &args.out)?;
    if let Some(truth) = &args.truth {
        demo::write_truth(&fleet, truth)?;
    }
    context.say(format_args!(
        "{} vans from {} to {}: {} readings, {} fills, {} services",
        args.vans,
        fleet.first_day,
        fleet.last_day,
        fleet.readings.len(),
        fleet.fills.len(),
        fleet.services.len()
    ));
    writeln!(out, "{}", args.out.display())?;
    Ok(ExitCode::SUCCESS)
}
