//! Elements that will last less than 60 % of what elements of this fleet usually last in
//! the same water: how likely that is, and how likely it was after earlier readings.

use crate::calendar::{Date, DateExt};

use super::Short;
use super::membrane::{self, ElementDraws, ElementObservations, InUse, Numbers, PACE, SharedFit};
use super::van::{VanObservations, van_conditions};
use crate::lives::VanLives;
use crate::stats::special::normal_cdf;

/// A life below this share of the usual one is failing early.
const FAILING_BELOW: f64 = 0.6;
/// Below this probability nobody asks how it was before; what was less likely at two of
/// those days running is over.
const LOOKED_BACK_FROM: f64 = 0.2;
/// Days of the calendar after which it is asked again, the same ones whenever it is asked.
const EVERY_DAYS: i32 = 21;
const MOST_TIMES: usize = 16;
/// Spread of what late pre-filters do, over what they do in the middle, ln (judgement).
const SPREAD_OF_LATENESS: f64 = 1.5;
/// Fewer readings tell of the element before, or of nothing.
const LEAST_READINGS: usize = 3;

/// Oldest first, the newest reading last; empty where nothing was read.
pub fn history(
    van: &VanLives,
    observations: &VanObservations,
    fit: &SharedFit,
    element: &InUse<'_>,
    draws: &ElementDraws,
) -> Vec<Short> {
    let life = element.life;
    let Some(newest) = life.points.last() else {
        return Vec::new();
    };
    let numbers = fit.likeliest();
    // To blame late ones, what they do has to be well known.
    let blamed = (numbers.late - 0.5 * numbers.late_sd).max(0.0);
    let told = |draws: &ElementDraws, observations: &ElementObservations, date: Date| {
        let share = observations.late_share();
        let late = numbers.wears(share) / numbers.wears(fit.usual_late_share);
        // In litres a life is the shorter the more of them wore it behind late pre-filters,
        // the usual one by what is usual of them.
        let lives = draws.draws.iter().map(|d| d.life_over_usual / late);
        let short: Vec<f64> = lives.filter(|l| *l < FAILING_BELOW).collect();
        let worn = 1.0 + blamed * share;
        let by_lateness = short.iter().map(|life| lasts_in_time(numbers, *life, worn));
        Short {
            date,
            probability: short.len() as f64 / draws.draws.len().max(1) as f64,
            by_lateness: by_lateness.sum::<f64>() / short.len().max(1) as f64,
        }
    };
    let mut out = vec![told(draws, element.observations, newest.date)];
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
        let van_conditions = van_conditions(
            van,
            observations.hardness,
            &observations.usage,
            (&observations.meters, observations.through_recovery),
        );
        let mut seen = membrane::looks_of(&earlier, &van_conditions, element.as_of);
        seen.expect_lateness(observations.late_share);
        let then = InUse {
            life: &earlier,
            observations: &seen,
            base_hardness: element.base_hardness,
            usage: element.usage,
            ln_limit: element.ln_limit,
            others: element.others,
            ahead: element.ahead,
            as_of: element.as_of,
            seed_name: element.seed_name,
        };
        out.push(told(&membrane::draws_of(fit, &then), &seen, point.date));
    }
    out.reverse();
    out
}

/// Which stretch of the calendar a day belongs to.
fn day(date: Date) -> i32 {
    date.days_since(crate::calendar::date(1970, 1, 1))
        .div_euclid(EVERY_DAYS)
}

/// How likely an element of a short life would have lasted behind fresh pre-filters: what
/// late ones do differs from place to place more than it does on average, and so do
/// elements, usual and weak ones. `worn`: how much faster the fleet's wear behind them.
fn lasts_in_time(numbers: &Numbers, life_over_usual: f64, worn: f64) -> f64 {
    let ln_worn = worn.max(1.0).ln();
    let own = numbers.variance[PACE].max(1e-4);
    let theirs = (SPREAD_OF_LATENESS * ln_worn).powi(2);
    let both = own + theirs;
    // The life if late pre-filters do here just what they do in the fleet.
    let left = life_over_usual.max(1e-3).ln() + ln_worn;
    let kinds = [
        (1.0 - numbers.weak_share, 0.0),
        (numbers.weak_share, -numbers.weak_ln_faster),
    ];
    let (mut lasting, mut all) = (0.0, 0.0);
    for (share, mean) in kinds {
        let away = left - mean;
        let weight = share * (-0.5 * away * away / both).exp();
        let middle = mean + away * own / both;
        let sd = (own * theirs / both).sqrt().max(1e-6);
        lasting += weight * normal_cdf((middle - FAILING_BELOW.ln()) / sd);
        all += weight;
    }
    if all > 0.0 { lasting / all } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::membrane::Law;

    #[test]
    fn late_pre_filters_are_blamed_as_far_as_they_wear_in_this_fleet() {
        let numbers = Numbers::before(Law::Exponential);
        let blamed = |life: f64, worn: f64| lasts_in_time(&numbers, life, worn);
        // Where they do nothing they explain nothing, where they double the wear most.
        assert!(blamed(0.4, 1.0) < 0.01);
        assert!(blamed(0.4, 2.0) > 0.6, "{}", blamed(0.4, 2.0));
        // The more they wear, and the less is left to explain, the likelier it is they.
        assert!(blamed(0.4, 2.0) > blamed(0.4, 1.4));
        assert!(blamed(0.5, 1.4) > blamed(0.3, 1.4));
    }
}
