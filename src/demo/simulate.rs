//! The plan of an invented fleet, and the fleet it gives.

use jiff::ToSpan;
use jiff::civil::{Date, date};

use super::cast::part;
use super::fleet::{SimulatedFleet, SimulatedHardness};
use super::random::{Random, Stream};
use super::tap::{DISTRICTS, TapYear};
use super::van::{VanSimulation, day_after};

/// What to invent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    pub vans: usize,
    pub months: u32,
    pub seed: u64,
    /// First day.
    pub start: Date,
}

/// The day after the last day of an invented fleet.
const END: Date = date(2026, 11, 1);

impl Plan {
    /// First day of so many months that end on 2026-10-31.
    pub fn start_for(months: u32) -> Date {
        END.checked_sub(i64::from(months).months())
            .unwrap_or(Date::MIN)
    }
}

impl Default for Plan {
    fn default() -> Plan {
        Plan {
            vans: 12,
            months: 24,
            seed: 7,
            start: Plan::start_for(24),
        }
    }
}

/// Invents a fleet: the same plan gives the same fleet.
pub fn simulate(plan: &Plan) -> SimulatedFleet {
    let end = plan
        .start
        .checked_add(i64::from(plan.months).months())
        .unwrap_or(Date::MAX);
    let days = (end - plan.start).get_days().max(1) as i64;
    let taps: Vec<TapYear> = DISTRICTS
        .iter()
        .enumerate()
        .map(|(number, district)| {
            let mut random = Random::stream(plan.seed, Stream::Tap, number as u64);
            TapYear::simulate(
                district,
                days as usize,
                plan.start.day_of_year(),
                &mut random,
            )
        })
        .collect();
    let mut fleet = SimulatedFleet {
        first_day: plan.start,
        last_day: day_after(plan.start, days - 1),
        readings: Vec::new(),
        fills: Vec::new(),
        services: Vec::new(),
        vans: Vec::new(),
        hardness: published_hardness(plan.start),
        truth: Vec::new(),
    };
    let digits = plan.vans.to_string().len().max(3);
    for index in 0..plan.vans {
        let name = format!("QV-{:0digits$}", index + 1);
        let part = part(
            index,
            &mut Random::stream(plan.seed, Stream::Cast, index as u64),
        );
        VanSimulation::new(plan, days, index as u64, name, part, &taps).run(&mut fleet);
    }
    fleet
}

/// Suppliers publish in whatever unit they like.
fn published_hardness(start: Date) -> Vec<SimulatedHardness> {
    let older = start.checked_sub(10.months()).ok();
    let newer = start.checked_add(8.months()).ok();
    let row = |postcode, hardness, unit, as_of| SimulatedHardness {
        postcode,
        hardness,
        unit,
        source: "water quality report",
        as_of,
    };
    vec![
        row("QA1", 25.0, "mg_l_caco3", older),
        row("QA3", 20.0, "clark", older),
        row("QA3", 287.0, "mg_l_caco3", newer),
        row("QB1", 330.0, "mg_l_caco3", older),
        row("QB6", 60.0, "mg_l_caco3", older),
        row("QC2", 1.1, "mmol_l", older),
        row("QD4", 19.0, "french", older),
    ]
}
