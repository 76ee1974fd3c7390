//! The cheapest age to replace a part that may pass its limit, by plain search
//! over equally likely lives (age replacement, Barlow & Proschan 1965, with a
//! rising running cost beside the failure cost).

/// What a replacement and an unplanned end cost, and what running costs at age.
pub struct Costs<'a> {
    pub planned: f64,
    /// On top of `planned` when the limit was passed first.
    pub unplanned_extra: f64,
    /// Running cost per unit of age at that age.
    pub running: &'a dyn Fn(f64) -> f64,
}

/// An age and the long-run cost per unit of age of always replacing at it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cheapest {
    pub age: f64,
    pub cost_rate: f64,
}

const STEPS: usize = 240;

/// The cheapest replacement age up to `most`, for new parts with these lives
/// (ascending, may be infinite, not empty). The whole cycle ends at the age or
/// at the limit, whichever comes first.
pub fn cheapest_age(lives: &[f64], most: f64, costs: &Costs<'_>) -> Option<Cheapest> {
    let mut best: Option<Cheapest> = None;
    for (age, cost_rate) in cost_rates(lives, most, costs) {
        if best.is_none_or(|b| cost_rate < b.cost_rate) {
            best = Some(Cheapest { age, cost_rate });
        }
    }
    best
}

/// Long-run cost per unit of age when replacing at `age`.
pub fn cost_rate_at(lives: &[f64], age: f64, costs: &Costs<'_>) -> Option<f64> {
    cost_rates(lives, age, costs).last().map(|(_, rate)| rate)
}

fn cost_rates<'a>(
    lives: &'a [f64],
    most: f64,
    costs: &'a Costs<'a>,
) -> impl Iterator<Item = (f64, f64)> + 'a {
    let n = lives.len() as f64;
    let step = most / STEPS as f64;
    let (mut failed, mut expected_age, mut running) = (0usize, 0.0, 0.0);
    let steps = if n > 0.0 && most > 0.0 { STEPS } else { 0 };
    (1..=steps).map(move |i| {
        let age = step * i as f64;
        let surviving_before = 1.0 - failed as f64 / n;
        while lives.get(failed).is_some_and(|l| *l <= age) {
            failed += 1;
        }
        // Mean of the survival at both ends of the step.
        let surviving = 0.5 * (surviving_before + 1.0 - failed as f64 / n);
        expected_age += step * surviving;
        running += step * surviving * (costs.running)(age - 0.5 * step);
        let share_failed = failed as f64 / n;
        (
            age,
            (costs.planned + costs.unplanned_extra * share_failed + running) / expected_age,
        )
    })
}

/// How much longer the part in use should stay: going on is worth it while it
/// costs less than a new part's average (`new_rate`). `left`: equally likely
/// times to its limit, ascending; searched from 0 to `most`.
pub fn cheapest_wait(left: &[f64], most: f64, new_rate: f64, costs: &Costs<'_>) -> f64 {
    if most <= 0.0 || left.is_empty() {
        return 0.0;
    }
    let n = left.len() as f64;
    let step = most / STEPS as f64;
    let mut failed = left.partition_point(|l| *l <= 0.0);
    let (mut value, mut best, mut best_wait) = (0.0, 0.0, 0.0);
    for i in 1..=STEPS {
        let wait = step * i as f64;
        let before = failed;
        while left.get(failed).is_some_and(|l| *l <= wait) {
            failed += 1;
        }
        let surviving = 1.0 - 0.5 * (before + failed) as f64 / n;
        value += step * surviving * ((costs.running)(wait - 0.5 * step) - new_rate)
            + costs.unplanned_extra * (failed - before) as f64 / n;
        if value < best {
            (best, best_wait) = (value, wait);
        }
    }
    best_wait
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles of a Weibull life, evenly spaced in probability.
    fn weibull_lives(scale: f64, shape: f64) -> Vec<f64> {
        let n = 40_000;
        (0..n)
            .map(|i| {
                let p = (f64::from(i) + 0.5) / f64::from(n);
                scale * (-(1.0 - p).ln()).powf(1.0 / shape)
            })
            .collect()
    }

    const NOTHING: &dyn Fn(f64) -> f64 = &|_| 0.0;

    #[test]
    fn the_cheapest_age_is_the_one_of_age_replacement() {
        // Barlow & Proschan 1965. Costs 1 planned and 5 unplanned, Weibull 1000,
        // 2.5 (documented example of the Python package `reliability`; the exact
        // optimum is 493.0470 at a cost rate of 0.00346204).
        let costs = Costs {
            planned: 1.0,
            unplanned_extra: 4.0,
            running: NOTHING,
        };
        let found = cheapest_age(&weibull_lives(1000.0, 2.5), 1200.0, &costs).unwrap();
        assert!((found.age - 493.0470).abs() <= 5.0, "{}", found.age);
        assert!(
            (found.cost_rate / 0.003_462_04 - 1.0).abs() < 1e-3,
            "{}",
            found.cost_rate
        );
    }

    #[test]
    fn a_rising_running_cost_alone_gives_the_square_root() {
        // k = a + b·x: X* = sqrt(2P/b), g* = a + sqrt(2Pb), from the first-order
        // condition; P 180, a 0.014, b 1.2e-7 give 54,772 and 0.020573.
        let running = |x: f64| 0.014 + 1.2e-7 * x;
        let costs = Costs {
            planned: 180.0,
            unplanned_extra: 0.0,
            running: &running,
        };
        let found = cheapest_age(&[f64::INFINITY], 120_000.0, &costs).unwrap();
        assert!((found.age - 54_772.0).abs() <= 500.0, "{}", found.age);
        assert!(
            (found.cost_rate - 0.020_573).abs() < 1e-6,
            "{}",
            found.cost_rate
        );
    }

    #[test]
    fn a_part_as_good_as_new_waits_as_long_as_a_new_one() {
        let lives = weibull_lives(1000.0, 2.5);
        let costs = Costs {
            planned: 1.0,
            unplanned_extra: 4.0,
            running: NOTHING,
        };
        let best = cheapest_age(&lives, 1200.0, &costs).unwrap();
        let wait = cheapest_wait(&lives, 1200.0, best.cost_rate, &costs);
        assert!(
            (wait - best.age).abs() <= 10.0,
            "{wait} against {}",
            best.age
        );
    }

    #[test]
    fn a_part_already_past_its_limit_does_not_wait() {
        let costs = Costs {
            planned: 1.0,
            unplanned_extra: 4.0,
            running: NOTHING,
        };
        assert_eq!(cheapest_wait(&[-3.0, 10.0], 0.0, 0.1, &costs), 0.0);
        assert_eq!(cheapest_wait(&[], 10.0, 0.1, &costs), 0.0);
    }
}
