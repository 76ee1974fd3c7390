//! The past, month by month, each with only what was known then.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::calendar::{Date, DateExt};

use crate::fit::{self, Part, PartOutcome, Span};
use crate::lives::{self, Fleet};
use crate::settings::Settings;
use crate::{advise, advise::DecisionPrices};

/// One forecast beside what came of the part.
#[derive(Debug, Clone)]
pub struct Forecast {
    /// Van and part: forecasts of one part hang together.
    pub part: usize,
    pub van: Arc<str>,
    pub began: Option<Date>,
    pub made_on: Date,
    pub limit_on: Span<Date>,
    /// Share of the forecast's distribution that lay before `outcome`.
    pub position: f64,
    /// The day the limit was reached, or until which it was not.
    pub outcome: Date,
    pub reached: bool,
    pub replace_on: Option<Date>,
}

/// A salt passage forecast three months ahead beside what was estimated then.
#[derive(Debug, Clone, Copy)]
pub struct LaterLevel {
    pub p10: f64,
    pub p50: f64,
    pub p90: f64,
    pub later: f64,
    /// What it was when the forecast was made: nothing changes is the naive forecast.
    pub before: f64,
}

#[derive(Debug)]
pub struct Past {
    pub looks: usize,
    pub membrane: Vec<Forecast>,
    pub resin: Vec<Forecast>,
    pub ahead: Vec<LaterLevel>,
    pub prices: DecisionPrices,
}

/// Days from the first row until the first look: before, there is nothing to forecast from.
const FIRST_LOOK_DAYS: i64 = 60;
/// Months between a forecast of salt passage and its check.
const AHEAD_MONTHS: usize = 3;

pub fn replay(
    fleet: &Fleet,
    (first_day, as_of): (Date, Date),
    settings: &Settings,
    progress: &dyn Fn(usize, usize),
) -> Past {
    let today = lives::cut(fleet, as_of, settings);
    let outcomes = fit::outcomes(&today, settings);
    let mut of_part: BTreeMap<(Arc<str>, Part), Vec<usize>> = BTreeMap::new();
    for (number, outcome) in outcomes.iter().enumerate() {
        let key = (outcome.van.clone(), outcome.part);
        of_part.entry(key).or_default().push(number);
    }
    let matching = |van: &Arc<str>, part, on| {
        let numbers = of_part.get(&(van.clone(), part))?;
        let mut found = numbers.iter().filter_map(|&n| Some((n, outcomes.get(n)?)));
        found.find(|(_, outcome)| is_open(outcome, on))
    };
    let months = month_ends(first_day, as_of);
    let mut past = Past {
        looks: months.len(),
        membrane: Vec::new(),
        resin: Vec::new(),
        ahead: Vec::new(),
        prices: DecisionPrices::of(settings, &today),
    };
    // Level of each van's element at the looks before, newest last.
    let mut levels: Vec<BTreeMap<Arc<str>, Level>> = Vec::new();
    for (done, &on) in months.iter().enumerate() {
        progress(done, months.len());
        let then = lives::cut(fleet, on, settings);
        let fitted = fit::fit(&then, settings);
        let assessed = advise::assess_undrawn(&then, &fitted, settings);
        let mut now = BTreeMap::new();
        for ((van, van_fit), assessment) in then.vans.iter().zip(&fitted.vans).zip(&assessed.vans) {
            if let Ok(forecast) = &van_fit.membrane {
                if let Some(found) = matching(&van.van, Part::Membrane, on) {
                    past.membrane.extend(held_against(
                        found,
                        then.until,
                        &forecast.limit_draws.0,
                        forecast.limit_on,
                        assessment.membrane.replace_on,
                    ));
                }
                let began = van.elements.last().and_then(|e| e.fitted_on);
                if let Some(p50) = forecast.salt_passage.p50.filter(|_| forecast.readings > 2) {
                    now.insert(
                        van.van.clone(),
                        Level {
                            began,
                            p50,
                            ahead: ahead_of(&forecast.path, then.until),
                        },
                    );
                }
            }
            if let Ok(forecast) = &van_fit.resin
                && let Some(found) = matching(&van.van, Part::Resin, on)
            {
                past.resin.extend(held_against(
                    found,
                    then.until,
                    &forecast.limit_draws.0,
                    forecast.limit_on,
                    assessment.resin.replace_on,
                ));
            }
        }
        if let Some(before) = levels
            .len()
            .checked_sub(AHEAD_MONTHS)
            .and_then(|i| levels.get(i))
        {
            for (van, later) in &now {
                let Some(level) = before.get(van).filter(|b| b.began == later.began) else {
                    continue;
                };
                if let Some((p10, p50, p90)) = level.ahead {
                    past.ahead.push(LaterLevel {
                        p10,
                        p50,
                        p90,
                        later: later.p50,
                        before: level.p50,
                    });
                }
            }
        }
        levels.push(now);
    }
    progress(months.len(), months.len());
    past
}

struct Level {
    began: Option<Date>,
    p50: f64,
    /// Forecast three months ahead.
    ahead: Option<(f64, f64, f64)>,
}

fn ahead_of(path: &[fit::Band<Date>], from: Date) -> Option<(f64, f64, f64)> {
    let day = from.plus_months(AHEAD_MONTHS as i32);
    let after = path.iter().position(|b| b.x >= day)?;
    let (a, b) = (path.get(after.checked_sub(1)?)?, path.get(after)?);
    let span = f64::from(b.x.days_since(a.x)).max(1.0);
    let share = f64::from(day.days_since(a.x)) / span;
    let between = |x: f64, y: f64| x + share * (y - x);
    Some((
        between(a.p10, b.p10),
        between(a.p50, b.p50),
        between(a.p90, b.p90),
    ))
}

/// Ends of months after enough records and before the last month.
fn month_ends(first_day: Date, as_of: Date) -> Vec<Date> {
    let begin = first_day
        .checked_plus_days(FIRST_LOOK_DAYS)
        .unwrap_or(as_of);
    let mut out = Vec::new();
    let mut end = begin.last_of_month();
    while end < as_of && out.len() < 240 {
        out.push(end);
        end = end.first_of_month().plus_months(1).last_of_month();
    }
    out
}

/// Whether the part was in the van on that day and had not reached its limit.
fn is_open(outcome: &PartOutcome, on: Date) -> bool {
    outcome.seen_from <= on && on < outcome.until && outcome.reached_on.is_none_or(|d| d > on)
}

fn held_against(
    (number, outcome): (usize, &PartOutcome),
    made_on: Date,
    draws: &[f64],
    limit_on: Span<Date>,
    replace_on: Option<Date>,
) -> Option<Forecast> {
    let end = outcome.reached_on.unwrap_or(outcome.until);
    let days = f64::from(end.days_since(made_on));
    if draws.is_empty() || days <= 0.0 {
        return None;
    }
    let before = draws.partition_point(|d| *d <= days);
    Some(Forecast {
        part: number,
        van: outcome.van.clone(),
        began: outcome.began,
        made_on,
        limit_on,
        position: (before as f64 + 0.5) / (draws.len() as f64 + 1.0),
        outcome: end,
        reached: outcome.reached_on.is_some(),
        replace_on,
    })
}
