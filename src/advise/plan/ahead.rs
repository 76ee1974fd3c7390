//! A van's next twelve months, drawn many times: which parts on which day, and
//! what that costs.
//!
//! A membrane or charge is changed where the plan would, once more has been read:
//! at the planned share of its drawn life. What is overdue is changed at once.

use crate::calendar::{Date, DateExt};

use super::parts::{MonthOf, PARTS, PartsByMonth};
use crate::advise::prices::DecisionPrices;
use crate::advise::{PrefilterAssessment, Suggested};
use crate::fit::{AreaFit, DayDraws, HORIZON_DAYS, Span, VanFit, middle_of};
use crate::lives::{End, Item, VanLives};
use crate::settings::Running;
use crate::stats::Rng;

/// Draws of each van; the fleet's n-th is the sum of the vans' n-th.
pub const DRAWS: usize = 200;
pub const DAYS: f64 = 365.0;

/// A job in one draw, days after the as-of day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    pub days: f64,
    pub item: Item,
    /// Pieces; litres for resin.
    pub quantity: f64,
}

/// One van's year, by draw.
#[derive(Debug, Clone)]
pub struct VanAhead {
    /// Of all draws, one after another, each in order of days.
    events: Vec<Event>,
    /// Where each draw's events end.
    ends: Vec<usize>,
    pub litres: Vec<f64>,
    /// Items of which a van's next change can be told.
    pub told: Vec<Item>,
}

/// What a van's year hangs on.
pub struct Year<'a> {
    pub van: &'a VanLives,
    pub fit: &'a VanFit,
    pub area: Option<(&'a AreaFit, &'a Suggested)>,
    pub membrane_on: Option<Date>,
    /// Whether the membrane in use is not to be changed before something else was looked at:
    /// then nothing is ordered for it.
    pub is_held: bool,
    pub resin_on: Option<Date>,
    pub prefilter: &'a PrefilterAssessment,
    pub as_of: Date,
    pub until: Date,
}

impl Year<'_> {
    fn days_ahead(&self, date: Date) -> f64 {
        f64::from(date.days_since(self.as_of))
    }

    /// Days until the first change in a draw of the limit.
    fn first(&self, on: Option<Date>, limit: &Span<Date>, draw: f64) -> f64 {
        let gone = f64::from(self.as_of.days_since(self.until));
        match on {
            Some(day) if day <= self.as_of => 0.0,
            Some(day) => {
                let planned = f64::from(day.days_since(self.until));
                let middle = limit
                    .p50
                    .map(|d| f64::from(d.days_since(self.until)))
                    .filter(|d| *d > 0.0);
                let share = middle.map_or(1.0, |m| (planned / m).clamp(0.0, 1.0));
                (share * draw - gone).max(0.0)
            }
            None => (draw - gone).max(0.0),
        }
    }

    pub fn simulate(&self) -> VanAhead {
        let mut rng = Rng::for_part(20, &self.van.van);
        let mut told = Vec::new();
        let mut ahead = VanAhead {
            events: Vec::new(),
            ends: Vec::with_capacity(DRAWS),
            litres: Vec::with_capacity(DRAWS),
            told: Vec::new(),
        };
        let membrane = self.fit.membrane.as_ref().ok();
        let resin = self.fit.resin.as_ref().ok();
        let set = self
            .prefilter
            .changed_on
            .zip(self.prefilter.replace_on)
            .map(|(from, to)| (self.days_ahead(to).max(0.0), f64::from(to.days_since(from))));
        told.extend(membrane.map(|_| Item::Membrane));
        told.extend(resin.map(|_| Item::Resin));
        told.extend(set.map(|_| Item::Prefilter));
        for _ in 0..DRAWS {
            let begin = ahead.events.len();
            let events = &mut ahead.events;
            let usual = membrane.map_or(resin.map_or(0.0, |r| r.litres_per_week / 7.0), |m| {
                m.use_ahead.litres_per_day
            });
            let per_day = membrane
                .and_then(|m| m.trajectories.get(rng.index(m.trajectories.len().max(1))))
                .map_or(usual, |c| c.litres_per_day);
            ahead.litres.push(per_day * DAYS);
            if let Some(forecast) = membrane.filter(|_| !self.is_held) {
                let mut day = self.first(
                    self.membrane_on,
                    &forecast.limit_on,
                    pick(&forecast.limit_draws, &mut rng),
                );
                while day <= DAYS {
                    events.push(Event {
                        days: day,
                        item: Item::Membrane,
                        quantity: f64::from(self.van.membranes.max(1)),
                    });
                    day += self.next_membrane(per_day, &mut rng).max(30.0);
                }
            }
            if let Some(forecast) = resin {
                let draw = pick(&forecast.limit_draws, &mut rng);
                let mut day = self.first(self.resin_on, &forecast.limit_on, draw);
                while day <= DAYS {
                    events.push(Event {
                        days: day,
                        item: Item::Resin,
                        quantity: self.van.resin_litres,
                    });
                    day += self
                        .next_charge(&forecast.limit_draws, per_day, &mut rng)
                        .max(3.0);
                }
            }
            if let Some((first, every)) = set {
                let mut day = first;
                while day <= DAYS {
                    events.push(Event {
                        days: day,
                        item: Item::Prefilter,
                        quantity: 1.0,
                    });
                    day += every.max(7.0);
                }
            }
            if let Some(own) = events.get_mut(begin..) {
                own.sort_by(|a, b| a.days.total_cmp(&b.days));
            }
            ahead.ends.push(events.len());
        }
        ahead.told = told;
        ahead
    }

    fn next_membrane(&self, per_day: f64, rng: &mut Rng) -> f64 {
        let Some((area, suggested)) = self.area else {
            return f64::INFINITY;
        };
        let Some(course) = area
            .next_membranes
            .get(rng.index(area.next_membranes.len().max(1)))
        else {
            return f64::INFINITY;
        };
        let share = suggested
            .membrane_days
            .zip(area.membrane_life_days.p50)
            .map_or(1.0, |(ours, middle)| ours / middle);
        let membranes = f64::from(self.van.membranes.max(1)) / area.membranes.max(1.0);
        share * membranes * course.litres_to_limit / per_day.max(1e-9)
    }

    fn next_charge(&self, running: &DayDraws, per_day: f64, rng: &mut Rng) -> f64 {
        if self.van.membranes == 0 {
            // Its own water: as long as the running charge, all in all.
            let since = self
                .van
                .charges
                .last()
                .filter(|c| c.end == End::InUse)
                .and_then(|c| c.changed_on);
            return since.map_or(f64::INFINITY, |d| {
                f64::from(self.until.days_since(d)) + pick(running, rng)
            });
        }
        let Some((area, suggested)) = self.area else {
            return f64::INFINITY;
        };
        let Some((life, vessel)) = area
            .next_charges
            .get(rng.index(area.next_charges.len().max(1)))
            .zip(area.resin_litres)
        else {
            return f64::INFINITY;
        };
        let share = suggested
            .resin_litres
            .zip(area.resin_life_litres.p50)
            .map_or(1.0, |(ours, middle)| ours / middle);
        share * life * self.van.resin_litres / vessel.max(0.1) / per_day.max(1e-9)
    }
}

