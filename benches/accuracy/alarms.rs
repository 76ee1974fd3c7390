//! Alarms month by month beside what was really going on.

use std::io::Write;

use jiff::civil::Date;
use litrewise::demo::TrueElement;
use litrewise::{fit, lives};

use crate::fleet::ProvingFleet;

pub fn dump(proving: &ProvingFleet, particles: usize, out: &mut impl Write) {
    let first = proving.simulated.first_day;
    let last = proving.simulated.last_day;
    let mut as_of = first.saturating_add(jiff::Span::new().days(60));
    while as_of <= last {
        let cut = lives::cut(&proving.rows, as_of, &proving.settings);
        for (van, watched) in cut.vans.iter().zip(fit::watched(&cut, &proving.settings)) {
            let Ok(watched) = watched else { continue };
            let Some(truth) = proving.simulated.truth.iter().find(|t| *t.van == *van.van) else {
                continue;
            };
            let Some((n, element)) = truth
                .elements
                .iter()
                .enumerate()
                .rfind(|(_, e): &(usize, &TrueElement)| e.in_van_on(as_of))
            else {
                continue;
            };
            let Some(look) = watched.looks.last() else {
                continue;
            };
            let day = |d: Option<Date>| d.map_or(-1, |d| (d - first).get_days());
            let litres = |from: i32, to: i32| -> f64 {
                truth
                    .litres_by_day
                    .get(
                        from.max(0) as usize
                            ..(to.max(from.max(0)) as usize).min(truth.litres_by_day.len()),
                    )
                    .map_or(0.0, |d| d.iter().sum())
            };
            let until = element
                .limit_on
                .map_or(truth.litres_by_day.len() as i32, |d| (d - first).get_days());
            let life = litres(day(element.fitted_on), until);
            let typical = proving
                .simulated
                .districts
                .iter()
                .find(|d| d.postcode == truth.district)
                .and_then(|d| d.membrane_life_litres)
                .unwrap_or(f64::NAN);
            let step = watched.step;
            let index = proving
                .simulated
                .truth
                .iter()
                .position(|t| *t.van == *van.van)
                .unwrap_or(0);
            let now = (as_of - first).get_days();
            let bound = (particles > 0
                && element.fitted_on.is_some()
                && element.limit_on.is_none_or(|d| d > as_of))
            .then(|| {
                proving.histories.get(index)?.element_limit(
                    n,
                    i64::from(now),
                    particles,
                    proving.seed,
                )
            })
            .flatten();
            let share = |below: bool, limit: f64| {
                bound.as_ref().map_or(-1.0, |draws| {
                    let hits = draws
                        .iter()
                        .filter(|d| {
                            let l = litres(day(element.fitted_on), now + d.min(1e6) as i32);
                            let r = l / (typical * f64::from(van.membranes.max(1)));
                            if below { r < limit } else { r > limit }
                        })
                        .count();
                    hits as f64 / draws.len() as f64
                })
            };
            let (bound_a, bound_b) = (share(true, 0.6), share(false, 0.8));
            writeln!(out, "{},{},{},{},{},{},{},{},{},{:.4},{:.2},{:.3},{:.3},{:.0},{:.0},{},{},{},{:.2},{:.3},{:.0},{:.4},{:.4}",
                proving.seed, van.van, n, day(element.fitted_on), day(element.removed_on), day(element.limit_on), day(element.leaks_from),
                (as_of - first).get_days(), watched.looks.len(),
                look.fast_evidence, look.step_evidence_days, watched.p_faster_than_95, watched.pace, life, typical, van.membranes,
                day(truth.moves_on), day(truth.probe_drifts_from), element.temper, step.map_or(0.0, |s| s.ratio), watched.typical_litres, bound_a, bound_b).expect("written");
        }
        as_of = as_of.saturating_add(jiff::Span::new().days(30));
    }
}
