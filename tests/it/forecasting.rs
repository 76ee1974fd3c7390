//! Forecasts on strange fleets: an answer, or `null` with the reason.

use litrewise::inside::calendar::DateExt;
use serde_json::Value;

use crate::run::Yard;

fn assessed(yard: &Yard, store: &str) -> Value {
    let seen = yard.good(&["assess", "--quiet", "--format", "json", "--store", store]);
    serde_json::from_str(&seen.out).expect("JSON")
}

fn vans(assessment: &Value) -> &Vec<Value> {
    assessment["vans"].as_array().expect("vans")
}

/// Days since 1 January 1970 or so; only differences matter.
fn day(date: &Value) -> Option<f64> {
    let date: litrewise::inside::calendar::Date = date.as_str()?.parse().expect("a date");
    Some(f64::from(
        date.days_since(litrewise::inside::calendar::date(2026, 1, 1)),
    ))
}

/// Nothing that a forecast may never be.
fn sane(assessment: &Value) {
    for van in vans(assessment) {
        for (part, began) in [("membrane", "fitted_on"), ("resin", "changed_on")] {
            let part = &van[part];
            let reason = part["reason"].as_str().expect("a reason");
            assert!(!reason.is_empty() && !reason.contains("NaN"), "{van:#}");
            let limit = &part["limit_on"];
            let days: Vec<f64> = ["p10", "p50", "p90"]
                .iter()
                .filter_map(|p| day(&limit[*p]))
                .collect();
            assert!(days.is_sorted(), "{van:#}");
            if let (Some(first), Some(began)) = (days.first(), day(&part[began])) {
                assert!(*first >= began, "{van:#}");
            }
            if days.is_empty() && limit["p50"].is_null() && part["state"] == "unknown" {
                assert!(reason.len() > 20, "{reason}");
            }
        }
    }
}

#[test]
fn one_absurd_van_among_twenty_moves_no_other() {
    let yard = Yard::new();
    yard.good(&[
        "simulate",
        "--vans",
        "20",
        "--months",
        "24",
        "--seed",
        "5",
        "--proving",
        "--out",
        "in",
    ]);
    yard.good(&["ingest", "--quiet", "--store", "without", "in"]);
    // Its probes show anything, its tank is filled ten times a day.
    let mut readings =
        String::from("van,taken_at,postcode,feed_ppm,permeate_ppm,product_ppm,water_c\n");
    let mut fills = String::from("van,started_at,litres\n");
    let mut turn = 7_u32;
    for month in 1..=10 {
        for date in 1..=28 {
            turn = turn.wrapping_mul(1_103_515_245).wrapping_add(12_345);
            let permeate = (turn >> 16) % 280;
            readings.push_str(&format!(
                "QV-999,2026-{month:02}-{date:02}T08:00,QA3,300,{permeate},{},25\n",
                permeate / 2
            ));
            for hour in 8..18 {
                fills.push_str(&format!(
                    "QV-999,2026-{month:02}-{date:02}T{hour:02}:30,900\n"
                ));
            }
        }
    }
    yard.write("in/absurd-readings.csv", readings);
    yard.write("in/absurd-fills.csv", fills);
    let mut list = yard.read("in/vans.csv");
    list.push_str("QV-999,QA3 4XX,1000,1,11,,,\n");
    yard.write("in/vans.csv", list);
    yard.good(&["ingest", "--quiet", "--store", "with", "in"]);
    let (without, with) = (assessed(&yard, "without"), assessed(&yard, "with"));
    sane(&with);
    let as_of = day(&without["as_of"]).expect("a day");
    let mut compared = 0;
    for (a, b) in vans(&without).iter().zip(vans(&with)) {
        assert_eq!(a["van"], b["van"]);
        let p50 = |v: &Value| day(&v["membrane"]["limit_on"]["p50"]);
        if let (Some(before), Some(after)) = (p50(a), p50(b)) {
            let left = (before - as_of).abs().max(20.0);
            assert!(
                (after - before).abs() <= (0.02 * left).max(1.0),
                "{}: {before} became {after}, {left} days left",
                a["van"]
            );
            compared += 1;
        }
    }
    assert!(compared >= 15, "{compared}");
}

