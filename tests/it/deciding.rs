//! Settings, questions, the work list and the parts that it needs.

use serde_json::Value;

use crate::run::Yard;

/// A yard with a small fleet taken in.
fn fleet(vans: &str, months: &str) -> Yard {
    let yard = Yard::new();
    yard.good(&[
        "simulate", "--vans", vans, "--months", months, "--out", "in",
    ]);
    yard.good(&["ingest", "--quiet", "in"]);
    yard
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("JSON")
}

const OWN_PRICES: [&str; 8] = [
    "--set",
    "prices.membrane=180",
    "--set",
    "prices.prefilter=30",
    "--set",
    "prices.resin_per_litre=6",
    "--set",
    "prices.currency=GBP",
];

#[test]
fn settings_say_where_each_value_came_from() {
    let yard = Yard::new();
    yard.write(
        "litrewise-store/litrewise.toml",
        "# ours\n[limits]\nproduct_ppm = 8\n[prices]\nmembrane = 175\n",
    );
    let seen = yard
        .command(&["--set", "running.recovery=0.4", "settings"])
        .env("LITREWISE_RUNNING_LEAD_DAYS", "21")
        .env("LITREWISE_PRICE_MEMBRANE", "3")
        .output()
        .expect("a run");
    let text = String::from_utf8(seen.stdout).expect("UTF-8");
    let line = |key: &str| {
        let found = text.lines().find(|l| l.starts_with(key));
        let words: Vec<&str> = found.expect(key).split_whitespace().collect();
        words[1..].join(" ")
    };
    assert_eq!(
        line("limits.product_ppm"),
        "8 ./litrewise-store/litrewise.toml:3"
    );
    assert_eq!(
        line("prices.membrane"),
        "175 ./litrewise-store/litrewise.toml:5"
    );
    assert_eq!(line("running.recovery"), "0.4 --set");
    assert_eq!(
        line("running.lead_days"),
        "21 environment variable LITREWISE_RUNNING_LEAD_DAYS"
    );
    assert_eq!(line("limits.salt_passage"), "0.1 built in");
    assert_eq!(line("prices.water_per_m3"), "– not set");
    // What begins like a setting and is none is said, not passed over in silence.
    let said = String::from_utf8(seen.stderr).expect("UTF-8");
    assert!(said.contains("LITREWISE_PRICE_MEMBRANE"), "{said}");
    let listed = json(&yard.good(&["settings", "--format", "json"]).out);
    let first = &listed.as_array().expect("a list")[0];
    assert_eq!(first["key"], "time_zone");
    assert_eq!(first["from"], "built in");
}

#[test]
fn written_settings_hold_and_nobodys_file_is_written_over() {
    let yard = Yard::new();
    yard.good(&["--set", "limits.product_ppm=6", "settings", "--write"]);
    let file = yard.read("litrewise-store/litrewise.toml");
    assert!(file.contains("\nproduct_ppm = 6\n"), "{file}");
    assert!(file.contains("\n# salt_passage = 0.1\n"), "{file}");
    let line = yard.bad(1, &["settings", "--write"]);
    assert!(
        line.contains("litrewise.toml") && line.contains("stays"),
        "{line}"
    );
    assert_eq!(yard.read("litrewise-store/litrewise.toml"), file);
    yard.good(&["settings", "--write", "elsewhere/ours.toml"]);
    assert_eq!(
        yard.read("elsewhere/ours.toml").lines().count(),
        file.lines().count()
    );
    // A store's folder that holds settings only takes rows in.
    yard.write(
        "readings.csv",
        "van,taken_at,feed_ppm\nQV-001,2026-09-01T16:00,338\n",
    );
    yard.good(&["ingest", "readings.csv"]);
    let seen = json(&yard.good(&["assess", "--format", "json"]).out);
    assert_eq!(seen["limits"]["product_ppm"], 6.0);
}

#[test]
fn prices_may_come_from_what_services_cost() {
    let yard = fleet("3", "14");
    let text = yard.good(&["settings"]).out;
    let line = text.lines().find(|l| l.starts_with("prices.prefilter"));
    assert!(
        line.expect("a line")
            .ends_with("median of what your services cost")
    );
}

