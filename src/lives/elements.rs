//! Membrane elements: lives with the water they drank and their salt passage.

use crate::calendar::{Date, DateExt};

use super::changes::Change;
use super::days::MICROS_PER_DAY;
use super::fills;
use super::observations::Observation;
use super::passage::passages;
use super::sizes::Standing;
use super::types::{ElementLife, End, LitresByLevel, PassagePoint, Start};
use super::usage::PermeateVolume;
use crate::store::records::Instant;
use crate::water::water_temperature_factor;

/// What all lives of a van are cut from.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Material<'a> {
    /// Oldest first.
    pub observations: &'a [Observation],
    /// Mains fills, oldest first.
    pub made: &'a [PermeateVolume],
    /// Days of all fills, bought-in ones included, oldest first.
    pub fill_dates: &'a [Date],
    pub in_service_on: Option<Date>,
    pub standing: Standing,
    /// Where records end.
    pub until: Date,
    /// Stands in for water that was never filled.
    pub base_hardness_mg_l: f64,
}

/// A stretch of time between two changes, with the rows that fall into it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stretch<'a> {
    pub change: Option<&'a Change>,
    pub next: Option<&'a Change>,
    pub observations: &'a [Observation],
    pub made: &'a [PermeateVolume],
}

impl<'a> Stretch<'a> {
    pub(crate) fn start(&self) -> Start {
        self.change
            .map_or(Start::BeforeRecords, |change| change.start)
    }

    pub(crate) fn end(&self, standing: Standing) -> End {
        match (self.next, standing) {
            (Some(next), _) => End::Replaced(next.date),
            (None, Standing::Retired(out)) => End::Replaced(out),
            (None, _) => End::InUse,
        }
    }

    /// First day with any row of this life.
    pub(crate) fn seen_from(&self, until: Date) -> Date {
        let first_row = [
            self.observations
                .first()
                .map(|observation| observation.date),
            self.made.first().map(|fill| fill.date),
        ]
        .into_iter()
        .flatten()
        .min();
        self.change
            .map(|change| change.date)
            .or(first_row)
            .unwrap_or(until)
    }
}

impl<'a> Material<'a> {
    /// Rows cut at the changes, oldest first. The stretch before the first
    /// change is there only if it has rows.
    pub(crate) fn stretches(&self, changes: &'a [Change]) -> Vec<Stretch<'a>> {
        let mut stretches = Vec::with_capacity(changes.len() + 1);
        let (mut observations, mut made) = (self.observations, self.made);
        let starts = std::iter::once(None).chain(changes.iter().map(Some));
        let nexts = changes.iter().map(Some).chain(std::iter::once(None));
        for (change, next) in starts.zip(nexts) {
            let until = next.map_or(Instant(i64::MAX), |next| next.from);
            let here = observations.partition_point(|observation| observation.at < until);
            let (own_looks, later_looks) = observations.split_at(here);
            let filled = made.partition_point(|fill| fill.at < until);
            let (own_made, later_made) = made.split_at(filled);
            (observations, made) = (later_looks, later_made);
            if change.is_some() || !own_looks.is_empty() || !own_made.is_empty() {
                stretches.push(Stretch {
                    change,
                    next,
                    observations: own_looks,
                    made: own_made,
                });
            }
        }
        stretches
    }

    /// Whether the fills cover a life, so that its litres are known.
    fn fills_cover(&self, stretch: &Stretch<'_>) -> bool {
        let observations = stretch
            .observations
            .iter()
            .map(|observation| observation.date);
        let begins = stretch
            .change
            .map(|change| change.date.max(self.in_service_on.unwrap_or(Date::MIN)));
        let ends = stretch.next.map(|next| next.date);
        fills::cover(self.fill_dates, observations, begins, ends)
    }

    /// Mains-fed litres of a life, if its fills are recorded.
    pub(crate) fn litres(&self, stretch: &Stretch<'_>) -> Option<f64> {
        self.fills_cover(stretch)
            .then(|| stretch.made.iter().map(|fill| fill.litres).sum())
    }
}

/// Hardness is kept in steps of this ratio.
const LEVEL_RATIO: f64 = 1.05;
/// Days for which the flow of a timed fill holds.
const FLOW_KEEPS_DAYS: i32 = 3;

/// Number of the 5 % step nearest to a hardness.
fn level_of(hardness_mg_l: f64) -> i32 {
    (hardness_mg_l.max(1.0).ln() / LEVEL_RATIO.ln()).round() as i32
}

/// The element lives of a van, oldest first.
pub(crate) fn lives(material: &Material<'_>, changes: &[Change]) -> Vec<ElementLife> {
    material
        .stretches(changes)
        .iter()
        .map(|stretch| life(material, stretch))
        .collect()
}

fn life(material: &Material<'_>, stretch: &Stretch<'_>) -> ElementLife {
    // Fills in a row mostly drink the same water.
    let changed = stretch
        .made
        .chunk_by(|a, b| a.hardness_mg_l_caco3 == b.hardness_mg_l_caco3);
    let mut levels: Vec<i32> = changed
        .filter_map(<[PermeateVolume]>::first)
        .map(|fill| level_of(fill.hardness_mg_l_caco3))
        .collect();
    levels.sort_unstable();
    levels.dedup();
    if levels.is_empty() {
        levels.push(level_of(material.base_hardness_mg_l));
    }
    let mut volume = CumulativeVolume {
        litres: vec![0.0; levels.len()],
        late_litres: 0.0,
        levels: &levels,
        last: None,
    };
    let points = points(stretch, &mut volume);
    ElementLife {
        fitted_on: stretch.change.map(|change| change.date),
        start: stretch.start(),
        end: stretch.end(material.standing),
        part: stretch.change.and_then(|change| change.part.clone()),
        seen_from: stretch.seen_from(material.until),
        hardness_levels: levels.iter().map(|n| LEVEL_RATIO.powi(*n)).collect(),
        late_litres: volume.late_litres,
        litres_by_level: volume.litres,
        litres_made: material.litres(stretch),
        points,
    }
}

/// Running litres of one life.
struct CumulativeVolume<'a> {
    litres: Vec<f64>,
    late_litres: f64,
    levels: &'a [i32],
    /// Hardness of the fill before, and the number of its level.
    last: Option<(f64, Option<usize>)>,
}

