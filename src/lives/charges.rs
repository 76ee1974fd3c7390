//! Resin charges: lives with what they treated and what product water read.

use super::changes::Change;
use super::elements::{Material, Stretch};
use super::entering::{Track, Walk};
use super::history_as_of::Dated;
use super::types::{ChargeLife, ProductPoint};
use super::usage::{Districts, PermeateVolume};
use super::vessel::Vessels;
use crate::store::records::Instant;

/// What charges need beside the material of all lives.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Resin<'a> {
    pub vessels: &'a Vessels<'a>,
    pub top_ups: &'a [&'a Dated<'a>],
    /// What enters the resin, ppm.
    pub entering: &'a Track,
    pub districts: &'a Districts,
}

/// The charge lives of a van, oldest first.
pub(crate) fn lives(
    material: &Material<'_>,
    resin: &Resin<'_>,
    changes: &[Change],
) -> Vec<ChargeLife> {
    let mut stretches = material.stretches(changes);
    hand_back_readings_before_a_change(material, &mut stretches);
    stretches
        .iter()
        .map(|stretch| life(material, resin, stretch))
        .collect()
}

/// Product above this on the day of a change was read before it.
const READ_BEFORE_CHANGE_PPM: f64 = 2.0;

/// Where only the day of a change is known, readings of that day that are
/// still high belong to the old charge: people read, then change.
fn hand_back_readings_before_a_change<'a>(material: &Material<'a>, stretches: &mut [Stretch<'a>]) {
    for n in 1..stretches.len() {
        let (earlier, later) = stretches.split_at_mut(n);
        let (Some(old), Some(new)) = (earlier.last_mut(), later.first_mut()) else {
            continue;
        };
        let Some(change) = new.change.filter(|change| change.day_only) else {
            continue;
        };
        let back = new
            .observations
            .iter()
            .take_while(|observation| {
                observation.date == change.date
                    && observation
                        .product_ppm
                        .is_some_and(|ppm| ppm > READ_BEFORE_CHANGE_PPM)
            })
            .count();
        // Both are neighbours in the van's looks: move the border.
        let first = material.observations.partition_point(|observation| {
            old.observations
                .first()
                .is_some_and(|first| observation.at < first.at)
        });
        if back > 0 && !old.observations.is_empty() {
            old.observations = material
                .observations
                .get(first..first + old.observations.len() + back)
                .unwrap_or(old.observations);
            new.observations = new.observations.get(back..).unwrap_or_default();
        }
    }
}

fn life(material: &Material<'_>, resin: &Resin<'_>, stretch: &Stretch<'_>) -> ChargeLife {
    let (points, treated) = points(stretch, resin.entering);
    let quantity = stretch.change.and_then(|change| change.quantity);
    let vessel = resin.vessels.on(stretch.seen_from(material.until));
    ChargeLife {
        changed_on: stretch.change.map(|change| change.date),
        start: stretch.start(),
        end: stretch.end(material.standing),
        part: stretch.change.and_then(|change| change.part.clone()),
        seen_from: stretch.seen_from(material.until),
        resin_litres: vessel.filled_with(quantity) + topped_up(stretch, resin.top_ups),
        resin_litres_known: vessel.known,
        litres_treated: material.litres(stretch),
        ppm_litres: treated.ppm_litres,
        hardness_mg_l_caco3: mean_hardness(stretch.made).unwrap_or(material.base_hardness_mg_l),
        district: main_district(stretch.made).and_then(|n| resin.districts.name(n)),
        points,
    }
}

/// L of resin added during a life.
fn topped_up(stretch: &Stretch<'_>, top_ups: &[&Dated<'_>]) -> f64 {
    let from = stretch
        .change
        .map_or(Instant(i64::MIN), |change| change.from);
    let until = stretch.next.map_or(Instant(i64::MAX), |next| next.from);
    top_ups
        .iter()
        .filter(|dated| dated.from > from && dated.from < until)
        .filter_map(|dated| dated.service.quantity)
        .sum()
}

#[derive(Debug, Clone, Copy, Default)]
struct Treated {
    litres: f64,
    ppm_litres: f64,
}

impl Treated {
    /// The water of a fill carries what enters the resin at that time.
    fn add(&mut self, fill: &PermeateVolume, entering: &mut Walk<'_>) {
        self.litres += fill.litres;
        self.ppm_litres += fill.litres * entering.at(fill.at).unwrap_or_default();
    }
}

fn points(stretch: &Stretch<'_>, entering: &Track) -> (Vec<ProductPoint>, Treated) {
    let mut entering = entering.walk();
    let mut treated = Treated::default();
    let mut fills = stretch.made.iter().peekable();
    let mut points = Vec::new();
    for observation in stretch.observations {
        while let Some(fill) = fills.next_if(|fill| fill.at <= observation.at) {
            treated.add(fill, &mut entering);
        }
        if let Some(product_ppm) = observation.product_ppm {
            points.push(ProductPoint {
                at: observation.at,
                date: observation.date,
                product_ppm,
                permeate_ppm: entering.at(observation.at),
                litres: treated.litres,
                ppm_litres: treated.ppm_litres,
            });
        }
    }
    for fill in fills {
        treated.add(fill, &mut entering);
    }
    (points, treated)
}

/// Litre-weighted mean, mg/L CaCO3; `None` without litres.
fn mean_hardness(made: &[PermeateVolume]) -> Option<f64> {
    let litres: f64 = made.iter().map(|fill| fill.litres).sum();
    let load: f64 = made
        .iter()
        .map(|fill| fill.litres * fill.hardness_mg_l_caco3)
        .sum();
    (litres > 0.0).then(|| load / litres)
}

/// The district with most litres; the first seen of equals.
fn main_district(made: &[PermeateVolume]) -> Option<usize> {
    let mut litres: Vec<f64> = Vec::new();
    for fill in made {
        if let Some(n) = fill.district {
            if litres.len() <= n {
                litres.resize(n + 1, 0.0);
            }
            if let Some(sum) = litres.get_mut(n) {
                *sum += fill.litres;
            }
        }
    }
    litres
        .iter()
        .enumerate()
        .max_by(|(n, a), (m, b)| a.total_cmp(b).then(m.cmp(n)))
        .map(|(n, _)| n)
}
