//! A meter that is off, a membrane that fails, and dates that stand still: what a manager
//! is told month by month.

use std::fmt::Write as _;

use litrewise::inside::calendar::{Date, DateExt, Datelike, date};
use serde_json::Value;

use crate::run::Yard;

/// What is special about a van; all else is as on the others.
#[derive(Clone, Copy)]
struct Story {
    van: &'static str,
    /// Salt passage of the new membrane, and its growth with every 10,000 L, ln.
    new: f64,
    growth: f64,
    /// What its tap meter shows of what is true.
    tap_gain: fn(Date) -> f64,
    /// What its meter after the membrane shows of what is true.
    membrane_gain: fn(Date) -> f64,
    /// How much faster the membrane wears.
    wear: fn(Date) -> f64,
    /// The membrane is changed.
    renewed: Option<Date>,
    tap_ppm: f64,
}

const fn plain(van: &'static str, new: f64) -> Story {
    Story {
        van,
        new,
        growth: 0.10,
        tap_gain: |_| 1.0,
        membrane_gain: |_| 1.0,
        wear: |_| 1.0,
        renewed: None,
        tap_ppm: 310.0,
    }
}

const BEGIN: Date = date(2025, 10, 1);
const END: Date = date(2026, 11, 28);

/// Never quite the same, and always the same again: within ±1.
fn wobble(n: u32) -> f64 {
    let mut x = n.wrapping_mul(2_654_435_761) ^ 0x9e37_79b9;
    x ^= x >> 15;
    x = x.wrapping_mul(0x85eb_ca6b);
    x ^= x >> 13;
    f64::from(x % 2001) / 1000.0 - 1.0
}

/// Vans of one base: five fills a week, a reading every seven days in whole ppm, new parts on
/// the first day, pre-filters in time.
fn fleet(stories: &[Story]) -> Yard {
    let yard = Yard::new();
    let mut vans = String::from("van,base_postcode,tank_litres,membranes,resin_litres\n");
    let mut readings = String::from("van,taken_at,feed_ppm,permeate_ppm,product_ppm\n");
    let mut fills = String::from("van,started_at,litres\n");
    let mut services = String::from("van,done_at,item,quantity\n");
    for (number, story) in stories.iter().enumerate() {
        let van = story.van;
        writeln!(vans, "{van},QA3 1AA,400,1,11").expect("text");
        for item in ["membrane,1", "resin,11", "prefilter,1"] {
            writeln!(services, "{van},{BEGIN},{item}").expect("text");
        }
        let (mut ln, mut day, mut charge) = (story.new.ln(), BEGIN, 0.0);
        while day <= END {
            let days = day.days_since(BEGIN);
            let chance = |k: u32| wobble(days as u32 * 31 + number as u32 * 7919 + k);
            if days > 0 && days % 75 == 0 {
                writeln!(services, "{van},{day},prefilter,1").expect("text");
            }
            if story.renewed == Some(day) {
                writeln!(services, "{van},{day},membrane,1").expect("text");
                ln = story.new.ln();
            }
            if days > 0 && days % 7 == 0 {
                let season = (f64::from(day.day_of_year()) / 58.1).cos();
                let tap = story.tap_ppm * (1.0 + 0.04 * season) * (1.0 + 0.02 * chance(1));
                let permeate =
                    tap * ln.exp() * (1.0 + 0.03 * chance(2)) * (story.membrane_gain)(day);
                let shown = tap * (story.tap_gain)(day);
                let product = if charge > 7000.0 { 12 } else { 0 };
                writeln!(
                    readings,
                    "{van},{day}T08:00,{shown:.0},{permeate:.0},{product}"
                )
                .expect("text");
                if charge > 7000.0 {
                    writeln!(services, "{van},{day},resin,11").expect("text");
                    charge = 0.0;
                }
            }
            if day.weekday().number_from_monday() <= 5 {
                let litres = (230.0 + 30.0 * chance(3)).round();
                writeln!(fills, "{van},{day}T17:00,{litres}").expect("text");
                ln += story.growth * (story.wear)(day) * litres / 10_000.0;
                charge += litres;
            }
            day = day.checked_plus_days(1).expect("a day");
        }
    }
    yard.write("in/vans.csv", vans);
    yard.write("in/readings.csv", readings);
    yard.write("in/fills.csv", fills);
    yard.write("in/services.csv", services);
    yard.write("in/hardness.csv", "postcode,hardness\nQA3,240\n");
    yard.good(&["ingest", "--quiet", "in"]);
    yard
}