/// A fleet of one van with these readings rows (`taken_at,feed,permeate,product,water_c`).
fn one_van(yard: &Yard, store: &str, rows: &[&str], fills: bool, hardness: bool) -> Value {
    let mut readings = String::from("van,taken_at,feed_ppm,permeate_ppm,product_ppm,water_c\n");
    for row in rows {
        readings.push_str(&format!("QV-1,{row}\n"));
    }
    let folder = format!("in-{store}");
    yard.write(&format!("{folder}/readings.csv"), readings);
    yard.write(
        &format!("{folder}/services.csv"),
        "van,done_at,item\nQV-1,2026-01-05,membrane\nQV-1,2026-01-05,resin\n",
    );
    if fills {
        let mut text = String::from("van,started_at,litres\n");
        for month in 1..=9 {
            for date in 1..=28 {
                text.push_str(&format!("QV-1,2026-{month:02}-{date:02}T16:00,250\n"));
            }
        }
        yard.write(&format!("{folder}/fills.csv"), text);
    }
    if hardness {
        yard.write(
            &format!("{folder}/hardness.csv"),
            "postcode,hardness\nQA3,285\n",
        );
        yard.write(
            &format!("{folder}/vans.csv"),
            "van,base_postcode,resin_litres\nQV-1,QA3 1AA,11\n",
        );
    }
    yard.good(&["ingest", "--quiet", "--store", store, &folder]);
    let result = assessed(yard, store);
    sane(&result);
    vans(&result)[0].clone()
}

#[test]
fn little_and_odd_records_give_an_answer_or_the_reason() {
    let yard = Yard::new();
    let two = [
        "2026-03-02T08:00,320,9,0,10",
        "2026-09-02T08:00,318,12,1,14",
    ];
    let van = one_van(&yard, "two", &two, true, true);
    assert!(van["membrane"]["limit_on"]["p50"].is_string(), "{van:#}");
    // The same without a thermometer, without fills, without hardness.
    let cold = ["2026-03-02T08:00,320,9,0,", "2026-09-02T08:00,318,12,1,"];
    for (store, fills, hardness) in [
        ("cold", true, true),
        ("dry", false, true),
        ("far", true, false),
    ] {
        let van = one_van(&yard, store, &cold, fills, hardness);
        assert!(
            van["membrane"]["limit_on"]["p10"].is_string(),
            "{store}: {van:#}"
        );
        if !fills {
            assert_eq!(van["resin"]["state"], "unknown");
            assert!(van["resin"]["litres_left"]["p50"].is_null());
        }
    }
    // Constant for months: copied or not, no nonsense.
    let rows: Vec<String> = (1..=9)
        .flat_map(|m| [3, 17].map(|d| format!("2026-{m:02}-{d:02}T08:00,320,10,0,11")))
        .collect();
    let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
    let van = one_van(&yard, "constant", &rows, true, true);
    assert!(
        van["membrane"]["salt_passage"]["p50"].is_number(),
        "{van:#}"
    );
    // Only product water: what is said of the membrane comes from others, says
    // so, and is wide; what enters the resin is not known.
    let rows = ["2026-03-02T08:00,,,0,", "2026-09-02T08:00,,,4,"];
    let van = one_van(&yard, "product", &rows, true, true);
    let passage = ["p10", "p90"].map(|p| van["membrane"]["salt_passage"][p].as_f64());
    if let [Some(low), Some(high)] = passage {
        assert!(high > 3.0 * low, "{van:#}");
        let reason = van["membrane"]["reason"].as_str().expect("a reason");
        assert!(reason.contains("0 readings so far"), "{reason}");
    }
    assert_eq!(van["resin"]["state"], "unknown");
}

