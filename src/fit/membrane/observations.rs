//! An element's readings in the form that the fit reads.

use crate::calendar::DateExt;
use std::sync::Arc;

use crate::fit::VanMeters;
use crate::lives::{ElementLife, PassagePoint, Start};
use crate::stats::robust::median;

use super::cells::{self, Cell};
use super::element::METER_SD;
use super::fleet::{Belonging, Numbers};
use super::step::step_of;

/// Variance of `ln` salt passage for a tap other than the usual one: pressure
/// at the tap moves salt passage almost in inverse proportion (judgement).
const AWAY_VARIANCE: f64 = 0.02;
/// Mean temperature at a tap: what is usual of recovery is usual there, °C.
pub(super) const USUAL_C: f64 = 11.5;
/// So many readings tell what water is drunk of late.
const LATELY: usize = 12;
/// Scatter, in the readings' own standard deviations, of a meter that shows anything.
const MOST_SCATTER: f64 = 3.0;
/// A life longer than this many readings is read in groups.
const MOST_POINTS: usize = 400;

/// One element's readings, with what the shared numbers turn into exposure.
#[derive(Debug, Clone)]
pub struct ElementObservations {
    pub start_known: bool,
    /// How many elements share the water: each drinks its part.
    membranes: f64,
    /// District of the base.
    pub district: Option<Arc<str>>,
    /// `ln` salt passage of each reading at the prior mean of `theta` and usual recovery,
    /// and the degrees through which `theta` acts.
    points: Vec<(f64, f64)>,
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
    /// Litres by level made before the newest dozen of readings; `None` where there are
    /// fewer.
    before_lately: Option<Vec<f64>>,
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

/// What an element's van lends to its readings.
#[derive(Debug, Clone, Copy)]
pub struct VanConditions<'a> {
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
    van_conditions: &VanConditions<'_>,
    as_of: crate::calendar::Date,
) -> ElementObservations {
    let assumed_litres_per_day = van_conditions.assumed_litres_per_day;
    let counted = life.litres_made.is_some() && !life.hardness_levels.is_empty();
    let levels = if counted {
        life.hardness_levels.clone()
    } else {
        vec![van_conditions.hardness_mg_l_caco3]
    };
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let days = |date: crate::calendar::Date| f64::from(date.days_since(begin)).max(0.0);
    let every = life.points.len().div_ceil(MOST_POINTS).max(1);
    // Counted from the newest, so that the newest reading always stays.
    let kept: Vec<&PassagePoint> = life
        .points
        .iter()
        .enumerate()
        .filter(|(i, _)| (life.points.len() - 1 - i).is_multiple_of(every))
        .map(|(_, kept)| kept)
        .collect();
    let before_lately = kept.len().checked_sub(LATELY).and_then(|place| {
        let point = kept.get(place)?;
        Some(if counted {
            point.litres_by_level.to_vec()
        } else {
            vec![days(point.date) * assumed_litres_per_day]
        })
    });
    // A jump that is the meters' is none of the membrane's path.
    let ln_of = |p: &PassagePoint| {
        p.salt_passage.max(1e-6).ln() - van_conditions.meters.ratio_on(p.date).mean
    };
    let ln: Vec<f64> = life.points.iter().map(ln_of).collect();
    let jump = likely_jump(&life.points, &ln);
    let own = life.points.iter().map(own_variance);
    let ln: Vec<(f64, f64)> = ln.into_iter().zip(own).collect();
    let mut cells = cells::gather(&life.points, &ln, jump);
    if !counted {
        // Days stand for litres where nobody counted.
        for cell in &mut cells {
            cell.litres = std::iter::once(days(cell.date) * assumed_litres_per_day).collect();
            cell.late = 0.0;
        }
    }
    let points = kept
        .iter()
        .map(|p| {
            let at_recovery = van_conditions.through_recovery.0 * (25.0 - USUAL_C);
            (ln_of(p) - at_recovery, p.theta_lever)
        })
        .collect();
    let last_day = match life.end {
        crate::lives::End::InUse => as_of,
        crate::lives::End::Replaced(on) => on,
    };
    ElementObservations {
        district: van_conditions.district.cloned(),
        membranes: f64::from(van_conditions.membranes.max(1)),
        start_known: life.start != Start::BeforeRecords,
        points,
        cells,
        through_recovery: van_conditions.through_recovery,
        meter_doubt: life.points.last().map_or(0.0, |p| {
            let variance = van_conditions.meters.ratio_on(p.date).variance;
            (variance - METER_SD * METER_SD).max(0.0)
        }),
        dates: kept.iter().map(|p| p.date).collect(),
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
        before_lately,
    }
}

