//! Readings as they serve for fitting: repeats within ten minutes made one,
//! copied rows thinned, swapped probes put right.

use std::sync::Arc;

use crate::calendar::{Date, DateExt};

use super::days::Days;
use super::history_as_of::HistoryAsOf;
use super::median::median;
use super::postcode::Postcode;
use super::remarks::{Remarks, Repeated};
use super::season::TapSeason;
use super::slips;
use super::types::About;
use crate::store::records::{Instant, Reading};

/// One look at the meters: the median of readings taken within ten minutes.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Observation {
    pub at: Instant,
    pub date: Date,
    /// Whether only the day is known.
    pub day_only: bool,
    pub at_base: bool,
    pub feed_ppm: Option<f64>,
    pub permeate_ppm: Option<f64>,
    pub product_ppm: Option<f64>,
    pub water_c: Option<f64>,
    /// What the season makes of the tap on that day.
    pub seasonal_c: f64,
    pub feed_bar: Option<f64>,
    pub permeate_lpm: Option<f64>,
    pub concentrate_lpm: Option<f64>,
    /// See [`super::changes::regimes`].
    pub regime: u32,
}

impl Observation {
    /// Permeate over feed where both are read and make sense together.
    pub(crate) fn salt_passage(&self) -> Option<f64> {
        let feed = self.feed_ppm.filter(|feed| *feed > 0.0)?;
        let permeate = self.permeate_ppm?;
        (permeate < PERMEATE_AT_MOST * feed).then(|| permeate.max(SMALLEST_PPM) / feed)
    }

    fn triple(&self) -> [Option<f64>; 3] {
        [self.feed_ppm, self.permeate_ppm, self.product_ppm]
    }
}

/// The newest notes written beside readings.
const NOTES_KEPT: usize = 12;
/// Readings closer than this are one look.
const ONE_LOOK_MICROS: i64 = 600_000_000;
/// A permeate above this share of the feed is a fault of the probes.
const PERMEATE_AT_MOST: f64 = 1.1;
/// Meters resolve 1 ppm: what reads 0 is less than half of that.
const SMALLEST_PPM: f64 = 0.4;
/// A permeate of 0 beside a feed above this is a meter that does not read:
/// the best new element still lets a hundredth through.
const FEED_THAT_SHOWS_PPM: f64 = 100.0;
/// So many looks in a row with the same figures are copies; more where the
/// feed is so low that whole ppm do repeat.
const COPIES_FROM: usize = 4;
const COPIES_FROM_IN_SOFT_WATER: usize = 8;
/// Swapping must change the order by this much to be believed.
const SWAP_AT_LEAST: f64 = 5.0;

/// A van's looks, oldest first. `season`: that of its tap.
pub(crate) fn observations(
    seen: &HistoryAsOf<'_>,
    season: &TapSeason,
    days: &Days,
    remarks: &mut Remarks,
) -> Vec<Observation> {
    let mut observations: Vec<Observation> = Vec::with_capacity(seen.readings.len());
    let mut rest = seen.readings;
    while let Some(first) = rest.first() {
        let together = rest
            .iter()
            .take_while(|r| {
                r.taken_at.0 - first.taken_at.0 <= ONE_LOOK_MICROS && r.postcode == first.postcode
            })
            .count()
            .max(1);
        let (group, after) = rest.split_at(together);
        observations.push(one_look(group, seen, season, days));
        rest = after;
    }
    let noted = seen.readings.iter().rev();
    let noted = noted.filter_map(|r| Some((r.taken_at, r.note.as_deref()?)));
    for (at, note) in noted.take(NOTES_KEPT) {
        remarks.note(About::Note, Some(days.date(at)), note);
    }
    put_right(&mut observations, remarks);
    slips::leave_out(&mut observations, remarks);
    thin_copies(observations, remarks)
}

