use std::sync::Arc;

use crate::calendar::{Date, DateExt, date};

use super::membrane::{self, InUse};
use super::resin::{self, ChargeObservations, PermeateAhead};
use super::usage::{Season, Usage};
use crate::lives::{ElementLife, End, Instant, PassagePoint, Start};

const AS_OF: Date = date(2026, 10, 31);

/// An element fitted 300 days ago, read `n` times, with salt passage from a rule.
pub(super) fn element(n: usize, passage: impl Fn(usize) -> f64) -> ElementLife {
    let fitted = AS_OF.plus_days(-300);
    let points: Vec<PassagePoint> = (0..n)
        .map(|i| {
            let day = 300.0 * (i as f64 + 1.0) / n as f64;
            let salt_passage = passage(i);
            PassagePoint {
                at: Instant(i as i64),
                date: fitted.plus_days(day as i64),
                raw: salt_passage,
                salt_passage,
                sd_ln: 0.08,
                theta_lever: 12.0,
                litres_by_level: [150.0 * day].into_iter().collect(),
                late_litres: 0.0,
                at_base: true,
                feed_ppm: 320.0,
                permeate_ppm: 320.0 * salt_passage,
                product_ppm: None,
                regime: 0,
                flow_lpm_25: None,
                feed_bar: None,
            }
        })
        .collect();
    ElementLife {
        fitted_on: Some(fitted),
        start: Start::Recorded,
        end: End::InUse,
        part: None,
        seen_from: fitted,
        hardness_levels: vec![285.0],
        litres_by_level: vec![45_000.0],
        late_litres: 0.0,
        litres_made: Some(45_000.0),
        points,
    }
}

const USAGE: Usage = Usage {
    litres_per_week: 1050.0,
    sd_ln: 0.1,
    counted: true,
    season: Season::EVEN,
};

fn forecast(life: &ElementLife) -> super::MembraneForecast {
    let observations = membrane::looks_of(
        life,
        &membrane::VanConditions {
            district: None,
            membranes: 1,
            hardness_mg_l_caco3: 285.0,
            assumed_litres_per_day: 150.0,
            meters: &super::VanMeters::default(),
            through_recovery: (0.003, 0.004),
        },
        AS_OF,
    );
    let fit = membrane::fit_shared(&[(0, &observations)]);
    let element = InUse {
        life,
        observations: &observations,
        base_hardness: 285.0,
        usage: &USAGE,
        ln_limit: 0.10_f64.ln(),
        others: &[],
        ahead: crate::fit::Assumptions::default(),
        as_of: AS_OF,
        seed_name: "QV-001",
    };
    membrane::forecast(&membrane::draws_of(&fit, &element), &fit, &element)
}

pub(super) fn growing(i: usize, n: usize) -> f64 {
    0.025 * (0.9 * (i as f64 + 1.0) / n as f64).exp()
}

#[test]
fn three_readings_give_a_wide_answer_and_many_a_narrower_one() {
    let width = |n: usize| {
        let f = forecast(&element(n, |i| growing(i, n)));
        let days = |d: Option<Date>| f64::from(d.unwrap().days_since(AS_OF));
        days(f.limit_on.p90) / days(f.limit_on.p10)
    };
    let (few, many) = (width(3), width(40));
    assert!(few > 2.0, "{few}");
    assert!(many < few, "{many} against {few}");
}

#[test]
fn readings_that_never_change_give_no_nonsense() {
    let f = forecast(&element(20, |_| 0.03));
    assert!(
        f.salt_passage
            .p50
            .is_some_and(|s| (0.025..0.036).contains(&s))
    );
    assert!(f.limit_on.p50.is_none_or(|d| d > AS_OF));
    assert!(f.ln_now.is_finite() && f.growth_per_litre > 0.0);
}

#[test]
fn a_limit_already_passed_lies_between_fitting_and_today() {
    let life = element(30, |i| 0.04 * (1.6 * (i as f64 + 1.0) / 30.0).exp());
    let f = forecast(&life);
    for day in [f.limit_on.p10, f.limit_on.p50, f.limit_on.p90] {
        let day = day.unwrap();
        assert!(life.fitted_on.unwrap() <= day && day <= AS_OF, "{day}");
    }
    assert!(f.salt_passage.p50.unwrap() > 0.10);
}

#[test]
fn one_splashed_reading_hardly_moves_the_forecast() {
    let clean = forecast(&element(30, |i| growing(i, 30)));
    let splashed = forecast(&element(30, |i| {
        growing(i, 30) * if i == 20 { 3.0 } else { 1.0 }
    }));
    let days = |f: &super::MembraneForecast| f64::from(f.limit_on.p50.unwrap().days_since(AS_OF));
    let moved = (days(&splashed) / days(&clean) - 1.0).abs();
    assert!(moved < 0.10, "{moved}");
}

/// The drawn past and the forecast meet today: no step at the line between them.
#[test]
fn the_fit_of_the_past_ends_where_the_forecast_begins() {
    let found = forecast(&element(30, |i| growing(i, 30)));
    let past = found.path.iter().rfind(|b| b.x < AS_OF).unwrap();
    let ahead = found.path.iter().find(|b| b.x >= AS_OF).unwrap();
    let (past, now) = (past.p50, found.salt_passage.p50.unwrap());
    assert!((ahead.p50 / now - 1.0).abs() < 0.02, "{} {now}", ahead.p50);
    assert!((past / now - 1.0).abs() < 0.05, "{past} {now}");
}

#[test]
fn harder_water_never_lengthens_membrane_life() {
    let fit = membrane::fit_shared(&[]);
    let middle = |hardness: f64| {
        let lives = membrane::new_element_lives(
            &fit,
            &membrane::NewElement {
                district: None,
                hardness,
                membranes: 1.0,
                ln_limit: 0.10_f64.ln(),
                litres_per_day: 100.0,
                ln_passage: 0.0,
                seed_name: "QA3",
            },
        );
        lives[lives.len() / 2]
    };
    let lives: Vec<f64> = [30.0, 100.0, 200.0, 300.0]
        .into_iter()
        .map(middle)
        .collect();
    assert!(lives.is_sorted_by(|a, b| a >= b), "{lives:?}");
}

fn resin_middle(hardness: f64, permeate_ppm: f64, litres: f64) -> f64 {
    let fit = resin::fit_shared([], 10.0);
    let permeate = PermeateAhead::steady(permeate_ppm, permeate_ppm * 25.0);
    let charge = ChargeObservations::fresh(litres, Some(Arc::from("QA3")), hardness);
    let lives = resin::new_charge_lives(&fit, &charge, &permeate, 150.0, 10.0, "QA3");
    lives[lives.len() / 2]
}

#[test]
fn harder_water_never_lengthens_resin_life() {
    let lives: Vec<f64> = [30.0, 120.0, 200.0, 330.0]
        .into_iter()
        .map(|h| resin_middle(h, 14.0, 11.0))
        .collect();
    assert!(lives.is_sorted_by(|a, b| a >= b), "{lives:?}");
}

#[test]
fn twice_the_resin_lasts_longer_and_a_worse_membrane_shortens_it() {
    let one = resin_middle(285.0, 14.0, 11.0);
    assert!(resin_middle(285.0, 14.0, 22.0) > 1.5 * one);
    assert!(resin_middle(285.0, 28.0, 11.0) < one);
}
