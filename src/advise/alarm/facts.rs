//! What the records of a van and its neighbours say beside salt passage.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::Date;
use nalgebra::DMatrix;

use super::Alarm;
use crate::fit::{MembraneForecast, Watched};
use crate::lives::{ElementLife, PassagePoint, VanLives};
use crate::stats::linear::least_squares;
use crate::stats::robust::median;

/// Readings at either end of a stretch that are compared.
const AT_EACH_END: usize = 8;
/// Fewer say nothing.
const AT_LEAST: usize = 3;
/// Vans of a district whose taps are compared.
const PEERS: usize = 3;

/// How the taps of each district moved, and how strong its vans read them.
#[derive(Debug, Default)]
pub struct FleetTaps {
    /// `ln` of the taps' strength over their own usual, the middle of the
    /// district's vans, by months since year 0.
    moved: BTreeMap<(Arc<str>, i32), f64>,
    /// `ln` feed of the vans of late, by district.
    of_late: BTreeMap<Arc<str>, Peers>,
}

/// What one van tells of its tap.
#[derive(Debug, Clone)]
pub struct VanTaps {
    /// `ln` over its own usual, by months since year 0.
    months: Vec<(i32, f64)>,
    /// `ln` feed of late.
    of_late: Option<f64>,
}

impl VanTaps {
    /// Nothing where readings are too few.
    pub fn of(van: &VanLives) -> Option<VanTaps> {
        let feeds: Vec<(Date, f64)> = comparable(van).map(|p| (p.date, p.feed_ppm.ln())).collect();
        let all: Vec<f64> = feeds.iter().map(|f| f.1).collect();
        let usual = median(&all).ok().filter(|_| all.len() >= AT_LEAST)?;
        let mut months: BTreeMap<i32, Vec<f64>> = BTreeMap::new();
        for (date, ln) in &feeds {
            months.entry(month(*date)).or_default().push(ln - usual);
        }
        let middles = months.into_iter();
        let newest = all.get(all.len().saturating_sub(AT_EACH_END)..);
        Some(VanTaps {
            months: middles
                .map(|(month, values)| (month, median(&values).unwrap_or(0.0)))
                .collect(),
            of_late: median(newest.unwrap_or(&all)).ok(),
        })
    }
}

/// One value of each of some vans, in order.
#[derive(Debug, Default)]
pub struct Peers(Vec<f64>);

impl Peers {
    pub fn of(values: impl Iterator<Item = f64>) -> Peers {
        let mut values: Vec<f64> = values.collect();
        values.sort_by(f64::total_cmp);
        Peers(values)
    }

    /// The middle of the others'; `None` where they are too few. `own`: a van's
    /// value, if it is one of these.
    pub fn middle_beside(&self, own: Option<f64>) -> Option<f64> {
        let place = own.map_or(self.0.len(), |own| self.0.partition_point(|x| *x < own));
        let others = self.0.len() - usize::from(own.is_some());
        let other = |i: usize| self.0.get(if i < place { i } else { i + 1 }).copied();
        if others < PEERS {
            return None;
        }
        let low = other((others - 1) / 2)?;
        match others % 2 {
            1 => Some(low),
            _ => Some(low + 0.5 * (other(others / 2)? - low)),
        }
    }
}

fn month(date: Date) -> i32 {
    i32::from(date.year()) * 12 + i32::from(date.month())
}

/// Readings at the base's tap since the van last moved or a probe was worked on.
fn comparable(van: &VanLives) -> impl Iterator<Item = &PassagePoint> {
    let last = van
        .elements
        .iter()
        .rev()
        .find_map(|e| e.points.last())
        .map(|p| p.regime);
    let points = van.elements.iter().flat_map(|e| &e.points);
    points.filter(move |p| Some(p.regime) == last && p.at_base && p.feed_ppm > 0.0)
}

impl FleetTaps {
    /// From the vans in service with their districts.
    pub fn of<'a>(vans: impl Iterator<Item = (&'a Arc<str>, &'a VanTaps)>) -> FleetTaps {
        let mut by_month: BTreeMap<(Arc<str>, i32), Vec<f64>> = BTreeMap::new();
        let mut of_late: BTreeMap<Arc<str>, Vec<f64>> = BTreeMap::new();
        for (district, van) in vans {
            for (month, middle) in &van.months {
                let key = (district.clone(), *month);
                by_month.entry(key).or_default().push(*middle);
            }
            let newest = of_late.entry(district.clone()).or_default();
            newest.extend(van.of_late);
        }
        let moved = by_month
            .into_iter()
            .filter(|(_, vans)| vans.len() >= PEERS)
            .filter_map(|(key, vans)| Some((key, median(&vans).ok()?)));
        let of_late = of_late.into_iter();
        FleetTaps {
            moved: moved.collect(),
            of_late: of_late
                .map(|(district, values)| (district, Peers::of(values.into_iter())))
                .collect(),
        }
    }

    /// How the district's taps stood in the month of a day, ln.
    fn moved_on(&self, district: &Arc<str>, date: Date) -> Option<f64> {
        self.moved.get(&(district.clone(), month(date))).copied()
    }

    /// `ln` of a van's tap of late over its neighbours'; `own`: what it tells itself.
    pub fn beside_neighbours(&self, district: Option<&Arc<str>>, own: &VanTaps) -> Option<f64> {
        let own = own.of_late?;
        Some(own - self.of_late.get(district?)?.middle_beside(Some(own))?)
    }
}

