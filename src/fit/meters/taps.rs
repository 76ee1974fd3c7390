//! What the taps of one district tell of each other.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::explain::{days, since_moved};
use super::pattern::{Pattern, rises, when_new};
use crate::lives::VanLives;
use crate::stats::robust::median;

/// Days over which a van's tap readings are made one.
const BIN_DAYS: i32 = 28;
/// Standard deviation of one van's tap about its district's within such a stretch, ln.
const OTHER_SD: f64 = 0.06;
/// Of the way between two stretches.
const BETWEEN_SD: f64 = 0.02;
/// Fewer readings say nothing of a van's own level.
const AT_LEAST: usize = 3;

/// What one van tells of its tap since it is based where it is.
#[derive(Debug, Clone)]
pub struct VanTaps {
    district: Arc<str>,
    /// `ln` of the tap by stretches of [`BIN_DAYS`], oldest first.
    bins: Vec<(i32, f64)>,
    /// `ln` salt passage of its membranes when they were new.
    new: Vec<f64>,
    /// By how much each rose, `ln`, in the litres in which ageing is measured.
    rises: Vec<f64>,
}

impl VanTaps {
    /// Nothing where there is no district or readings are too few.
    pub fn of(van: &VanLives) -> Option<VanTaps> {
        let mut bins: BTreeMap<i32, Vec<f64>> = BTreeMap::new();
        let mut readings = 0;
        for (_, point) in since_moved(van) {
            let bin = days(point.date).div_euclid(BIN_DAYS);
            bins.entry(bin).or_default().push(point.feed_ppm.ln());
            readings += 1;
        }
        (readings >= AT_LEAST).then_some(())?;
        Some(VanTaps {
            district: van.district.clone()?,
            new: when_new(van),
            rises: rises(van),
            bins: bins
                .into_iter()
                .filter_map(|(bin, values)| Some((bin, median(&values).ok()?)))
                .collect(),
        })
    }

    /// Its own level once the district's movement is taken out.
    fn level(&self, moved: &BTreeMap<i32, f64>) -> f64 {
        let values: Vec<f64> = self
            .bins
            .iter()
            .map(|(bin, ln)| ln - moved.get(bin).copied().unwrap_or(0.0))
            .collect();
        median(&values).unwrap_or(0.0)
    }
}

/// Values of some vans, in order.
#[derive(Debug, Clone, Default)]
struct Peers(Vec<f64>);

impl Peers {
    fn of(mut values: Vec<f64>) -> Peers {
        values.sort_by(f64::total_cmp);
        Peers(values)
    }

    /// The middle of the others, and how many there are; `own` is one of these.
    fn middle_beside(&self, own: f64) -> Option<(f64, usize)> {
        let place = self.0.partition_point(|x| *x < own);
        let others = self.0.len().checked_sub(1).filter(|n| *n > 0)?;
        let other = |i: usize| self.0.get(if i < place { i } else { i + 1 }).copied();
        let low = other((others - 1) / 2)?;
        let middle = match others % 2 {
            1 => low,
            _ => low + 0.5 * (other(others / 2)? - low),
        };
        Some((middle, others))
    }
}

#[derive(Debug, Default)]
struct District {
    moved: BTreeMap<i32, f64>,
    /// By stretch, each van over its own level.
    bins: BTreeMap<i32, Peers>,
    levels: Peers,
}

/// The taps of every district.
#[derive(Debug, Default)]
pub struct FleetTaps {
    districts: BTreeMap<Arc<str>, District>,
    pub pattern: Pattern,
}

/// What the other vans of a district read, as seen from one of them.
#[derive(Debug, Clone)]
pub struct Others {
    /// Middle of the stretch in days, `ln` of the tap, variance.
    bins: Vec<(f64, f64, f64)>,
    /// How many other vans there are.
    pub vans: usize,
}

impl FleetTaps {
    pub fn of<'a>(vans: impl Iterator<Item = &'a VanTaps>) -> FleetTaps {
        let mut by_district: BTreeMap<Arc<str>, Vec<&VanTaps>> = BTreeMap::new();
        let (mut new, mut rises) = (Vec::new(), Vec::new());
        for van in vans {
            new.extend_from_slice(&van.new);
            rises.extend_from_slice(&van.rises);
            let here = by_district.entry(van.district.clone()).or_default();
            here.push(van);
        }
        let districts = by_district.into_iter();
        FleetTaps {
            districts: districts
                .map(|(name, vans)| (name, District::of(&vans)))
                .collect(),
            pattern: Pattern::of(&new, &rises),
        }
    }

    /// What the others read beside this van, one of those gathered.
    pub fn beside(&self, own: &VanTaps) -> Option<Others> {
        let district = self.districts.get(&own.district)?;
        let level = own.level(&district.moved);
        let (others_level, vans) = district.levels.middle_beside(level)?;
        let bins: Vec<(f64, f64, f64)> = own
            .bins
            .iter()
            .filter_map(|(bin, ln)| {
                let (moved, n) = district.bins.get(bin)?.middle_beside(ln - level)?;
                let middle = (f64::from(*bin) + 0.5) * f64::from(BIN_DAYS);
                // A median is worth two thirds of a mean.
                let variance = 1.5 * OTHER_SD * OTHER_SD / n as f64;
                Some((middle, others_level + moved, variance))
            })
            .collect();
        (!bins.is_empty()).then_some(Others { bins, vans })
    }
}

impl District {
    fn of(vans: &[&VanTaps]) -> District {
        let mut moved = BTreeMap::new();
        let over_own = |moved: &BTreeMap<i32, f64>| {
            let mut bins: BTreeMap<i32, Vec<f64>> = BTreeMap::new();
            for van in vans {
                let level = van.level(moved);
                for (bin, ln) in &van.bins {
                    bins.entry(*bin).or_default().push(ln - level);
                }
            }
            bins
        };
        // Vans were there at different times: their levels and the district's movement
        // are found in turn.
        for _ in 0..3 {
            moved = over_own(&moved)
                .into_iter()
                .filter_map(|(bin, values)| Some((bin, median(&values).ok()?)))
                .collect();
        }
        District {
            bins: over_own(&moved)
                .into_iter()
                .map(|(bin, values)| (bin, Peers::of(values)))
                .collect(),
            levels: Peers::of(vans.iter().map(|van| van.level(&moved)).collect()),
            moved,
        }
    }
}

impl Others {
    /// `ln` of the tap as the others read it on a day, with its variance; `None` far from
    /// any of their readings.
    pub fn on(&self, day: f64) -> Option<(f64, f64)> {
        let after = self.bins.partition_point(|(middle, ..)| *middle < day);
        let before = after.checked_sub(1).and_then(|i| self.bins.get(i));
        let near = |bin: &&(f64, f64, f64)| (bin.0 - day).abs() <= 1.5 * f64::from(BIN_DAYS);
        let spare = BETWEEN_SD * BETWEEN_SD;
        match (before.filter(near), self.bins.get(after).filter(near)) {
            (Some(a), Some(b)) => {
                let share = (day - a.0) / (b.0 - a.0).max(1.0);
                let ln = a.1 + share * (b.1 - a.1);
                Some((ln, a.2.max(b.2) + spare))
            }
            (Some(one), None) | (None, Some(one)) => Some((one.1, one.2 + spare)),
            (None, None) => None,
        }
    }
}
