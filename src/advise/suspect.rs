//! What to check first when a membrane's salt passage alarms.

use super::{Suspect, in_words};
use crate::fit::MembraneForecast;
use crate::lives::{ElementLife, VanLives};

/// Share of litres made behind overdue pre-filters from which they are asked first.
const LATE_SHARE: f64 = 0.25;
/// A change of one probe's level, as a ratio, that is no ordinary scatter.
const PROBE_SHIFT: f64 = 1.25;

/// The first thing to check, with the fact behind it as part of a sentence.
pub fn suspect(
    van: &VanLives,
    life: &ElementLife,
    forecast: &MembraneForecast,
    neighbours_feed_shift: Option<f64>,
) -> (Suspect, String) {
    let late = life
        .litres_made
        .filter(|l| *l > 0.0)
        .map_or(0.0, |l| life.late_litres / l);
    if let Some((feed, permeate)) = shifts(life, forecast) {
        let feed_moved = !(1.0 / PROBE_SHIFT..=PROBE_SHIFT).contains(&feed);
        let permeate_still = (0.87..1.15).contains(&permeate);
        if feed_moved && permeate_still {
            let together = neighbours_feed_shift.is_some_and(|n| (n / feed).ln().abs() < 0.12);
            return if together {
                (
                    Suspect::Feed,
                    format!("the tap reads {feed:.1} times what it did, on neighbouring vans too"),
                )
            } else {
                (
                    Suspect::Probe,
                    format!(
                        "the tap reads {feed:.1} times what it did while the water after the membrane reads the same"
                    ),
                )
            };
        }
    }
    if late > LATE_SHARE && van.prefilters.iter().any(|p| p.changed_on.is_some()) {
        return (
            Suspect::Prefilter,
            format!(
                "{:.0} % of its litres were made behind overdue pre-filters",
                100.0 * late
            ),
        );
    }
    match &forecast.step {
        Some(step) => (
            Suspect::Membrane,
            format!(
                "what comes through rose {:.1}-fold at once around {}",
                step.ratio,
                in_words(step.date)
            ),
        ),
        None => {
            let fact = if forecast.p_fast >= 0.95 {
                "it declines faster than 95 % of membranes would in this water"
            } else {
                "it may be declining faster than membranes should in this water"
            };
            (Suspect::Membrane, fact.to_owned())
        }
    }
}

/// Newest over oldest level of tap and of water after the membrane, on this
/// element; from the step on where there is one.
fn shifts(life: &ElementLife, forecast: &MembraneForecast) -> Option<(f64, f64)> {
    let split = match &forecast.step {
        Some(step) => life.points.iter().position(|p| p.date >= step.date)?,
        None => life.points.len().checked_sub(5)?,
    };
    let (before, after) = life.points.split_at_checked(split)?;
    let level = |points: &[crate::lives::PassagePoint],
                 of: fn(&crate::lives::PassagePoint) -> f64| {
        let mut values: Vec<f64> = points.iter().map(of).collect();
        values.sort_by(f64::total_cmp);
        values.get(values.len() / 2).copied().filter(|v| *v > 0.0)
    };
    let newest = before.get(before.len().saturating_sub(8)..)?;
    Some((
        level(after, |p| p.feed_ppm)? / level(newest, |p| p.feed_ppm)?,
        level(after, |p| p.permeate_ppm)? / level(newest, |p| p.permeate_ppm)?,
    ))
}

/// How the tap moved on the other vans of the district over the last weeks, as
/// the median of newest over earlier readings.
pub fn neighbours_feed_shift<'a>(others: impl Iterator<Item = &'a VanLives>) -> Option<f64> {
    let mut ratios: Vec<f64> = others
        .filter_map(|v| {
            let points = &v.elements.last()?.points;
            let (before, after) = points.split_at_checked(points.len().checked_sub(4)?)?;
            let middle = |p: &[crate::lives::PassagePoint]| {
                let mut feed: Vec<f64> = p.iter().map(|p| p.feed_ppm).collect();
                feed.sort_by(f64::total_cmp);
                feed.get(feed.len() / 2).copied().filter(|f| *f > 0.0)
            };
            Some(middle(after)? / middle(before.get(before.len().saturating_sub(8)..)?)?)
        })
        .collect();
    ratios.sort_by(f64::total_cmp);
    ratios.get(ratios.len() / 2).copied()
}
