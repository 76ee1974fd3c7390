//! What the store says about the fleet.

use serde_json::Value;

use crate::run::Yard;

fn assessment(yard: &Yard, arguments: &[&str]) -> Value {
    let mut all = vec!["assess", "--quiet", "--format", "json"];
    all.extend(arguments);
    serde_json::from_str(&yard.good(&all).out).expect("JSON")
}

fn van<'a>(assessment: &'a Value, name: &str) -> &'a Value {
    assessment["vans"]
        .as_array()
        .expect("vans")
        .iter()
        .find(|v| v["van"] == name)
        .unwrap_or_else(|| panic!("{name} is missing"))
}

/// Rows of a CSV text whose time cell lies up to the end of a day.
fn up_to(text: &str, column: usize, day: &str) -> String {
    text.lines()
        .enumerate()
        .filter(|(n, line)| *n == 0 || line.split(',').nth(column).is_some_and(|t| &t[..10] <= day))
        .map(|(_, line)| format!("{line}\n"))
        .collect()
}

#[test]
fn as_of_never_sees_the_next_day() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "6", "--months", "8", "--out", "in"]);
    let day = "2026-07-14";
    for (name, column) in [("readings", 1), ("fills", 1), ("services", 1)] {
        let text = yard.read(&format!("in/{name}.csv"));
        yard.write(&format!("cut/{name}.csv"), up_to(&text, column, day));
    }
    for name in ["vans", "hardness"] {
        yard.write(
            &format!("cut/{name}.csv"),
            yard.read(&format!("in/{name}.csv")),
        );
    }
    yard.good(&["ingest", "--store", "whole", "in"]);
    yard.good(&["ingest", "--store", "cut-store", "cut"]);
    let mut whole = assessment(&yard, &["--store", "whole", "--as-of", day]);
    let mut cut = assessment(&yard, &["--store", "cut-store", "--as-of", day]);
    for value in [&mut whole, &mut cut] {
        // Totals are of everything in the store, whatever the day.
        value.as_object_mut().expect("an object").remove("rows");
    }
    assert_eq!(whole, cut);
}

#[test]
fn bought_in_water_does_not_age_the_membrane() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "1", "--months", "6", "--out", "in"]);
    yard.good(&["ingest", "--store", "without", "in"]);
    let mut fills = yard.read("in/fills.csv");
    for day in 10..20 {
        fills.push_str(&format!("QV-001,2026-09-{day}T12:01,,,400,,,bought_in\n"));
    }
    yard.write("in/fills.csv", fills);
    yard.good(&["ingest", "--store", "with", "in"]);
    let [without, with] = ["without", "with"].map(|s| assessment(&yard, &["--store", s]));
    for key in ["membrane", "resin"] {
        assert_eq!(
            van(&without, "QV-001")[key],
            van(&with, "QV-001")[key],
            "{key}"
        );
    }
}

#[test]
fn a_replaced_meter_never_gives_negative_litres() {
    let yard = Yard::new();
    let mut fills = "van,started_at,meter_litres\n".to_owned();
    for (n, meter) in [9000, 9300, 9610, 9900, 300, 610, 900, 0, 310, 640]
        .iter()
        .enumerate()
    {
        fills.push_str(&format!("QV-001,2026-09-{:02}T16:00,{meter}\n", n + 1));
    }
    yard.write("in/fills.csv", fills);
    yard.write(
        "in/services.csv",
        "van,done_at,item\nQV-001,2026-09-01,membrane\nQV-001,2026-09-01,resin\n",
    );
    yard.write(
        "in/readings.csv",
        "van,taken_at,feed_ppm,permeate_ppm,product_ppm\nQV-001,2026-09-10T17:00,300,9,0\n",
    );
    yard.good(&["ingest", "in"]);
    let seen = assessment(&yard, &[]);
    let made = van(&seen, "QV-001")["membrane"]["litres_made"].as_f64();
    assert!(made.is_none_or(|l| (0.0..4000.0).contains(&l)), "{made:?}");
}

#[test]
fn one_van_with_three_readings_gets_a_wide_and_honest_answer() {
    let yard = Yard::new();
    yard.write(
        "readings.csv",
        "van,taken_at,feed_ppm,permeate_ppm,product_ppm\n\
         QV-001,2026-09-01T16:00,338,12,0\n\
         QV-001,2026-09-08T16:00,341,13,1\n\
         QV-001,2026-09-15T16:00,335,12,1\n",
    );
    yard.good(&["ingest", "readings.csv"]);
    let seen = assessment(&yard, &[]);
    assert_eq!(seen["schema"], "litrewise/assessment/1");
    assert_eq!(seen["as_of"], "2026-09-15");
    let passage = &van(&seen, "QV-001")["membrane"]["salt_passage"];
    let [low, mid, high] = ["p10", "p50", "p90"].map(|q| passage[q].as_f64().expect(q));
    assert!(
        low < mid && mid < high && (0.02..0.08).contains(&mid),
        "{passage}"
    );
    for format in ["text", "csv"] {
        let out = yard.good(&["assess", "--quiet", "--format", format]).out;
        assert!(out.contains("QV-001"), "{out}");
    }
    yard.good(&["report", "--quiet"]);
    assert!(
        yard.path()
            .join("litrewise-report/2026-09/index.html")
            .exists()
    );
}

