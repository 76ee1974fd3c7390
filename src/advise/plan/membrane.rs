//! The day a membrane is best replaced: where going on would cost more than a
//! new one does on average (renewal; Barlow & Proschan 1965, chapter 4.2).

use std::collections::BTreeSet;

use crate::calendar::{Date, DateExt};
use serde::Serialize;

use super::{
    BurnLine, Cycle, Early, MOST_EARLY_DAYS, ResinBurn, costs_of, course_costs, even_ages,
};
use crate::advise::prices::DecisionPrices;
use crate::advise::{add_days, round_to};
use crate::fit::{
    AreaFit, FleetWide, HORIZON_DAYS, MembraneForecast, Trajectory, TrajectorySums, VanFit,
};
use crate::lives::VanLives;
use crate::stats::path_costs::CheapestAge;

/// Candidate ages.
const STEPS: usize = 64;
const DAYS_A_MONTH: f64 = 30.4375;

/// When to replace the membrane in use, and why then.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct MembranePlan {
    pub replace_on: Option<Date>,
    /// What doing it earlier costs.
    pub early: Vec<Early>,
    pub money: Option<MembraneMoney>,
    /// How long the next one is best kept on this van, days.
    pub next_days: Option<f64>,
}

/// The two costs that are weighed, per 1000 L: the one in use now, resin that it
/// burns and the risk of passing the limit included; and the next one's average
/// over its life at its best, its price and fitting included.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MembraneMoney {
    pub going_on_per_1000_l: f64,
    pub next_one_per_1000_l: f64,
    /// What waiting for the middle estimate of the limit would cost more.
    pub at_the_limit_instead: Option<f64>,
    /// What a month of going on costs more than a month of the next one, from
    /// today: resin burnt and the risk of passing the limit; 0 where it costs less.
    pub a_month_longer: f64,
}

impl MembraneMoney {
    /// To the hundredth.
    pub fn rounded(self) -> MembraneMoney {
        MembraneMoney {
            going_on_per_1000_l: round_to(self.going_on_per_1000_l, 0.01),
            next_one_per_1000_l: round_to(self.next_one_per_1000_l, 0.01),
            at_the_limit_instead: self.at_the_limit_instead.map(|x| round_to(x, 0.01)),
            a_month_longer: round_to(self.a_month_longer, 0.01),
        }
    }
}

/// What a van's membrane burns in resin.
pub fn burn(
    van: &VanLives,
    van_fit: &VanFit,
    area: Option<&AreaFit>,
    wide: &FleetWide,
    prices: &DecisionPrices,
) -> ResinBurn {
    let resin_use = area.map_or(wide.resin_use, |a| a.resin_use);
    let mut burn = ResinBurn::of(
        prices,
        van.resin_litres,
        van.feed_ppm,
        van.hardness.map(|h| h.mg_l_caco3),
        resin_use,
    );
    // What enters the resin now against the same salts at 25 °C.
    if let (Ok(resin), Ok(membrane)) = (&van_fit.resin, &van_fit.membrane) {
        let at_25 = burn.feed_ppm * membrane.ln_now.exp();
        if at_25 > 0.0 && resin.permeate_ppm.is_finite() {
            burn.cold = (resin.permeate_ppm / at_25).clamp(0.5, 1.5);
        }
    }
    burn
}

/// The cheapest day, never after the middle estimate of the limit.
pub fn plan(
    van: &VanLives,
    forecast: &MembraneForecast,
    next: Option<&NextOnes>,
    burn: &ResinBurn,
    until: Date,
    prices: &DecisionPrices,
) -> MembranePlan {
    let p50 = forecast.limit_on.p50;
    let most_days = p50.map_or(HORIZON_DAYS, |d| f64::from(d.days_since(until)));
    let use_ahead = &forecast.use_ahead;
    let burn = burn.line();
    let per_litre = move |passage: f64| burn.per_litre(passage);
    let next = next.and_then(|n| n.cheapest(van.membranes.max(1), &burn, prices));
    let last = MembranePlan {
        replace_on: p50,
        next_days: next
            .map(|n| n.age / use_ahead.litres_per_day.max(1e-9))
            .filter(|days| *days < 0.99 * HORIZON_DAYS),
        ..MembranePlan::default()
    };
    let Some(rate) = next.map(|n| n.cost_rate) else {
        return last;
    };
    // `going_on`: cost per litre from today
    let money = |going_on: f64, at_the_limit_instead: Option<f64>| {
        let a_month = DAYS_A_MONTH * use_ahead.litres_per_day;
        prices.own.then(|| MembraneMoney {
            going_on_per_1000_l: 1000.0 * going_on,
            next_one_per_1000_l: 1000.0 * rate,
            at_the_limit_instead,
            a_month_longer: (a_month * (going_on - rate)).max(0.0),
        })
    };
    // Where going on pays no more, it stopped to pay on a day that stays where it is.
    let stopped_to_pay = || {
        overdue_days(forecast, until, |passage, per_litre_lost| {
            per_litre(passage) + prices.lost_day * per_litre_lost - rate
        })
    };
    if most_days <= 0.0 {
        // The limit is behind it: what is left to weigh is the resin that it burns. That
        // it paid to change it before does not change on the day of the limit.
        return MembranePlan {
            replace_on: Some(add_days(until, stopped_to_pay().min(most_days))),
            money: money(per_litre(forecast.ln_now.exp()), None),
            ..last
        };
    }
    let most = use_ahead.litres_in(most_days);
    // The price of the next one falls due whenever it comes.
    let going_on = Cycle {
        planned: 0.0,
        unplanned_extra: prices.lost_day,
        per_litre: &per_litre,
    };
    let ages = even_ages(most, STEPS);
    let Some(costs) = course_costs(forecast.trajectories.iter().copied(), &ages, &going_on) else {
        return last;
    };
    let wait = costs.cheapest_wait(rate);
    if p50.is_none() && wait >= 0.999 * most {
        // At the horizon without a limit in sight nothing is suggested.
        return MembranePlan {
            replace_on: None,
            ..last
        };
    }
    let excess = costs.excess_over(rate);
    let lowest = excess.iter().copied().fold(0.0, f64::min);
    let days = if wait > 0.0 {
        use_ahead.days_for(wait).min(most_days)
    } else {
        stopped_to_pay()
    };
    let early = early(
        std::iter::once((0.0, 0.0)).chain(
            ages.iter()
                .map(|l| use_ahead.days_for(*l))
                .zip(excess.iter().copied()),
        ),
        days.max(0.0),
        lowest,
    );
    MembranePlan {
        replace_on: Some(add_days(until, days)),
        early,
        money: money(
            costs.cost_rates().first().copied().unwrap_or(0.0),
            p50.and(excess.last()).map(|e| e - lowest),
        ),
        ..last
    }
}

