//! Habits that shorten lives or cost water, where the records show them.

use jiff::civil::Date;

use super::{Habit, HabitRemark, in_words, litres_in_words, round_to};
use crate::fit::FleetFit;
use crate::lives::{Item, VanLives};
use crate::settings::Settings;

/// Recovery above which scale settles, and below which water is wasted (common
/// practice, no source: 25 to 50 %).
const TIGHT: f64 = 0.50;
const OPEN: f64 = 0.25;
/// Share of a membrane's litres behind late pre-filters that is worth a word.
const LATE: f64 = 0.05;
/// Weeks without a fill after which water has stood.
const STILL_WEEKS: usize = 3;
/// How long a stand-still is remembered, days.
const STILL_FOR_DAYS: i32 = 92;

pub fn of_van(
    van: &VanLives,
    fit: &FleetFit,
    until: Date,
    settings: &Settings,
) -> Vec<HabitRemark> {
    [
        flush(van, until),
        late(van, fit, settings),
        valve(van),
        stand_still(van, until),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn remark(habit: Habit, text: String) -> Option<HabitRemark> {
    Some(HabitRemark { habit, text })
}

/// Only where this van's flushes are written down: silence says nothing else.
fn flush(van: &VanLives, until: Date) -> Option<HabitRemark> {
    let flushes: Vec<Date> = van
        .services
        .iter()
        .filter(|s| s.item == Item::Flush)
        .map(|s| s.date)
        .collect();
    let last = *flushes.last()?;
    let mut gaps: Vec<i32> = flushes
        .windows(2)
        .filter_map(|w| Some((*w.last()? - *w.first()?).get_days()))
        .collect();
    gaps.sort_unstable();
    let usual = *gaps.get(gaps.len() / 2)?;
    let since = (until - last).get_days();
    if gaps.len() < 2 || since <= 2 * usual.max(15) {
        return None;
    }
    let litres: f64 = van
        .weeks
        .iter()
        .filter(|w| w.monday >= last)
        .map(|w| w.litres)
        .sum();
    remark(
        Habit::FlushForgotten,
        format!(
            "Last flushed on {}, {since} days and about {} ago; it used to be every {usual} days.",
            in_words(last),
            litres_in_words(two_figures(litres))
        ),
    )
}

fn late(van: &VanLives, fit: &FleetFit, settings: &Settings) -> Option<HabitRemark> {
    let life = van.elements.last()?;
    let litres: f64 = life.litres_by_level.iter().sum();
    let known = van.prefilters.iter().any(|p| p.changed_on.is_some());
    let share = life.late_litres / litres;
    if !known || litres <= 0.0 || share < LATE {
        return None;
    }
    // What it does is said only where the fleet's own membranes show it.
    let wear = &fit.late_wear;
    let effect = if wear.value > 1.5 * wear.sd && wear.value * share > 0.02 {
        format!(
            " In this fleet that wears a membrane {:.0} % faster (likely {:.0} to {:.0} %).",
            100.0 * wear.value * share,
            100.0 * (wear.value - 1.28 * wear.sd).max(0.0) * share,
            100.0 * (wear.value + 1.28 * wear.sd) * share
        )
    } else {
        String::new()
    };
    remark(
        Habit::PrefiltersLate,
        format!(
            "{:.0} % of this membrane's litres were made with pre-filters older than {:.0} days.{effect}",
            100.0 * share,
            settings.habits.prefilter_days
        ),
    )
}

fn valve(van: &VanLives) -> Option<HabitRemark> {
    let recovery = van.recovery.filter(|_| van.membranes > 0)?;
    let tap_per_litre = 1.0 / recovery;
    let usual_week = {
        let recent = van.weeks.get(van.weeks.len().saturating_sub(9)..)?;
        recent.iter().map(|w| w.litres).sum::<f64>() / recent.len().max(1) as f64
    };
    if recovery > TIGHT {
        remark(
            Habit::ValveTooTight,
            format!(
                "{:.0} % of the tap water becomes pure: the waste is {:.1} times as strong as the tap, and scale settles. Open the waste valve to 50 % or less.",
                100.0 * recovery,
                1.0 / (1.0 - recovery)
            ),
        )
    } else if recovery < OPEN {
        remark(
            Habit::ValveTooOpen,
            format!(
                "{:.0} % of the tap water becomes pure: about {} of tap water a week go to the drain beyond what a third would waste.",
                100.0 * recovery,
                litres_in_words(two_figures((usual_week * (tap_per_litre - 3.0)).max(0.0)))
            ),
        )
    } else {
        None
    }
}

/// To two figures: what is printed claims no more than is known.
fn two_figures(litres: f64) -> f64 {
    if litres < 1.0 {
        return 0.0;
    }
    let step = 10f64.powf(litres.log10().floor() - 1.0).max(1.0);
    round_to(litres, step)
}

/// The longest run of weeks without a fill that ended, or goes on, of late.
fn stand_still(van: &VanLives, until: Date) -> Option<HabitRemark> {
    let (_, last_fill) = van.fills_between?;
    let mut run: Option<(Date, usize)> = None;
    let mut found: Option<(Date, usize, Date)> = None;
    for week in &van.weeks {
        if week.litres > 0.0 {
            if let Some((from, weeks)) = run.take().filter(|r| r.1 >= STILL_WEEKS) {
                found = Some((from, weeks, week.monday));
            }
        } else if week.monday <= last_fill {
            run = Some(run.map_or((week.monday, 1), |(from, n)| (from, n + 1)));
        }
    }
    let (from, weeks, ended) = found?;
    ((until - ended).get_days() <= STILL_FOR_DAYS).then(|| HabitRemark {
        habit: Habit::StandStill,
        text: format!(
            "No water was made for {weeks} weeks from {}: water that stood there can grow germs, and salt creeps through a membrane at rest. Drain, flush and disinfect after such a time.",
            in_words(from)
        ),
    })
}