fn assessed(yard: &Yard, as_of: &str) -> Value {
    let seen = yard.good(&["assess", "--quiet", "--format", "json", "--as-of", as_of]);
    serde_json::from_str(&seen.out).expect("JSON")
}

fn van<'a>(assessment: &'a Value, name: &str) -> &'a Value {
    let vans = assessment["vans"].as_array().expect("vans");
    vans.iter().find(|v| v["van"] == name).expect(name)
}

fn meter<'a>(van: &'a Value, probe: &str) -> &'a Value {
    let meters = van["meters"].as_array().expect("meters");
    meters.iter().find(|m| m["probe"] == probe).expect(probe)
}

fn day(value: &Value) -> Date {
    value.as_str().expect("a day").parse().expect("a date")
}

fn low_from_april_to_july(day: Date) -> f64 {
    let is_low = day >= date(2026, 4, 3) && day < date(2026, 8, 1);
    if is_low { 0.75 } else { 1.0 }
}

/// A tap meter reads a quarter low for four months: the meter is named while it does, no
/// membrane is blamed then or after, and the membrane's day is about the one that it would
/// have with a meter that reads right: within that share, in percent, of the time left.
fn tap_meter_low(stories: &[Story], within: i32) {
    let yard = fleet(stories);
    let right: Vec<Story> = stories
        .iter()
        .map(|s| Story {
            tap_gain: |_| 1.0,
            ..*s
        })
        .collect();
    let read_right = fleet(&right);
    for as_of in ["2026-05-31", "2026-06-30", "2026-07-31"] {
        let now = assessed(&yard, as_of);
        let tansy = van(&now, "Tansy");
        let feed = meter(tansy, "feed");
        assert!(feed["doubt"].as_f64() >= Some(0.5), "{as_of}: {tansy:#}");
        let off = feed["off_by"]["p50"].as_f64().expect("a gain");
        assert!((0.68..0.85).contains(&off), "{as_of}: {feed:#}");
        let since = day(&feed["since"]);
        let apart = since.days_since(date(2026, 4, 3)).abs();
        assert!(apart <= 14, "{as_of}: since {since}");
        let membrane = &tansy["membrane"];
        assert_eq!(membrane["check_meter_first"], true, "{as_of}: {tansy:#}");
        assert_ne!(membrane["suspect"], "membrane", "{as_of}: {tansy:#}");
        let otherwise = assessed(&read_right, as_of);
        let otherwise = day(&van(&otherwise, "Tansy")["membrane"]["limit_on"]["p50"]);
        let moved = day(&membrane["limit_on"]["p50"])
            .days_since(otherwise)
            .abs();
        let left = otherwise.days_since(day(&now["as_of"]));
        assert!(
            moved * 100 < left * within,
            "{as_of}: moved {moved} days of {left}"
        );
        let due = yard
            .good(&["due", "--quiet", "--as-of", as_of, "--format", "csv"])
            .out;
        assert!(
            due.lines()
                .any(|l| l.starts_with("Tansy,") && l.contains(",probe,")),
            "{due}"
        );
        assert!(
            !due.lines()
                .any(|l| l.starts_with("Tansy,") && l.contains(",membrane,")),
            "{due}"
        );
    }
    for as_of in ["2026-09-30", "2026-10-31", "2026-11-28"] {
        let now = assessed(&yard, as_of);
        let membrane = &van(&now, "Tansy")["membrane"];
        assert_ne!(membrane["state"], "failing_early", "{as_of}: {membrane:#}");
        assert_eq!(
            membrane["check_meter_first"], false,
            "{as_of}: {membrane:#}"
        );
    }
    // Nobody else's meter is doubted.
    let end = assessed(&yard, "2026-07-31");
    for story in stories.iter().filter(|s| s.van != "Tansy") {
        for probe in ["feed", "permeate"] {
            let doubt = meter(van(&end, story.van), probe)["doubt"].as_f64();
            assert!(doubt < Some(0.5), "{} {probe} {doubt:?}", story.van);
        }
    }
}