/// What the vans of the same district show.
#[derive(Debug, Clone, Copy, Default)]
pub struct Beside {
    /// `ln` of the van's tap of late over its neighbours'.
    pub tap: Option<f64>,
    /// Middle `ln` rise of their salt passage of late beyond the usual.
    pub neighbours_rise: Option<f64>,
}

/// What speaks for one cause or another; `None` where nothing tells.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Facts {
    /// `ln` of salt passage of late over what is usual after as many litres.
    pub excess: f64,
    /// The same since the start of the element, or across the step.
    pub rise: f64,
    /// Whether it stepped rather than crept.
    pub stepped: bool,
    /// `ln` of the tap of late over the neighbours' taps.
    pub tap_beside_neighbours: Option<f64>,
    /// `ln` of the tap of late over its own early readings, the neighbours'
    /// movement taken out where it is known.
    pub tap_rise: Option<f64>,
    pub neighbours_known: bool,
    /// How all taps of the district moved in that time, ln.
    pub all_taps_rise: Option<f64>,
    /// `ln` of the flow at 25 °C of late over the early one.
    pub flow_rise: Option<f64>,
    /// Share of its litres made behind overdue pre-filters.
    pub late_share: f64,
    /// `ln` rise of salt passage that began with the lateness and grew with it,
    /// beyond what all litres brought, with its standard error.
    pub late_rise: Option<(f64, f64)>,
    /// Days since the pre-filters were changed.
    pub prefilter_days: Option<i32>,
    /// `ln` of litres per filling of resin of late over those before.
    pub resin_litres_rise: Option<f64>,
    /// The same at the neighbours: `ln` rise of their salt passage of late.
    pub neighbours_rise: Option<f64>,
    /// Whether readings before and after do not compare: the base moved, or a
    /// probe was worked on.
    pub moved: bool,
    /// Probe faults remarked of late: swapped, constant, another scale.
    pub probe_remarks: usize,
}

/// Middle of the first and of the last values; `None` unless both are there and apart.
fn ends(values: &[f64]) -> Option<(f64, f64)> {
    let n = (values.len() / 2).min(AT_EACH_END);
    if n < AT_LEAST {
        return None;
    }
    let first = median(values.get(..n)?).ok()?;
    let last = median(values.get(values.len() - n..)?).ok()?;
    Some((first, last))
}

/// `ln` of each reading over the usual salt passage then.
pub fn residuals(life: &ElementLife, watched: &Watched) -> Vec<(Date, f64)> {
    // Both oldest first; of several looks on a day the last one counts.
    let mut looks = watched.looks.iter().peekable();
    let mut last = None;
    life.points
        .iter()
        .filter_map(|p| {
            while let Some(look) = looks.next_if(|l| l.date <= p.date) {
                last = Some(look);
            }
            let usual = last.filter(|l| l.date == p.date)?.usual.p50;
            Some((p.date, (p.salt_passage.max(1e-6) / usual.max(1e-6)).ln()))
        })
        .collect()
}

/// How far a van's salt passage rose over the last half year beyond the usual, ln.
pub fn rise_of_late(life: &ElementLife, watched: &Watched, until: Date) -> Option<f64> {
    let from = until.saturating_sub(jiff::Span::new().days(183));
    let recent: Vec<f64> = residuals(life, watched)
        .into_iter()
        .filter(|(date, _)| *date >= from)
        .map(|(_, r)| r)
        .collect();
    let (first, last) = ends(&recent)?;
    Some(last - first)
}

