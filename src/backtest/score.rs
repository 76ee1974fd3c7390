//! Scores that stay honest where the end was not seen.

use crate::calendar::DateExt;
use std::collections::BTreeMap;

use serde::Serialize;

use super::replay::{Forecast, LaterLevel};
use crate::stats::life_table::{Life, life_table};

/// How the forecasts of one kind of part did.
#[derive(Debug, Clone, Serialize)]
pub struct PartScore {
    /// Parts that were forecast, and those of them whose limit was seen.
    pub parts: usize,
    pub reached: usize,
    pub forecasts: usize,
    /// Share of truths between p10 and p90 (0.8 is meant), before p10, after
    /// p90, and after p50 (0.5 is meant): parts changed before their limit
    /// count as far as they can be judged. `None` with fewer than five limits seen.
    pub within: Option<f64>,
    pub earlier_than_p10: Option<f64>,
    pub later_than_p90: Option<f64>,
    pub later_than_p50: Option<f64>,
    /// Where the limit was seen: median distance of p50 in days, and as a share
    /// of the time that was left.
    pub error_days: Option<f64>,
    pub error_share: Option<f64>,
    pub rule_of_thumb: Option<RuleScore>,
}

/// How the rule of thumb did on the parts whose limit was seen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RuleScore {
    pub parts: usize,
    /// Median distance in days, and how many limits came before the rule's day.
    pub error_days: f64,
    pub limit_came_first: usize,
}

/// Salt passage three months ahead.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Ahead {
    pub forecasts: usize,
    pub within: Option<f64>,
    /// Median relative distance of the forecast, and of taking it that nothing changes.
    pub error_share: Option<f64>,
    pub unchanged_error_share: Option<f64>,
}

/// With fewer limits seen nothing is claimed.
pub const FEWEST: usize = 5;

pub fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|v| v.is_finite());
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Scores; `rule_months` NaN where no rule of thumb goes by age.
pub fn of(forecasts: &[Forecast], rule_months: f64) -> PartScore {
    let mut by_part: BTreeMap<usize, Vec<&Forecast>> = BTreeMap::new();
    for forecast in forecasts {
        by_part.entry(forecast.part).or_default().push(forecast);
    }
    let reached = by_part
        .values()
        .filter(|f| f.first().is_some_and(|f| f.reached))
        .count();
    // Every part counts the same, however many months it was forecast.
    let positions: Vec<Life> = by_part
        .values()
        .flat_map(|list| {
            let weight = 1.0 / list.len() as f64;
            list.iter()
                .map(move |f| Life::to(f.position, f.reached).times(weight))
        })
        .collect();
    let table = (reached >= FEWEST)
        .then(|| life_table(&positions).ok())
        .flatten();
    let later_than = |p: f64| table.as_ref().map(|t| t.survival_at(p));
    let seen: Vec<&Forecast> = forecasts.iter().filter(|f| f.reached).collect();
    let miss = |f: &&Forecast| {
        f.limit_on
            .p50
            .map(|d| f64::from(d.days_since(f.outcome).abs()))
    };
    let left = |f: &Forecast| f64::from(f.outcome.days_since(f.made_on)).max(1.0);
    let enough = reached >= FEWEST;
    PartScore {
        parts: by_part.len(),
        reached,
        forecasts: forecasts.len(),
        within: later_than(0.1).zip(later_than(0.9)).map(|(a, b)| a - b),
        earlier_than_p10: later_than(0.1).map(|s| 1.0 - s),
        later_than_p90: later_than(0.9),
        later_than_p50: later_than(0.5),
        error_days: middle(seen.iter().filter_map(miss).collect()).filter(|_| enough),
        error_share: middle(
            seen.iter()
                .filter_map(|f| Some(miss(f)? / left(f)))
                .collect(),
        )
        .filter(|_| enough),
        rule_of_thumb: rule(&by_part, rule_months),
    }
}

fn rule(by_part: &BTreeMap<usize, Vec<&Forecast>>, months: f64) -> Option<RuleScore> {
    if !months.is_finite() {
        return None;
    }
    let ages: Vec<f64> = by_part
        .values()
        .filter_map(|list| list.first())
        .filter(|f| f.reached)
        .filter_map(|f| Some(f64::from(f.outcome.days_since(f.began?))))
        .collect();
    let days = 30.4375 * months;
    Some(RuleScore {
        parts: ages.len(),
        error_days: middle(ages.iter().map(|a| (a - days).abs()).collect())?,
        limit_came_first: ages.iter().filter(|a| **a < days).count(),
    })
}

pub fn ahead(levels: &[LaterLevel]) -> Ahead {
    let n = levels.len();
    let within = levels
        .iter()
        .filter(|l| l.p10 <= l.later && l.later <= l.p90)
        .count();
    let share = |of: fn(&LaterLevel) -> f64| {
        middle(
            levels
                .iter()
                .map(|l| (of(l) / l.later - 1.0).abs())
                .collect(),
        )
    };
    Ahead {
        forecasts: n,
        within: (n >= FEWEST).then(|| within as f64 / n as f64),
        error_share: share(|l| l.p50).filter(|_| n >= FEWEST),
        unchanged_error_share: share(|l| l.before).filter(|_| n >= FEWEST),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calendar::date;
    use crate::fit::Span;

    fn forecast(part: usize, position: f64, reached: bool) -> Forecast {
        let p50 = date(2026, 6, 1);
        Forecast {
            part,
            van: "QV-001".into(),
            began: Some(date(2025, 1, 1)),
            made_on: date(2026, 1, 1),
            limit_on: Span {
                p10: Some(date(2026, 4, 1)),
                p50: Some(p50),
                p90: Some(date(2026, 9, 1)),
            },
            position,
            outcome: p50.plus_days(((position - 0.5) * 100.0) as i64),
            reached,
            replace_on: None,
        }
    }

    #[test]
    fn even_positions_are_a_good_forecast() {
        let all: Vec<Forecast> = (0..20)
            .map(|i| forecast(i, (i as f64 + 0.5) / 20.0, true))
            .collect();
        let score = of(&all, 21.0);
        assert_eq!((score.parts, score.reached), (20, 20));
        assert!(
            (score.within.unwrap_or(0.0) - 0.8).abs() < 1e-9,
            "{score:?}"
        );
        assert!((score.later_than_p50.unwrap_or(0.0) - 0.5).abs() < 1e-9);
    }

    #[test]
    fn parts_changed_early_count_as_far_as_they_can_be_judged() {
        // Half of the parts are changed at the middle of their forecast: without
        // them only early limits would be left, and the forecast would look late.
        let mut all: Vec<Forecast> = (0..40)
            .map(|i| {
                let true_position = (f64::from(i) + 0.5) / 40.0;
                let censored = i % 2 == 0 && true_position > 0.5;
                forecast(
                    i as usize,
                    if censored { 0.5 } else { true_position },
                    !censored,
                )
            })
            .collect();
        let judged = of(&all, 21.0).within.unwrap_or(0.0);
        assert!((judged - 0.8).abs() < 0.06, "{judged}");
        all.retain(|f| f.reached);
        let naive = of(&all, 21.0).later_than_p50.unwrap_or(0.0);
        assert!(naive < 0.4, "{naive}");
    }

    #[test]
    fn few_limits_claim_nothing() {
        let all: Vec<Forecast> = (0..4).map(|i| forecast(i, 0.5, true)).collect();
        let score = of(&all, 21.0);
        assert_eq!((score.within, score.error_days), (None, None));
    }
}