const TANSY: Story = Story {
    tap_gain: low_from_april_to_july,
    ..plain("Tansy", 0.042)
};

#[test]
fn a_tap_meter_that_reads_low_for_a_while_is_named_and_no_membrane_blamed() {
    let four_others = [
        plain("Brindle", 0.034),
        plain("Fennick", 0.03),
        plain("Ludo", 0.038),
        plain("Moth", 0.036),
        TANSY,
    ];
    tap_meter_low(&four_others, 20);
}

#[test]
fn one_other_van_at_the_base_is_enough_to_tell_a_meter_from_the_water() {
    // It may be the other one's that is off.
    tap_meter_low(&[plain("Moth", 0.036), TANSY], 30);
}

#[test]
fn a_membrane_that_begins_to_wear_four_times_as_fast_fails_early() {
    let yard = fleet(&[
        Story {
            wear: |day| if day >= date(2026, 5, 1) { 4.0 } else { 1.0 },
            ..plain("Brindle", 0.034)
        },
        plain("Fennick", 0.03),
        plain("Ludo", 0.038),
        plain("Moth", 0.036),
        plain("Tansy", 0.032),
    ]);
    let failing: Vec<&str> = ["2026-07-31", "2026-08-31", "2026-09-30", "2026-10-31"]
        .into_iter()
        .filter(|as_of| {
            let now = assessed(&yard, as_of);
            for other in ["Fennick", "Ludo", "Moth", "Tansy"] {
                let membrane = &van(&now, other)["membrane"];
                assert_ne!(membrane["state"], "failing_early", "{as_of} {other}");
            }
            let membrane = &van(&now, "Brindle")["membrane"];
            membrane["state"] == "failing_early" && membrane["suspect"] == "membrane"
        })
        .collect();
    assert!(failing.contains(&"2026-09-30"), "{failing:?}");
    // Once raised it stays.
    assert!(failing.contains(&"2026-10-31"), "{failing:?}");
}

#[test]
fn what_is_overdue_stays_overdue_and_its_day_does_not_slide_with_today() {
    let yard = fleet(&[
        Story {
            growth: 0.22,
            ..plain("Brindle", 0.034)
        },
        // Not so far behind that its own membrane fails early.
        Story {
            growth: 0.17,
            ..plain("Fennick", 0.03)
        },
        Story {
            growth: 0.17,
            ..plain("Ludo", 0.038)
        },
        Story {
            growth: 0.17,
            ..plain("Moth", 0.036)
        },
    ]);
    let (mut overdue, mut before) = (0, None::<Date>);
    let mut as_of = date(2026, 6, 1);
    while as_of <= END {
        let membrane = &van(&assessed(&yard, &as_of.to_string()), "Brindle")["membrane"].clone();
        let state = membrane["state"].as_str().expect("a state").to_owned();
        let on = day(&membrane["replace_on"]);
        if overdue > 0 {
            assert!(
                state == "overdue" || state == "failing_early",
                "{as_of}: {membrane:#}"
            );
            let moved = before.map_or(0, |b| on.days_since(b).abs());
            assert!(moved <= 21, "{as_of}: moved {moved} days in a week");
        }
        overdue += usize::from(state == "overdue");
        before = Some(on);
        as_of = as_of.checked_plus_days(7).expect("a day");
    }
    assert!(overdue > 4, "{overdue}");
    // Without new rows nothing moves at all.
    let on =
        |as_of: &str| van(&assessed(&yard, as_of), "Brindle")["membrane"]["replace_on"].clone();
    assert_eq!(on("2026-11-29"), on("2026-12-24"));
}

