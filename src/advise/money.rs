//! Money both ways: what was spent, and what is to be expected. What nobody
//! priced is left out, and said.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::calendar::{Date, DateExt, Datelike, date};
use serde::Serialize;

use super::plan::ahead::{VanAhead, middle};
use super::plan::parts::{MONTHS, PARTS, PartsByMonth, first_month};
use super::prices::{DecisionPrices, KnownPrices, Paid};
use super::round_to;
use crate::fit::{Span, span_of};
use crate::lives::{Item, VanLives};
use crate::settings::Settings;

/// Money of the fleet, looking back and ahead.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Money {
    pub currency: Option<String>,
    pub prices: KnownPrices,
    pub spent: Spent,
    /// `None` where no price is known.
    pub expected: Option<Expected>,
    /// The twelve months up to the as-of day and the coming twelve, part by part.
    pub years: Vec<PartYears>,
}

/// What one kind of part took in the last twelve months, and will in the coming.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartYears {
    #[serde(serialize_with = "as_word")]
    pub item: Item,
    /// Pieces on record, litres for resin.
    pub last: f64,
    /// What they would cost at the prices known now; `None` without a price.
    pub last_at_prices: Option<f64>,
    /// Expected pieces.
    pub next: f64,
    pub next_cost: Option<f64>,
}

/// What services cost, from `cost` in the records.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spent {
    /// From 1 January of the as-of day's year to the as-of day.
    pub this_year: SpentIn,
    /// The same days of the year before.
    pub last_year_to_the_day: SpentIn,
    pub last_year: SpentIn,
    /// The twelve months up to the as-of day.
    pub last_12_months: SpentIn,
    /// The last 24 months, oldest first, the as-of day's month included.
    pub months: Vec<MonthSpent>,
    /// Vans with any cost in these two years, in order of name.
    pub vans: Vec<VanSpent>,
}

/// Sums of a time, by what was bought.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct SpentIn {
    pub membranes: f64,
    pub resin: f64,
    pub prefilters: f64,
    pub other: f64,
    pub total: f64,
    /// Services on record, and how many of them say no cost: they are left out.
    pub services: usize,
    pub without_cost: usize,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MonthSpent {
    /// `2026-10`.
    pub month: String,
    pub membranes: f64,
    pub resin: f64,
    pub prefilters: f64,
    pub other: f64,
    pub total: f64,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VanSpent {
    pub van: String,
    pub this_year: f64,
    pub last_year_to_the_day: f64,
    pub last_year: f64,
}

/// What the coming twelve months cost if the plan is followed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Expected {
    pub from: Date,
    pub to: Date,
    pub fleet: Span<f64>,
    /// Names of the prices that nobody gave: what they would add is left out.
    pub without: Vec<&'static str>,
    /// Expected cost of parts in each of the coming twelve months, by the month of
    /// the job; labour and water are in `fleet` alone.
    pub months: Vec<MonthSpent>,
    /// In order of name.
    pub vans: Vec<VanExpected>,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct VanExpected {
    pub van: String,
    pub cost: Span<f64>,
    /// Parts of the van of which nothing can be told; their cost is left out.
    pub unknown: Vec<&'static str>,
}

fn as_word<S: serde::Serializer>(item: &Item, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(item.word())
}

impl SpentIn {
    fn add(&mut self, item: Item, cost: Option<f64>) {
        self.services += 1;
        let Some(cost) = cost else {
            self.without_cost += 1;
            return;
        };
        self.total += cost;
        *match item {
            Item::Membrane => &mut self.membranes,
            Item::Resin => &mut self.resin,
            Item::Prefilter => &mut self.prefilters,
            Item::Flush | Item::Probe | Item::Tank => &mut self.other,
        } += cost;
    }

    fn in_month(self, month: Date) -> MonthSpent {
        MonthSpent {
            month: month.format("%Y-%m").to_string(),
            membranes: self.membranes,
            resin: self.resin,
            prefilters: self.prefilters,
            other: self.other,
            total: self.total,
        }
    }

    fn rounded(mut self) -> SpentIn {
        for sum in [
            &mut self.membranes,
            &mut self.resin,
            &mut self.prefilters,
            &mut self.other,
            &mut self.total,
        ] {
            *sum = round_to(*sum, 0.01);
        }
        self
    }
}

/// Everything about money that the records and settings tell.
pub fn money<'a>(
    as_of: Date,
    services: impl Iterator<Item = (&'a Arc<str>, &'a [Paid])> + Clone,
    (ahead, jobs): (CostsAhead, &PartsByMonth),
    prices: &DecisionPrices,
    settings: &Settings,
) -> Money {
    Money {
        years: years(as_of, services.clone(), jobs, prices),
        currency: settings.prices.currency.clone(),
        prices: prices.known,
        spent: spent(as_of, services),
        expected: expected(as_of, ahead, jobs, prices),
    }
}

fn years<'a>(
    as_of: Date,
    services: impl Iterator<Item = (&'a Arc<str>, &'a [Paid])>,
    jobs: &PartsByMonth,
    prices: &DecisionPrices,
) -> Vec<PartYears> {
    let from = as_of.plus_months(-12);
    let mut last: BTreeMap<Item, f64> = BTreeMap::new();
    let done = services.flat_map(|(_, services)| services);
    for service in done.filter(|s| s.date > from && s.date <= as_of) {
        *last.entry(service.item).or_default() += service.pieces;
    }
    let part = |item: Item| {
        let last = last.get(&item).copied().unwrap_or(0.0);
        let next: f64 = jobs.expected(item).iter().sum();
        let at = |pieces: f64| Some(round_to(prices.known.of_part(item)? * pieces, 0.01));
        (last > 0.0 || next > 0.0).then(|| PartYears {
            item,
            last: round_to(last, 0.1),
            last_at_prices: at(last),
            next: round_to(next, 0.1),
            next_cost: at(next),
        })
    };
    PARTS.into_iter().filter_map(part).collect()
}

