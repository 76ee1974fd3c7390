//! What the lives promise, shown on whole vans.

use crate::calendar::{Date, date};

use super::cut;
use super::days::days_after;
use super::fixture::*;
use super::types::*;
use crate::store::records::{Fleet, History, Item, Source, When};

const MONDAY: Date = date(2026, 1, 5);
/// Sunday of the 20th week.
const AS_OF: Date = date(2026, 5, 24);

fn steady() -> History {
    weekly(MONDAY, 20, |_| 12.0, |_| 0.0)
}

fn close(value: f64, expected: f64) {
    assert!(
        (value - expected).abs() <= 1e-9 * expected.abs().max(1.0),
        "{value} is not {expected}"
    );
}

#[test]
fn bought_in_water_does_not_age_the_membrane() {
    let mut history = steady();
    history.services.push(service(MONDAY, Item::Membrane, None));
    history.services.push(service(MONDAY, Item::Resin, None));
    let without = only_van(&fleet(history.clone()), AS_OF);
    let mut bought = fill(date(2026, 3, 7), 500.0);
    bought.source = Source::BoughtIn;
    let place = history
        .fills
        .partition_point(|f| f.started_at < bought.started_at);
    history.fills.insert(place, bought);
    let with = only_van(&fleet(history), AS_OF);
    assert_eq!(with.elements, without.elements);
    assert_eq!(with.charges, without.charges);
    assert_eq!(with.weeks, without.weeks);
    assert_eq!(with.elements[0].litres_made, Some(30_000.0));
}

#[test]
fn as_of_never_sees_the_next_day() {
    let mut history = steady();
    history.listed.push(listed(None));
    history
        .services
        .push(service(date(2026, 2, 2), Item::Membrane, None));
    let mut early = history.clone();
    // Everything from 1 April on is news.
    let next = date(2026, 4, 1);
    early.readings.retain(|r| r.taken_at < at(next, 0));
    early.fills.retain(|f| f.started_at < at(next, 0));
    history.services.push(service(next, Item::Membrane, None));
    history
        .services
        .push(service(next, Item::Resin, Some(10.0)));
    let mut moved = listed(Some(next));
    moved.base_postcode = Some("QB7".into());
    moved.resin_litres = Some(25.0);
    moved.out_of_service_on = Some(next);
    history.listed.push(moved);
    let mut knowing = fleet(history);
    let mut harder = published("QA1", 390.0);
    harder.as_of = Some(next);
    knowing.hardness.push(harder);
    let day_before = date(2026, 3, 31);
    let seen = cut(&knowing, day_before, &settings());
    let could_see = cut(&fleet(early), day_before, &settings());
    assert_eq!(format!("{seen:?}"), format!("{could_see:?}"));
    let on_the_day = cut(&knowing, next, &settings());
    assert!(on_the_day.vans.is_empty() && on_the_day.retired.len() == 1);
}

#[test]
fn a_replaced_meter_never_gives_negative_litres() {
    let mut history = steady();
    for (n, fill) in history.fills.iter_mut().enumerate() {
        fill.litres = None;
        let n = n as f64;
        // A new counter from the 51st fill on.
        fill.meter_litres = Some(if n < 50.0 {
            40_000.0 + 300.0 * n
        } else {
            300.0 * (n - 49.0)
        });
    }
    let van = only_van(&fleet(history), AS_OF);
    assert!(
        van.weeks.iter().all(|week| week.litres == 1_500.0),
        "{:?}",
        van.weeks
    );
    assert!(van.remarks.iter().any(|r| r.text.contains("replaced")));
}