/// As a probe that grows a film does: a quarter over half a year.
fn creeps_low_from_april(day: Date) -> f64 {
    let days = f64::from(day.days_since(date(2026, 4, 1)).clamp(0, 180));
    1.0 - 0.27 * days / 180.0
}

#[test]
fn a_tap_meter_that_creeps_low_is_checked_before_a_membrane_is_bought() {
    let yard = fleet(&[
        plain("Brindle", 0.034),
        plain("Fennick", 0.03),
        plain("Ludo", 0.038),
        plain("Moth", 0.036),
        Story {
            tap_gain: creeps_low_from_april,
            growth: 0.15,
            ..plain("Tansy", 0.04)
        },
    ]);
    let now = assessed(&yard, "2026-10-31");
    let tansy = van(&now, "Tansy");
    assert!(
        meter(tansy, "feed")["doubt"].as_f64() >= Some(0.5),
        "{tansy:#}"
    );
    assert_eq!(tansy["membrane"]["check_meter_first"], true, "{tansy:#}");
    let due = yard
        .good(&["due", "--quiet", "--as-of", "2026-10-31", "--format", "csv"])
        .out;
    let of_tansy: Vec<&str> = due.lines().filter(|l| l.starts_with("Tansy,")).collect();
    assert!(
        of_tansy.iter().any(|l| l.contains(",probe,check_meter,")),
        "{due}"
    );
    assert!(!of_tansy.iter().any(|l| l.contains(",membrane,")), "{due}");
}

/// Half as much again is read behind Tansy's membrane from May on, and behind the new one
/// too that was fitted for it in July: that is the meter.
#[test]
fn what_outlasts_the_membrane_is_its_meter() {
    let yard = fleet(&[
        plain("Brindle", 0.034),
        plain("Fennick", 0.03),
        plain("Ludo", 0.038),
        plain("Moth", 0.036),
        Story {
            membrane_gain: |day| if day >= date(2026, 5, 1) { 1.6 } else { 1.0 },
            renewed: Some(date(2026, 7, 20)),
            ..plain("Tansy", 0.034)
        },
    ]);
    let now = assessed(&yard, "2026-10-31");
    let tansy = van(&now, "Tansy");
    let after = meter(tansy, "permeate");
    assert!(after["doubt"].as_f64() >= Some(0.5), "{after:#}");
    let off = after["off_by"]["p50"].as_f64().expect("a gain");
    assert!((1.35..1.75).contains(&off), "{after:#}");
    assert_eq!(tansy["membrane"]["check_meter_first"], true, "{tansy:#}");
    for other in ["Brindle", "Fennick", "Ludo", "Moth"] {
        let doubt = meter(van(&now, other), "permeate")["doubt"].as_f64();
        assert!(doubt < Some(0.5), "{other} {doubt:?}");
    }
}

/// In soft water a meter of whole ppm goes from 2 to 3 overnight, and half as much again
/// seems to come through: nothing has happened.
#[test]
fn a_figure_that_turns_from_2_to_3_ppm_is_no_jump() {
    let soft = |van, new| Story {
        tap_ppm: 90.0,
        growth: 0.15,
        ..plain(van, new)
    };
    let yard = fleet(&[
        soft("Brindle", 0.022),
        soft("Fennick", 0.024),
        soft("Ludo", 0.023),
        soft("Moth", 0.025),
        soft("Tansy", 0.021),
    ]);
    for as_of in ["2026-03-31", "2026-06-30", "2026-08-31", "2026-10-31"] {
        let now = assessed(&yard, as_of);
        for one in now["vans"].as_array().expect("vans") {
            let membrane = &one["membrane"];
            assert_ne!(membrane["state"], "failing_early", "{as_of}: {one:#}");
            let doubt = meter(one, "permeate")["doubt"].as_f64();
            assert!(doubt < Some(0.5), "{as_of}: {one:#}");
        }
    }
}