/// [`ElementObservations::teaches`], before any looks are gathered.
pub fn is_usable_for_fit(life: &ElementLife) -> bool {
    !life.points.is_empty() && scatter(&life.points) < MOST_SCATTER
}

/// Variance of one reading of `ln` salt passage.
fn own_variance(p: &PassagePoint) -> f64 {
    p.sd_ln * p.sd_ln + if p.at_base { 0.0 } else { AWAY_VARIANCE }
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
fn likely_jump(points: &[PassagePoint], ln: &[f64]) -> Option<(usize, f64)> {
    /// Variance of a jump, ln, and of what a path wanders between two readings.
    const SIZE: f64 = 0.5;
    const BETWEEN: f64 = 0.0007;
    let litres = |i: usize| {
        points
            .get(i)
            .map_or(0.0, |p| p.litres_by_level.iter().sum::<f64>())
    };
    let step = step_of(points, ln, 0.8, BETWEEN, |a, b| {
        1.3e-5 * (litres(b) - litres(a)).max(0.0)
    })?;
    let at = points.iter().position(|p| p.date >= step.date)?;
    Some((at, SIZE * step.probability))
}

impl ElementObservations {
    /// Number of readings behind the looks.
    pub fn len(&self) -> usize {
        self.points.len()
    }

    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// Whether the fleet may learn from these readings: a probe that shows
    /// anything would widen every other van's forecast.
    pub fn is_usable_for_fit(&self) -> bool {
        !self.points.is_empty() && self.scatter < MOST_SCATTER
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

    pub(super) fn whose(&self) -> Belonging<'_> {
        Belonging {
            district: self.district.as_ref(),
            start_known: self.start_known,
        }
    }

    /// `ln` of the levels of hardness over 200 mg/L.
    pub(super) fn ln_levels(&self) -> &[f64] {
        &self.ln_levels
    }

    /// Day and salt passage at 25 °C of each reading, under these shared numbers.
    pub fn readings_at_25(&self, numbers: &Numbers) -> Vec<(crate::calendar::Date, f64)> {
        let middle = 25.0 - USUAL_C;
        let through = self.through_recovery;
        let level = (through.0 + numbers.theta_at_recovery(through).0) * middle;
        let at_25 =
            |(ln, lever): &(f64, f64)| (ln + level + numbers.theta * (lever - middle)).exp();
        self.dates
            .iter()
            .zip(&self.points)
            .map(|(&d, p)| (d, at_25(p)))
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

    /// Share of its litres made while the pre-filters were overdue.
    pub fn late_share(&self) -> f64 {
        (self.end_late / self.litres_made().max(1.0)).clamp(0.0, 1.0)
    }

    /// Exposure of one future litre: the mix of water drunk of late, or of the
    /// whole life where readings are too few.
    pub fn exposure_per_future_litre(
        &self,
        extra_late: f64,
        per_litre: impl Fn(f64) -> f64,
        base_hardness: f64,
    ) -> f64 {
        let recent: Vec<f64> = match &self.before_lately {
            Some(before) => {
                let since = self.end.iter().zip(before);
                since.map(|(e, l)| (e - l).max(0.0)).collect()
            }
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
