//! Running faults that wear parts or waste water, where the records show them.

use crate::calendar::{Date, DateExt};

use super::{Habit, HabitRemark, in_words, litres_in_words, round_to};
use crate::fit::FleetWide;
use crate::lives::{Item, VanLives};
use crate::settings::{Prices, Settings};

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
    wide: &FleetWide,
    until: Date,
    settings: &Settings,
) -> Vec<HabitRemark> {
    [
        flush(van, until),
        late(van, wide, settings),
        valve(van, &settings.prices),
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
        .filter_map(|w| Some(w.last()?.days_since(*w.first()?)))
        .collect();
    gaps.sort_unstable();
    let usual = *gaps.get(gaps.len() / 2)?;
    let since = until.days_since(last);
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
            "Last flushed on {}: {since} days and about {} ago, against every {usual} days before.",
            in_words(last),
            litres_in_words(two_figures(litres))
        ),
    )
}

fn late(van: &VanLives, wide: &FleetWide, settings: &Settings) -> Option<HabitRemark> {
    let life = van.elements.last()?;
    let litres: f64 = life.litres_by_level.iter().sum();
    let known = van.prefilters.iter().any(|p| p.changed_on.is_some());
    let share = life.late_litres / litres;
    if !known || litres <= 0.0 || share < LATE {
        return None;
    }
    // What it does is said only where the fleet's own membranes show it.
    let wear = &wide.late_wear;
    let effect = if wear.value > 1.5 * wear.sd && wear.value * share > 0.02 {
        format!(
            " In this fleet that wears an RO membrane {:.0} % faster (likely {:.0} to {:.0} %).",
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
            "{:.0} % of the litres through this RO membrane came with pre-filters older than {:.0} days.{effect}",
            100.0 * share,
            settings.running.prefilter_days
        ),
    )
}

fn valve(van: &VanLives, prices: &Prices) -> Option<HabitRemark> {
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
                "Waste ratio {} ({:.0} % recovery): the waste is {:.1} times as strong as the tap, so scale settles. The reject valve is closed too far: open it until the waste ratio is 1 : 1 or more.",
                waste_ratio(recovery),
                100.0 * recovery,
                1.0 / (1.0 - recovery)
            ),
        )
    } else if recovery < OPEN {
        let wasted = (usual_week * (tap_per_litre - 3.0)).max(0.0);
        // Only at prices that somebody gave; water that nobody pays for costs nothing.
        let per_m3 = prices.water_per_m3.unwrap_or(0.0) + prices.drain_per_m3.unwrap_or(0.0);
        let money = if per_m3 > 0.0 {
            let a_year = two_figures(wasted * 52.18 / 1000.0 * per_m3);
            match prices.currency.as_deref() {
                Some(c) if c.chars().count() == 1 => {
                    format!(" At your prices that is about {c}{a_year:.0} a year.")
                }
                Some(c) => format!(" At your prices that is about {a_year:.0} {c} a year."),
                None => format!(" At your prices that is about {a_year:.0} a year."),
            }
        } else {
            String::new()
        };
        remark(
            Habit::ValveTooOpen,
            format!(
                "Waste ratio {} ({:.0} % recovery): about {} a week more to waste than at 2 : 1. The reject valve is open too far: close it in small steps towards 2 : 1, no further than the membrane's maker allows.{money}",
                waste_ratio(recovery),
                100.0 * recovery,
                litres_in_words(two_figures(wasted))
            ),
        )
    } else {
        None
    }
}

/// Waste to one of product: `4.6 : 1`.
fn waste_ratio(recovery: f64) -> String {
    format!("{:.1} : 1", 1.0 / recovery - 1.0)
}

/// To two figures: what is printed claims no more than is known.
fn two_figures(value: f64) -> f64 {
    if value < 1.0 {
        return 0.0;
    }
    let step = 10f64.powf(value.log10().floor() - 1.0).max(1.0);
    round_to(value, step)
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
    (until.days_since(ended) <= STILL_FOR_DAYS).then(|| HabitRemark {
        habit: Habit::StandStill,
        text: format!(
            "No fills for {weeks} weeks from {}: standing water can grow bacteria, and TDS creeps up behind a membrane at rest. Flush weekly while laid up; before use drain, flush and disinfect tank and hoses (keep chlorine off membrane and resin).",
            in_words(from)
        ),
    })
}

#[cfg(test)]
mod tests {
    use crate::calendar::date;

    use super::*;
    use crate::lives::fixture;

    /// A van cut from invented rows, with what its habits are judged from put in.
    fn van() -> VanLives {
        let history = fixture::weekly(date(2026, 6, 1), 4, |_| 9.0, |_| 0.0);
        fixture::only_van(&fixture::fleet(history), date(2026, 6, 30))
    }

    #[test]
    fn water_paid_for_and_drained_is_counted_and_priced() {
        let mut van = van();
        van.membranes = 1;
        van.recovery = Some(0.20);
        van.weeks.iter_mut().for_each(|w| w.litres = 1500.0);
        let prices = Prices::default();
        // 1500·(1/0.20 − 3) = 3000 L a week, 156 m³ a year.
        let open = valve(&van, &prices).unwrap();
        assert_eq!(open.habit, Habit::ValveTooOpen);
        assert!(
            open.text.contains("3,000 L") && !open.text.contains("prices"),
            "{}",
            open.text
        );
        let prices = Prices {
            water_per_m3: Some(2.0),
            drain_per_m3: Some(1.0),
            currency: Some("GBP".to_owned()),
            ..prices
        };
        // 156.5 m³ at 3.00: 470.
        assert!(
            valve(&van, &prices)
                .unwrap()
                .text
                .contains("470 GBP a year")
        );
        van.recovery = Some(0.60);
        let tight = valve(&van, &prices).unwrap();
        assert!(tight.habit == Habit::ValveTooTight && tight.text.contains("2.5 times"));
        van.recovery = Some(0.35);
        assert_eq!(valve(&van, &prices), None);
        van.recovery = None;
        assert_eq!(valve(&van, &prices), None);
    }

    #[test]
    fn a_flush_is_missed_only_where_flushes_are_written_down() {
        let mut van = van();
        let until = date(2026, 6, 30);
        assert_eq!(flush(&van, until), None);
        let mark = |date: Date| crate::lives::ServiceMark {
            date,
            item: Item::Flush,
            quantity: None,
            cost: None,
            part: None,
            note: None,
            inferred: false,
        };
        van.services = [
            date(2026, 1, 1),
            date(2026, 1, 15),
            date(2026, 1, 29),
            date(2026, 2, 12),
        ]
        .map(mark)
        .to_vec();
        let said = flush(&van, until).unwrap();
        assert!(
            said.text.contains("138 days") && said.text.contains("every 14 days"),
            "{}",
            said.text
        );
        assert_eq!(flush(&van, date(2026, 2, 25)), None);
    }
}