impl Facts {
    pub fn of(
        van: &VanLives,
        life: &ElementLife,
        forecast: &MembraneForecast,
        alarm: Option<&Alarm>,
        taps: &FleetTaps,
        beside: &Beside,
        until: Date,
    ) -> Facts {
        let watched = &forecast.watched;
        let residuals: Vec<f64> = residuals(life, watched).into_iter().map(|r| r.1).collect();
        let newest = |values: &[f64]| {
            let from = values.len().saturating_sub(AT_LEAST + 1);
            median(values.get(from..).unwrap_or(values)).unwrap_or(0.0)
        };
        let stepped = alarm.is_some_and(|a| a.kind == super::AlarmKind::Step);
        let excess = newest(&residuals);
        let step = watched.step.filter(|_| stepped);
        let rise = match step {
            Some(step) => step.ratio.max(1.0).ln(),
            None => excess - residuals.first().copied().unwrap_or(0.0).min(excess),
        };
        // Across a step what changed with it, else over the life so far.
        let parted: Vec<&PassagePoint> = life.points.iter().filter(|p| p.at_base).collect();
        let split = step.map(|s| parted.partition_point(|p| p.date < s.date));
        let rise_of = |of: &dyn Fn(&PassagePoint) -> Option<f64>| -> Option<f64> {
            match split {
                Some(at) => {
                    let (before, after) = parted.split_at_checked(at)?;
                    let before: Vec<f64> = before
                        .iter()
                        .rev()
                        .take(AT_EACH_END)
                        .filter_map(|p| of(p))
                        .collect();
                    let after: Vec<f64> = after
                        .iter()
                        .take(AT_EACH_END)
                        .filter_map(|p| of(p))
                        .collect();
                    if before.len() < 2 || after.len() < 2 {
                        return None;
                    }
                    Some(median(&after).ok()? - median(&before).ok()?)
                }
                None => {
                    let values: Vec<f64> = parted.iter().filter_map(|p| of(p)).collect();
                    let (first, last) = ends(&values)?;
                    Some(last - first)
                }
            }
        };
        let district = van.district.as_ref();
        let moved_on = |p: &PassagePoint| district.and_then(|d| taps.moved_on(d, p.date));
        let all_taps_rise = rise_of(&moved_on);
        let tap = |p: &PassagePoint| (p.feed_ppm > 0.0).then(|| p.feed_ppm.ln());
        let beyond = |p: &PassagePoint| Some(tap(p)? - moved_on(p)?);
        let tap_rise_beyond = rise_of(&beyond);
        let regimes = life.points.first().zip(life.points.last());
        Facts {
            excess,
            rise,
            stepped,
            tap_beside_neighbours: beside.tap,
            tap_rise: tap_rise_beyond.or_else(|| rise_of(&tap)),
            neighbours_known: tap_rise_beyond.is_some(),
            all_taps_rise,
            flow_rise: rise_of(&|p| p.flow_lpm_25.map(f64::ln)),
            late_share: late_share(life),
            late_rise: late_rise(life),
            prefilter_days: van
                .prefilters
                .last()
                .and_then(|p| p.changed_on)
                .map(|d| (until - d).get_days()),
            resin_litres_rise: resin_litres_rise(van, life),
            neighbours_rise: beside.neighbours_rise,
            moved: regimes.is_some_and(|(a, b)| a.regime != b.regime),
            probe_remarks: probe_remarks(van, until),
        }
    }
}

fn late_share(life: &ElementLife) -> f64 {
    let litres: f64 = life.litres_by_level.iter().sum();
    if litres > 0.0 {
        (life.late_litres / litres).clamp(0.0, 1.0)
    } else {
        0.0
    }
}

/// What litres behind late pre-filters add to the rise, by least squares of `ln`
/// salt passage on all litres and on late ones.
fn late_rise(life: &ElementLife) -> Option<(f64, f64)> {
    const LEAST_READINGS: usize = 8;
    let late = life.points.last()?.late_litres;
    if life.points.len() < LEAST_READINGS || late <= 0.0 {
        return None;
    }
    let all = |p: &PassagePoint| p.litres_by_level.iter().sum::<f64>();
    let total = life.points.last().map(all)?.max(1.0);
    let design = DMatrix::from_fn(life.points.len(), 3, |i, j| {
        life.points.get(i).map_or(0.0, |p| match j {
            0 => 1.0,
            1 => all(p) / total,
            _ => p.late_litres / late,
        })
    });
    let y: Vec<f64> = life
        .points
        .iter()
        .map(|p| p.salt_passage.max(1e-6).ln())
        .collect();
    let fit = least_squares(&design, &y, None).ok()?;
    Some((*fit.coef.get(2)?, fit.se().get(2)?.max(0.02)))
}

/// Litres per litre of resin until water after it first read half the usual
/// limit, of the newest filling behind this element over those before, ln.
fn resin_litres_rise(van: &VanLives, life: &ElementLife) -> Option<f64> {
    const SPENT_PPM: f64 = 5.0;
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let spent: Vec<(bool, f64)> = van
        .charges
        .iter()
        .filter(|c| c.changed_on.is_some() && c.resin_litres > 0.0)
        .filter_map(|c| {
            let at = c.points.iter().find(|p| p.product_ppm >= SPENT_PPM)?;
            let litres = (at.litres > 0.0).then_some(at.litres / c.resin_litres)?;
            Some((at.date > begin, litres.ln()))
        })
        .collect();
    let (newest, before) = spent.split_last()?;
    let before: Vec<f64> = before.iter().map(|b| b.1).collect();
    (newest.0 && !before.is_empty()).then_some(newest.1 - median(&before).ok()?)
}

/// Remarks of the last quarter that speak of the probes.
fn probe_remarks(van: &VanLives, until: Date) -> usize {
    let from = until.saturating_sub(jiff::Span::new().days(91));
    van.remarks
        .iter()
        .filter(|r| r.about == crate::lives::About::Probe)
        .filter(|r| r.date.is_some_and(|d| d >= from))
        .count()
}
