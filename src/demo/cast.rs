//! Who is in the fleet: one van for every story worth showing, then as many
//! ordinary ones as wished.

use super::random::Random;
use super::tap::DISTRICTS;

/// When a crew changes its resin.
#[derive(Debug, Clone, Copy)]
pub enum ResinHabit {
    /// When a reading shows so many ppm.
    AtPpm(f64),
    /// Every so many days, whatever it reads.
    EveryDays(f64),
}

/// What is wrong with a van.
#[derive(Debug, Clone, Copy)]
pub enum Fault {
    None,
    /// A seal starts to leak so many days before the last day; element fitted
    /// so many days before it.
    SealLeak {
        days_before_end: i64,
        fitted_days_before_end: i64,
    },
    /// The probe on the tap side fouls, from so many days before the end: its
    /// reading grows by that much a day, ln.
    TapProbeDrifts {
        days_before_end: i64,
        per_day: f64,
    },
    /// The same of the probe after the membrane.
    PermeateProbeDrifts {
        days_before_end: i64,
        per_day: f64,
    },
    /// Moves to another district so many days before the end.
    Moves {
        to: usize,
        days_before_end: i64,
    },
}

/// When a crew changes its membrane.
#[derive(Debug, Clone, Copy)]
pub enum MembraneHabit {
    /// When readings show that share of the feed.
    AtShare(f64),
    /// Every so many days, whatever it reads.
    EveryDays(f64),
}

/// A crew's meters.
#[derive(Debug, Clone, Copy)]
pub struct Meters {
    /// Readings over truth of the probes at the tap, after the membrane, after the resin.
    pub gains: [f64; 3],
    /// Noise of a reading: share of it, and ppm.
    pub noise: f64,
    pub floor_ppm: f64,
    /// What the display resolves, ppm.
    pub step_ppm: f64,
}

/// How a van is used.
#[derive(Debug, Clone, Copy)]
pub struct Round {
    /// Chance to work on a weekday, on a Saturday.
    pub weekday: f64,
    pub saturday: f64,
    /// Litres in winter over the rest of the year.
    pub winter: f64,
    /// Yearly growth of litres, ln, and how much a new round differs, ln.
    pub growth_per_year: f64,
    pub change_sd: f64,
    /// Days between changes of the round; 0: never.
    pub change_every_days: i64,
}

/// What is noted at each reading or fill.
#[derive(Debug, Clone, Copy)]
pub struct Noted {
    pub temperature: bool,
    pub pressure: bool,
    pub flow: bool,
    pub fill_end: bool,
    pub reject: bool,
    /// Writes the counter down instead of litres.
    pub counter: bool,
}

/// A van and its crew.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    pub district: usize,
    pub membranes: u32,
    pub resin_litres: f64,
    pub tank_litres: f64,
    pub booster_bar: Option<f64>,
    pub recovery: f64,
    pub litres_per_fill: f64,
    /// Scale on the element at the start, ln of salt passage.
    pub initial_scale: f64,
    /// Put into service so many days after the start; 0: before it.
    pub starts_after_days: i64,
    pub resin: ResinHabit,
    pub prefilter_days: f64,
    pub membrane: MembraneHabit,
    pub noted: Noted,
    pub fault: Fault,
    /// Forgets to write down the first change of this item.
    pub forgets: Option<&'static str>,
    /// Chance to forget any other change.
    pub forgetful: f64,
    pub meters: Meters,
    pub round: Round,
    /// Days between looks at the meters, least and most.
    pub read_every_days: (i64, i64),
}

const ALL: Noted = Noted {
    temperature: true,
    pressure: true,
    flow: true,
    fill_end: true,
    reject: true,
    counter: false,
};
const SOME: Noted = Noted {
    pressure: false,
    flow: false,
    reject: false,
    ..ALL
};
const LITTLE: Noted = Noted {
    temperature: false,
    fill_end: false,
    ..SOME
};

const USUAL: Part = Part {
    district: 1,
    membranes: 1,
    resin_litres: 11.0,
    tank_litres: 400.0,
    booster_bar: Some(5.0),
    recovery: 0.33,
    litres_per_fill: 310.0,
    initial_scale: 0.4,
    starts_after_days: 0,
    resin: ResinHabit::AtPpm(10.0),
    prefilter_days: 84.0,
    membrane: MembraneHabit::AtShare(0.105),
    noted: SOME,
    fault: Fault::None,
    forgets: None,
    forgetful: 0.0,
    meters: Meters {
        gains: [1.0; 3],
        noise: 0.02,
        floor_ppm: 0.35,
        step_ppm: 1.0,
    },
    round: Round {
        weekday: 0.93,
        saturday: 0.12,
        winter: 0.85,
        growth_per_year: 0.0,
        change_sd: 0.0,
        change_every_days: 0,
    },
    read_every_days: (4, 9),
};