#[test]
fn without_any_price_dates_and_litres_come_and_no_money() {
    let yard = fleet("4", "14");
    // The same rows without what they cost.
    let services: String = yard
        .read("in/services.csv")
        .lines()
        .map(|l| {
            let mut cells: Vec<&str> = l.split(',').collect();
            if cells[4] != "cost" {
                cells[4] = "";
            }
            cells.join(",") + "\n"
        })
        .collect();
    yard.write("in/services.csv", services);
    yard.good(&["--store", "bare", "ingest", "--quiet", "in"]);
    let seen = json(
        &yard
            .good(&["--store", "bare", "assess", "--format", "json"])
            .out,
    );
    assert!(seen["money"]["expected"].is_null());
    assert_eq!(seen["money"]["spent"]["this_year"]["total"], 0.0);
    let (all, without) = (
        &seen["money"]["spent"]["this_year"]["services"],
        &seen["money"]["spent"]["this_year"]["without_cost"],
    );
    assert_eq!(all, without);
    assert!(all.as_u64() > Some(0));
    for area in seen["areas"].as_array().expect("areas") {
        assert!(area["saving_per_van_year"].is_null());
        assert!(area["saving_span"]["p50"].is_null());
        assert!(area["cost_per_1000_litres"].is_null());
    }
    let vans = seen["vans"].as_array().expect("vans");
    assert!(vans.iter().any(|v| v["membrane"]["replace_on"].is_string()));
    assert!(vans.iter().all(|v| v["membrane"]["costs"].is_null()));
    assert_eq!(seen["parts_to_order"].as_array().map(Vec::len), Some(12));
    // With water alone, water alone is expected, and the rest is said to be missing.
    let water = ["--set", "prices.water_per_m3=2"];
    let with: Vec<&str> = ["--store", "bare"]
        .into_iter()
        .chain(water)
        .chain(["assess", "--format", "json"])
        .collect();
    let seen = json(&yard.good(&with).out);
    let expected = &seen["money"]["expected"];
    assert!(expected["fleet"]["p50"].as_f64() > Some(0.0));
    let without = expected["without"].as_array().expect("a list");
    assert!(
        without.contains(&Value::from("membrane"))
            && !without.contains(&Value::from("water_per_m3"))
    );
}

#[test]
fn the_saving_is_what_lies_between_the_two_costs() {
    let yard = fleet("8", "24");
    let arguments: Vec<&str> = OWN_PRICES
        .into_iter()
        .chain(["--set", "prices.water_per_m3=2"])
        .chain(["assess", "--quiet", "--format", "json"])
        .collect();
    let seen = json(&yard.good(&arguments).out);
    let mut compared = 0;
    for area in seen["areas"].as_array().expect("areas") {
        let total = |key: &str| area[key]["total"].as_f64();
        let (Some(ours), Some(rule), Some(saving)) = (
            total("cost_per_1000_litres"),
            total("rule_cost_per_1000_litres"),
            area["saving_per_van_year"].as_f64(),
        ) else {
            continue;
        };
        let life = |unit: &str| area[format!("membrane_life_{unit}")]["p50"].as_f64();
        let (Some(litres), Some(days)) = (life("litres"), life("days")) else {
            continue;
        };
        let yearly = (rule - ours) / 1000.0 * litres / days * 365.25;
        assert!(
            (yearly - saving).abs() < 0.03 * saving.abs() + 1.5,
            "{area}"
        );
        let span = |p: &str| area["saving_span"][p].as_f64().expect("a number");
        assert!(span("p10") <= span("p50") && span("p50") <= span("p90"));
        for key in ["cost_per_1000_litres", "rule_cost_per_1000_litres"] {
            let parts: f64 = ["membrane", "resin", "prefilters", "lost_rounds", "water"]
                .iter()
                .filter_map(|part| area[key][part].as_f64())
                .sum();
            assert!((parts - area[key]["total"].as_f64().expect("a sum")).abs() < 0.05);
        }
        compared += 1;
    }
    assert!(compared >= 3);
    // Every sum of money spent is that of the rows.
    let by_hand: f64 = yard
        .read("in/services.csv")
        .lines()
        .skip(1)
        .filter_map(|l| {
            let cells: Vec<&str> = l.split(',').collect();
            (cells[1].starts_with("2026")).then(|| cells[4].parse::<f64>().ok())?
        })
        .sum();
    let spent = seen["money"]["spent"]["this_year"]["total"].as_f64();
    assert!((spent.expect("a sum") - by_hand).abs() < 0.01);
}

