//! Elements that will last less than 60 % of what elements of this fleet usually last in
//! the same water: how likely that is, and how likely it was after earlier readings.

use crate::calendar::{Date, DateExt};

use super::Short;
use super::membrane::{self, ElementDraws, InUse, SharedFit};
use super::van::{VanLooks, aboard};
use crate::lives::{ElementLife, VanLives};

/// A life below this share of the usual one is failing early.
const FAILING_BELOW: f64 = 0.6;
/// Below this probability nobody asks how it was before; what was less likely at two of
/// those days running is over.
const LOOKED_BACK_FROM: f64 = 0.2;
/// Days of the calendar after which it is asked again, the same ones whenever it is asked.
const EVERY_DAYS: i32 = 21;
const MOST_TIMES: usize = 16;
/// Fewer readings tell of the element before, or of nothing.
const LEAST_READINGS: usize = 3;

/// Oldest first, the newest reading last; empty where nothing was read.
pub fn history(
    van: &VanLives,
    looks: &VanLooks,
    fit: &SharedFit,
    element: &InUse<'_>,
    draws: &ElementDraws,
) -> Vec<Short> {
    let life = element.life;
    let Some(newest) = life.points.last() else {
        return Vec::new();
    };
    let wears = |late_share: f64| 1.0 + fit.best.shared.late * late_share;
    let late = wears(late_share(life)) / wears(fit.usual_late_share);
    let told = |draws: &ElementDraws, date: Date| {
        // In litres a life is the shorter the more of them wore it behind late pre-filters,
        // the usual one by what is usual of them.
        let lives = draws.draws.iter().map(|d| d.life_over_usual / late);
        let short: Vec<f64> = lives.filter(|l| *l < FAILING_BELOW).collect();
        let in_time = wears(late_share(life));
        let by_lateness = short.iter().filter(|l| **l * in_time >= FAILING_BELOW);
        Short {
            date,
            probability: short.len() as f64 / draws.draws.len().max(1) as f64,
            by_lateness: by_lateness.count() as f64 / short.len().max(1) as f64,
        }
    };
    let mut out = vec![told(draws, newest.date)];
    let mut quiet = 0;
    let last_of_its_days = |(n, point): &(usize, &crate::lives::PassagePoint)| {
        let next = life.points.get(n + 1);
        next.is_some_and(|next| day(next.date) != day(point.date))
    };
    let earlier = life.points.iter().enumerate().filter(last_of_its_days);
    for (n, point) in earlier.rev() {
        let likely = out
            .last()
            .is_some_and(|s| s.probability >= LOOKED_BACK_FROM);
        quiet = if likely { 0 } else { quiet + 1 };
        if quiet > usize::from(out.len() > 1) || n + 1 < LEAST_READINGS || out.len() > MOST_TIMES {
            break;
        }
        let mut earlier = life.clone();
        earlier.points.truncate(n + 1);
        let aboard = aboard(
            van,
            looks.hardness,
            &looks.usage,
            (&looks.meters, looks.through_recovery),
        );
        let seen = membrane::looks_of(&earlier, &aboard, element.as_of);
        let then = InUse {
            life: &earlier,
            looks: &seen,
            base_hardness: element.base_hardness,
            usage: element.usage,
            ln_limit: element.ln_limit,
            others: element.others,
            ahead: element.ahead,
            as_of: element.as_of,
            seed_name: element.seed_name,
        };
        out.push(told(&membrane::draws_of(fit, &then), point.date));
    }
    out.reverse();
    out
}

/// Which stretch of the calendar a day belongs to.
fn day(date: Date) -> i32 {
    date.days_since(crate::calendar::date(1970, 1, 1))
        .div_euclid(EVERY_DAYS)
}

fn late_share(life: &ElementLife) -> f64 {
    let litres: f64 = life.litres_by_level.iter().sum();
    if litres > 0.0 {
        (life.late_litres / litres).clamp(0.0, 1.0)
    } else {
        0.0
    }
}