/// The first twelve vans; what each shows is in its name.
const TOLD: [Part; 12] = [
    // Very soft water: everything lasts.
    Part {
        district: 0,
        initial_scale: 0.25,
        booster_bar: None,
        resin: ResinHabit::EveryDays(300.0),
        noted: ALL,
        ..USUAL
    },
    // Resin only.
    Part {
        district: 0,
        membranes: 0,
        resin_litres: 25.0,
        litres_per_fill: 240.0,
        noted: LITTLE,
        ..USUAL
    },
    // Hard water, everything noted.
    Part {
        initial_scale: 0.6,
        noted: ALL,
        ..USUAL
    },
    // Its tap probe drifts.
    Part {
        initial_scale: 0.1,
        fault: Fault::TapProbeDrifts {
            days_before_end: 200,
            per_day: -0.0016,
        },
        resin: ResinHabit::AtPpm(7.0),
        ..USUAL
    },
    // Hard water on tap pressure; forgot to note a resin change.
    Part {
        initial_scale: 0.9,
        booster_bar: None,
        litres_per_fill: 260.0,
        resin: ResinHabit::AtPpm(4.0),
        forgets: Some("resin"),
        noted: LITTLE,
        ..USUAL
    },
    // Very hard water and late pre-filters.
    Part {
        district: 2,
        initial_scale: 0.2,
        prefilter_days: 330.0,
        booster_bar: None,
        noted: ALL,
        ..USUAL
    },
    // Very hard water; forgot to note a membrane change.
    Part {
        district: 2,
        initial_scale: 0.8,
        forgets: Some("membrane"),
        ..USUAL
    },
    // Two membranes, big tank.
    Part {
        district: 2,
        membranes: 2,
        resin_litres: 22.0,
        tank_litres: 650.0,
        litres_per_fill: 420.0,
        initial_scale: 0.5,
        resin: ResinHabit::AtPpm(12.0),
        noted: ALL,
        ..USUAL
    },
    // Medium water, notes the counter.
    Part {
        district: 3,
        initial_scale: 0.7,
        booster_bar: None,
        noted: Noted {
            counter: true,
            ..SOME
        },
        resin: ResinHabit::EveryDays(120.0),
        ..USUAL
    },
    // Moves from medium to hard water.
    Part {
        district: 3,
        initial_scale: 0.5,
        fault: Fault::Moves {
            to: 1,
            days_before_end: 250,
        },
        ..USUAL
    },
    // Fails early: a seal leaks in a young membrane.
    Part {
        district: 4,
        initial_scale: 0.9,
        fault: Fault::SealLeak {
            days_before_end: 75,
            fitted_days_before_end: 210,
        },
        ..USUAL
    },
    // New van.
    Part {
        district: 4,
        starts_after_days: 190,
        initial_scale: 0.0,
        resin: ResinHabit::AtPpm(5.0),
        noted: LITTLE,
        ..USUAL
    },
];

/// How an ordinary van is fitted out, and what its crew notes.
pub struct Fitting {
    pub boosted: bool,
    pub twin: bool,
    pub noted: Noted,
}

impl Fitting {
    pub fn of(random: &mut Random) -> Fitting {
        Fitting {
            boosted: random.chance(0.6),
            twin: random.chance(0.12),
            noted: match random.whole(0, 3) {
                0 => ALL,
                1 => LITTLE,
                _ => SOME,
            },
        }
    }
}

/// A few vans have no membrane.
pub fn membranes(twin: bool, random: &mut Random) -> u32 {
    if twin {
        2
    } else {
        u32::from(!random.chance(0.04))
    }
}

/// The part that van number `index` (from 0) plays.
pub fn part(index: usize, random: &mut Random) -> Part {
    if let Some(told) = TOLD.get(index) {
        return *told;
    }
    let Fitting {
        boosted,
        twin,
        noted,
    } = Fitting::of(random);
    Part {
        district: random.whole(0, DISTRICTS.len() as i64 - 1) as usize,
        membranes: membranes(twin, random),
        resin_litres: if twin { 22.0 } else { 11.0 },
        booster_bar: boosted.then(|| 0.1 * random.between(45.0, 58.0).round()),
        recovery: random.between(0.27, 0.42),
        litres_per_fill: random.between(230.0, 390.0).round(),
        initial_scale: random.between(0.0, 1.1),
        starts_after_days: if random.chance(0.2) {
            random.whole(20, 300)
        } else {
            0
        },
        resin: match random.whole(0, 3) {
            0 => ResinHabit::EveryDays(random.between(60.0, 200.0).round()),
            1 => ResinHabit::AtPpm(4.0),
            _ => ResinHabit::AtPpm(random.between(8.0, 12.0).round()),
        },
        prefilter_days: random.between(75.0, 130.0).round(),
        membrane: MembraneHabit::AtShare(random.between(0.08, 0.13)),
        noted,
        ..USUAL
    }
}