fn one_look(
    group: &[Reading],
    seen: &HistoryAsOf<'_>,
    season: &TapSeason,
    days: &Days,
) -> Observation {
    let first = group.first();
    let at = first.map_or(Instant(0), |r| r.taken_at);
    let date = days.date(at);
    let of = |field: fn(&Reading) -> Option<f64>| match group {
        [one] => field(one),
        _ => median(&mut group.iter().filter_map(field).collect::<Vec<f64>>()),
    };
    Observation {
        at,
        date,
        day_only: first.is_some_and(|r| r.day_position.is_some()),
        at_base: is_at_base(first.and_then(|r| r.postcode.as_ref()), seen, date),
        feed_ppm: of(|r| r.feed_ppm),
        permeate_ppm: of(|r| r.permeate_ppm),
        product_ppm: of(|r| r.product_ppm),
        water_c: of(|r| r.water_c),
        seasonal_c: season.on(f64::from(date.day_of_year())),
        feed_bar: of(|r| r.feed_bar),
        permeate_lpm: of(|r| r.permeate_lpm),
        concentrate_lpm: of(|r| r.concentrate_lpm),
        regime: 0,
    }
}

fn is_at_base(place: Option<&Arc<str>>, seen: &HistoryAsOf<'_>, date: Date) -> bool {
    let Some(place) = place.and_then(|text| seen.places.find(text)) else {
        return true;
    };
    seen.base
        .on(date)
        .and_then(Postcode::district_or_area)
        .is_some_and(|base| place.district_or_area() == Some(base))
}

/// Swaps feed and permeate back where that alone restores order, and drops
/// figures that cannot be readings.
fn put_right(observations: &mut [Observation], remarks: &mut Remarks) {
    let usual_feed = median(
        &mut observations
            .iter()
            .filter(|observation| observation.salt_passage().is_some_and(|sp| sp < 1.0))
            .filter_map(|observation| observation.feed_ppm)
            .collect::<Vec<f64>>(),
    );
    for observation in observations {
        if observation.feed_ppm == Some(0.0) {
            // A meter that is off reads 0 everywhere: its other zeros are none either.
            for ppm in [
                &mut observation.feed_ppm,
                &mut observation.permeate_ppm,
                &mut observation.product_ppm,
            ] {
                *ppm = ppm.filter(|ppm| *ppm > 0.0);
            }
            remarks.count(Repeated::TapReadsZero, observation.date);
        }
        let (Some(feed), Some(permeate)) = (observation.feed_ppm, observation.permeate_ppm) else {
            continue;
        };
        let fits = usual_feed.is_none_or(|usual| (usual / 2.0..usual * 2.0).contains(&permeate));
        if permeate > SWAP_AT_LEAST * feed && fits {
            observation.feed_ppm = Some(permeate);
            observation.permeate_ppm = Some(feed);
            remarks.count(Repeated::SwappedProbes, observation.date);
        } else if permeate >= PERMEATE_AT_MOST * feed {
            remarks.count(Repeated::MembraneNotBelowTap, observation.date);
        } else if permeate == 0.0 && feed > FEED_THAT_SHOWS_PPM {
            observation.permeate_ppm = None;
            remarks.count(Repeated::MembraneReadsZero, observation.date);
        }
    }
}

/// Keeps the first of a run of looks with the same figures.
fn thin_copies(mut observations: Vec<Observation>, remarks: &mut Remarks) -> Vec<Observation> {
    let mut copies: Vec<usize> = Vec::new();
    let mut begin = 0;
    for run in observations.chunk_by(|a, b| a.triple() == b.triple()) {
        if is_copied(run) {
            copies.extend(begin + 1..begin + run.len());
            for copy in run.iter().skip(1) {
                remarks.count(Repeated::CopiedReading, copy.date);
            }
        }
        begin += run.len();
    }
    let (mut number, mut copies) = (0, copies.into_iter().peekable());
    observations.retain(|_| {
        number += 1;
        copies.next_if_eq(&(number - 1)).is_none()
    });
    observations
}

/// Whether looks in a row with the same figures are too many to be readings.
fn is_copied(run: &[Observation]) -> bool {
    let Some(first) = run.first() else {
        return false;
    };
    let shows = first
        .feed_ppm
        .is_some_and(|feed| feed > FEED_THAT_SHOWS_PPM);
    let copies_from = if shows {
        COPIES_FROM
    } else {
        COPIES_FROM_IN_SOFT_WATER
    };
    run.len() >= copies_from && first.triple().iter().flatten().count() >= 2
}