fn pick(draws: &DayDraws, rng: &mut Rng) -> f64 {
    draws
        .0
        .get(rng.index(draws.0.len().max(1)))
        .copied()
        .unwrap_or(HORIZON_DAYS)
}

impl VanAhead {
    /// Money of each draw, as far as prices are known; `None` where none is.
    pub fn costs(
        &self,
        van: &VanLives,
        prices: &DecisionPrices,
        running: &Running,
    ) -> Option<Vec<f64>> {
        let known = &prices.known;
        let unit = |item: Item| known.of_part(item);
        let water = known.water_per_m3.is_some() || known.drain_per_m3.is_some();
        let any = self.told.iter().any(|item| unit(*item).is_some());
        if !any && !water {
            return None;
        }
        let recovery = van.recovery.unwrap_or(running.recovery);
        let recovery = if van.membranes == 0 { 1.0 } else { recovery };
        let per_litre = prices.water_per_litre(recovery);
        let labour = known.labour_per_visit.map_or(0.0, |k| k.price);
        Some(
            self.draws()
                .zip(&self.litres)
                .map(|(events, litres)| {
                    let parts: f64 = events
                        .iter()
                        .filter_map(|e| Some(unit(e.item)? * e.quantity))
                        .sum();
                    // Jobs within the notice of each other share a visit.
                    let (mut visits, mut last) = (0.0, f64::NEG_INFINITY);
                    for event in events {
                        if event.days > last + f64::from(running.lead_days) {
                            visits += 1.0;
                            last = event.days;
                        }
                    }
                    parts + labour * visits + per_litre * litres
                })
                .collect(),
        )
    }

    /// The events of each draw.
    fn draws(&self) -> impl Iterator<Item = &[Event]> {
        let begins = std::iter::once(&0).chain(&self.ends);
        let draws = begins.zip(&self.ends);
        draws.map(|(from, to)| self.events.get(*from..*to).unwrap_or(&[]))
    }

    /// Adds the parts to order.
    pub fn add_parts(&self, month_of: &MonthOf, sums: &mut PartsByMonth) {
        sums.told.extend(&self.told);
        for (sums, events) in sums.draws.iter_mut().zip(self.draws()) {
            for event in events {
                let Some(part) = PARTS.iter().position(|part| *part == event.item) else {
                    continue;
                };
                if let Some(sum) = sums
                    .get_mut(month_of.job(event.days))
                    .and_then(|m| m.get_mut(part))
                {
                    *sum += event.quantity;
                }
            }
        }
    }
}

/// Middle of equally likely values.
pub fn middle(values: &[f64]) -> f64 {
    middle_of(values.iter().copied()).unwrap_or(f64::NAN)
}
