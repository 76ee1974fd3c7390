//! What following the plan is worth on invented fleets whose truth is known, where
//! every decision changes what comes after it.
//!
//! `cargo bench --profile dev --bench money -- --seeds 201-204`
//!
//! One third of the vans each in soft, medium and hard water; fixed prices. Five
//! planners drive the same vans, taps and parts: the program's plan month by
//! month, the rule of thumb, replacing at the limit, one who knows all that
//! will come, and one who knows all but how luck will go on. Water charges and pre-filters are the same for all and left out.

#![allow(clippy::expect_used)]

mod drive;
mod driven;
mod planners;
mod records;
mod table;

use drive::{Account, Prices, drive};
use planners::{AtTheLimit, Knowing, KnowingButForLuck, Plan, RuleOfThumb};

/// What the command line asks for.
pub struct Asked {
    pub seeds: std::ops::RangeInclusive<u64>,
    pub vans: usize,
    pub years: i64,
    pub failure: Vec<f64>,
    /// Shifts the plan's days by that share of the membrane's age then: whether
    /// the plan lies at the bottom of its own costs.
    pub later: f64,
}

impl Asked {
    fn from_arguments() -> Asked {
        let mut asked = Asked {
            seeds: 201..=204,
            vans: 24,
            years: 8,
            failure: vec![0.5, 1.0, 2.0],
            later: 0.0,
        };
        let mut words = std::env::args().skip(1);
        while let Some(word) = words.next() {
            let mut next = || words.next().unwrap_or_default();
            match word.as_str() {
                "--seeds" => {
                    let text = next();
                    let (a, b) = text.split_once('-').unwrap_or((&text, &text));
                    asked.seeds = a.parse().unwrap_or(201)..=b.parse().unwrap_or(204);
                }
                "--vans" => asked.vans = next().parse().unwrap_or(24),
                "--years" => asked.years = next().parse().unwrap_or(8),
                "--later" => asked.later = next().parse().unwrap_or(0.0),
                "--failure" => {
                    asked.failure = next().split(',').filter_map(|x| x.parse().ok()).collect();
                }
                _ => {}
            }
        }
        asked
    }
}

/// Accounts of all planners in one setting of the failure's cost.
pub struct Compared {
    pub failure: f64,
    /// By planner, in the order of [`NAMES`]; every van of every seed.
    pub accounts: [Vec<Account>; 5],
    /// Monthly moves of the suggested day over the time that was left.
    pub moves: Vec<f64>,
}

pub const NAMES: [&str; 5] = [
    "the plan",
    "rule of thumb",
    "at the limit",
    "one who knows all",
    "all but luck",
];

fn main() {
    let asked = Asked::from_arguments();
    let mut all = Vec::new();
    for &failure in &asked.failure {
        let prices = Prices::fixed(failure);
        let mut compared = Compared {
            failure,
            accounts: Default::default(),
            moves: Vec::new(),
        };
        for seed in asked.seeds.clone() {
            let started = std::time::Instant::now();
            let mut plan = Plan::new(&prices, asked.later);
            let driven = [
                drive(seed, &asked, &prices, &mut plan),
                drive(seed, &asked, &prices, &mut RuleOfThumb),
                drive(seed, &asked, &prices, &mut AtTheLimit),
                drive(seed, &asked, &prices, &mut Knowing::new(&prices)),
                drive(seed, &asked, &prices, &mut KnowingButForLuck::new(&prices)),
            ];
            for (into, from) in compared.accounts.iter_mut().zip(driven) {
                into.extend(from);
            }
            compared.moves.append(&mut plan.moves);
            eprintln!(
                "failure x {failure}, seed {seed}: {:.0} s",
                started.elapsed().as_secs_f64()
            );
        }
        all.push(compared);
    }
    table::print(&all, &asked);
}