impl CumulativeVolume<'_> {
    fn add(&mut self, fill: &PermeateVolume) {
        let hardness = fill.hardness_mg_l_caco3;
        let known = self.last.filter(|last| last.0 == hardness);
        let (_, number) = known.unwrap_or_else(|| {
            (
                hardness,
                self.levels.binary_search(&level_of(hardness)).ok(),
            )
        });
        self.last = Some((hardness, number));
        if let Some(litres) = number.and_then(|n| self.litres.get_mut(n)) {
            *litres += fill.litres;
        }
        if fill.late {
            self.late_litres += fill.litres;
        }
    }
}

/// Salt passage points with the litres up to each; afterwards `drunk` holds
/// the whole life's.
fn points(stretch: &Stretch<'_>, volume: &mut CumulativeVolume<'_>) -> Vec<PassagePoint> {
    let mut fills = stretch.made.iter().peekable();
    let mut points = Vec::new();
    let read = stretch
        .observations
        .iter()
        .filter(|observation| observation.permeate_lpm.is_some())
        .count();
    // One kind of flow for the whole life: the two need not agree.
    let by_fills = 2 * read < stretch.observations.len();
    let mut fill_lpm = None;
    for (observation, passage) in stretch
        .observations
        .iter()
        .zip(passages(stretch.observations))
    {
        while let Some(fill) = fills.next_if(|fill| fill.at <= observation.at) {
            volume.add(fill);
            fill_lpm = fill
                .lpm
                .filter(|_| observation.date.days_since(fill.date) <= FLOW_KEEPS_DAYS);
        }
        let (Some(passage), Some(feed_ppm), Some(permeate_ppm)) =
            (passage, observation.feed_ppm, observation.permeate_ppm)
        else {
            continue;
        };
        if is_settling(stretch.change, observation) {
            continue;
        }
        points.push(PassagePoint {
            at: observation.at,
            date: observation.date,
            raw: passage.raw,
            salt_passage: passage.salt_passage,
            sd_ln: passage.sd_ln,
            theta_lever: passage.theta_lever,
            litres_by_level: LitresByLevel::from_slice(&volume.litres),
            late_litres: volume.late_litres,
            at_base: observation.at_base,
            feed_ppm,
            permeate_ppm,
            product_ppm: observation.product_ppm,
            regime: observation.regime,
            feed_bar: observation.feed_bar,
            flow_lpm_25: if by_fills {
                fill_lpm.take()
            } else {
                observation.permeate_lpm
            }
            .filter(|lpm| *lpm > 0.0)
            .map(|lpm| {
                lpm / water_temperature_factor(
                    observation.water_c.unwrap_or(observation.seasonal_c),
                )
            }),
        });
    }
    for fill in fills {
        volume.add(fill);
    }
    points
}

/// The first day of a new element reads high (preservative), and a reading of
/// that day may have been taken before the change.
fn is_settling(change: Option<&Change>, observation: &Observation) -> bool {
    change
        .filter(|change| change.start == Start::Recorded)
        .is_some_and(|change| {
            observation.date == change.date
                || (!change.day_only
                    && observation.at >= change.from
                    && observation.at.0 - change.from.0 < MICROS_PER_DAY)
        })
}