#[test]
fn a_recorded_membrane_starts_a_new_life_at_zero_litres() {
    let mut history = steady();
    history
        .services
        .push(service(date(2026, 3, 16), Item::Membrane, Some(1.0)));
    let van = only_van(&fleet(history), AS_OF);
    let [old, new] = van.elements.as_slice() else {
        panic!("two lives expected: {:?}", van.elements);
    };
    assert_eq!(
        (old.start, old.end),
        (Start::BeforeRecords, End::Replaced(date(2026, 3, 16)))
    );
    assert_eq!(old.fitted_on, None);
    assert_eq!(old.litres_made, Some(15_000.0));
    assert_eq!((new.start, new.end), (Start::Recorded, End::InUse));
    assert_eq!(new.fitted_on, Some(date(2026, 3, 16)));
    assert_eq!(new.litres_made, Some(15_000.0));
    // The reading of the first day is not used; a week later 1500 L are made.
    let first = &new.points[0];
    assert_eq!(first.date, date(2026, 3, 23));
    close(first.litres_by_level.iter().sum(), 1_500.0);
    // 200 mg/L in steps of 5 %.
    assert_eq!(new.hardness_levels.len(), 1);
    assert!((new.hardness_levels[0] / 200.0).ln().abs() <= 0.025);
}

#[test]
fn salt_passage_comes_at_the_prior_temperature_coefficient() {
    let van = only_van(&fleet(steady()), AS_OF);
    let point = &van.elements[0].points[0];
    close(point.raw, 12.0 / 300.0);
    // 13 °C below 25 at 1 % per °C.
    close(point.salt_passage, 0.04 * 0.13f64.exp());
    close(point.theta_lever, 13.0);
    // The meters at 12 ppm, and what swings of pressure leave.
    assert!(point.sd_ln > 0.07 && point.sd_ln < 0.09);
}

#[test]
fn an_unrecorded_replacement_is_found_and_said() {
    let fell = |week: i64| {
        if week < 12 {
            16.0 + week as f64
        } else {
            9.0 + (week % 2) as f64
        }
    };
    let history = weekly(MONDAY, 20, fell, |_| 0.0);
    let mut recorded = history.clone();
    let van = only_van(&fleet(history), AS_OF);
    let new = van.elements.last().unwrap();
    assert_eq!(van.elements.len(), 2);
    assert_eq!(new.start, Start::Inferred);
    // Between the readings of 23 and 30 March.
    let fitted_on = new.fitted_on.unwrap();
    assert!(
        fitted_on > date(2026, 3, 23) && fitted_on <= date(2026, 3, 30),
        "{fitted_on}"
    );
    assert!(
        van.services
            .iter()
            .any(|s| s.inferred && s.item == Item::Membrane)
    );
    assert!(
        van.remarks
            .iter()
            .any(|r| r.text.contains("looks replaced"))
    );

    // Written down five days late, it is one event with the recorded day.
    recorded
        .services
        .push(service(date(2026, 4, 4), Item::Membrane, None));
    let van = only_van(&fleet(recorded), AS_OF);
    assert_eq!(van.elements.len(), 2);
    let new = van.elements.last().unwrap();
    assert_eq!(
        (new.start, new.fitted_on),
        (Start::Recorded, Some(date(2026, 4, 4)))
    );
    assert!(new.points.iter().all(|p| p.raw < 0.04));
    assert!(!van.services.iter().any(|s| s.inferred));
}

#[test]
fn one_of_two_membranes_changed_starts_a_new_life_with_a_remark() {
    let mut history = steady();
    let mut twin = listed(None);
    twin.membranes = Some(2);
    history.listed.push(twin);
    history
        .services
        .push(service(date(2026, 3, 16), Item::Membrane, Some(1.0)));
    let van = only_van(&fleet(history), AS_OF);
    assert_eq!((van.membranes, van.elements.len()), (2, 2));
    assert!(
        van.remarks
            .iter()
            .any(|r| r.text.contains("1 of 2 membranes"))
    );
}

