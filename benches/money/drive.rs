//! Years of a fleet under one planner, and what they cost.

use crate::driven::{DrivenFleet, DrivenPlan, TrueDay, VESSEL_LITRES, Water};
use litrewise::inside::calendar::{Date, Datelike, date};

use crate::Asked;

/// What things cost, fixed.
#[derive(Debug, Clone, Copy)]
pub struct Prices {
    pub membrane: f64,
    pub labour: f64,
    pub resin_per_litre: f64,
    pub lost_day: f64,
}

impl Prices {
    pub fn fixed(failure: f64) -> Prices {
        Prices {
            membrane: 180.0,
            labour: 20.0,
            resin_per_litre: 6.0,
            lost_day: 220.0 * failure,
        }
    }

    /// A litre of resin with the work of changing it.
    pub fn resin(&self) -> f64 {
        self.resin_per_litre + self.labour / VESSEL_LITRES
    }

    pub fn planned(&self) -> f64 {
        self.membrane + self.labour
    }
}

/// What a van's years cost.
#[derive(Debug, Clone, Copy)]
pub struct Account {
    /// Seed and van: the same van under every planner.
    pub van: (u64, usize),
    pub water: Water,
    pub years: f64,
    pub membranes: f64,
    pub resin: f64,
    pub lost_rounds: f64,
    /// Limits passed before the membrane was replaced, and days past them.
    pub failures: usize,
    pub spotted_days: usize,
    /// Membranes replaced, and their salt passage then, summed.
    pub replaced: usize,
    pub passage_sum: f64,
}

impl Account {
    pub fn per_year(&self) -> f64 {
        (self.membranes + self.resin + self.lost_rounds) / self.years
    }
}

/// A van as a planner finds it in the morning.
#[derive(Debug, Clone, Copy)]
pub struct Morning {
    pub van: usize,
    pub today: Date,
    pub fitted_on: Date,
    /// The element was fitted this very morning or on the first day.
    pub fresh: bool,
    pub month_begins: bool,
}

pub trait Planner {
    /// What needs the whole fleet, once a morning.
    fn look(&mut self, _fleet: &DrivenFleet, _month_begins: bool) {}
    /// Whether to replace this van's membrane this morning.
    fn replaces(&mut self, fleet: &DrivenFleet, morning: &Morning) -> bool;
}

/// Drives a fleet for so many years. A membrane past its limit is found when the
/// meters are next read, and replaced that day at the price of a lost round.
pub fn drive(seed: u64, asked: &Asked, prices: &Prices, planner: &mut dyn Planner) -> Vec<Account> {
    let days = asked.years * 365;
    let mut fleet = DrivenFleet::new(&DrivenPlan {
        seed,
        vans: asked.vans,
        days,
        start: date(2016, 1, 1),
    });
    let mut accounts: Vec<Account> = (0..asked.vans)
        .map(|van| Account {
            van: (seed, van),
            water: fleet.water(van),
            years: days as f64 / 365.25,
            membranes: 0.0,
            resin: 0.0,
            lost_rounds: 0.0,
            failures: 0,
            spotted_days: 0,
            replaced: 0,
            passage_sum: 0.0,
        })
        .collect();
    let mut fitted_on = vec![fleet.tomorrow(); asked.vans];
    let mut litres = vec![0.0; asked.vans];
    let mut fresh = vec![true; asked.vans];
    while !fleet.is_over() {
        let today = fleet.tomorrow();
        let month_begins = today.day() == 1;
        planner.look(&fleet, month_begins);
        for van in 0..asked.vans {
            let account = &mut accounts[van];
            let past = fleet.latest(van).is_some_and(TrueDay::is_past_the_limit);
            account.spotted_days += usize::from(past);
            let found = past && fleet.reads_tomorrow(van);
            let morning = Morning {
                van,
                today,
                fitted_on: fitted_on[van],
                fresh: fresh[van],
                month_begins,
            };
            fresh[van] = false;
            if found || planner.replaces(&fleet, &morning) {
                // Replaced past the limit, planned or not, a round was lost.
                if past {
                    account.failures += 1;
                    account.lost_rounds += prices.lost_day;
                }
                account.membranes += prices.planned();
                account.replaced += 1;
                account.passage_sum += fleet.latest(van).map_or(0.0, |d| d.salt_passage);
                fleet.replace_membrane(van);
                fitted_on[van] = today;
                litres[van] = 0.0;
                fresh[van] = true;
            }
        }
        fleet.next_day();
        for van in 0..asked.vans {
            if let Some(day) = fleet.latest(van) {
                accounts[van].resin += day.resin_litres * prices.resin();
                litres[van] += day.litres;
            }
        }
    }
    // The membrane in use has used up a share of what it will be good for.
    for van in 0..asked.vans {
        let ahead: f64 = fleet.course(van).iter().map(|d| d.litres).sum();
        let share = litres[van] / (litres[van] + ahead).max(1.0);
        accounts[van].membranes += prices.planned() * share;
    }
    accounts
}
