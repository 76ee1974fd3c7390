//! What following the suggested days would have cost, beside the rule of thumb.

use std::collections::BTreeMap;

use crate::calendar::{Date, DateExt};
use serde::Serialize;

use super::replay::{Forecast, Past};
use crate::settings::Settings;

/// Two plans on the membranes whose limit was seen.
#[derive(Debug, Clone, Serialize)]
pub struct Plans {
    pub membranes: usize,
    /// Median days between the plan's day and the limit (positive: before it),
    /// and how many membranes would have passed the limit first.
    pub suggested_days_before: f64,
    pub suggested_too_late: usize,
    pub rule_days_before: f64,
    pub rule_too_late: usize,
    /// `None` unless prices are the fleet's own.
    pub money: Option<MoneyPerYear>,
}

/// Cost of membranes and lost rounds a year of use.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MoneyPerYear {
    pub suggested: f64,
    pub rule_of_thumb: f64,
}

struct Life {
    began: Date,
    limit: Date,
    suggested: Date,
}

/// Follows the suggestion of each month-end: the part is changed on the
/// suggested day if that falls before the next look, or at once if it is past.
fn followed(list: &[&Forecast]) -> Option<Date> {
    list.iter().enumerate().find_map(|(i, f)| {
        let day = f.replace_on?;
        let next = list.get(i + 1).map_or(f.outcome, |n| n.made_on);
        (day <= next).then(|| day.max(f.made_on))
    })
}

pub fn plans(past: &Past, settings: &Settings) -> Option<Plans> {
    let mut by_part: BTreeMap<usize, Vec<&Forecast>> = BTreeMap::new();
    for forecast in past.membrane.iter().filter(|f| f.reached) {
        by_part.entry(forecast.part).or_default().push(forecast);
    }
    let lives: Vec<Life> = by_part
        .values()
        .filter_map(|list| {
            let first = list.first()?;
            Some(Life {
                began: first.began?,
                limit: first.outcome,
                // Never suggested in time: it passes its limit.
                suggested: followed(list).unwrap_or(first.outcome),
            })
        })
        .collect();
    let rule_days = 30.4375 * settings.usual_interval.membrane_months;
    let rule = |l: &Life| l.began.plus_days(rule_days as i64);
    let before = |day: Date, l: &Life| f64::from(l.limit.days_since(day));
    let prices = past.prices.own.then_some(past.prices);
    let yearly = |day: &dyn Fn(&Life) -> Date| {
        let p = prices?;
        let (mut cost, mut days) = (0.0, 0.0);
        for life in &lives {
            let on = day(life);
            cost += p.membrane + p.labour + if on >= life.limit { p.lost_day } else { 0.0 };
            days += f64::from(on.days_since(life.began)).max(1.0);
        }
        Some(365.25 * cost / days)
    };
    Some(Plans {
        membranes: lives.len(),
        suggested_days_before: super::score::middle(
            lives.iter().map(|l| before(l.suggested, l)).collect(),
        )?,
        suggested_too_late: lives.iter().filter(|l| l.suggested >= l.limit).count(),
        rule_days_before: super::score::middle(lives.iter().map(|l| before(rule(l), l)).collect())?,
        rule_too_late: lives.iter().filter(|l| rule(l) >= l.limit).count(),
        money: yearly(&|l| l.suggested)
            .zip(yearly(&rule))
            .map(|(suggested, rule_of_thumb)| MoneyPerYear {
                suggested: suggested.round(),
                rule_of_thumb: rule_of_thumb.round(),
            }),
    })
}
