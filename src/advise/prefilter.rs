//! When the pre-filters are due: days or chlorine taken up, whichever comes first.

use crate::calendar::{Date, DateExt};

use super::plan::{Early, MOST_EARLY_DAYS};
use super::prices::DecisionPrices;
use super::{
    PrefilterAssessment, State, WeekLate, add_days, litres_in_words, round_to, state_by_date,
};
use crate::lives::{End, VanLives};
use crate::settings::{Running, Settings};

/// Days until a set has taken up its chlorine at this use; infinite without use.
pub fn chlorine_days(running: &Running, recovery: Option<f64>, litres_per_day: f64) -> f64 {
    let feed_litres = 1000.0 * running.prefilter_chlorine_g / running.chlorine_mg_l.max(1e-9);
    let made = feed_litres * recovery.unwrap_or(running.recovery);
    if litres_per_day > 0.0 {
        made / litres_per_day
    } else {
        f64::INFINITY
    }
}

/// What wears a membrane behind spent pre-filters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wear {
    /// How much more than usual a late litre wears, as fitted: 0.3 for 30 %.
    pub late: f64,
    /// Long-run cost of membranes per litre of water here; `None` without one's
    /// own prices.
    pub membrane_per_litre: Option<f64>,
}

pub fn assess(
    van: &VanLives,
    settings: &Settings,
    as_of: Date,
    prices: &DecisionPrices,
    wear: &Wear,
) -> PrefilterAssessment {
    let life = van.prefilters.last().filter(|p| p.end == End::InUse);
    let Some(changed_on) = life.and_then(|l| l.changed_on) else {
        return PrefilterAssessment {
            changed_on: None,
            replace_on: None,
            state: State::Unknown,
            reason: "No forecast: no pre-filter change recorded.".to_owned(),
            by_chlorine_on: None,
            by_days_on: None,
            week_late: None,
            early: Vec::new(),
        };
    };
    let running = &settings.running;
    // Its own litres since the change, not a forecast: the day must not move on its own.
    let made = life.and_then(|l| l.litres_made).unwrap_or(0.0);
    let last = van.fills_between.map_or(changed_on, |f| f.1);
    let days_in_use = f64::from(last.days_since(changed_on)).max(1.0);
    let per_day = if days_in_use >= 14.0 {
        made / days_in_use
    } else {
        recent_per_day(van)
    };
    let recovery = if van.membranes == 0 {
        Some(1.0)
    } else {
        van.recovery
    };
    let by_chlorine = chlorine_days(running, recovery, per_day);
    let days = running.prefilter_days.min(by_chlorine);
    let replace_on = add_days(changed_on, days);
    let state = state_by_date(Some(replace_on), as_of, settings).unwrap_or(State::OnCourse);
    let why = if by_chlorine < running.prefilter_days {
        format!(
            "at {} a week their carbon lasts {days:.0} days against chlorine",
            litres_in_words(round_to(per_day * 7.0, 10.0))
        )
    } else {
        format!("they should last {days:.0} days")
    };
    let since = as_of.days_since(changed_on);
    // Without a membrane behind it there is nothing to wear.
    let week_late = (van.membranes > 0 && per_day > 0.0).then(|| WeekLate {
        membrane_days: round_to(7.0 * wear.late, 0.1),
        cost: wear
            .membrane_per_litre
            .map(|c| round_to(7.0 * per_day * wear.late * c, 0.01)),
    });
    let late = week_late
        .filter(|w| w.membrane_days >= 0.5)
        .map_or(String::new(), |w| {
            format!(
                " Each week late costs the membrane about {:.0} day{} of life.",
                w.membrane_days.max(1.0),
                if w.membrane_days < 1.5 { "" } else { "s" }
            )
        });
    PrefilterAssessment {
        changed_on: Some(changed_on),
        replace_on: Some(replace_on),
        state,
        reason: format!("Changed {since} days ago; {why}.{late}"),
        by_chlorine_on: (by_chlorine < 4000.0).then(|| add_days(changed_on, by_chlorine)),
        by_days_on: Some(add_days(changed_on, running.prefilter_days)),
        week_late,
        // A set given up early loses its share of set and work.
        early: vec![Early {
            days: MOST_EARLY_DAYS,
            cost: (prices.prefilter + prices.labour) * MOST_EARLY_DAYS / days.max(1.0),
        }],
    }
}

fn recent_per_day(van: &VanLives) -> f64 {
    let weeks = van
        .weeks
        .get(van.weeks.len().saturating_sub(9)..)
        .unwrap_or_default();
    weeks.iter().map(|w| w.litres).sum::<f64>() / (7.0 * weeks.len().max(1) as f64)
}