#[test]
fn what_if_shows_todays_answer_beside_the_other_one() {
    let yard = fleet("8", "24");
    let ask = |question: &str| -> Value {
        let arguments: Vec<&str> = OWN_PRICES
            .into_iter()
            .chain([
                "assess",
                "--quiet",
                "--format",
                "json",
                "--what-if",
                question,
            ])
            .collect();
        json(&yard.good(&arguments).out)["what_if"][0].clone()
    };
    let arguments: Vec<&str> = OWN_PRICES
        .into_iter()
        .chain(["assess", "--quiet", "--format", "json"])
        .collect();
    let today = json(&yard.good(&arguments).out);
    // A stricter limit: no charge lasts longer, some end sooner.
    let stricter = ask("limit 5 ppm");
    let mut sooner = 0;
    for van in stricter["vans"].as_array().expect("vans") {
        let day = |side: &str| van[side]["resin_replace_on"].as_str().map(str::to_owned);
        if let (Some(a), Some(b)) = (day("today"), day("changed")) {
            sooner += usize::from(b < a);
        }
        let name = &van["van"];
        let now = today["vans"].as_array().expect("vans");
        let now = now.iter().find(|v| v["van"] == *name).expect("the van");
        assert_eq!(van["today"]["resin_replace_on"], now["resin"]["replace_on"]);
    }
    assert!(sooner >= 3, "{stricter}");
    // Softer water: membranes last longer, everywhere.
    let softer = ask("hardness -40 %");
    for area in softer["areas"].as_array().expect("areas") {
        let days = |side: &str| area[side]["membrane_life_days"]["p50"].as_f64();
        if let (Some(a), Some(b)) = (days("today"), days("changed")) {
            assert!(b > a, "{area}");
        }
    }
    // A move: only that van's base changes.
    let moved = ask("van QV-003 to QB1");
    for van in moved["vans"].as_array().expect("vans") {
        let base = |side: &str| van[side]["postcode"].as_str().expect("a base").to_owned();
        if van["van"] == "QV-003" {
            assert_eq!(base("changed"), "QB1");
        } else {
            assert_eq!(base("today"), base("changed"));
        }
    }
    // More recovered: dearer resin, and the risk of scale is said.
    let recovered = ask("recovery 30 % to 45 %");
    let notes = recovered["notes"].to_string();
    assert!(
        notes.contains("Langelier index +0.31") && notes.contains("scale"),
        "{notes}"
    );
    for van in recovered["vans"].as_array().expect("vans") {
        let day = |side: &str| van[side]["membrane_replace_on"].as_str().map(str::to_owned);
        if let (Some(a), Some(b)) = (day("today"), day("changed")) {
            assert!(b <= a, "{van}");
        }
    }
    // Dearer parts: the coming year costs more, by no more than they do.
    let dearer = ask("prices +20 %");
    let cost = |side: &str| dearer["fleet_cost"][side]["p50"].as_f64().expect("a cost");
    let ratio = cost("changed") / cost("today");
    assert!((1.05..1.25).contains(&ratio), "{ratio}");
    // A second membrane: the next set lasts longer and costs twice as much.
    let second = ask("membranes 2 for QV-003");
    let van = &second["vans"][0];
    assert_eq!(van["van"], "QV-003");
    let next = |side: &str| van[side]["next_membrane_days"].as_f64().expect("days");
    assert!(next("changed") > 1.3 * next("today"), "{van}");
    // The text holds both, within the width of a terminal.
    let text = yard
        .good(&[
            "assess",
            "--quiet",
            "--what-if",
            "limit 5 ppm, hardness +10 % in QA3",
        ])
        .out;
    assert!(text.contains("today") && text.contains("changed"), "{text}");
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
}

#[test]
fn questions_that_cannot_be_answered_are_refused_in_one_line() {
    let yard = fleet("3", "6");
    let seen = yard.run(&["assess", "--what-if", "softer water"]);
    assert_eq!(seen.code, 2);
    assert!(seen.err.contains("van NAME to DISTRICT"), "{}", seen.err);
    let line = yard.bad(2, &["assess", "--quiet", "--what-if", "van QV-099 to QB1"]);
    assert!(line.contains("QV-099"), "{line}");
    let line = yard.bad(2, &["assess", "--quiet", "--what-if", "van QV-001 to QX9"]);
    assert!(
        line.contains("QX9") && line.contains("hardness file"),
        "{line}"
    );
    let line = yard.bad(
        2,
        &[
            "assess",
            "--quiet",
            "--format",
            "csv",
            "--what-if",
            "limit 5 ppm",
        ],
    );
    assert!(line.contains("json"), "{line}");
}