#[test]
fn a_charge_counts_litres_and_what_they_carried() {
    let mut history = weekly(MONDAY, 20, |week| 10.0 + week as f64, |_| 0.0);
    history.listed.push(listed(None));
    history
        .services
        .push(service(date(2026, 3, 16), Item::Resin, Some(10.0)));
    let van = only_van(&fleet(history), AS_OF);
    let charge = van.charges.last().unwrap();
    assert_eq!(charge.changed_on, Some(date(2026, 3, 16)));
    assert_eq!(charge.litres_treated, Some(15_000.0));
    assert_eq!(
        (charge.resin_litres, charge.resin_litres_known),
        (10.0, true)
    );
    assert_eq!(charge.district.as_deref(), Some("QA1"));
    close(charge.hardness_mg_l_caco3, 200.0);
    let second = &charge.points[1];
    assert_eq!(second.litres, 1_500.0);
    assert_eq!(second.permeate_ppm, Some(21.0));
    // Fills Monday to Friday evening while the permeate climbs 1 ppm a week.
    let hours = |day: f64| (24.0 * day + 10.0) / 168.0;
    let carried: f64 = (0..5)
        .map(|day| 300.0 * (20.0 + hours(f64::from(day))))
        .sum();
    close(second.ppm_litres, carried);
}

#[test]
fn a_top_up_adds_resin_but_starts_no_new_charge() {
    let mut history = steady();
    history.listed.push(listed(None));
    history
        .services
        .push(service(date(2026, 2, 2), Item::Resin, Some(10.0)));
    history
        .services
        .push(service(date(2026, 3, 16), Item::Resin, Some(4.0)));
    let van = only_van(&fleet(history), AS_OF);
    let charge = van.charges.last().unwrap();
    assert_eq!(charge.changed_on, Some(date(2026, 2, 2)));
    assert_eq!(charge.resin_litres, 14.0);
    assert_eq!(charge.litres_treated, Some(24_000.0));
}

#[test]
fn product_that_is_fresh_again_starts_an_inferred_charge() {
    let product = |week: i64| {
        if week < 10 {
            [0.0, 2.0, 5.0, 8.0][(week / 3).min(3) as usize]
        } else {
            0.0
        }
    };
    let history = weekly(MONDAY, 20, |_| 12.0, product);
    let van = only_van(&fleet(history), AS_OF);
    assert_eq!(van.charges.len(), 2);
    let charge = van.charges.last().unwrap();
    assert_eq!(charge.start, Start::Inferred);
    assert!(
        charge
            .changed_on
            .is_some_and(|day| day > date(2026, 3, 9) && day <= date(2026, 3, 16))
    );
}

#[test]
fn a_high_product_reading_on_the_day_of_the_change_belongs_to_the_old_charge() {
    let product = |week: i64| if week == 10 { 11.0 } else { 0.0 };
    let mut history = weekly(MONDAY, 20, |_| 12.0, product);
    history
        .services
        .push(service(date(2026, 3, 16), Item::Resin, None));
    let van = only_van(&fleet(history), AS_OF);
    let [old, new] = van.charges.as_slice() else {
        panic!("two charges expected");
    };
    assert_eq!(old.points.last().unwrap().product_ppm, 11.0);
    assert!(new.points.iter().all(|p| p.product_ppm == 0.0));
}

#[test]
fn on_a_resin_only_van_the_feed_enters_the_resin() {
    let mut history = steady();
    for reading in &mut history.readings {
        reading.permeate_ppm = None;
    }
    let mut row = listed(None);
    row.membranes = Some(0);
    history.listed.push(row);
    let van = only_van(&fleet(history), AS_OF);
    assert!(van.elements.is_empty());
    let charge = &van.charges[0];
    // The feed rises 1 ppm a week from 300 for four weeks, then starts again.
    assert!((charge.ppm_litres / 30_000.0 - 302.0).abs() < 0.2);
    assert_eq!(charge.points[3].permeate_ppm, Some(303.0));
}

#[test]
fn a_van_without_resin_has_no_charges() {
    let mut history = steady();
    let mut row = listed(None);
    row.resin_litres = Some(0.0);
    history.listed.push(row);
    let van = only_van(&fleet(history), AS_OF);
    assert_eq!((van.resin_litres, van.charges.len()), (0.0, 0));
    assert_eq!(van.elements.len(), 1);
}

