//! How good forecasts are on invented fleets whose truth is known.
//!
//! `cargo bench --profile dev --bench accuracy -- --seeds 101-120`
//!
//! Each seed draws the constants of its world (`litrewise simulate --proving --seed N`;
//! the law of decline and the districts are the same for all):
//! how elements age, what the taps give, how crews read, forget and replace.
//! The fleet's CSV files go through the program as a user's would; on evenly
//! spaced as-of days every element and charge in use that has not met its
//! limit is forecast, by the program and by the baselines, and held against
//! what came.

#![allow(clippy::expect_used)]

mod alarm_table;
mod alarms;
mod baselines;
mod bound;
mod cases;
mod censored;
mod fleet;
mod plan;
mod score;
mod table;

fn main() {
    let plan = plan::Plan::from_arguments();
    if plan.alarms {
        let mut stories = Vec::new();
        for seed in plan.seeds.clone() {
            let started = std::time::Instant::now();
            let proving = fleet::ProvingFleet::of(seed, &plan);
            stories.extend(alarms::of_fleet(&proving, plan.bound));
            eprintln!("seed {seed}: {:.1} s", started.elapsed().as_secs_f64());
        }
        if let Some(path) = &plan.cases {
            let lines: Vec<String> = stories.iter().map(alarms::Story::line).collect();
            std::fs::write(path, lines.join("\n")).expect("the cases are written");
        }
        alarm_table::print(&stories);
        return;
    }
    let mut all = cases::Cases::default();
    for seed in plan.seeds.clone() {
        let started = std::time::Instant::now();
        let proving = fleet::ProvingFleet::of(seed, &plan);
        let found = cases::of_fleet(&proving, &plan);
        eprintln!(
            "seed {seed}: {} membrane and {} resin cases, {:.1} s",
            found.membrane.len(),
            found.resin.len(),
            started.elapsed().as_secs_f64()
        );
        all.extend(found);
    }
    table::print(&all, &plan);
}
