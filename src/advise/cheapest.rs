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
