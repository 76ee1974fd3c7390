//! What the command line asks for.

use std::ops::RangeInclusive;

#[derive(Debug, Clone)]
pub struct Plan {
    pub seeds: RangeInclusive<u64>,
    pub vans: usize,
    pub months: u32,
    /// As-of days in each fleet.
    pub observations: usize,
    /// Particles of the observer who knows the world; 0: leaves the bound out.
    pub bound: usize,
    /// Standard deviation below which that observer trusts no reading, as a share.
    pub doubt: f64,
    /// Prints every case as CSV to that file.
    pub cases: Option<String>,
    /// Follows the alarms instead.
    pub alarms: bool,
    /// In fleets half of whose crews neglect their pre-filters.
    pub neglected: bool,
    /// Prints what each fleet's fit learnt.
    pub shared: bool,
}

impl Plan {
    pub fn from_arguments() -> Plan {
        let mut plan = Plan {
            seeds: 101..=120,
            vans: 60,
            months: 36,
            observations: 8,
            bound: 150,
            doubt: 0.0,
            cases: None,
            alarms: false,
            neglected: false,
            shared: false,
        };
        let mut words = std::env::args().skip(1);
        while let Some(word) = words.next() {
            let mut next = || words.next().unwrap_or_default();
            match word.as_str() {
                "--seeds" => {
                    let text = next();
                    let (a, b) = text.split_once('-').unwrap_or((&text, &text));
                    plan.seeds = a.parse().unwrap_or(101)..=b.parse().unwrap_or(120);
                }
                "--vans" => plan.vans = next().parse().unwrap_or(60),
                "--months" => plan.months = next().parse().unwrap_or(36),
                "--looks" => plan.observations = next().parse().unwrap_or(8),
                "--bound" => plan.bound = next().parse().unwrap_or(150),
                "--doubt" => plan.doubt = next().parse().unwrap_or(0.0),
                "--neglected" => plan.neglected = true,
                "--alarms" => plan.alarms = true,
                "--shared" => plan.shared = true,
                "--cases" => plan.cases = Some(next()),
                _ => {}
            }
        }
        plan
    }
}
