//! An element's readings in the form that the fit reads.

use crate::calendar::DateExt;
use std::sync::Arc;

use crate::fit::VanMeters;
use crate::lives::{ElementLife, PassagePoint, Start};
use crate::stats::robust::{median, median_in_place};

use super::cells::{self, Cell};
use super::element::METER_SD;
use super::fleet::{Numbers, Whose};
use super::step::step_of;

/// Variance of `ln` salt passage for a tap other than the usual one: pressure
/// at the tap moves salt passage almost in inverse proportion (judgement).
const AWAY_VARIANCE: f64 = 0.02;
/// Whole ppm are off by the same at each look at a steady level: readings of a
/// few ppm tell as little together as one in so many would alone.
const STEADY_LOOKS: f64 = 8.0;
/// Standard deviation of rounding to whole ppm.
const ROUNDING_PPM: f64 = 0.29;
/// Degrees of freedom of the heavy-tailed noise.
const NU: f64 = 4.0;
/// Mean temperature at a tap: what is usual of recovery is usual there, °C.
pub(super) const USUAL_C: f64 = 11.5;
/// Levels of hardness whose litres lie side by side.
pub(super) const TOGETHER: usize = 4;
/// Scatter, in the readings' own standard deviations, of a meter that shows anything.
const MOST_SCATTER: f64 = 3.0;
/// A life longer than this many readings is read in groups.
const MOST_POINTS: usize = 400;

/// One element's readings, with what the shared numbers turn into exposure.
#[derive(Debug, Clone)]
pub struct ElementLooks {
    pub start_known: bool,
    /// How many elements share the water: each drinks its part.
    membranes: f64,
    /// District of the base.
    pub district: Option<Arc<str>>,
    points: Vec<Point>,
    /// The same readings gathered.
    cells: Vec<Cell>,
    /// What a degree does through recovery, and how surely.
    pub through_recovery: (f64, f64),
    /// Variance of what its meters are still thought to be off by at the newest reading,
    /// beyond what holds of any pair of them.
    pub meter_doubt: f64,
    levels: Vec<f64>,
    /// `ln` of the levels over 200 mg/L.
    ln_levels: Vec<f64>,
    /// Litres made up to each reading, of [`TOGETHER`] levels after as many others.
    litres: Vec<[f64; TOGETHER]>,
    dates: Vec<crate::calendar::Date>,
    /// Litres by level, and behind late pre-filters, at the end of the record.
    end: Vec<f64>,
    end_late: f64,
    /// Middle distance of a reading from its neighbours, in its own standard deviations.
    scatter: f64,
    /// Share of the litres ahead that this crew will make behind overdue
    /// pre-filters, if it goes on as it did.
    late_ahead: f64,
}

/// One reading.
#[derive(Debug, Clone)]
pub(super) struct Point {
    /// At the prior mean of `theta` and usual recovery.
    pub ln_passage: f64,
    pub variance: f64,
    /// Variance of a jump of the level before it.
    pub jump: f64,
    /// Its own noise over that: without weights that later readings lend.
    bare_share: f64,
    /// Changes where readings do not compare: another base, another probe.
    regime: u32,
    /// Degrees through which `theta` acts.
    pub lever: f64,
    /// Share of the litres up to here made behind late pre-filters.
    pub late_share: f64,
}

/// What an element's van lends to its readings.
#[derive(Debug, Clone, Copy)]
pub struct Aboard<'a> {
    /// District of the base.
    pub district: Option<&'a Arc<str>>,
    /// How many elements share the water.
    pub membranes: u32,
    pub hardness_mg_l_caco3: f64,
    /// Counts the litres of a van whose fills are not recorded.
    pub assumed_litres_per_day: f64,
    /// By how much its meters mislead.
    pub meters: &'a VanMeters,
    /// What a degree does to `ln` salt passage through recovery, and how surely that
    /// is known.
    pub through_recovery: (f64, f64),
}

