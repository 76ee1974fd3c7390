//! Ordinary vans of a proving ground: every crew reads, notes, forgets and
//! changes parts in its own way.

use super::cast::{Fault, Fitting, MembraneHabit, Meters, Part, ResinHabit, Round, membranes};
use super::random::Random;

/// A van and its crew, for a record of so many days in a world of so many districts.
pub fn part(days: i64, districts: usize, random: &mut Random) -> Part {
    let Fitting {
        boosted,
        twin,
        noted,
    } = Fitting::of(random);
    let district = random.whole(0, districts as i64 - 1) as usize;
    let sometime = random.whole(days / 10, (9 * days / 10).max(days / 10 + 1));
    let sign = if random.chance(0.5) { 1.0 } else { -1.0 };
    let per_day = sign * random.between(0.0004, 0.0016);
    let fault = match random.unit() {
        u if u < 0.10 => Fault::Moves {
            to: random.whole(0, districts as i64 - 1) as usize,
            days_before_end: sometime,
        },
        u if u < 0.17 => Fault::TapProbeDrifts {
            days_before_end: sometime.min(400),
            per_day,
        },
        u if u < 0.22 => Fault::PermeateProbeDrifts {
            days_before_end: sometime.min(400),
            per_day,
        },
        _ => Fault::None,
    };
    let probe = |random: &mut Random| random.spread(0.02);
    Part {
        district,
        membranes: membranes(twin, random),
        resin_litres: match random.whole(0, 3) {
            _ if twin => 22.0,
            0 => 7.0,
            1 => 25.0,
            _ => 11.0,
        },
        tank_litres: if twin { 650.0 } else { 400.0 },
        booster_bar: boosted.then(|| 0.1 * random.between(45.0, 58.0).round()),
        recovery: random.between(0.25, 0.48),
        litres_per_fill: random.between(210.0, 390.0).round(),
        initial_scale: random.between(0.0, 1.1),
        starts_after_days: if random.chance(0.2) {
            random.whole(20, (2 * days / 3).max(21))
        } else {
            0
        },
        resin: match random.whole(0, 5) {
            0 | 1 => ResinHabit::EveryDays(random.between(40.0, 220.0).round()),
            2 => ResinHabit::AtPpm(random.between(3.0, 6.0).round()),
            _ => ResinHabit::AtPpm(random.between(8.0, 14.0).round()),
        },
        prefilter_days: random.between(70.0, 120.0).round()
            * if random.chance(0.15) { 3.0 } else { 1.0 },
        membrane: if random.chance(0.3) {
            MembraneHabit::EveryDays(random.between(400.0, 800.0).round())
        } else {
            MembraneHabit::AtShare(random.between(0.06, 0.15))
        },
        noted,
        fault,
        forgets: None,
        forgetful: if random.chance(0.3) { 0.15 } else { 0.02 },
        meters: Meters {
            gains: [probe(random), probe(random), probe(random)],
            noise: random.between(0.01, 0.04),
            floor_ppm: random.between(0.15, 0.5),
            step_ppm: if random.chance(0.15) { 0.1 } else { 1.0 },
        },
        round: Round {
            weekday: random.between(0.6, 0.97),
            saturday: random.between(0.0, 0.35),
            winter: random.between(0.6, 1.0),
            growth_per_year: random.between(-0.1, 0.15),
            change_sd: random.between(0.05, 0.25),
            change_every_days: random.whole(200, 900),
        },
        read_every_days: match random.whole(0, 3) {
            0 => (12, 17),
            1 => (25, 35),
            _ => (4, 10),
        },
    }
}
