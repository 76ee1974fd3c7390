//! Cycles of a part on simulated courses, for `stats::path_costs` to choose among.

use crate::fit::{Trajectory, TrajectorySums};
use crate::stats::path_costs::PathCosts;

/// What a cycle costs.
#[derive(Clone, Copy)]
pub struct Cycle<'a, F> {
    /// The part and its fitting at the planned end; 0 for a part in use, whose
    /// replacement has to be paid whenever it comes.
    pub planned: f64,
    /// On top where the limit was passed first.
    pub unplanned_extra: f64,
    /// Money per litre of water at a salt passage.
    pub per_litre: &'a F,
}

/// So many ages up to `most`.
pub fn even_ages(most: f64, steps: usize) -> Vec<f64> {
    (1..=steps)
        .map(|i| most * i as f64 / steps as f64)
        .collect()
}

/// Costs of planning a replacement at each of the ages (litres), on courses of
/// a membrane. `None` without courses or ages.
pub fn course_costs<F: Fn(f64) -> f64 + Copy>(
    trajectories: impl Iterator<Item = Trajectory>,
    ages: &[f64],
    cycle: &Cycle<'_, F>,
) -> Option<PathCosts> {
    let sums = TrajectorySums::of(trajectories, ages, *cycle.per_litre);
    costs_of(&sums, ages, cycle.planned, cycle.unplanned_extra, 1.0, 0.0)
}

/// The same from sums over the courses, where a litre costs `per_worth` of what it
/// is worth in them, and `per_litre` beside. What is past its limit costs the
/// planned price only: whatever that cost no plan can save.
pub fn costs_of(
    sums: &TrajectorySums,
    ages: &[f64],
    planned: f64,
    unplanned_extra: f64,
    per_worth: f64,
    per_litre: f64,
) -> Option<PathCosts> {
    if sums.trajectories == 0 {
        return None;
    }
    let planned = planned * sums.trajectories as f64;
    let (mut spent, mut litres) = (0.0, 0.0);
    let by_age = sums.reached.iter().zip(&sums.made).zip(&sums.worth);
    let by_age = by_age.map(|((reached, made), worth)| {
        spent += per_worth * worth + per_litre * made;
        litres += made;
        (planned + unplanned_extra * reached + spent, litres)
    });
    PathCosts::of_sums(ages, sums.trajectories, by_age).ok()
}

