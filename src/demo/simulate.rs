//! The plan of an invented fleet, and the fleet it gives.

use crate::calendar::{Date, DateExt, date};

use super::cast::part;
use super::districts::true_districts;
use super::fleet::{SimulatedFleet, SimulatedHardness};
use super::nature::Nature;
use super::observer::VanHistory;
use super::proving;
use super::random::{Random, Stream};
use super::tap::{DISTRICTS, District, TapYear, districts};
use super::van::{VanSimulation, day_after};

/// Who is in an invented fleet, in what world.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cast {
    /// The sample's twelve vans with a story each, then ordinary ones.
    Sample,
    /// Ordinary vans only, in a world of its own for every seed.
    Proving,
}

/// What to invent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    pub vans: usize,
    pub months: u32,
    pub seed: u64,
    /// First day.
    pub start: Date,
    pub cast: Cast,
    /// Days after the records through which parts are followed to their limit.
    pub ahead_days: i64,
    /// Keeps what the observer of [`VanHistory`] needs.
    pub keep_history: bool,
    /// Every other crew of a proving ground changes its pre-filters hardly ever,
    /// so that chlorine gets through.
    pub neglected_prefilters: bool,
}

/// How far the truth is followed: ten years.
pub const TRUTH_AHEAD_DAYS: i64 = 3653;

/// The day after the last day of an invented fleet.
const END: Date = date(2026, 11, 1);

impl Plan {
    /// First day of so many months that end on 2026-10-31.
    pub fn start_for(months: u32) -> Date {
        END.plus_months(-(months as i32))
    }
}

impl Default for Plan {
    fn default() -> Plan {
        Plan {
            vans: 12,
            months: 24,
            seed: 7,
            start: Plan::start_for(24),
            cast: Cast::Sample,
            ahead_days: 0,
            keep_history: false,
            neglected_prefilters: false,
        }
    }
}

/// The invented world of a plan: what all its vans share.
#[derive(Debug)]
pub(super) struct World {
    pub plan: Plan,
    pub nature: Nature,
    pub districts: Vec<District>,
    pub taps: Vec<TapYear>,
    /// Days of the records.
    pub days: i64,
}

impl World {
    fn new(plan: &Plan) -> World {
        let end = plan.start.plus_months(plan.months as i32);
        let days = i64::from(end.days_since(plan.start).max(1));
        let nature = match plan.cast {
            Cast::Sample => Nature::SAMPLE,
            Cast::Proving => Nature::proving(plan.seed),
        };
        let districts = districts(&nature, plan.seed);
        let taps = districts
            .iter()
            .enumerate()
            .map(|(number, district)| {
                let mut random = Random::stream(plan.seed, Stream::Tap, number as u64);
                TapYear::simulate(
                    district,
                    (days + plan.ahead_days) as usize,
                    plan.start.day_of_year(),
                    &mut random,
                )
            })
            .collect();
        World {
            plan: plan.clone(),
            nature,
            districts,
            taps,
            days,
        }
    }

    /// A district by its number; the first one beyond the end.
    pub fn district(&self, number: usize) -> &District {
        self.districts
            .get(number)
            .or(self.districts.first())
            .unwrap_or(&DISTRICTS[0])
    }
}

/// Invents a fleet: the same plan gives the same fleet.
pub fn simulate(plan: &Plan) -> SimulatedFleet {
    simulate_with_history(plan).0
}

/// The same, with each van's history where the plan keeps it.
pub fn simulate_with_history(plan: &Plan) -> (SimulatedFleet, Vec<VanHistory>) {
    let world = World::new(plan);
    let mut fleet = SimulatedFleet {
        first_day: plan.start,
        last_day: day_after(plan.start, world.days - 1),
        readings: Vec::new(),
        fills: Vec::new(),
        services: Vec::new(),
        vans: Vec::new(),
        hardness: published_hardness(&world),
        truth: Vec::new(),
        districts: Vec::new(),
    };
    let digits = plan.vans.to_string().len().max(3);
    let mut histories = Vec::new();
    let mut parts = Vec::new();
    for index in 0..plan.vans {
        let name = format!("QV-{:0digits$}", index + 1);
        let mut random = Random::stream(plan.seed, Stream::Cast, index as u64);
        let mut part = match plan.cast {
            Cast::Sample => part(index, &mut random),
            Cast::Proving => proving::part(world.days, world.districts.len(), &mut random),
        };
        if plan.neglected_prefilters && index % 2 == 0 {
            part.prefilter_days *= 8.0;
        }
        histories.extend(VanSimulation::new(&world, index as u64, name, part).run(&mut fleet));
        parts.push(part);
    }
    if plan.ahead_days > 0 {
        fleet.districts = true_districts(&world, &parts, &fleet.truth);
    }
    (fleet, histories)
}

/// Suppliers publish in whatever unit they like.
fn published_hardness(world: &World) -> Vec<SimulatedHardness> {
    let start = world.plan.start;
    if world.plan.cast == Cast::Proving {
        return proving_hardness(world);
    }
    let older = Some(start.plus_months(-10));
    let last = day_after(start, world.days - 1);
    // In a short record the newer figure is not out yet.
    let newer = Some(start.plus_months(8)).filter(|d| *d <= last);
    let row = |postcode, hardness, unit, as_of| SimulatedHardness {
        postcode,
        hardness,
        unit,
        source: "water quality report",
        as_of,
    };
    let mut rows = vec![
        row("QA1", 25.0, "mg_l_caco3", older),
        row("QA3", 20.0, "clark", older),
        row("QA3", 287.0, "mg_l_caco3", newer),
        row("QB1", 330.0, "mg_l_caco3", older),
        row("QB6", 60.0, "mg_l_caco3", older),
        row("QC2", 1.1, "mmol_l", older),
        row("QD4", 19.0, "french", older),
    ];
    if newer.is_none() {
        rows.retain(|r| r.as_of.is_some());
    }
    rows
}

/// A yearly mean as a supplier would publish it: near the truth, not quite it.
fn proving_hardness(world: &World) -> Vec<SimulatedHardness> {
    let mut random = Random::stream(world.plan.seed, Stream::World, 100);
    world
        .districts
        .iter()
        .map(|district| SimulatedHardness {
            postcode: district.postcode,
            hardness: (district.hardness_mg_l_caco3 * random.spread(0.08)).round(),
            unit: "mg_l_caco3",
            source: "water quality report",
            as_of: Some(world.plan.start.plus_months(-10)),
        })
        .collect()
}
