//! An element beside usual ones of its water.

use super::fleet::{Numbers, VanEffect};
use super::forecast::{ElementDraws, InUse};
use super::law::{BEFORE, PACE, START};
use super::shared::SharedFit;
use crate::calendar::{Date, DateExt};
use crate::fit::{Band, Compared};
use crate::stats::dense::dot;

use crate::fit::horizon::middle_of;

/// `draws`: of the element.
pub fn compared(fit: &SharedFit, element: &InUse<'_>, draws: &ElementDraws) -> Compared {
    let observations = element.observations;
    let late = |numbers: &Numbers| {
        numbers.wears(observations.late_share()) / numbers.wears(fit.usual_late_share)
    };
    // `ln` of its pace over the usual one of its law, in standard deviations of usual ones too.
    let paces: Vec<(f64, f64)> = draws
        .draws
        .iter()
        .filter_map(|draw| {
            let (law, pace) = draw.ln_pace();
            let (numbers, _) = fit.laws.weighed.iter().find(|(n, _)| n.law == law)?;
            let (addition, unsure) = numbers.district(observations.district.as_ref());
            let beyond = pace - numbers.mean[PACE] - addition + late(numbers).ln();
            Some((beyond, beyond / numbers.variance[PACE].sqrt().hypot(unsure)))
        })
        .collect();
    /// Nineteen in twenty usual ones lie below.
    const Z95: f64 = 1.645;
    let faster = paces.iter().filter(|p| p.1 > Z95).count();
    Compared {
        path: path(fit.likeliest(), element),
        pace: middle_of(paces.iter().map(|p| p.0)).map_or(1.0, f64::exp),
        p_faster_than_95: faster as f64 / paces.len().max(1) as f64,
    }
}

/// What usual elements let through at each of its readings.
fn path(numbers: &Numbers, element: &InUse<'_>) -> Vec<Band<Date>> {
    let (observations, life) = (element.observations, element.life);
    let whose = observations.whose();
    let prior = numbers.prior(&whose, VanEffect::NONE, false, false);
    let (mut mean, mut variance) = (prior.mean, prior.variance);
    if !observations.start_known {
        // Of unknown age: what is usual from where it was at first.
        let mut design = numbers.design_of(observations);
        let n = design.len();
        let both = numbers.both(&whose, VanEffect::NONE, &mut design, n, false);
        for k in [START, BEFORE] {
            mean[k] = both.usual.1.mean[k];
            variance[k] = 0.0;
        }
    }
    let begin = life.fitted_on.unwrap_or(life.seen_from);
    let per_litre: Vec<f64> = life
        .hardness_levels
        .iter()
        .map(|h| numbers.exposure_per_litre(*h))
        .collect();
    let assumed =
        numbers.exposure_per_litre(element.base_hardness) * element.usage.litres_per_day();
    life.points
        .iter()
        .map(|point| {
            let exposure = if life.litres_made.is_some() && !per_litre.is_empty() {
                dot(&point.litres_by_level, &per_litre)
            } else {
                assumed * f64::from(point.date.days_since(begin)).max(0.0)
            } / observations.membranes();
            let (ln, slopes) = numbers.law.with_slopes(&mean, exposure);
            let own = slopes.iter().zip(&variance).map(|(s, v)| s * s * v);
            let sd = (own.sum::<f64>() + numbers.process_variance * exposure).sqrt();
            const Z90: f64 = 1.2816;
            let at = |z: f64| (ln + z * sd).exp().min(1.0);
            Band {
                x: point.date,
                p10: at(-Z90),
                p50: at(0.0),
                p90: at(Z90),
            }
        })
        .collect()
}