/// Gathers an element's usable readings.
pub fn looks_of(
    life: &ElementLife,
    aboard: &Aboard<'_>,
    as_of: crate::calendar::Date,
) -> ElementLooks {
    let assumed_litres_per_day = aboard.assumed_litres_per_day;
    let counted = life.litres_made.is_some() && !life.hardness_levels.is_empty();
    let levels = if counted {
        life.hardness_levels.clone()
    } else {
        vec![aboard.hardness_mg_l_caco3]
    };
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let days = |date: crate::calendar::Date| f64::from(date.days_since(begin)).max(0.0);
    let weights = tail_weights(&life.points);
    let rounding = rounding_variances(&life.points);
    let every = life.points.len().div_ceil(MOST_POINTS).max(1);
    // Counted from the newest, so that the newest reading always stays.
    let kept: Vec<(&PassagePoint, (f64, f64))> = life
        .points
        .iter()
        .zip(weights.into_iter().zip(rounding))
        .enumerate()
        .filter(|(i, _)| (life.points.len() - 1 - i).is_multiple_of(every))
        .map(|(_, kept)| kept)
        .collect();
    let groups = levels.len().div_ceil(TOGETHER);
    let mut litres = Vec::with_capacity(groups * kept.len());
    for group in 0..groups {
        litres.extend(kept.iter().map(|(p, _)| -> [f64; TOGETHER] {
            std::array::from_fn(|i| match group * TOGETHER + i {
                level if counted => p.litres_by_level.get(level).copied().unwrap_or(0.0),
                0 => days(p.date) * assumed_litres_per_day,
                _ => 0.0,
            })
        }));
    }
    let kept_points: Vec<&PassagePoint> = kept.iter().map(|(p, _)| *p).collect();
    let jump = likely_jump(&kept_points);
    let all: Vec<&PassagePoint> = life.points.iter().collect();
    let own: Vec<f64> = all.iter().map(|p| own_variance(p)).collect();
    let all_jump = likely_jump(&all);
    let mut cells = cells::gather(&all, &own, all_jump);
    for cell in &mut cells {
        cell.ln_passage -= aboard.meters.ratio_on(cell.date).mean;
    }
    if !counted {
        // Days stand for litres where nobody counted.
        for cell in &mut cells {
            cell.litres = std::iter::once(days(cell.date) * assumed_litres_per_day).collect();
            cell.late = 0.0;
        }
    }
    let points = kept
        .iter()
        .enumerate()
        .map(|(i, &(p, (weight, rounding)))| Point {
            regime: p.regime,
            bare_share: {
                let own = own_variance(p);
                (own + rounding) / (own / weight + rounding)
            },
            ln_passage: p.salt_passage.max(1e-6).ln()
                - aboard.meters.ratio_on(p.date).mean
                - aboard.through_recovery.0 * (25.0 - USUAL_C),
            variance: own_variance(p) / weight + rounding,
            jump: jump.filter(|j| j.0 == i).map_or(0.0, |j| j.1),
            lever: p.theta_lever,
            late_share: if counted {
                late_share(p.late_litres, p.litres_by_level.iter().sum())
            } else {
                0.0
            },
        })
        .collect();
    let last_day = match life.end {
        crate::lives::End::InUse => as_of,
        crate::lives::End::Replaced(on) => on,
    };
    ElementLooks {
        district: aboard.district.cloned(),
        membranes: f64::from(aboard.membranes.max(1)),
        start_known: life.start != Start::BeforeRecords,
        points,
        cells,
        through_recovery: aboard.through_recovery,
        meter_doubt: life.points.last().map_or(0.0, |p| {
            let variance = aboard.meters.ratio_on(p.date).variance;
            (variance - METER_SD * METER_SD).max(0.0)
        }),
        dates: kept.iter().map(|(p, _)| p.date).collect(),
        end: if counted {
            life.litres_by_level.clone()
        } else {
            vec![days(last_day) * assumed_litres_per_day]
        },
        end_late: if counted { life.late_litres } else { 0.0 },
        late_ahead: 0.0,
        scatter: scatter(&life.points),
        ln_levels: levels.iter().map(|h| (h.max(1.0) / 200.0).ln()).collect(),
        levels,
        litres,
    }
}

/// [`ElementLooks::teaches`], before any looks are gathered.
pub fn teaches(life: &ElementLife) -> bool {
    !life.points.is_empty() && scatter(&life.points) < MOST_SCATTER
}

/// Variance of one reading of `ln` salt passage.
fn own_variance(p: &PassagePoint) -> f64 {
    p.sd_ln * p.sd_ln + if p.at_base { 0.0 } else { AWAY_VARIANCE }
}

