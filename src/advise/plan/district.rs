//! What a district's plan and the rule of thumb cost, and what lies between.

use super::resin::NOTICED_IN_TIME;
use super::{CostPer1000Litres, Cycle, ResinBurn, course_costs, even_ages, life_costs};
use crate::advise::prices::DecisionPrices;
use crate::fit::{AreaFit, Span, Trajectory, span_of};

const STEPS: usize = 96;

/// The median van of a district as its plan needs it.
pub struct District<'a> {
    pub area: &'a AreaFit,
    pub prices: &'a DecisionPrices,
    pub burn: ResinBurn,
    pub recovery: f64,
    pub litres_per_day: f64,
}

/// Intervals that are followed for ever.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Policy {
    /// Litres of water per membrane set; `None` without membranes.
    pub membrane_litres: Option<f64>,
    /// Litres of water per charge, `None` for each charge to its limit.
    pub resin_litres: Option<f64>,
    pub prefilter_days: Option<f64>,
}

/// What a policy costs per litre of water, part by part.
#[derive(Debug, Clone, Copy, Default)]
struct PerLitre {
    membrane: f64,
    resin: f64,
    prefilters: f64,
    lost_rounds: f64,
}

impl PerLitre {
    fn total(&self) -> f64 {
        self.membrane + self.resin + self.prefilters + self.lost_rounds
    }
}

/// What becomes of membranes under a policy, per litre of water.
struct MembraneCycle {
    litres: f64,
    share_failed: f64,
    /// Litres of resin burnt per litre of water, mean over the cycle.
    burnt: f64,
}