#[test]
fn the_work_list_goes_by_day_or_base_and_parts_have_a_low_and_a_high_figure() {
    let yard = fleet("10", "24");
    let by_base = yard.good(&["due", "--quiet", "--group-by", "base"]).out;
    let bases: Vec<&str> = by_base
        .lines()
        .filter(|l| l.len() == 3 && l.starts_with('Q'))
        .collect();
    assert!(bases.len() >= 2 && bases.is_sorted(), "{by_base}");
    assert!(by_base.contains("competent people decide"));
    let parts = yard
        .good(&["parts", "--quiet", "--months", "--format", "csv"])
        .out;
    let mut reader = csv::Reader::from_reader(parts.as_bytes());
    assert_eq!(
        reader.headers().expect("heads").get(1),
        Some("membranes_low")
    );
    let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.expect("a row")).collect();
    assert_eq!(rows.len(), 12);
    assert_eq!(rows[0].get(0), Some("2026-11"));
    let mut resin = 0.0;
    for row in &rows {
        let numbers: Vec<f64> = row
            .iter()
            .skip(1)
            .map(|c| c.parse().expect("a number"))
            .collect();
        for three in numbers.chunks(3) {
            assert!(three.is_sorted(), "{row:?}");
        }
        resin += numbers[7];
    }
    assert!(resin > 0.0);
}

#[test]
fn parts_that_cannot_be_told_are_no_zeros() {
    let yard = Yard::new();
    yard.write(
        "readings.csv",
        "van,taken_at,feed_ppm,permeate_ppm\nQV-001,2026-08-01T16:00,300,12\nQV-001,2026-09-01T16:00,310,13\n",
    );
    yard.good(&["ingest", "readings.csv"]);
    let csv = yard
        .good(&["parts", "--quiet", "--months", "--format", "csv"])
        .out;
    let first: Vec<&str> = csv.lines().nth(1).expect("a month").split(',').collect();
    assert_eq!(first[1..], ["0", "0", "0", "", "", "", "", "", ""]);
    let text = yard.good(&["parts", "--quiet"]).out;
    assert!(
        text.contains("QV-001 DI resin, QV-001 pre-filters"),
        "{text}"
    );
}

#[test]
fn districts_say_intervals_costs_and_bottles() {
    let yard = fleet("10", "24");
    let arguments: Vec<&str> = OWN_PRICES
        .into_iter()
        .chain(["districts", "--quiet"])
        .collect();
    let text = yard.good(&arguments).out;
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
    for said in [
        "RO membrane every",
        "a litre of it",
        "1,000 L cost",
        "at the usual intervals",
        "GBP per van per year, likely",
    ] {
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(said), "{said}: {text}");
    }
    // Where a visit costs much, a larger vessel saves visits.
    let dear = ["--set", "prices.labour_per_visit=300", "districts", "-q"];
    let dear: Vec<&str> = OWN_PRICES.into_iter().chain(dear).collect();
    let dear = yard.good(&dear);
    assert!(dear.out.contains("best DI vessel: QV-"), "{}", dear.out);
    let listed = json(&yard.good(&["districts", "-q", "-f", "json"]).out);
    let csv = yard.good(&["districts", "-q", "-f", "csv"]).out;
    let rows = listed.as_array().expect("districts").len();
    assert_eq!(csv.lines().count(), 1 + rows, "{csv}");
}

#[test]
fn visits_are_shared_only_where_a_visit_costs_something() {
    let yard = fleet("10", "24");
    let days_early = |labour: &str| -> i64 {
        let labour = format!("prices.labour_per_visit={labour}");
        let arguments: Vec<&str> = OWN_PRICES
            .into_iter()
            .chain([
                "--set", &labour, "due", "--quiet", "--weeks", "26", "--format", "csv",
            ])
            .collect();
        let text = yard.good(&arguments).out;
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let rows = reader.records().map(|r| r.expect("a row"));
        // Up to a weekend early is a working day's doing.
        let early = rows.map(|r| r[8].parse::<i64>().expect("days"));
        early.filter(|days| *days > 3).sum()
    };
    let (free, dear) = (days_early("0"), days_early("60"));
    assert_eq!(free, 0);
    assert!(dear > 0, "{dear}");
}
