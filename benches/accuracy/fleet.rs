//! One invented fleet, put through the program as a user would.

use std::process::Command;

use litrewise::inside::calendar::{Date, DateExt};
use litrewise::inside::demo::{self, SimulatedFleet, VanHistory};
use litrewise::inside::settings::Settings;
use litrewise::inside::store::Store;
use litrewise::inside::store::records::Fleet;

use crate::plan::Plan;

pub struct ProvingFleet {
    pub seed: u64,
    pub simulated: SimulatedFleet,
    pub histories: Vec<VanHistory>,
    pub rows: Fleet,
    pub settings: Settings,
    pub as_of: Vec<Date>,
}

impl ProvingFleet {
    pub fn of(seed: u64, plan: &Plan) -> ProvingFleet {
        let (simulated, mut histories) = demo::simulate_with_history(&demo::Plan {
            vans: plan.vans,
            months: plan.months,
            seed,
            start: demo::Plan::start_for(plan.months),
            cast: demo::Cast::Proving,
            ahead_days: demo::TRUTH_AHEAD_DAYS,
            keep_history: plan.bound > 0,
            neglected_prefilters: plan.neglected,
        });
        for history in &mut histories {
            history.doubt_readings(plan.doubt);
        }
        let folder = tempfile::tempdir().expect("a folder for the fleet");
        let (files, store) = (folder.path().join("in"), folder.path().join("store"));
        demo::write_csv(&simulated, &files).expect("the fleet's files");
        let done = Command::new(env!("CARGO_BIN_EXE_litrewise"))
            .args(["ingest", "--quiet", "--store"])
            .arg(&store)
            .arg(&files)
            .stdout(std::process::Stdio::null())
            .status()
            .expect("ingest runs");
        assert!(done.success(), "ingest failed");
        let rows = Store::open(&store)
            .and_then(|s| s.fleet())
            .expect("the store opens");
        let settings = Settings::default();
        let days = simulated.last_day.days_since(simulated.first_day);
        let as_of = (0..plan.observations)
            .map(|i| {
                // From a sixth of the records to their end.
                let share =
                    (i as f64 + 1.0 + (seed % 7) as f64 / 8.0) / (plan.observations as f64 + 0.9);
                let day = (f64::from(days) * (0.12 + 0.88 * share)).min(f64::from(days));
                simulated.first_day.plus_days(day as i64)
            })
            .collect();
        ProvingFleet {
            seed,
            simulated,
            histories,
            rows,
            settings,
            as_of,
        }
    }
}