#[test]
fn a_month_becomes_pages_that_open_without_a_network() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "3", "--months", "9", "--out", "in"]);
    yard.good(&["ingest", "in"]);
    yard.good(&["report", "--quiet", "--month", "2026-09", "--out", "sept"]);
    for name in ["fleet.png", "van-QV-001.png", "area-QA1.png"] {
        let bytes = std::fs::read(yard.path().join("sept").join(name)).expect(name);
        assert_eq!(&bytes[1..4], b"PNG", "{name}");
        let size = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
        assert_eq!((size(16), size(20)), (1754, 1240), "{name}");
    }
    let html = yard.read("sept/index.html");
    assert!(html.contains("fleet.png") && !html.contains("http:") && !html.contains("src=\"https"));
    let json: Value = serde_json::from_str(&yard.read("sept/assessment.json")).expect("JSON");
    assert_eq!(json["as_of"], "2026-09-30");
    assert!(yard.read("sept/due.csv").lines().count() >= 1);
    let line = yard.bad(2, &["report", "--quiet", "--month", "2031-01"]);
    assert!(
        line.contains("2031-01") && line.contains("2026-10-3"),
        "{line}"
    );
    yard.bad(
        2,
        &[
            "report",
            "--quiet",
            "--month",
            "2026-09",
            "--as-of",
            "2026-10-01",
        ],
    );
}

#[test]
fn due_work_comes_as_text_table_and_calendar() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "5", "--months", "12", "--out", "in"]);
    yard.good(&["ingest", "in"]);
    let csv = yard
        .good(&["due", "--quiet", "--weeks", "52", "--format", "csv"])
        .out;
    assert!(csv.lines().count() > 1, "{csv}");
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let rows = reader.records().map(|row| row.expect("a row"));
    // Jobs at one base on one day are one visit, and a visit is one event.
    let visits: std::collections::BTreeSet<(String, String)> = rows
        .map(|row| (row[1].to_owned(), row[4].to_owned()))
        .collect();
    let ics = yard
        .good(&["due", "--quiet", "--weeks", "52", "--format", "ics"])
        .out;
    assert!(
        ics.starts_with("BEGIN:VCALENDAR\r\n") && ics.ends_with("END:VCALENDAR\r\n"),
        "{ics}"
    );
    assert_eq!(ics.matches("BEGIN:VEVENT").count(), visits.len());
    assert!(yard.good(&["due", "--quiet"]).out.lines().count() > 0);
}

#[test]
fn the_number_of_jobs_changes_nothing() {
    let yard = Yard::new();
    yard.good(&["simulate", "--vans", "6", "--months", "8", "--out", "in"]);
    yard.good(&["ingest", "in"]);
    let [one, three] = ["1", "3"].map(|n| assessment(&yard, &["--jobs", n]));
    assert_eq!(one, three);
}

#[test]
fn a_missing_store_and_wrong_settings_are_one_clear_line() {
    let yard = Yard::new();
    for command in ["assess", "report", "due", "export", "set-aside"] {
        let line = yard.bad(1, &[command, "--quiet", "--store", "nowhere"]);
        assert!(
            line.contains("nowhere") && line.contains("ingest"),
            "{command}: {line}"
        );
    }
    yard.write(
        "readings.csv",
        "van,taken_at,feed_ppm\nQV-001,2026-09-01T16:00,338\n",
    );
    yard.good(&["ingest", "readings.csv"]);
    yard.write(
        "litrewise-store/litrewise.toml",
        "[limits]\nprodukt_ppm = 5\n",
    );
    let line = yard.bad(1, &["assess", "--quiet"]);
    assert!(
        line.contains("litrewise.toml:2") && line.contains("limits.product_ppm"),
        "{line}"
    );
    yard.write(
        "litrewise-store/litrewise.toml",
        "[limits]\nproduct_ppm = 5\n",
    );
    assert_eq!(assessment(&yard, &[])["limits"]["product_ppm"], 5.0);
    let flag = assessment(&yard, &["--set", "limits.product_ppm=8"]);
    assert_eq!(flag["limits"]["product_ppm"], 8.0);
}
