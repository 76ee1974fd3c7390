//! Elements that will last less than 60 % of what is typical in their district: how likely
//! that is, and how likely it was after earlier readings.

use crate::calendar::{Date, DateExt};

use super::Short;
use super::membrane::{self, ElementDraws, InUse, SharedFit};
use super::van::{VanLooks, aboard};
use crate::lives::{ElementLife, VanLives};

/// A life below this share of what is typical in its district is failing early.
const FAILING_BELOW: f64 = 0.6;
/// Below this probability nobody asks how it was before.
const LOOKED_BACK_FROM: f64 = 0.3;
/// Days between the earlier readings after which it is asked, and how often.
const EVERY_DAYS: i32 = 21;
const MOST_TIMES: usize = 10;
/// Fewer readings tell of the element before, or of nothing.
const LEAST_READINGS: usize = 3;

/// Oldest first, the newest reading last; empty where the element's age, and with it its
/// life, is not known. `typical`: litres that are typical on this van.
pub fn history(
    van: &VanLives,
    looks: &VanLooks,
    fit: &SharedFit,
    element: &InUse<'_>,
    draws: &ElementDraws,
    typical: f64,
) -> Vec<Short> {
    let life = element.life;
    let known = life.litres_made.filter(|_| life.fitted_on.is_some());
    let (Some(made), Some(newest)) = (known, life.points.last()) else {
        return Vec::new();
    };
    let late = 1.0 + fit.best.shared.late * late_share(life);
    let told = |draws: &ElementDraws, date: Date| {
        let lives = draws.draws.iter().map(|d| {
            let ahead = if d.days_to_limit < 0.0 {
                d.days_to_limit * d.litres_per_day
            } else {
                d.litres_to_limit
            };
            made + ahead
        });
        let short: Vec<f64> = lives.filter(|l| *l < FAILING_BELOW * typical).collect();
        let by_lateness = short
            .iter()
            .filter(|l| **l * late >= FAILING_BELOW * typical);
        Short {
            date,
            probability: short.len() as f64 / draws.draws.len().max(1) as f64,
            by_lateness: by_lateness.count() as f64 / short.len().max(1) as f64,
        }
    };
    let mut out = vec![told(draws, newest.date)];
    if life.points.len() < LEAST_READINGS
        || out.last().is_none_or(|s| s.probability < LOOKED_BACK_FROM)
    {
        return out;
    }
    let mut before = newest.date;
    for (n, point) in life.points.iter().enumerate().rev() {
        if n + 1 < LEAST_READINGS || out.len() > MOST_TIMES {
            break;
        }
        if before.days_since(point.date) < EVERY_DAYS {
            continue;
        }
        before = point.date;
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

fn late_share(life: &ElementLife) -> f64 {
    let litres: f64 = life.litres_by_level.iter().sum();
    if litres > 0.0 {
        (life.late_litres / litres).clamp(0.0, 1.0)
    } else {
        0.0
    }
}
