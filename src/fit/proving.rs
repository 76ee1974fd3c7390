//! Forecasts held against the truth of small invented fleets whose membranes follow laws
//! that are not among those fitted.

use std::sync::Arc;

use crate::calendar::{Date, DateExt, date};

use super::{FleetFit, fit};
use crate::lives::fixture::records::{
    Fill, Fleet, History, Item, Reading, Service, Source, Van, When,
};
use crate::lives::fixture::{at, published, settings};
use crate::lives::{FleetLives, cut};
use crate::stats::random::Rng;

const AS_OF: Date = date(2026, 8, 31);
const DAYS: i32 = 800;
const LIMIT: f64 = 0.10;

fn on(day: i32) -> Date {
    AS_OF.plus_days(i64::from(day - DAYS + 1))
}

/// How salt passage rises with the share of a usual life that is used up.
#[derive(Clone, Copy)]
enum Rise {
    /// The odds rise like compound interest and flatten near a half.
    Logistic,
    /// Slow at first, from a third of the life on three times as fast.
    Kinked,
    /// A root: quick at first.
    Root,
    /// By the square, on top of a straight line.
    Bent,
}

impl Rise {
    fn salt_passage(self, new: f64, used: f64) -> f64 {
        match self {
            Rise::Logistic => {
                let odds = 2.0 * new / (1.0 - 2.0 * new) * (1.45 * used).exp();
                0.5 * odds / (1.0 + odds)
            }
            Rise::Kinked => new + 0.032 * used + 0.064 * (used - 0.33).max(0.0),
            Rise::Root => new + 0.075 * used.powf(0.72),
            Rise::Bent => new + 0.03 * used + 0.045 * used * used,
        }
    }
}

/// What was true of a van's element on the last day.
struct Truth {
    salt_passage: f64,
    /// Days until the limit, from the last day on.
    limit_days: f64,
}

struct World {
    fleet: Fleet,
    truth: Vec<Truth>,
}

/// One fleet of `vans`. `held`: recovery held, else the reject valve fixed; `flows` and
/// `thermometers`: share of the vans that note them.
fn world(seed: u64, rise: Rise, held: bool, vans: usize, flows: f64, thermometers: f64) -> World {
    let mut rng = Rng::for_part(seed, "proving");
    let theta = if held {
        rng.uniform_between(0.0, 0.015)
    } else {
        rng.uniform_between(-0.003, 0.008)
    };
    let districts: Vec<(String, f64)> = (0..4)
        .map(|i| (format!("QB{i}"), rng.uniform_between(60.0, 320.0)))
        .collect();
    let life = rng.uniform_between(70.0, 120.0);
    let mut world = World {
        fleet: Fleet {
            has_van_list: true,
            hardness: districts.iter().map(|(n, h)| published(n, *h)).collect(),
            ..Fleet::default()
        },
        truth: Vec::new(),
    };
    for number in 0..vans {
        // Each van has its own chance, so that a column more changes nothing else.
        let mut rng = Rng::for_part(seed, &format!("van {number}"));
        let (name, hardness) = districts[rng.index(districts.len())].clone();
        let van: Arc<str> = format!("QV-{number:03}").into();
        let mut history = History {
            van: van.clone(),
            ..History::default()
        };
        history.listed.push(Van {
            van: van.clone(),
            from: None,
            base_postcode: Some(name.as_str().into()),
            tank_litres: Some(500.0),
            membranes: Some(1),
            resin_litres: Some(0.0),
            in_service_on: Some(on(0)),
            out_of_service_on: None,
        });
        let week = rng.uniform_between(150.0, 320.0);
        let gap = 6 + rng.index(8) as i32;
        let plan = rng.uniform_between(350.0, 900.0);
        let gain = (0.045 * rng.normal()).exp();
        let (made_25, recovery) = (
            rng.uniform_between(1.2, 3.5),
            rng.uniform_between(0.27, 0.45),
        );
        let (notes_flow, notes_c) = (rng.uniform() < flows, rng.uniform() < thermometers);
        let side = |y: f64| (1.0 / (1.0 - y)).ln() / y * (0.7 * y).exp();
        let element = |rng: &mut Rng| {
            (
                0.026 * (0.2 * rng.normal()).exp(),
                life * (0.25 * rng.normal()).exp(),
                plan * (0.1 * rng.normal()).exp(),
            )
        };
        let (mut new, mut lasts, mut out) = element(&mut rng);
        let (mut used, mut age) = (0.0, 0.0);
        history.services.push(service(&van, on(0)));
        let mut next = 3;
        let mut day = 0;
        let mut passage = new;
        let per_day = week * (hardness / 200.0).powf(0.8) / 1000.0;
        while day < DAYS {
            if age > out {
                (new, lasts, out) = element(&mut rng);
                (used, age) = (0.0, 0.0);
                history.services.push(service(&van, on(day)));
            }
            // A fill a week stands for the week's.
            if day % 7 == 0 {
                history.fills.push(Fill {
                    van: van.clone(),
                    started_at: at(on(day), 7),
                    day_position: None,
                    ended_at: None,
                    postcode: None,
                    litres: Some(7.0 * week),
                    meter_litres: None,
                    reject_litres: None,
                    source: Source::Mains,
                });
            }
            age += 1.0;
            used += per_day / lasts * (0.25 * rng.normal()).exp();
            passage = rise.salt_passage(new, used);
            let noise: [f64; 6] = std::array::from_fn(|_| rng.normal());
            if day == next {
                next += gap;
                let doy = f64::from(on(day).day_of_year());
                let c =
                    11.5 + 5.5 * (std::f64::consts::TAU * (doy - 215.0) / 365.25).cos() + noise[0];
                let flow = made_25 * (0.03 * (c - 25.0)).exp();
                let usual = made_25 * (0.03 * (11.5 - 25.0_f64)).exp();
                let drained = if held { flow } else { usual } * (1.0 / recovery - 1.0);
                let y = flow / (flow + drained);
                let seen = passage * (theta * (c - 25.0)).exp() * side(y) / side(recovery)
                    * (0.045 * noise[1]).exp();
                let feed = (hardness * 1.2 + 20.0) * (0.05 * noise[2]).exp();
                history.readings.push(Reading {
                    feed_ppm: Some(feed.round()),
                    permeate_ppm: Some((feed * seen * gain * (0.04 * noise[3]).exp()).round()),
                    water_c: notes_c.then(|| (10.0 * c).round() / 10.0),
                    permeate_lpm: notes_flow.then(|| flow * (0.03 * noise[4]).exp()),
                    concentrate_lpm: notes_flow.then(|| drained * (0.03 * noise[5]).exp()),
                    ..Reading::of(van.clone(), at(on(day), 9))
                });
            }
            day += 1;
        }
        let mut limit_days = 0.0;
        let mut ahead = used;
        if passage >= LIMIT {
            let mut back = used;
            while rise.salt_passage(new, back) >= LIMIT {
                back -= per_day / lasts;
                limit_days -= 1.0;
            }
        } else {
            while rise.salt_passage(new, ahead) < LIMIT && limit_days < 3653.0 {
                ahead += per_day / lasts;
                limit_days += 1.0;
            }
        }
        world.fleet.histories.push(history);
        world.truth.push(Truth {
            salt_passage: passage,
            limit_days,
        });
    }
    world
}