#[test]
fn weeks_without_fills_are_there_with_zero_litres() {
    let mut history = steady();
    history.fills.retain(|f| {
        f.started_at < at(date(2026, 2, 2), 0) || f.started_at > at(date(2026, 2, 16), 0)
    });
    let van = only_van(&fleet(history), AS_OF);
    assert_eq!(van.weeks.len(), 20);
    let idle: Vec<Date> = van
        .weeks
        .iter()
        .filter(|w| w.litres == 0.0)
        .map(|w| w.monday)
        .collect();
    assert_eq!(idle, [date(2026, 2, 2), date(2026, 2, 9)]);
    assert_eq!(van.fills_between, Some((MONDAY, date(2026, 5, 22))));
}

#[test]
fn water_made_behind_overdue_prefilters_is_counted_as_late() {
    let mut history = steady();
    history
        .services
        .push(service(MONDAY, Item::Prefilter, None));
    // 84 days after 5 January is 30 March; late from 31 March on.
    let van = only_van(&fleet(history.clone()), AS_OF);
    let late_fills = 300.0 * (4.0 + 7.0 * 5.0);
    close(van.elements[0].late_litres, late_fills);
    history.services.clear();
    let van = only_van(&fleet(history), AS_OF);
    close(van.elements[0].late_litres, 0.0);
}

#[test]
fn each_fill_counts_with_the_hardness_of_its_place() {
    let mut history = steady();
    for fill in history.fills.iter_mut().skip(50) {
        fill.postcode = Some("QB2 1AA".into());
    }
    let mut fleet = fleet(history);
    fleet.hardness.push(published("QB2", 50.0));
    let van = only_van(&fleet, AS_OF);
    let element = &van.elements[0];
    assert_eq!(element.litres_by_level, [15_000.0, 15_000.0]);
    assert!((element.hardness_levels[0] / 50.0).ln().abs() <= 0.025);
    assert!((element.hardness_levels[1] / 200.0).ln().abs() <= 0.025);
    assert_eq!(van.district.as_deref(), Some("QB2"));
    assert_eq!(van.hardness.unwrap().mg_l_caco3, 50.0);
}

#[test]
fn readings_within_ten_minutes_are_one_look_and_copies_are_thinned() {
    let mut history = steady();
    let mut splashed = reading(MONDAY, 300.0, 90.0, 0.0);
    splashed.taken_at.0 += 60_000_000;
    let mut again = reading(MONDAY, 300.0, 13.0, 0.0);
    again.taken_at.0 += 120_000_000;
    history.readings.splice(1..1, [splashed, again]);
    let van = only_van(&fleet(history.clone()), AS_OF);
    assert_eq!(van.elements[0].points.len(), 20);
    close(van.elements[0].points[0].permeate_ppm, 13.0);

    for reading in history.readings.iter_mut().skip(12).take(8) {
        reading.feed_ppm = Some(301.0);
    }
    let van = only_van(&fleet(history), AS_OF);
    assert_eq!(van.elements[0].points.len(), 13);
    assert!(van.remarks.iter().any(|r| r.text.contains("look copied")));
}

#[test]
fn swapped_probes_are_swapped_back_and_dead_ones_left_out() {
    let mut history = steady();
    history.readings[5].feed_ppm = Some(12.0);
    history.readings[5].permeate_ppm = Some(305.0);
    history.readings[6].permeate_ppm = Some(0.0);
    history.readings[7].feed_ppm = Some(0.0);
    history.readings[8].permeate_ppm = Some(340.0);
    let van = only_van(&fleet(history), AS_OF);
    let points = &van.elements[0].points;
    assert_eq!(points.len(), 17);
    assert_eq!((points[5].feed_ppm, points[5].permeate_ppm), (305.0, 12.0));
    assert_eq!(
        van.remarks
            .iter()
            .filter(|r| r.text.contains("reading"))
            .count(),
        4
    );
}

#[test]
fn litres_are_unknown_without_fills_or_long_after_they_stop() {
    let mut history = steady();
    history.services.push(service(MONDAY, Item::Membrane, None));
    history.fills.truncate(40);
    let van = only_van(&fleet(history.clone()), AS_OF);
    assert_eq!(van.elements[0].litres_made, None);
    assert!(
        van.remarks
            .iter()
            .any(|r| r.text.contains("no tank fills recorded since"))
    );
    history.fills.clear();
    let van = only_van(&fleet(history), AS_OF);
    assert_eq!(van.elements[0].litres_made, None);
    assert!(van.weeks.is_empty() && van.fills_between.is_none());
}