fn spent<'a>(as_of: Date, services: impl Iterator<Item = (&'a Arc<str>, &'a [Paid])>) -> Spent {
    let year_start = date(as_of.year(), 1, 1);
    let before = year_start.plus_months(-12);
    let same_day = as_of.plus_months(-12);
    let mut spent = Spent {
        this_year: SpentIn::default(),
        last_year_to_the_day: SpentIn::default(),
        last_year: SpentIn::default(),
        last_12_months: SpentIn::default(),
        months: Vec::new(),
        vans: Vec::new(),
    };
    let first_month = as_of.first_of_month().plus_months(-23);
    let mut months: BTreeMap<Date, SpentIn> = (0..24)
        .map(|m| {
            let month = first_month.plus_months(m);
            (month, SpentIn::default())
        })
        .collect();
    let mut vans: BTreeMap<&str, [f64; 3]> = BTreeMap::new();
    for (van, services) in services {
        for service in services.iter().filter(|s| s.date <= as_of) {
            let day = service.date;
            if let Some(sums) = months.get_mut(&day.first_of_month()) {
                sums.add(service.item, service.cost);
            }
            if day > same_day {
                spent.last_12_months.add(service.item, service.cost);
            }
            let spans = [
                (day >= year_start, &mut spent.this_year),
                (
                    (before..=same_day).contains(&day),
                    &mut spent.last_year_to_the_day,
                ),
                ((before..year_start).contains(&day), &mut spent.last_year),
            ];
            for (i, (within, sums)) in spans.into_iter().enumerate() {
                if !within {
                    continue;
                }
                sums.add(service.item, service.cost);
                if let Some(cost) = service.cost
                    && let Some(sum) = vans.entry(van).or_default().get_mut(i)
                {
                    *sum += cost;
                }
            }
        }
    }
    spent.this_year = spent.this_year.rounded();
    spent.last_year_to_the_day = spent.last_year_to_the_day.rounded();
    spent.last_year = spent.last_year.rounded();
    spent.last_12_months = spent.last_12_months.rounded();
    spent.months = months
        .into_iter()
        .map(|(month, sums)| sums.rounded().in_month(month))
        .collect();
    spent.vans = vans
        .into_iter()
        .map(|(van, [this_year, to_the_day, last_year])| VanSpent {
            van: van.to_owned(),
            this_year: round_to(this_year, 0.01),
            last_year_to_the_day: round_to(to_the_day, 0.01),
            last_year: round_to(last_year, 0.01),
        })
        .collect();
    spent
}

/// What the coming year costs some vans.
#[derive(Debug, Clone, Default)]
pub struct CostsAhead {
    /// Of all of them, by draw; empty where no price is known.
    draws: Vec<f64>,
    vans: Vec<VanExpected>,
}

impl CostsAhead {
    pub fn add(&mut self, van: VanCosts) {
        self.draws
            .resize(van.draws.len().max(self.draws.len()), 0.0);
        for (sum, cost) in self.draws.iter_mut().zip(&van.draws) {
            *sum += cost;
        }
        self.vans.push(van.expected);
    }
}

/// What a van's year costs in each draw, and what is said of it.
#[derive(Debug, Clone)]
pub struct VanCosts {
    draws: Vec<f64>,
    expected: VanExpected,
}

impl VanCosts {
    pub fn of(
        van: &VanLives,
        ahead: &VanAhead,
        prices: &DecisionPrices,
        settings: &Settings,
    ) -> Option<VanCosts> {
        let draws = ahead.costs(van, prices, &settings.running)?;
        Some(VanCosts {
            expected: VanExpected {
                van: van.van.to_string(),
                cost: span_of(draws.iter().copied()).map(|c| round_to(c, 1.0)),
                unknown: unknown(van, ahead),
            },
            draws,
        })
    }
}

fn expected(
    as_of: Date,
    mut ahead: CostsAhead,
    jobs: &PartsByMonth,
    prices: &DecisionPrices,
) -> Option<Expected> {
    ahead.vans.sort_by(|a, b| a.van.cmp(&b.van));
    if ahead.vans.is_empty() || !middle(&ahead.draws).is_finite() {
        return None;
    }
    // What a limit passed unplanned costs is no bill, so it is not missed here.
    let without = prices.known.missing();
    let pieces = PARTS.map(|part| (part, jobs.expected(part)));
    let months = (0..MONTHS).map(|m| {
        let mut sums = SpentIn::default();
        for (part, by_month) in &pieces {
            if let (Some(price), Some(pieces)) = (prices.known.of_part(*part), by_month.get(m)) {
                sums.add(*part, Some(price * pieces));
            }
        }
        let month = first_month(as_of).plus_months(m as i32);
        sums.rounded().in_month(month)
    });
    Some(Expected {
        months: months.collect(),
        from: as_of.plus_days(1),
        to: as_of.plus_days(365),
        fleet: span_of(ahead.draws.into_iter()).map(|c| round_to(c, 1.0)),
        without: without.into_iter().filter(|n| *n != "lost_day").collect(),
        vans: ahead.vans,
    })
}

fn unknown(van: &VanLives, ahead: &VanAhead) -> Vec<&'static str> {
    [
        (van.membranes > 0, Item::Membrane),
        (van.resin_litres > 0.0, Item::Resin),
        (van.membranes > 0, Item::Prefilter),
    ]
    .into_iter()
    .filter(|(aboard, item)| *aboard && !ahead.told.contains(item))
    .map(|(_, item)| item.word())
    .collect()
}
