//! When the pre-filters are due: days or chlorine taken up, whichever comes first.

use jiff::civil::Date;

use super::{PrefilterAssessment, State, add_days, litres_in_words, round_to, state_by_date};
use crate::lives::{End, VanLives};
use crate::settings::{Habits, Settings};

/// Days until a set has taken up its chlorine at this use; infinite without use.
pub fn chlorine_days(habits: &Habits, recovery: Option<f64>, litres_per_day: f64) -> f64 {
    let feed_litres = 1000.0 * habits.prefilter_chlorine_g / habits.chlorine_mg_l.max(1e-9);
    let made = feed_litres * recovery.unwrap_or(habits.recovery);
    if litres_per_day > 0.0 {
        made / litres_per_day
    } else {
        f64::INFINITY
    }
}

pub fn assess(van: &VanLives, settings: &Settings, as_of: Date) -> PrefilterAssessment {
    let life = van.prefilters.last().filter(|p| p.end == End::InUse);
    let Some(changed_on) = life.and_then(|l| l.changed_on) else {
        return PrefilterAssessment {
            changed_on: None,
            replace_on: None,
            state: State::Unknown,
            reason: "No pre-filter change is on record.".to_owned(),
        };
    };
    let habits = &settings.habits;
    // Its own litres since the change, not a forecast: the day must not move on its own.
    let made = life.and_then(|l| l.litres_made).unwrap_or(0.0);
    let last = van.fills_between.map_or(changed_on, |f| f.1);
    let days_in_use = f64::from((last - changed_on).get_days()).max(1.0);
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
    let by_chlorine = chlorine_days(habits, recovery, per_day);
    let days = habits.prefilter_days.min(by_chlorine);
    let replace_on = add_days(changed_on, days);
    let state = state_by_date(Some(replace_on), as_of, settings).unwrap_or(State::OnCourse);
    let why = if by_chlorine < habits.prefilter_days {
        format!(
            "at {} a week its chlorine capacity lasts {days:.0} days",
            litres_in_words(round_to(per_day * 7.0, 10.0))
        )
    } else {
        format!("it is meant to last {days:.0} days")
    };
    let since = (as_of - changed_on).get_days();
    PrefilterAssessment {
        changed_on: Some(changed_on),
        replace_on: Some(replace_on),
        state,
        reason: format!("Changed {since} days ago; {why}."),
    }
}

fn recent_per_day(van: &VanLives) -> f64 {
    let weeks = van
        .weeks
        .get(van.weeks.len().saturating_sub(9)..)
        .unwrap_or_default();
    weeks.iter().map(|w| w.litres).sum::<f64>() / (7.0 * weeks.len().max(1) as f64)
}