#[test]
fn a_van_known_by_the_list_alone_is_in_service_with_nothing_to_tell() {
    let history = History {
        van: "QV-9".into(),
        listed: vec![listed(None)],
        ..History::default()
    };
    let van = only_van(&fleet(history), AS_OF);
    assert!(van.elements.is_empty() && van.charges.is_empty());
    assert_eq!(van.district.as_deref(), Some("QA1"));
    assert_eq!(van.last_reading_on, None);
}

#[test]
fn a_van_of_which_nothing_is_known_yet_is_not_there() {
    let day_before = days_after(MONDAY, -1);
    assert!(
        cut(&fleet(steady()), day_before, &settings())
            .vans
            .is_empty()
    );
}

#[test]
fn a_retired_van_still_teaches() {
    let mut history = steady();
    let mut row = listed(None);
    row.out_of_service_on = Some(date(2026, 4, 6));
    history.listed.push(row);
    let lives = cut(&fleet(history), AS_OF, &settings());
    assert!(lives.vans.is_empty());
    let element = &lives.retired[0].elements[0];
    assert_eq!(element.end, End::Replaced(date(2026, 4, 6)));
    assert_eq!(element.litres_made, Some(13.0 * 1_500.0));
}

#[test]
fn services_with_a_time_part_the_rows_of_their_day() {
    let mut history = steady();
    let mut evening = service(date(2026, 3, 16), Item::Resin, None);
    evening.done_at = When::At(at(date(2026, 3, 16), 20));
    history.services.push(evening);
    let van = only_van(&fleet(history), AS_OF);
    // The fill at 18:00 went through the old charge.
    assert_eq!(van.charges[0].litres_treated, Some(15_300.0));
    assert_eq!(van.charges[1].litres_treated, Some(14_700.0));
}

#[test]
fn a_hardness_that_the_tap_contradicts_is_remarked() {
    let mut wrong = fleet(steady());
    wrong.hardness = vec![published("QA1", 20.0)];
    let van = only_van(&wrong, AS_OF);
    assert!(
        van.remarks
            .iter()
            .any(|r| r.text.contains("hardness table says 20"))
    );
    wrong.hardness = vec![published("QA1", 380.0)];
    let van = only_van(&wrong, AS_OF);
    assert!(
        van.remarks
            .iter()
            .any(|r| r.text.contains("cannot hold more"))
    );
    let van = only_van(&fleet(steady()), AS_OF);
    assert!(
        !van.remarks
            .iter()
            .any(|r| r.text.contains("hardness table"))
    );
}

#[test]
fn vans_come_in_order_of_name_and_the_same_each_time() {
    let mut many = Fleet::default();
    for name in ["QV-3", "QV-1", "QV-2"] {
        let mut history = steady();
        history.van = name.into();
        many.histories.push(history);
    }
    let first = cut(&many, AS_OF, &settings());
    let names: Vec<&str> = first.vans.iter().map(|v| &*v.van).collect();
    assert_eq!(names, ["QV-1", "QV-2", "QV-3"]);
    let second = cut(&many, AS_OF, &settings());
    assert_eq!(format!("{first:?}"), format!("{second:?}"));
    // Without any table the hardness is estimated from the tap.
    assert!(
        first
            .vans
            .iter()
            .all(|v| v.hardness.unwrap().basis == HardnessBasis::Estimated)
    );
}