/// The same for lives without a running cost; they may be negative (past) or
/// infinite.
pub fn life_costs(
    lives: impl Iterator<Item = f64>,
    ages: &[f64],
    planned: f64,
    unplanned_extra: f64,
) -> Option<PathCosts> {
    let mut lives: Vec<f64> = lives.collect();
    if lives.is_empty() {
        return None;
    }
    lives.sort_unstable_by(f64::total_cmp);
    let n = lives.len() as f64;
    // Past already: whatever that cost no plan can save.
    let past = lives.iter().take_while(|l| **l <= 0.0).count();
    let (mut ended, mut ended_after) = (past, 0.0);
    let by_age = ages.iter().map(|&age| {
        while let Some(life) = lives.get(ended).filter(|l| **l <= age) {
            ended_after += life;
            ended += 1;
        }
        let unplanned = (ended - past) as f64;
        let lasting = (lives.len() - ended) as f64;
        (
            planned * n + unplanned_extra * unplanned,
            ended_after + age * lasting,
        )
    });
    PathCosts::of_sums(ages, lives.len(), by_age).ok()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::advise::plan::ResinBurn;
    use crate::fit::ResinUse;

    /// The worked example of `docs/worked-day.md`: 180 for the membrane, resin at 8.00 a
    /// litre with the work, 450 meq/L, 0.65 meq/L of carbon dioxide, 300 ppm at the
    /// tap, 3 % let through when new and 3 times as much after 80,000 L.
    fn example() -> (Trajectory, ResinBurn) {
        let hardness = 200.0;
        let burn = ResinBurn {
            price_per_litre: 8.0,
            feed_ppm: 300.0,
            cold: 1.0,
            hardness_mg_l_caco3: hardness,
            resin_use: ResinUse {
                capacity_meq_per_litre: 450.0,
                co2_share: 0.65 / crate::water::co2_prior_median_mmol_l(hardness),
            },
        };
        let limit_at = 80_000.0 * (0.10_f64 / 0.03).ln() / 3.0_f64.ln();
        (Trajectory::straight(0.03, 0.10, limit_at, 150.0), burn)
    }

    #[test]
    fn the_worked_example_comes_out_as_by_hand() {
        let (course, burn) = example();
        // By hand: k = 8/450·(0.65 + 0.0175·300·SP), cost = (180 + ∫k)/x.
        assert!((burn.per_litre(0.03) - 8.0 / 450.0 * (0.65 + 5.25 * 0.03)).abs() < 1e-12);
        let per_litre = |passage: f64| burn.per_litre(passage);
        let cycle = Cycle {
            planned: 180.0,
            unplanned_extra: 0.0,
            per_litre: &per_litre,
        };
        let by_hand = |x: f64| {
            let g = 3.0_f64.ln() / 80_000.0;
            let burnt = 0.65 * x + 5.25 * 0.03 * ((g * x).exp() - 1.0) / g;
            (180.0 + 8.0 / 450.0 * burnt) / x
        };
        for (x, per_1000) in [
            (40_000.0, 19.79),
            (60_000.0, 18.90),
            (69_535.0, 18.83),
            (80_000.0, 18.90),
        ] {
            assert!((1000.0 * by_hand(x) - per_1000).abs() < 0.006, "{x}");
            let costs = course_costs([course].into_iter(), &even_ages(x, 200), &cycle).unwrap();
            let ours = costs.cost_rates().last().copied().unwrap();
            assert!((ours / by_hand(x) - 1.0).abs() < 1e-5, "{x}: {ours}");
        }
        // At the cheapest age a further litre costs what all have cost on average.
        let costs = course_costs([course].into_iter(), &even_ages(87_000.0, 240), &cycle).unwrap();
        let best = costs.cheapest().unwrap();
        assert!((best.age - 69_535.0).abs() < 300.0, "{}", best.age);
        assert!((1000.0 * best.cost_rate - 18.83).abs() < 0.005);
        let marginal = burn.per_litre(course.salt_passage(best.age));
        assert!(
            (marginal / best.cost_rate - 1.0).abs() < 0.005,
            "{marginal}"
        );
    }

    #[test]
    fn a_rising_running_cost_alone_gives_the_square_root() {
        // k = a + b·x: X* = sqrt(2P/b), g* = a + sqrt(2Pb), from the first-order
        // condition; P 180, a 0.014, b 1.2e-7 give 54,772 and 0.020573. The course
        // serves as a clock: its salt passage tells the litres.
        let course = Trajectory::straight(0.01, 0.90, 1e6, 100.0);
        let litres = |passage: f64| 1e6 * (passage / 0.01).ln() / 90.0_f64.ln();
        let per_litre = |passage: f64| 0.014 + 1.2e-7 * litres(passage);
        let cycle = Cycle {
            planned: 180.0,
            unplanned_extra: 0.0,
            per_litre: &per_litre,
        };
        let costs = course_costs([course].into_iter(), &even_ages(120_000.0, 240), &cycle);
        let found = costs.unwrap().cheapest().unwrap();
        assert!((found.age - 54_772.0).abs() <= 20.0, "{}", found.age);
        assert!((found.cost_rate - 0.020_573).abs() < 1e-6);
    }

    #[test]
    fn what_is_past_its_limit_is_no_reason_to_wait_nor_to_hurry() {
        let costs = life_costs([-3.0, 10.0].into_iter(), &[5.0, 20.0], 0.0, 4.0).unwrap();
        assert_eq!(costs.excess_over(0.1), [-0.25, 1.5]);
        assert_eq!(costs.cheapest_wait(0.1), 5.0);
        assert!(life_costs(std::iter::empty(), &[5.0], 0.0, 4.0).is_none());
    }
}