#[test]
fn the_truth_of_an_invented_fleet_is_written_beside_its_files() {
    let yard = Yard::new();
    let plan = [
        "simulate",
        "--vans",
        "12",
        "--months",
        "24",
        "--seed",
        "3",
        "--proving",
        "--out",
        "in",
        "--truth",
        "truth",
    ];
    yard.good(&plan);
    let elements = yard.read("truth/elements.csv");
    let rows: Vec<Vec<&str>> = elements
        .lines()
        .skip(1)
        .map(|l| l.split(',').collect())
        .collect();
    assert!(rows.len() >= 10, "{elements}");
    // Membranes that were taken out are followed to their limit too.
    let removed: Vec<_> = rows.iter().filter(|r| !r[2].is_empty()).collect();
    assert!(!removed.is_empty());
    assert!(
        removed.iter().any(|r| !r[6].is_empty() && r[6] > r[2]),
        "{elements}"
    );
    for row in &rows {
        assert!(row[6].is_empty() || row[6] > row[1], "{row:?}");
    }
    let charges = yard.read("truth/charges.csv");
    assert!(charges.lines().count() > 12);
    let districts = yard.read("truth/districts.csv");
    assert!(districts.lines().count() >= 3, "{districts}");
    // The truth does not change what is written down.
    let with = yard.read("in/readings.csv");
    yard.good(&plan[..plan.len() - 2]);
    assert_eq!(with, yard.read("in/readings.csv"));
}

#[test]
fn the_past_is_forecast_again_and_said_in_words_and_json() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "10", "--months", "20", "--out", "in"]);
    yard.good(&["ingest", "--quiet", "--store", "s", "in"]);
    let seen = yard.good(&["backtest", "--quiet", "--store", "s"]);
    assert!(
        seen.out.contains("Every month-end of your own past"),
        "{}",
        seen.out
    );
    assert!(seen.out.lines().all(|l| l.chars().count() <= 80));
    let seen = yard.good(&["backtest", "--quiet", "--store", "s", "--format", "json"]);
    let json: Value = serde_json::from_str(&seen.out).expect("JSON");
    assert_eq!(json["schema"], "litrewise/backtest/1");
    let resin = &json["resin"];
    assert!(
        resin["reached"].as_u64().expect("a count") >= 5,
        "{resin:#}"
    );
    let within = resin["within"].as_f64().expect("a share");
    assert!((0.4..=1.0).contains(&within), "{within}");
    let parts = ["earlier_than_p10", "within", "later_than_p90"]
        .map(|k| resin[k].as_f64().expect("a share"));
    assert!((parts.iter().sum::<f64>() - 1.0).abs() < 1e-9);
    // Replayed twice, and on one processor: the same.
    let again = yard.good(&[
        "backtest", "--quiet", "--store", "s", "--format", "json", "--jobs", "1",
    ]);
    assert_eq!(seen.out, again.out);
    // A fleet too young to judge says so.
    yard.good(&["simulate", "--vans", "2", "--months", "3", "--out", "young"]);
    yard.good(&["ingest", "--quiet", "--store", "y", "young"]);
    let seen = yard.good(&["backtest", "--quiet", "--store", "y"]);
    assert!(seen.out.contains("too few to judge"), "{}", seen.out);
}

#[test]
fn a_forecast_shows_the_numbers_that_drove_it() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "3", "--months", "9", "--out", "in"]);
    yard.good(&["ingest", "--quiet", "--store", "s", "in"]);
    let seen = yard.good(&[
        "assess",
        "--quiet",
        "--store",
        "s",
        "--van",
        "QV-003",
        "--explain",
    ]);
    for wanted in [
        "growth per 1000 L now",
        "usual here",
        "Shared by the fleet",
        "litres a week",
    ] {
        assert!(seen.out.contains(wanted), "{wanted}: {}", seen.out);
    }
    assert!(!seen.out.contains("QV-001"));
    assert!(
        seen.out.lines().all(|l| l.chars().count() <= 80),
        "{}",
        seen.out
    );
    let seen = yard.good(&[
        "assess",
        "--quiet",
        "--store",
        "s",
        "--explain",
        "--format",
        "json",
    ]);
    let json: Value = serde_json::from_str(&seen.out).expect("JSON");
    let known = &vans(&json)[2]["explained"]["membrane"];
    assert!(known.as_array().expect("a list").len() >= 5);
    // Every spelling that ingest takes for one van names it; others are mistyped.
    let whole = yard
        .good(&["assess", "--store", "s", "--van", "QV-003", "-q"])
        .out;
    for typed in ["QV-0O3", "qv-003", "QV 003", "qv003"] {
        let seen = yard.good(&["assess", "--store", "s", "--van", typed, "-q"]);
        assert_eq!(seen.out, whole, "{typed}");
    }
    let line = yard.bad(2, &["assess", "--store", "s", "--van", "QV-0O33", "-q"]);
    assert!(line.contains("did you mean QV-003"), "{line}");
}