fn service(van: &Arc<str>, day: Date) -> Service {
    Service {
        van: van.clone(),
        done_at: When::Day(day),
        item: Item::Membrane,
        quantity: Some(1.0),
        cost: None,
        part: None,
        note: None,
    }
}

fn answers(world: &World) -> (FleetLives, FleetFit) {
    let lives = cut(&world.fleet, AS_OF, &settings());
    let found = fit(&lives, &settings());
    (lives, found)
}

/// What a forecast of a fleet came to.
#[derive(Default)]
struct Tally {
    limits: usize,
    limits_held: usize,
    levels: usize,
    levels_held: usize,
    /// Sums of how far the middle lay off: `ln` salt passage, days at most five years.
    off_ln: f64,
    off_days: f64,
}

impl Tally {
    fn add(&mut self, world: &World) {
        let (lives, found) = answers(world);
        for (van, truth) in found.vans.iter().zip(&world.truth) {
            let Ok(membrane) = &van.membrane else {
                continue;
            };
            let days =
                |d: Option<Date>| d.map_or(f64::INFINITY, |d| f64::from(d.days_since(lives.until)));
            let limit = membrane.limit_on;
            self.limits += 1;
            if days(limit.p10) <= truth.limit_days && truth.limit_days <= days(limit.p90) {
                self.limits_held += 1;
            }
            let off = days(limit.p50).min(1826.0) - truth.limit_days.min(1826.0);
            self.off_days += off.abs();
            let passage = membrane.salt_passage;
            let (low, middle, high) = (
                passage.p10.unwrap(),
                passage.p50.unwrap(),
                passage.p90.unwrap(),
            );
            self.levels += 1;
            if (low..=high).contains(&truth.salt_passage) {
                self.levels_held += 1;
            }
            self.off_ln += (middle / truth.salt_passage).ln().abs();
        }
    }
}

const LAWS: [Rise; 4] = [Rise::Logistic, Rise::Kinked, Rise::Root, Rise::Bent];

#[test]
fn spans_hold_what_laws_that_nobody_fitted_bring() {
    let mut all = Tally::default();
    for (n, rise) in LAWS.into_iter().enumerate() {
        for held in [true, false] {
            let seed = 40 + 2 * n as u64 + u64::from(held);
            all.add(&world(seed, rise, held, 30, 0.2, 0.5));
        }
    }
    let share = |held: usize, of: usize| held as f64 / of as f64;
    let limits = share(all.limits_held, all.limits);
    let levels = share(all.levels_held, all.levels);
    assert!(all.limits > 200, "{}", all.limits);
    assert!((0.70..=0.90).contains(&limits), "days: {limits}");
    // Spans of the level must leave room for meters that are off by more than here.
    assert!((0.70..=0.95).contains(&levels), "salt passage: {levels}");
}

#[test]
fn a_column_more_never_makes_a_forecast_worse() {
    let (mut bare, mut more) = (Tally::default(), Tally::default());
    for (n, rise) in LAWS.into_iter().enumerate() {
        for held in [true, false] {
            let seed = 60 + 2 * n as u64 + u64::from(held);
            bare.add(&world(seed, rise, held, 24, 0.0, 0.0));
            more.add(&world(seed, rise, held, 24, 0.4, 0.6));
        }
    }
    assert_eq!(bare.levels, more.levels);
    // Two in a hundred are the luck of the draws.
    assert!(
        more.off_ln < 1.02 * bare.off_ln,
        "salt passage off by {} in all, without the columns by {}",
        more.off_ln,
        bare.off_ln
    );
    assert!(
        more.off_days < 1.02 * bare.off_days,
        "days off by {} in all, without the columns by {}",
        more.off_days,
        bare.off_days
    );
}