/// A history in which everything happens at some time, from a small generator.
fn eventful(seed: u64) -> History {
    let mut state = seed
        .wrapping_mul(2_862_933_555_777_941_757)
        .wrapping_add(3_037_000_493);
    let mut chance = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1u64 << 53) as f64
    };
    let mut history = weekly(MONDAY, 20, |_| 12.0, |_| 0.0);
    for fill in &mut history.fills {
        match (chance() * 8.0) as u32 {
            0 => fill.postcode = Some("QB2 1AA".into()),
            1 => fill.postcode = None,
            2 => fill.source = Source::BoughtIn,
            3 => fill.meter_litres = Some((chance() * 90_000.0).round()),
            4 => {
                fill.litres = None;
                fill.meter_litres = Some((chance() * 9_999.0).round());
            }
            _ => {}
        }
    }
    for reading in &mut history.readings {
        match (chance() * 8.0) as u32 {
            0 => reading.feed_ppm = Some((chance() * 3.0).floor()),
            1 => reading.permeate_ppm = Some((chance() * 400.0).floor()),
            2 => reading.product_ppm = Some((chance() * 30.0).floor()),
            3 => reading.permeate_ppm = None,
            4 => reading.permeate_lpm = Some(chance() * 3.0),
            5 => reading.feed_bar = Some(chance() * 8.0),
            _ => {}
        }
    }
    for _ in 0..(chance() * 12.0) as usize {
        let day = days_after(MONDAY, (chance() * 160.0) as i64 - 10);
        let item = Item::ALL[(chance() * 6.0) as usize];
        let quantity = (chance() < 0.5).then(|| (chance() * 12.0).ceil());
        history.services.push(service(day, item, quantity));
    }
    history.services.sort_by_key(|s| match s.done_at {
        When::Day(day) => day,
        When::At(_) => MONDAY,
    });
    history
}

#[test]
fn every_mains_litre_belongs_to_one_membrane_and_one_charge() {
    for seed in 1..200 {
        let van = only_van(&fleet(eventful(seed)), AS_OF);
        let made: f64 = van.weeks.iter().map(|week| week.litres).sum();
        let by_elements: f64 = van
            .elements
            .iter()
            .flat_map(|element| &element.litres_by_level)
            .sum();
        let by_charges: f64 = van
            .charges
            .iter()
            .filter_map(|charge| charge.litres_treated)
            .sum();
        assert!((made - by_elements).abs() < 1e-6, "seed {seed}");
        assert!((made - by_charges).abs() < 1e-6, "seed {seed}");
        let by_prefilters: f64 = van.prefilters.iter().filter_map(|p| p.litres_made).sum();
        assert!((made - by_prefilters).abs() < 1e-6, "seed {seed}");
    }
}

#[test]
fn lives_follow_each_other_and_litres_only_grow() {
    for seed in 1..200 {
        let van = only_van(&fleet(eventful(seed)), AS_OF);
        for pair in van.elements.windows(2) {
            assert_eq!(pair[0].end, End::Replaced(pair[1].fitted_on.unwrap()));
        }
        assert!(
            van.elements
                .last()
                .is_some_and(|last| last.end == End::InUse)
        );
        for element in &van.elements {
            let litres: Vec<f64> = element
                .points
                .iter()
                .map(|point| point.litres_by_level.iter().sum())
                .collect();
            assert!(litres.is_sorted(), "seed {seed}: {litres:?}");
            for point in &element.points {
                assert!(
                    point.salt_passage > 0.0 && point.salt_passage < 1.0,
                    "seed {seed}"
                );
                assert!(point.sd_ln.is_finite() && point.sd_ln > 0.0);
                assert_eq!(point.litres_by_level.len(), element.hardness_levels.len());
            }
        }
        for charge in &van.charges {
            assert!(charge.points.windows(2).all(|p| p[0].litres <= p[1].litres));
            assert!(
                charge
                    .points
                    .windows(2)
                    .all(|p| p[0].ppm_litres <= p[1].ppm_litres)
            );
            assert!(charge.points.windows(2).all(|p| p[0].at <= p[1].at));
        }
    }
}

#[test]
fn two_half_bags_on_one_day_are_a_full_change() {
    let mut history = steady();
    history.listed.push(listed(None));
    let mut first = service(date(2026, 3, 16), Item::Resin, Some(5.0));
    first.done_at = When::At(at(date(2026, 3, 16), 9));
    let mut second = first.clone();
    second.done_at = When::At(at(date(2026, 3, 16), 10));
    history.services.extend([first, second]);
    let van = only_van(&fleet(history), AS_OF);
    assert_eq!(van.charges.len(), 2);
    assert_eq!(van.charges[1].resin_litres, 10.0);
}
