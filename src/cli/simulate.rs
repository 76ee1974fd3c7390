//! `litrewise simulate`: an invented fleet as CSV.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, ValueEnum};

use super::context::Context;
use super::error::CliError;
use crate::demo;

/// Invent a fleet and write its readings, fills, services, vans and hardness as CSV
///
/// The fleet comes from simple physics, not from the model that is fitted. The
/// same options give the same bytes.
#[derive(Debug, Args)]
#[command(
    after_help = "Example:\n  litrewise simulate --vans 12 --months 24 --seed 7 --out invented-fleet\n  litrewise ingest invented-fleet\n  litrewise simulate --vans 6 --months 18 --proving --out fleet --truth truth\n  litrewise simulate --vans 100 --months 37 --quick --order time --out history --last-month month"
)]
pub(super) struct SimulateArgs {
    /// How many vans
    #[arg(long, default_value_t = 12, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1_000_000))]
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
    /// Write at once, by simpler physics: fleets of any size, to try speeds with
    #[arg(long, conflicts_with_all = ["proving", "truth"])]
    quick: bool,
    /// With --quick: in which order readings and fills stand
    #[arg(long, value_enum, default_value_t = Order::Van, requires = "quick", value_name = "ORDER")]
    order: Order,
    /// With --quick: the last month goes into this folder, what came before into --out
    #[arg(long, requires = "quick", value_name = "DIR")]
    last_month: Option<PathBuf>,
    /// Folder for the five files
    #[arg(
        long,
        short,
        default_value = "./litrewise-invented",
        value_name = "DIR"
    )]
    out: PathBuf,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
pub(super) enum Order {
    /// Van by van
    Van,
    /// All vans together, oldest first
    Time,
}

pub(super) enum SimulatePlan {
    Physics {
        fleet: demo::Plan,
        truth: Option<PathBuf>,
        out: PathBuf,
    },
    Quick(demo::QuickPlan),
}

/// Beyond so many vans only `--quick` has the memory.
const MOST_VANS: u32 = 20_000;

impl SimulateArgs {
    pub(super) fn plan(self) -> Result<SimulatePlan, CliError> {
        if self.quick {
            return Ok(SimulatePlan::Quick(demo::QuickPlan {
                vans: self.vans,
                months: self.months,
                seed: self.seed,
                order: match self.order {
                    Order::Van => demo::RowOrder::ByVan,
                    Order::Time => demo::RowOrder::ByTime,
                },
                out: self.out,
                last_month: self.last_month,
            }));
        }
        if self.vans > MOST_VANS {
            return Err(CliError::Usage(format!(
                "more than {MOST_VANS} vans are invented with --quick only"
            )));
        }
        Ok(SimulatePlan::Physics {
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
    let out_folder = match plan {
        SimulatePlan::Quick(plan) => {
            let written = demo::write_quick(plan)?;
            context.say(format_args!(
                "{} vans: {} readings, {} fills, {} services",
                plan.vans, written.readings, written.fills, written.services
            ));
            &plan.out
        }
        SimulatePlan::Physics {
            fleet: plan,
            truth,
            out,
        } => {
            let fleet = demo::simulate(plan);
            demo::write_csv(&fleet, out)?;
            if let Some(truth) = truth {
                demo::write_truth(&fleet, truth)?;
            }
            context.say(format_args!(
                "{} vans from {} to {}: {} readings, {} fills, {} services",
                plan.vans,
                fleet.first_day,
                fleet.last_day,
                fleet.readings.len(),
                fleet.fills.len(),
                fleet.services.len()
            ));
            out
        }
    };
    writeln!(out, "{}", out_folder.display())?;
    Ok(ExitCode::SUCCESS)
}