/// Days, 0 or less, on which going on stopped to pay: `excess` tells what a litre costs
/// more than the next one's average, by salt passage and the probability for each litre
/// that the limit is reached. All is read off what is known now of the time before.
fn overdue_days(forecast: &MembraneForecast, until: Date, excess: impl Fn(f64, f64) -> f64) -> f64 {
    let draws = &forecast.limit_draws.0;
    let per_day = forecast.use_ahead.litres_per_day.max(1e-9);
    let reached = |from: f64, to: f64| {
        let within = draws.iter().filter(|d| from < **d && **d <= to).count();
        within as f64 / draws.len().max(1) as f64
    };
    let known: Vec<(f64, f64)> = forecast
        .path
        .iter()
        .map(|band| (f64::from(band.x.days_since(until)), band.p50))
        .filter(|(day, _)| *day <= 0.0)
        .collect();
    let (mut best, mut sum, mut most) = (0.0, 0.0, 0.0);
    let mut later: Option<(f64, f64)> = None;
    for (from, to) in known.iter().zip(known.iter().skip(1)).rev() {
        let days = to.0 - from.0;
        if days <= 0.0 {
            continue;
        }
        let lost = reached(from.0, to.0) / (days * per_day);
        let here = excess(0.5 * (from.1 + to.1), lost);
        sum += here * days;
        let middle = 0.5 * (from.0 + to.0);
        if sum > most {
            (best, most) = (from.0, sum);
        } else if let Some((after, excess_after)) = later
            && best == to.0
            && excess_after > 0.0
        {
            // Between two stretches it passes nought.
            best = middle + (after - middle) * here / (here - excess_after);
        }
        later = Some((middle, here));
    }
    best
}

/// What going earlier than `best_days` costs, from `(days, excess)` in order of
/// days; ascending in days early.
pub fn early(
    curve: impl DoubleEndedIterator<Item = (f64, f64)>,
    best_days: f64,
    lowest: f64,
) -> Vec<Early> {
    curve
        .rev()
        .map(|(days, excess)| Early {
            days: best_days - days,
            cost: (excess - lowest).max(0.0),
        })
        .filter(|e| e.days > 0.0)
        .take_while(|e| e.days <= MOST_EARLY_DAYS)
        .collect()
}

/// What new membranes of a district do, for vans with so many of them.
#[derive(Debug, Clone)]
struct NextOne {
    membranes: u32,
    ages: Vec<f64>,
    /// Worth is salt passage.
    sums: TrajectorySums,
}

/// What new membranes of a district do, for every number of them on its vans.
#[derive(Debug, Clone)]
pub struct NextOnes(Vec<NextOne>);

impl NextOnes {
    /// `aboard`: how many membranes each van has.
    pub fn of(area: &AreaFit, aboard: impl Iterator<Item = u32>) -> NextOnes {
        let numbers: BTreeSet<u32> = aboard.map(|membranes| membranes.max(1)).collect();
        let each = numbers.into_iter().filter_map(|membranes| {
            let share = f64::from(membranes) / area.membranes.max(1.0);
            let trajectories: Vec<Trajectory> = area
                .next_membranes
                .iter()
                .map(|c| c.shared_by(share))
                .collect();
            let ages = even_ages(longest_worth(&trajectories)?, STEPS);
            let sums = TrajectorySums::of(trajectories.into_iter(), &ages, |passage| passage);
            Some(NextOne {
                membranes,
                ages,
                sums,
            })
        });
        NextOnes(each.collect())
    }

    /// The best age, litres, and long-run cost per litre of so many membranes.
    fn cheapest(
        &self,
        membranes: u32,
        burn: &BurnLine,
        prices: &DecisionPrices,
    ) -> Option<CheapestAge> {
        let next = self.0.iter().find(|n| n.membranes == membranes)?;
        let (per_litre, per_passage) = burn.per_litre_and_passage();
        let costs = costs_of(
            &next.sums,
            &next.ages,
            prices.membrane * f64::from(membranes) + prices.labour,
            prices.lost_day,
            per_passage,
            per_litre,
        )?;
        costs.cheapest().ok()
    }
}

/// Where the search for the cheapest age ends: one and a half middle lives, or
/// the horizon.
fn longest_worth(trajectories: &[Trajectory]) -> Option<f64> {
    let mut lives: Vec<f64> = trajectories.iter().map(|c| c.litres_to_limit).collect();
    lives.sort_by(f64::total_cmp);
    let per_day = trajectories.first()?.litres_per_day;
    let most = (1.5 * lives.get(lives.len() / 2)?).min(per_day * HORIZON_DAYS);
    (most > 0.0).then_some(most)
}
