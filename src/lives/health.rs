//! Remarks on what is missing or does not fit together in a van's records.

use crate::calendar::Date;

use super::days::{days_after, days_between};
use super::history_as_of::HistoryAsOf;
use super::median::median;
use super::observations::Observation;
use super::remarks::Remarks;
use super::sizes::Standing;
use super::types::{About, HardnessAt, HardnessBasis};
use crate::store::records::Item;
use crate::water::{HARDNESS_PER_PPM_MAX, hardness_from_feed_ppm};

/// What the health of the records is judged from.
pub(crate) struct Health<'a> {
    pub seen: &'a HistoryAsOf<'a>,
    pub as_of: Date,
    pub last_reading_on: Option<Date>,
    pub hardness: Option<HardnessAt>,
    pub observations: &'a [Observation],
    /// Hardness over feed ppm in this fleet.
    pub ratio: f64,
    pub membranes: u32,
    pub last_prefilter_on: Option<Date>,
    pub prefilter_days: f64,
}

const NO_FILLS_DAYS: i64 = 28;
const NO_READINGS_DAYS: i64 = 21;
/// Feed that would be this many times as hard as published contradicts it.
const CONTRADICTION: f64 = 2.0;
/// Feed readings of the last half year are held against the table.
const FEED_DAYS: i64 = 183;
const FEEDS_FROM: usize = 3;

pub(crate) fn remark(health: &Health<'_>, remarks: &mut Remarks) {
    if health.seen.standing != Standing::InService {
        return;
    }
    missing_rows(health, remarks);
    missing_probe(health, remarks);
    missing_services(health, remarks);
    hardness(health, remarks);
}

fn missing_rows(health: &Health<'_>, remarks: &mut Remarks) {
    match health.seen.fills_between() {
        None => remarks.note(
            About::Litres,
            None,
            "no tank fills recorded, so litres cannot be counted",
        ),
        Some((_, last)) if days_between(last, health.as_of) > NO_FILLS_DAYS => remarks.note(
            About::Silence,
            Some(last),
            format!(
                "no tank fills recorded since {}, so litres since then are not counted",
                in_words(last)
            ),
        ),
        Some(_) => {}
    }
    match health.last_reading_on {
        None => remarks.note(About::Silence, None, "no TDS readings recorded"),
        Some(last) if days_between(last, health.as_of) > NO_READINGS_DAYS => {
            remarks.note(
                About::Silence,
                Some(last),
                format!("no TDS readings recorded since {}", in_words(last)),
            );
        }
        Some(_) => {}
    }
}

/// Readings that never tell the membrane's rejection.
fn missing_probe(health: &Health<'_>, remarks: &mut Remarks) {
    let tells = health
        .observations
        .iter()
        .any(|observation| observation.salt_passage().is_some());
    if health.membranes > 0 && health.observations.len() >= FEEDS_FROM && !tells {
        remarks.note(
            About::Probe,
            None,
            "tap TDS and membrane TDS are never read together, so the RO membrane cannot be judged",
        );
    }
}

fn missing_services(health: &Health<'_>, remarks: &mut Remarks) {
    if health.seen.services.is_empty() {
        remarks.note(
            About::Services,
            None,
            "no jobs recorded, so the age of RO membrane, DI resin and pre-filters is not known",
        );
        return;
    }
    let recorded = |item: Item| {
        health
            .seen
            .services
            .iter()
            .any(|dated| dated.service.item == item)
    };
    if health.membranes > 0 && !recorded(Item::Membrane) {
        remarks.note(
            About::Services,
            None,
            "no RO membrane change recorded: write down when it was fitted",
        );
    }
    match health.last_prefilter_on {
        None => remarks.note(About::Services, None, "no pre-filter change recorded"),
        Some(last) if days_between(last, health.as_of) as f64 > 2.0 * health.prefilter_days => {
            remarks.note(
                About::Services,
                Some(last),
                format!(
                    "no pre-filter change recorded since {}: late, or done and not written down?",
                    in_words(last)
                ),
            );
        }
        Some(_) => {}
    }
}

fn hardness(health: &Health<'_>, remarks: &mut Remarks) {
    let Some(hardness) = health.hardness else {
        remarks.note(
            About::Hardness,
            None,
            "hardness not known: no postcode, no table, no tap TDS",
        );
        return;
    };
    match hardness.basis {
        HardnessBasis::Table => contradiction(health, hardness.mg_l_caco3, remarks),
        HardnessBasis::Estimated => remarks.note(
            About::Hardness,
            None,
            "no hardness in the table for the base's postcode; estimated from tap TDS",
        ),
        HardnessBasis::Assumed => remarks.note(
            About::Hardness,
            None,
            "no hardness known for the base; the middle of the fleet is assumed",
        ),
    }
}

/// Holds the published hardness against what the meter reads at the base's tap.
fn contradiction(health: &Health<'_>, published_mg_l: f64, remarks: &mut Remarks) {
    let since = days_after(health.as_of, -FEED_DAYS);
    // Another tap may have been another water.
    let since = health
        .seen
        .base
        .since(health.as_of)
        .map_or(since, |moved| since.max(days_after(moved, -1)));
    let mut feeds: Vec<f64> = health
        .observations
        .iter()
        .filter(|observation| observation.at_base && observation.date > since)
        .filter_map(|observation| observation.feed_ppm)
        .collect();
    if feeds.len() < FEEDS_FROM {
        return;
    }
    let Some(feed_ppm) = median(&mut feeds) else {
        return;
    };
    let most = HARDNESS_PER_PPM_MAX * feed_ppm;
    let likely = hardness_from_feed_ppm(feed_ppm, health.ratio);
    if published_mg_l > most {
        remarks.note(
            About::Hardness,
            None,
            format!(
                "the hardness table says {published_mg_l:.0} mg/L, but tap TDS is \
                 {feed_ppm:.0} ppm, which cannot hold more than {most:.0}; check the unit in \
                 the table and the TDS meter's scale"
            ),
        );
    } else if likely > CONTRADICTION * published_mg_l {
        remarks.note(
            About::Hardness,
            None,
            format!(
                "the hardness table says {published_mg_l:.0} mg/L, but tap TDS is \
                 {feed_ppm:.0} ppm, which is likely about {likely:.0}; check the unit in the \
                 table, or whether the tap is softened"
            ),
        );
    }
}

/// A day as people write it: `4 Feb 2026`.
fn in_words(date: Date) -> String {
    date.format("%-d %b %Y").to_string()
}