fn late_share(late_litres: f64, litres: f64) -> f64 {
    if litres > 0.0 {
        (late_litres / litres).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// What rounding that lasts adds to the variance of each reading; nothing for
/// meters that show tenths.
fn rounding_variances(points: &[PassagePoint]) -> Vec<f64> {
    let whole = points
        .iter()
        .all(|p| p.permeate_ppm.fract() == 0.0 || p.permeate_ppm < 0.5);
    if !whole {
        return vec![0.0; points.len()];
    }
    (0..points.len())
        .map(|i| {
            let around = points.iter().skip(i.saturating_sub(4));
            let usual = median_of_few::<9>(around.map(|p| p.permeate_ppm));
            let usual = usual.unwrap_or(1.0).max(0.5);
            STEADY_LOOKS * (ROUNDING_PPM / usual).powi(2)
        })
        .collect()
}

/// Weights of Student's t for each reading against the median of its
/// neighbours: one splashed probe must not move the path, and the weights must
/// not depend on what is being fitted.
fn tail_weights(points: &[PassagePoint]) -> Vec<f64> {
    let ln: Vec<f64> = points
        .iter()
        .map(|p| p.salt_passage.max(1e-6).ln())
        .collect();
    ln.iter()
        .enumerate()
        .map(|(i, y)| {
            let (from, to) = (i.saturating_sub(3), (i + 4).min(ln.len()));
            if to - from < 3 {
                return 1.0;
            }
            let before = ln.get(from..i).unwrap_or_default();
            let after = ln.get(i + 1..to).unwrap_or_default();
            let around = median_of_few::<6>(before.iter().chain(after).copied());
            let sd = points.get(i).map_or(0.1, |p| p.sd_ln).max(0.02) * 1.25;
            let z = (y - around.unwrap_or(*y)) / sd;
            ((NU + 1.0) / (NU + z * z)).min(1.0)
        })
        .collect()
}

/// Median of the first so many values; `None` where there are none, or not all are
/// finite.
fn median_of_few<const MOST: usize>(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut few = [0.0; MOST];
    let mut count = 0;
    for (to, value) in few.iter_mut().zip(values) {
        *to = value;
        count += 1;
    }
    median_in_place(few.get_mut(..count)?).ok()
}

/// Median distance of readings from the one before, in standard deviations:
/// near 1 for meters that read, far above for ones that show anything.
fn scatter(points: &[PassagePoint]) -> f64 {
    let steps: Vec<f64> = points
        .iter()
        .zip(points.iter().skip(1))
        .map(|(a, b)| {
            let rise = (b.salt_passage.max(1e-6) / a.salt_passage.max(1e-6)).ln();
            rise.abs() / a.sd_ln.hypot(b.sd_ln).max(0.02)
        })
        .collect();
    median(&steps).unwrap_or(0.0)
}

/// A step that stands out whatever the fleet is like, so that the path may
/// jump there instead of bending.
fn likely_jump(points: &[&PassagePoint]) -> Option<(usize, f64)> {
    /// Variance of a jump, ln, and of what a path wanders between two readings.
    const SIZE: f64 = 0.5;
    const BETWEEN: f64 = 0.0007;
    let litres = |i: usize| {
        points
            .get(i)
            .map_or(0.0, |p| p.litres_by_level.iter().sum::<f64>())
    };
    let step = step_of(points, 0.8, BETWEEN, |a, b| {
        1.3e-5 * (litres(b) - litres(a)).max(0.0)
    })?;
    let at = points.iter().position(|p| p.date >= step.date)?;
    Some((at, SIZE * step.probability))
}

impl ElementLooks {
    /// Number of readings behind the looks.
    pub fn len(&self) -> usize {
        self.points.len()
    }

    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// Whether the fleet may learn from these readings: a probe that shows
    /// anything would widen every other van's forecast.
    pub fn teaches(&self) -> bool {
        !self.points.is_empty() && self.scatter < MOST_SCATTER
    }

    /// What a look's variance is without weights, as a share of it, and whether
    /// readings before it do not compare.
    pub(super) fn bare(&self, i: usize) -> (f64, bool) {
        let before = i.checked_sub(1).and_then(|b| self.points.get(b));
        self.points.get(i).map_or((1.0, false), |p| {
            (p.bare_share, before.is_some_and(|b| b.regime != p.regime))
        })
    }

    /// Days from each look to the one before; 0 for the first.
    pub(super) fn days_between(&self) -> Vec<f64> {
        let mut before = self.dates.first().copied();
        self.dates
            .iter()
            .map(|&d| {
                let days = before.replace(d).map_or(0, |b| d.days_since(b));
                f64::from(days).max(0.0)
            })
            .collect()
    }

    /// Days of the readings behind the looks.
    pub fn dates(&self) -> &[crate::calendar::Date] {
        &self.dates
    }

    /// The readings gathered, oldest first.
    pub(super) fn cells(&self) -> &[Cell] {
        &self.cells
    }

    /// Litres by level, and behind late pre-filters, at the end of the record.
    pub(super) fn at_end(&self) -> (&[f64], f64) {
        (&self.end, self.end_late)
    }

    pub(super) fn levels(&self) -> &[f64] {
        &self.levels
    }

    pub(super) fn whose(&self) -> Whose<'_> {
        Whose {
            district: self.district.as_ref(),
            start_known: self.start_known,
        }
    }

    /// The readings, oldest first.
    pub(super) fn points(&self) -> &[Point] {
        &self.points
    }

    /// `ln` of the levels of hardness over 200 mg/L.
    pub(super) fn ln_levels(&self) -> &[f64] {
        &self.ln_levels
    }

    /// For each group of levels, the litres made of them up to each reading.
    pub(super) fn litres_by_levels(&self) -> std::slice::ChunksExact<'_, [f64; TOGETHER]> {
        self.litres.chunks_exact(self.points.len().max(1))
    }

    /// Of each level, the litres made up to a reading; nothing of levels beyond.
    fn litres_at(&self, reading: usize) -> impl Iterator<Item = f64> {
        let of_levels = self.litres_by_levels();
        of_levels.flat_map(move |litres| litres.get(reading).copied().unwrap_or_default())
    }

    /// Day and salt passage at 25 °C of each reading, under these shared numbers.
    pub fn readings_at_25(&self, numbers: &Numbers) -> Vec<(crate::calendar::Date, f64)> {
        let middle = 25.0 - USUAL_C;
        let through = self.through_recovery;
        let level = (through.0 + numbers.theta_at_recovery(through).0) * middle;
        let at_25 = |p: &Point| p.ln_passage + level + numbers.theta * (p.lever - middle);
        self.dates
            .iter()
            .zip(&self.points)
            .map(|(&d, p)| (d, at_25(p).exp()))
            .collect()
    }

    /// Litres made up to each reading.
    pub fn litres_at_readings(&self) -> Vec<f64> {
        (0..self.points.len())
            .map(|i| self.litres_at(i).sum())
            .collect()
    }

    /// Litres made over the whole record of the element.
    pub fn litres_made(&self) -> f64 {
        self.end.iter().sum()
    }

    /// Expects a crew's past share of late litres of all its elements ahead too.
    pub fn expect_lateness(&mut self, share: f64) {
        self.late_ahead = share.clamp(0.0, 1.0);
    }

    /// How many elements share the water.
    pub fn membranes(&self) -> f64 {
        self.membranes
    }

    /// Of them, made while the pre-filters were overdue.
    pub fn late_litres(&self) -> f64 {
        self.end_late
    }

    /// Exposure of one future litre: the mix of water drunk of late, or of the
    /// whole life where readings are too few.
    pub fn exposure_per_future_litre(
        &self,
        extra_late: f64,
        per_litre: impl Fn(f64) -> f64,
        base_hardness: f64,
    ) -> f64 {
        let recent: Vec<f64> = match self.points.len().checked_sub(12) {
            Some(start) => self
                .end
                .iter()
                .zip(self.litres_at(start))
                .map(|(e, l)| (e - l).max(0.0))
                .collect(),
            None => self.end.clone(),
        };
        let litres: f64 = recent.iter().sum();
        let late = 1.0 + extra_late * self.late_ahead;
        if litres < 500.0 {
            return late * per_litre(base_hardness) / self.membranes;
        }
        late * recent
            .iter()
            .zip(&self.levels)
            .map(|(l, &h)| l * per_litre(h))
            .sum::<f64>()
            / litres
            / self.membranes
    }
}