impl District<'_> {
    fn membrane_set(&self) -> f64 {
        self.prices.membrane * self.area.membranes + self.prices.labour
    }

    fn charge(&self) -> f64 {
        self.prices.resin_per_litre * self.area.resin_litres.unwrap_or(0.0) + self.prices.labour
    }

    /// The cheapest litres per membrane set, at most the middle life.
    pub fn cheapest_membrane(&self, most: f64) -> Option<f64> {
        let burn = self.burn.line();
        let per_litre = move |passage: f64| burn.per_litre(passage);
        let cycle = Cycle {
            planned: self.membrane_set(),
            unplanned_extra: self.prices.lost_day,
            per_litre: &per_litre,
        };
        let trajectories = self.area.next_membranes.iter().copied();
        let costs = course_costs(trajectories, &even_ages(most, STEPS), &cycle)?;
        costs.cheapest().ok().map(|c| c.age.min(most))
    }

    /// The cheapest litres of water per charge, at most the middle life.
    pub fn cheapest_resin(&self, most: f64) -> Option<f64> {
        let costs = life_costs(
            self.area.next_charges.iter().copied(),
            &even_ages(most, STEPS),
            self.charge(),
            NOTICED_IN_TIME * self.prices.lost_day,
        )?;
        costs.cheapest().ok().map(|c| c.age.min(most))
    }

    /// Of a policy with these membranes and charges in its stead, the cheapest; the
    /// first of equals.
    pub fn cheapest_of(
        &self,
        policy: &Policy,
        membranes: &[Option<f64>],
        charges: &[Option<f64>],
    ) -> Policy {
        let (trajectories, lives) = (&self.area.next_membranes, &self.area.next_charges);
        let mut best = (f64::INFINITY, *policy);
        for &membrane_litres in membranes {
            for &resin_litres in charges {
                let other = Policy {
                    membrane_litres,
                    resin_litres,
                    ..*policy
                };
                let cost = self.cost(&other, policy, trajectories, lives);
                let total = cost.map_or(f64::INFINITY, |c| c.total());
                if total < best.0 {
                    best = (total, other);
                }
            }
        }
        best.1
    }

    fn cycle(&self, trajectories: &[Trajectory], age: f64) -> Option<MembraneCycle> {
        let burn = self.burn.line();
        let resin = move |passage: f64| burn.litres_per_litre(passage);
        // Running "cost" in litres of resin; nothing else.
        let cycle = Cycle {
            planned: 0.0,
            unplanned_extra: 0.0,
            per_litre: &resin,
        };
        let ages = even_ages(age, 40);
        let costs = course_costs(trajectories.iter().copied(), &ages, &cycle)?;
        let burnt = costs.cost_rates().last().copied()?;
        let n = trajectories.len() as f64;
        let failed: f64 = trajectories.iter().map(|c| c.reached_by(age)).sum();
        Some(MembraneCycle {
            litres: *costs.mean_lengths().last()?,
            share_failed: failed / n,
            burnt,
        })
    }

    /// Cost per litre of a policy on those futures; resin is counted at what
    /// the membranes of `usual` let through.
    fn cost(
        &self,
        policy: &Policy,
        usual: &Policy,
        trajectories: &[Trajectory],
        charges: &[f64],
    ) -> Option<PerLitre> {
        let mut cost = PerLitre::default();
        let mut more_resin = 1.0;
        if let (Some(age), Some(usual)) = (policy.membrane_litres, usual.membrane_litres) {
            let cycle = self.cycle(trajectories, age)?;
            let usual = self.cycle(trajectories, usual)?;
            cost.membrane = self.membrane_set() / cycle.litres;
            cost.lost_rounds += self.prices.lost_day * cycle.share_failed / cycle.litres;
            if usual.burnt > 0.0 {
                more_resin = cycle.burnt / usual.burnt;
            }
        }
        let finite: Vec<f64> = charges.iter().copied().filter(|l| l.is_finite()).collect();
        if !finite.is_empty() && self.area.resin_litres.is_some() {
            let age = policy.resin_litres.unwrap_or(f64::INFINITY);
            // To their limit: those that never get there cost next to nothing.
            let lives = || {
                let all = if age.is_finite() { charges } else { &finite };
                all.iter().copied()
            };
            let n = lives().count() as f64;
            let litres = lives().map(|l| l.min(age)).sum::<f64>() / n;
            let failed = lives().filter(|l| *l <= age).count() as f64 / n;
            cost.resin = more_resin * self.charge() / litres;
            cost.lost_rounds +=
                more_resin * NOTICED_IN_TIME * self.prices.lost_day * failed / litres;
        }
        if let Some(days) = policy.prefilter_days.filter(|d| *d > 0.0) {
            cost.prefilters =
                (self.prices.prefilter + self.prices.labour) / (days * self.litres_per_day);
        }
        Some(cost)
    }

    /// What 1000 L cost under a policy.
    pub fn per_1000(&self, policy: &Policy, usual: &Policy) -> Option<CostPer1000Litres> {
        let cost = self.cost(
            policy,
            usual,
            &self.area.next_membranes,
            &self.area.next_charges,
        )?;
        let known = &self.prices.known;
        let water = (known.water_per_m3.is_some() || known.drain_per_m3.is_some())
            .then(|| 1000.0 * self.prices.water_per_litre(self.recovery));
        Some(CostPer1000Litres {
            membrane: 1000.0 * cost.membrane,
            resin: 1000.0 * cost.resin,
            prefilters: 1000.0 * cost.prefilters,
            lost_rounds: 1000.0 * cost.lost_rounds,
            water,
            total: 1000.0 * cost.total() + water.unwrap_or(0.0),
        })
    }

    /// Expected saving of `ours` over `rule` per van and year, and its span over
    /// what the fleet's shared numbers leave open.
    pub fn saving(&self, ours: &Policy, rule: &Policy) -> Option<(f64, Span<f64>)> {
        let year = 365.25 * self.litres_per_day;
        let of = |trajectories: &[Trajectory], charges: &[f64]| {
            let a = self.cost(ours, ours, trajectories, charges)?.total();
            let b = self.cost(rule, ours, trajectories, charges)?.total();
            let saving = year * (b - a);
            saving.is_finite().then_some(saving)
        };
        let (trajectories, charges) = (&self.area.next_membranes, &self.area.next_charges);
        let expected = of(trajectories, charges)?;
        let draws = self.area.shared_draws;
        let group = |n: usize, i: usize| {
            let each = n / draws;
            i * each..(i + 1) * each
        };
        let by_draw: Vec<f64> = (0..draws)
            .filter_map(|i| {
                of(
                    trajectories.get(group(trajectories.len(), i))?,
                    charges.get(group(charges.len(), i))?,
                )
            })
            .collect();
        let span = if by_draw.len() == draws {
            span_of(by_draw.into_iter())
        } else {
            Span::unknown()
        };
        Some((expected, span))
    }
}
